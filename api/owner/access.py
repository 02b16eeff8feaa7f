"""Keys of the API: handed out, rotated, ended. A secret is told once, in the answer that makes it."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct

from api.calls import Answer, Call, Nothing, in_json
from api.keys import OWNER
from api.media_types import JSON
from api.operations import Answers, operation
from quoting.book.access_keys import AccessKey, NewKey

PATH = "/v1/keys"
KeyRole = Literal["owner", "owner-ro", "form"]
Origin = Annotated[str, Meta(pattern=r"^https?://[a-z0-9.-]{1,200}(:[0-9]{1,5})?\Z", max_length=255)]


class KeyAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    A key that is wanted: who will use it, as what, from which web pages, how long.

    ``owner`` may do everything, ``owner-ro`` look and price, ``form`` what a website's order form needs.
    """

    name: Annotated[str, Meta(min_length=1, max_length=100)]
    role: KeyRole
    origins: Annotated[tuple[Origin, ...], Meta(max_length=20)] = ()
    days: Annotated[int, Meta(ge=1, le=3650)] | None = None


class RotationAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How long the key before stays good beside the new one."""

    overlap_minutes: Annotated[int, Meta(ge=0, le=43_200)] = 60


class Keys(Struct, frozen=True, kw_only=True):
    """Every key, oldest first, those that have ended among them; none with its secret."""

    keys: tuple[AccessKey, ...]


_NEW = (
    Answers(
        status=201,
        what="The key with its secret, which is told once: repeated with its Idempotency-Key it is empty.",
        content={JSON: NewKey},
    ),
)


@operation(
    method="POST",
    path=PATH,
    id="make-key",
    summary="Hand out a key.",
    face="owner",
    may=OWNER,
    body=KeyAsked,
    example={"name": "the website's form", "role": "form", "origins": ["https://shop.example"]},
    answers=_NEW,
    once=True,
)
async def make(call: Call[KeyAsked, Nothing]) -> Answer:
    """Make a key."""
    body, asked, now = call.body, call.request_key(), call.desk.now()
    ends_at = now + datetime.timedelta(days=body.days) if body.days else None
    made = await call.desk.in_book(
        lambda book: book.keys.make(
            body.name,
            scopes=(body.role,),
            origins=body.origins,
            ends_at=ends_at,
            at=now,
            by=call.credential.by,
            key=asked,
        )
    )
    return in_json(made, status=201)


@operation(
    method="GET",
    path=PATH,
    id="list-keys",
    summary="Every key, without its secret.",
    face="owner",
    may=OWNER,
    answers=(Answers(what="The keys.", content={JSON: Keys}),),
)
async def list_keys(call: Call[Nothing, Nothing]) -> Answer:
    """List the keys."""
    return in_json(Keys(keys=await call.desk.in_book(lambda book: book.keys.list())))


@operation(
    method="POST",
    path=PATH + "/{key}/rotation",
    id="rotate-key",
    summary="Hand out a key in place of another, which stays good for a while.",
    face="owner",
    may=OWNER,
    body=RotationAsked,
    example={"overlap_minutes": 60},
    answers=_NEW,
    problems=("not-found",),
    once=True,
)
async def rotate(call: Call[RotationAsked, Nothing]) -> Answer:
    """Rotate a key."""
    overlap, asked = datetime.timedelta(minutes=call.body.overlap_minutes), call.request_key()
    made = await call.desk.in_book(
        lambda book: book.keys.rotate(
            call.path["key"], at=call.desk.now(), by=call.credential.by, overlap=overlap, key=asked
        )
    )
    return in_json(made, status=201)


@operation(
    method="DELETE",
    path=PATH + "/{key}",
    id="end-key",
    summary="End a key: from now on it opens nothing.",
    face="owner",
    may=OWNER,
    answers=(Answers(what="The key.", content={JSON: AccessKey}),),
    problems=("not-found",),
)
async def end(call: Call[Nothing, Nothing]) -> Answer:
    """End a key."""
    return in_json(
        await call.desk.in_book(
            lambda book: book.keys.end(call.path["key"], at=call.desk.now(), by=call.credential.by)
        )
    )


ROUTES = (make, list_keys, rotate, end)
