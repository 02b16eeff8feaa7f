"""Artwork of a visitor's: measured at once, put by until its request is sent, known by a signed name."""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
from collections.abc import Mapping
from contextlib import suppress
from typing import Annotated, Any

from msgspec import Meta, Struct

from api.calls import Answer, Call
from api.media_types import ARTWORK, JSON
from api.operations import Answers, operation
from api.problems import ProblemError
from api.public.allowances import UPLOADS, spend
from api.public.offers import ON_PAGES
from api.public.types import MeasuredFile, told
from api.uploads import Upload, measured
from quoting.artwork import Artwork, FormArtwork
from quoting.book import Entry, QuoteBook
from quoting.errors import ArtworkTooLargeError, QuoteNotFoundError
from quoting.offers import Choice, named_sides
from quoting.reader import from_json

REFUSALS = ("unfit-artwork", "artwork-too-large", "artwork-busy", "artwork-unavailable")
MOST_FORMS = 6  # as many as a side has colours


class NamedArtwork(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the file is called, with the ending of its kind."""

    name: Annotated[str, Meta(max_length=200)] = ""


class PutBy(Struct, frozen=True, kw_only=True):
    """A file that waits: what it is known by, until when, and what it measures."""

    handle: str
    until: datetime.datetime
    artwork: Artwork


@operation(
    method="POST",
    path="/v1/public/artwork",
    id="send-artwork",
    summary="Measure a PDF, a PNG or a TIFF, the body itself, and put it by for a side of a choice to name.",
    face="public",
    may=ON_PAGES,
    query=NamedArtwork,
    body=Upload,
    takes=ARTWORK,
    answers=(Answers(what="What it measures.", content={JSON: MeasuredFile}),),
    problems=(*REFUSALS, "quota-exceeded", "not-set-up"),
)
async def send_artwork(call: Call[Upload, NamedArtwork]) -> Answer:
    """Measure a file and put it by."""
    left = await spend(call, UPLOADS)
    found = await put_by(call, call.query.name)
    made = {
        "artwork_file": found.handle,
        "until": found.until,
        "name": found.artwork.file,
        "forms": [_figures(form) for form in found.artwork.forms],
        "notes": found.artwork.notes,
    }
    return told(MeasuredFile, made, headers=left)


def _figures(form: FormArtwork) -> dict[str, Any]:
    plain = {name: getattr(form, name) for name in ("page", "separation", "bleeds", "colours", "notes")}
    measures = ("page_size", "size", "share_inked", "coverage", "largest_solid_size", "thinnest_positive",
                "thinnest_reversed")  # fmt: skip
    written = {name: getattr(form, name) for name in measures}
    return plain | {name: None if one is None else one.written for name, one in written.items()}


async def put_by(call: Call[Upload, Any], name: str) -> PutBy:
    """
    Measure what was sent, and have it wait for its request.

    Raises:
        ArtworkError: it is refused.
        ProblemError: the server has no secret.
        StorageError: it cannot be put by.
    """
    settings = call.desk.settings
    if not settings.secret:
        raise ProblemError("not-set-up")  # nothing signs what a file is known by
    content, artwork = await measured(call.desk, call.body, name)
    if len(artwork.forms) > MOST_FORMS:
        raise ArtworkTooLargeError("forms", f"at most {MOST_FORMS} forms a file", f"{len(artwork.forms)}")
    until = (call.desk.now() + datetime.timedelta(hours=settings.keep_artwork_hours)).replace(microsecond=0)

    def work(book: QuoteBook) -> str:
        waiting = book.artwork.waiting
        named = waiting.put(content, artwork, until=until)
        return f"{named}.{_signature(settings.secret, named, waiting.note(named))}"

    return PutBy(handle=await call.desk.in_book(work), until=until, artwork=artwork)


async def artwork_of(call: Call[Any, Any], choice: Choice) -> dict[str, Artwork]:
    """What the files of a choice measure, by what they are known by; of one that does not wait here, nothing."""
    handles = {side.artwork_file for _, side in named_sides(choice) if side.artwork_file is not None}
    if not handles:
        return {}
    secret, now = call.desk.settings.secret, call.desk.now()

    def work(book: QuoteBook) -> dict[str, Artwork]:
        found: dict[str, Artwork] = {}
        for handle in handles:
            name, _, signature = handle.partition(".")
            with suppress(QuoteNotFoundError):
                note = book.artwork.waiting.note(name)
                good = secret and hmac.compare_digest(_signature(secret, name, note), signature)
                if good and int(name.partition("-")[0]) > now.timestamp():
                    found[handle] = from_json(note, Artwork)
        return found

    return await call.desk.in_book(work)


async def take_up(call: Call[Any, Any], entry: Entry, artwork: Mapping[str, Artwork]) -> None:
    """Keep with a request the files that were sent for it."""

    def work(book: QuoteBook) -> None:
        for handle in artwork:
            with suppress(QuoteNotFoundError):  # the same request, at the same time, took it up
                book.take_up_artwork(entry.id, handle.partition(".")[0])

    if artwork:
        await call.desk.in_book(work)


def _signature(secret: str, name: str, note: bytes) -> str:
    """Of a file's name, which says until when it waits, and of its note: its content hash and figures."""
    made = hmac.digest(secret.encode(), b"artwork\0" + name.encode() + b"\0" + note, hashlib.sha256)
    return base64.urlsafe_b64encode(made).decode().rstrip("=")


ROUTES = (send_artwork,)
