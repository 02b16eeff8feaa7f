"""Health: whether the process answers, and whether it can do its work."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

from api.calls import JSON, Answer, Call, Nothing, in_json
from api.keys import ANYBODY
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


ROUTES = (alive,)
