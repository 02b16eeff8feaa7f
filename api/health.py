"""Health: whether the process answers, and whether it can do its work."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

from api.calls import Answer, Call, Nothing, in_json
from api.keys import ANYBODY
from api.media_types import JSON
from api.operations import Answers, operation


class Alive(Struct, frozen=True):
    """The process answers."""

    status: Literal["alive"] = "alive"


@operation(
    method="GET",
    path="/livez",
    id="alive",
    summary="Whether the process answers; the quote book is not asked.",
    face="health",
    may=ANYBODY,
    answers=(Answers(what="It does.", content={JSON: Alive}),),
)
async def alive(_: Call[Nothing, Nothing]) -> Answer:
    """Say so."""
    return in_json(Alive())


class Ready(Struct, frozen=True):
    """The server can do its work."""

    status: Literal["ready"] = "ready"


@operation(
    method="GET",
    path="/readyz",
    id="ready",
    summary="Whether the server can do its work: the quote book answers, can be written, and has room.",
    face="health",
    may=ANYBODY,
    answers=(Answers(what="It can.", content={JSON: Ready}),),
    problems=("storage-unavailable",),
)
async def ready(call: Call[Nothing, Nothing]) -> Answer:
    """Say so."""
    if call.desk.settings.book:
        await call.desk.check_ready()
    return in_json(Ready())


ROUTES = (alive, ready)
