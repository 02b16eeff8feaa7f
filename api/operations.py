"""
Operations: each says once what it is, who may ask for it, what it takes and what it answers.

The route, the check of keys, the reading of bodies and both OpenAPI documents come from that one saying.
A route without it does not exist: ``operation`` is the only way to make one.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import AsyncGenerator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from functools import cache
from http import HTTPStatus
from typing import Any, Literal

from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from api.calls import Answer, Call, Nothing
from api.desk import Desk
from api.etags import Tag, matches, tag_asked
from api.idempotency import key_asked
from api.keys import ANON, Credential, Role, unauthorized
from api.limits import Limit
from api.media_types import JSON
from api.negotiation import require_type, wanted_type
from api.problems import ProblemError
from api.reading import read_body, read_query
from api.uploads import Upload, uploaded

Face = Literal["owner", "public", "health", "site"]
Work = Callable[[Call[Any, Any]], Awaitable[Answer]]
_PARAMETER = re.compile(r"\{(\w+)\}")


class Answers(Struct, frozen=True, kw_only=True):
    """
    One answer of an operation, as its document tells it.

    ``content`` has, by media type, the type of a JSON answer, or None where it is not JSON.
    """

    status: int = 200
    what: str
    content: Mapping[str, Any] = {}
    headers: tuple[str, ...] = ()


class Superseded(Struct, frozen=True, kw_only=True):
    """Since when something else stands in an operation's place, until when it is served, where that is told."""

    since: datetime.datetime
    until: datetime.datetime
    told_at: str


class Operation(Struct, frozen=True, kw_only=True):
    """
    What an operation is. ``problems`` are those that do not follow from the rest.

    ``once``: it takes an Idempotency-Key. ``guarded``: whether it must, or may, be told a version by
    If-Match. ``tagged``: it answers with an ETag, and 304 to the one who has it already.
    """

    method: Literal["GET", "POST", "PUT", "PATCH", "DELETE"]
    path: str
    id: str
    summary: str
    face: Face
    may: tuple[Role, ...]
    body: type = Nothing
    takes: tuple[str, ...] = (JSON,)
    query: type = Nothing
    answers: tuple[Answers, ...]
    problems: tuple[str, ...] = ()
    once: bool = False
    guarded: Literal["", "may", "must"] = ""
    tagged: bool = False
    example: Any = None
    superseded: Superseded | None = None

    @property
    def media_types(self) -> tuple[str, ...]:
        """What it can answer as; the first is what who does not say gets."""
        told = [kind for answer in self.answers for kind in answer.content]
        return tuple(dict.fromkeys(told)) or (JSON,)

    def is_at(self, path: str) -> bool:
        """Whether a path is one of its own."""
        return _pattern(self.path).fullmatch(path.rstrip("/") or "/") is not None

    @property
    def takes_body(self) -> bool:
        """Whether a body must come with it."""
        return self.body is not Nothing

    @property
    def takes_file(self) -> bool:
        """Whether the body is a file of artwork, which has a limit of its own."""
        return self.body is Upload

    @property
    def path_parameters(self) -> tuple[str, ...]:
        """The names in its path."""
        return tuple(_PARAMETER.findall(self.path))


@cache
def _pattern(path: str) -> re.Pattern[str]:
    return re.compile(_PARAMETER.sub("[^/]+", path))


def operation(**told: Any) -> Callable[[Work], HTTPRouteHandler]:
    """Make a route of a function that works for a ``Call``; the words are those of ``Operation``."""
    what = Operation(**told)

    def made(work: Work) -> HTTPRouteHandler:
        async def handle(request: Request[Any, Any, Any]) -> Response[bytes]:
            return await _handled(request, what, work)

        decorate = HTTPRouteHandler(
            _PARAMETER.sub(r"{\1:str}", what.path),
            http_method=what.method,
            name=what.id,
            opt={"operation": what},
            status_code=HTTPStatus.OK,
            include_in_schema=False,
        )
        return decorate(handle)

    return made


async def _handled(request: Request[Any, Any, Any], what: Operation, work: Work) -> Response[bytes]:
    desk: Desk = request.app.state.desk
    state = request.scope["state"]
    state["operation"] = what.id
    credential = await _allowed(request, desk, what)
    state["credential"] = credential.id or credential.role
    if what.face == "owner":
        state["allowance"] = await _counted(desk, state["credential"])
    wanted = wanted_type(request.headers, what.media_types)
    query: Any = read_query(request, what.query)
    key = key_asked(request.headers) if what.once else ""
    tag = _tag(request, what)
    async with _body(request, desk, what) as body:
        call = Call(
            desk=desk,
            credential=credential,
            card=desk.card if what.face == "health" else await desk.card_in_force(),
            body=body,
            query=query,
            path=request.path_params,
            wanted=wanted,
            key=key,
            tag=tag,
            operation=what.id,
            client_address=state.get("client_address", ""),
            accept_language=request.headers.get("accept-language", ""),
            cookies=request.headers.get("cookie", ""),
        )
        answer = await work(call)
    return _response(request, what, answer)


async def _allowed(request: Request[Any, Any, Any], desk: Desk, what: Operation) -> Credential:
    """
    Who asks, if they may.

    Raises:
        ProblemError: no key, none in force, or one of another scope.
    """
    secret = request.headers.get("authorization")
    if secret is None and "anon" in what.may and not desk.settings.demo:
        return ANON
    credential = await desk.credential(secret)
    if credential.role in what.may:
        return credential
    raise unauthorized() if credential is ANON else ProblemError("forbidden")


async def _counted(desk: Desk, whose: str) -> Mapping[str, str]:
    """
    Count one call of an owner's key; the fields that tell what is left, which the gate puts on its answer.

    Raises:
        ProblemError: too much was asked for.
    """
    limit = Limit("calls", desk.settings.most_calls_a_minute, 60)
    return (await desk.limits.spend(limit, whose)).headers


def _tag(request: Request[Any, Any, Any], what: Operation) -> Tag | None:
    """What If-Match names, where the operation must or may have it."""
    asked = what.guarded == "must" or (what.guarded == "may" and "if-match" in request.headers)
    return tag_asked(request.headers) if asked else None


@asynccontextmanager
async def _body(request: Request[Any, Any, Any], desk: Desk, what: Operation) -> AsyncGenerator[Any, None]:
    """What was sent, until it is answered."""
    if not what.takes_body:
        yield Nothing()
        return
    sent = require_type(request.headers, what.takes)
    if what.takes_file:
        async with uploaded(request, desk, sent) as upload:
            yield upload
    else:
        yield read_body(request, await request.body(), what.body, sent)


def _response(request: Request[Any, Any, Any], what: Operation, answer: Answer) -> Response[bytes]:
    headers = {**answer.headers, **_superseded(what)}
    if what.tagged and matches(request.headers, headers.get("ETag", "")):
        return Response(b"", status_code=304, headers=headers)
    return Response(answer.content, status_code=answer.status, media_type=answer.media_type, headers=headers)


def _superseded(what: Operation) -> dict[str, str]:
    """Deprecation (RFC 9745), Sunset (RFC 8594) and where to read on."""
    if what.superseded is None:
        return {}
    from email.utils import format_datetime

    told = what.superseded
    return {
        "Deprecation": f"@{int(told.since.timestamp())}",
        "Sunset": format_datetime(told.until.astimezone(datetime.UTC), usegmt=True),
        "Link": f'<{told.told_at}>; rel="deprecation"',
    }
