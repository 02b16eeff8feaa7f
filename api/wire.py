"""What is no HTTP is refused like everything else: with a problem, an id that is in the log too, and our headers."""

from __future__ import annotations

import secrets
from http import HTTPStatus
from typing import Any

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from api.gate import ANOTHER, SECURITY, as_answer, log_request
from api.problems import Told

_UNREADABLE = Told(name="invalid-request", detail="expected a request of HTTP/1.1; found what cannot be read as one")


class Wire(HttpToolsProtocol):
    """A connection, read by httptools."""

    def __init__(self, *told: Any, **named: Any) -> None:
        super().__init__(*told, **named)
        self._unreadable = False

    def send_400_response(self, msg: str) -> None:
        """Refuse what cannot be read, after the answers to what came before it; ``msg`` tells nothing."""
        if not self._is_answering:
            self._refuse()
            return
        self._unreadable = True
        if self.pipeline and self.cycle.more_body:
            self.pipeline.popleft()  # the rest of it cannot be read

    def on_response_complete(self) -> None:
        """Go on to what came next."""
        is_last = not self.pipeline
        super().on_response_complete()
        if self._unreadable and is_last and not self.transport.is_closing():
            self._refuse()

    @property
    def _is_answering(self) -> bool:
        """Whether a request that came whole is being answered."""
        cycle: Any = self.cycle  # None before the first request
        under_way = cycle is not None and not cycle.response_complete
        return bool(self.pipeline) or (under_way and (cycle.response_started or not cycle.more_body))

    def _refuse(self) -> None:
        id = secrets.token_hex(16)
        headers, body = as_answer(_UNREADABLE, id)
        ours = [(b"connection", b"close"), *SECURITY, (b"request-id", id.encode())]
        told = [name + b": " + value for name, value in (*self.server_state.default_headers, *headers, *ours)]
        self.transport.write(b"\r\n".join([b"HTTP/1.1 400 Bad Request", *told, b"", body]))
        self.transport.close()
        log_request(id, HTTPStatus.BAD_REQUEST, method=ANOTHER, seconds=0)
