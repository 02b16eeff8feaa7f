"""What is no HTTP is refused like everything else: with a problem, an id that is in the log too, and our headers."""

from __future__ import annotations

import logging
import secrets

from msgspec import json
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from api.gate import SECURITY
from api.problems import PROBLEM_JSON, Told, problem_of

LOG = logging.getLogger("api.requests")


class Wire(HttpToolsProtocol):
    """A connection, read by httptools."""

    def send_400_response(self, msg: str) -> None:
        """Refuse what the parser cannot read, and close; ``msg`` is the parser's word, which tells nothing."""
        id = secrets.token_hex(16)
        told = Told(name="invalid-request", detail="expected a request of HTTP/1.1; found what cannot be read as one")
        body = json.encode(problem_of(told, f"urn:quoting:request:{id}"))
        headers = [
            (b"content-type", PROBLEM_JSON.encode()),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
            *SECURITY,
            (b"request-id", id.encode()),
        ]
        lines = [b"HTTP/1.1 400 Bad Request", *(name + b": " + value for name, value in headers), b"", body]
        self.transport.write(b"\r\n".join(lines))
        self.transport.close()
        LOG.info("request", extra={"told": {"request": id, "method": "another", "status": 400}})
