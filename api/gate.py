"""
The gate: what every request passes first and every answer last, also where no route is found.

A request gets an id; its Host must be ours; a secret in its address is refused. An answer gets the
headers that keep browsers from guessing, framing and keeping it. HEAD is answered as GET, without the body.
One line of the log tells each request: never its query, its path's values or its body.
"""

from __future__ import annotations

import logging
import re
import secrets
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any
from urllib.parse import unquote

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Message, Receive, Scope, Send
from msgspec import json

from api.clients import client_address
from api.cors import PUBLIC, cors_headers, preflight_headers
from api.desk import Desk
from api.keys import holds_secret
from api.problems import PROBLEM_JSON, TYPES, Told, problem_of

LOG = logging.getLogger("api.requests")
_SECRET_NAMES = ("key", "api_key", "apikey", "token", "access_token", "authorization")
SECURITY = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-site"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"),
    (b"cache-control", b"no-store"),
    (b"strict-transport-security", b"max-age=31536000"),
)
_PORT = re.compile(r":[0-9]{1,5}$")
_ID_BYTES, _IDS_DRAWN = 16, 256
_PASSED = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
ANOTHER = "another"  # as the log tells a method that is none of them


class Gate:
    """The outermost layer of the app."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app = app
        self._desk = desk
        self._hosts = desk.settings.known_hosts
        self._ids = _request_ids()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one request on and its answer back."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        readers = await self._readers(scope)
        passage = _Passage(scope, receive, send, readers, self._desk.methods_at, request_id=next(self._ids))
        scope["state"]["client_address"] = self._client(scope)
        told = self._refusal(scope)
        try:
            if told is not None:
                await passage.refuse(told)
            elif passage.is_preflight:
                await passage.allow()
            elif scope["method"] == "OPTIONS" and passage.allowed:
                await passage.tell_methods()
            else:
                await self._app(passage.scope, passage.receive, passage.send)
        finally:
            passage.log()

    async def _readers(self, scope: HTTPScope) -> list[tuple[bytes, bytes]]:
        """What tells a browser which pages may read the answer."""
        origin = _by_name(scope["headers"]).get(b"origin", b"").decode("latin-1") or None
        asked = origin is not None and scope["path"].startswith(PUBLIC)
        return cors_headers(scope["path"], origin, await self._desk.origins() if asked else ())

    def _client(self, scope: HTTPScope) -> str:
        forwarded = [value.decode("latin-1") for name, value in scope["headers"] if name == b"x-forwarded-for"]
        peer = (scope.get("client") or ("", 0))[0]
        return client_address(peer, forwarded, trusted_proxies=self._desk.settings.trusted_proxies)

    def _refusal(self, scope: HTTPScope) -> Told | None:
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        forwarded = [value for name, value in scope["headers"] if name == b"x-forwarded-host"]
        named = [host.decode("latin-1").lower() for host in (*hosts, *forwarded)]
        if len(hosts) != 1 or not all(map(self._is_ours, named)):
            return Told(name="unknown-host")
        if _names_secret(scope):
            return Told(name="credentials-in-url")
        if scope["method"] not in _PASSED:
            return Told(name="method-not-allowed")
        return None

    def _is_ours(self, host: str) -> bool:
        bare = _PORT.sub("", host)
        return host in self._hosts or (bare in self._hosts and not _PORT.search(bare))


class _Passage:
    """One request on its way: what its log line needs, and its answer's headers."""

    def __init__(
        self,
        scope: HTTPScope,
        receive: Receive,
        send: Send,
        readers: list[tuple[bytes, bytes]],
        methods_at: Callable[[str], Sequence[str]],
        *,
        request_id: str,
    ) -> None:
        self._scope: Any = scope
        self._path = scope["path"]
        self._methods_at = methods_at
        self._readers = readers
        self._receive = receive
        self._send = send
        self._began = time.perf_counter()
        self._status = 0
        self._method = scope["method"]
        self._is_head = self._method == "HEAD"
        self._state = self._scope["state"] = {**scope.get("state", {}), "request_id": request_id}

    @property
    def scope(self) -> Any:
        """The request as the app is asked: HEAD as GET, in a scope of its own, since the server goes by its own."""
        return {**self._scope, "method": "GET"} if self._is_head else self._scope

    async def receive(self) -> Any:
        """Pass one message of the request on; of one whose client is gone, the rest will not come."""
        received = await self._receive()
        if received["type"] == "http.disconnect":
            self._state["is_gone"] = True
        return received

    async def send(self, part: Message) -> None:
        """Pass one part of the answer on."""
        if part["type"] == "http.response.start":
            self._status = part["status"]
            headers = self._headers(part["headers"])
            refused = self._status == HTTPStatus.METHOD_NOT_ALLOWED
            part["headers"] = self._with_methods(headers) if refused else headers
        elif part["type"] == "http.response.body" and self._is_head:
            part = {**part, "body": b""}
        await self._send(part)

    async def refuse(self, told: Told) -> None:
        """Answer with a problem, past the app."""
        headers, body = as_answer(told, self._state["request_id"])
        start: Any = {"type": "http.response.start", "status": TYPES[told.name].status, "headers": headers}
        await self.send(start)
        await self.send({"type": "http.response.body", "body": body, "more_body": False})

    @property
    def allowed(self) -> str:
        """The methods that may be asked of this path, as Allow tells them."""
        return ", ".join(self._methods_at(self._path))

    @property
    def is_preflight(self) -> bool:
        """Whether a browser asks if a page it has open may ask."""
        asked = b"access-control-request-method" in _by_name(self._scope["headers"])
        return self._method == "OPTIONS" and asked and bool(self._readers)

    async def allow(self) -> None:
        """Answer a preflight."""
        if not any(name == b"access-control-allow-origin" for name, _ in self._readers):
            await self.refuse(Told(name="origin-refused"))
            return
        headers = [*preflight_headers(), (b"content-length", b"0")]
        start: Any = {"type": "http.response.start", "status": 204, "headers": headers}
        await self.send(start)
        await self.send({"type": "http.response.body", "body": b"", "more_body": False})

    async def tell_methods(self) -> None:
        """Answer what may be done with what is at this path."""
        headers = [(b"allow", self.allowed.encode()), (b"content-length", b"0")]
        start: Any = {"type": "http.response.start", "status": 204, "headers": headers}
        await self.send(start)
        await self.send({"type": "http.response.body", "body": b"", "more_body": False})

    def _with_methods(self, headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        """Headers with Allow as it is: routes know of the methods of one operation alone."""
        return [*((name, value) for name, value in headers if name != b"allow"), (b"allow", self.allowed.encode())]

    def _headers(self, told: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        headers = list(told)
        names = {name.lower() for name, _ in headers}
        headers.extend((name, value) for name, value in SECURITY if name not in names)
        allowance: Mapping[str, str] = self._state.get("allowance", {})
        headers.extend((name.lower().encode(), value.encode()) for name, value in allowance.items())
        headers.extend(self._readers)
        headers.append((b"request-id", self._state["request_id"].encode()))
        return headers

    def log(self) -> None:
        """Tell the log how it went."""
        log_request(
            self._state["request_id"],
            self._status,
            method=self._method if self._method in _PASSED else ANOTHER,
            seconds=time.perf_counter() - self._began,
            operation=self._state.get("operation", ""),
            credential=self._state.get("credential", ""),
            failure=self._state.get("failure"),
        )


def log_request(
    id: str,
    status: int,
    *,
    method: str,
    seconds: float,
    operation: str = "",
    credential: str = "",
    failure: BaseException | None = None,
) -> None:
    """One line of the log: which operation, for which key, how it ended, how long it took."""
    LOG.log(
        logging.ERROR if failure or status >= 500 else logging.INFO,
        "request",
        extra={
            "told": {
                "request": id,
                "method": method,
                "operation": operation,
                "credential": credential,
                "status": status,
                "ms": round(seconds * 1000, 1),
            }
        },
        exc_info=failure,
    )


def as_answer(told: Told, request_id: str) -> tuple[list[tuple[bytes, bytes]], bytes]:
    """A problem as headers and body of an answer."""
    body = json.encode(problem_of(told, f"urn:quoting:request:{request_id}"))
    headers = [
        (b"content-type", PROBLEM_JSON.encode()),
        (b"content-length", str(len(body)).encode()),
        *((name.lower().encode(), value.encode()) for name, value in told.headers.items()),
    ]
    return headers, body


def _request_ids() -> Iterator[str]:
    """Ids, many drawn at a time: who draws lets the engine's thread in, and waits for it."""
    while True:
        drawn = memoryview(secrets.token_bytes(_ID_BYTES * _IDS_DRAWN))
        yield from (drawn[at : at + _ID_BYTES].hex() for at in range(0, len(drawn), _ID_BYTES))


def _by_name(headers: Iterable[tuple[bytes, bytes]]) -> dict[bytes, bytes]:
    return {name.lower(): value for name, value in headers}


def _names_secret(scope: HTTPScope) -> bool:
    told = unquote(scope["query_string"].decode("latin-1"))
    names = {part.partition("=")[0].strip().lower() for part in told.split("&")}
    return bool(names & set(_SECRET_NAMES)) or holds_secret(told) or holds_secret(unquote(scope["path"]))
