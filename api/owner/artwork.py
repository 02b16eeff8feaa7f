"""Artwork: measured, kept with a quotation, handed out as a download and in no other way."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from api.calls import Answer, Call, Nothing, in_json
from api.keys import OWNER, READERS
from api.media_types import ARTWORK, JSON
from api.operations import Answers, operation
from api.uploads import Upload, measured
from quoting.artwork import Artwork
from quoting.book import KeptArtwork, QuoteBook

REFUSALS = ("unfit-artwork", "artwork-too-large", "artwork-busy", "artwork-unavailable")
ONE = "/v1/book/quotations/{which}/artwork"


class NamedFile(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the file is called, with the ending of its kind. The dots an inch of a picture that does not say them."""

    name: Annotated[str, Meta(max_length=200)] = ""
    dots_an_inch: Annotated[int, Meta(ge=50, le=5000)] | None = None


class KeptFile(Struct, frozen=True, kw_only=True):
    """A file that is kept; ``hash`` is the SHA-256 of its content."""

    hash: str
    name: str
    media_type: str
    byte_count: int


class KeptFiles(Struct, frozen=True, kw_only=True):
    """Every file of a quotation, by name."""

    artwork: tuple[KeptFile, ...]


class KeptAndMeasured(Struct, frozen=True, kw_only=True):
    """A file that is kept now, and what it measures."""

    kept: KeptFile
    measured: Artwork


@operation(
    method="POST",
    path="/v1/artwork",
    id="measure-artwork",
    summary="Measure a PDF, a PNG or a TIFF, the body itself: each form's ink, solids, detail. Nothing is kept.",
    face="owner",
    may=READERS,
    query=NamedFile,
    body=Upload,
    takes=ARTWORK,
    answers=(Answers(what="What it measures.", content={JSON: Artwork}),),
    problems=REFUSALS,
)
async def measure(call: Call[Upload, NamedFile]) -> Answer:
    """Measure a file."""
    asked = call.query
    _, found = await measured(call.desk, call.body, asked.name, dots_an_inch=asked.dots_an_inch)
    return in_json(found)


@operation(
    method="POST",
    path=ONE,
    id="keep-artwork",
    summary="Keep a file of artwork with a quotation; the same file again is not doubled.",
    face="owner",
    may=OWNER,
    query=NamedFile,
    body=Upload,
    takes=ARTWORK,
    answers=(Answers(status=201, what="It is kept.", content={JSON: KeptAndMeasured}, headers=("Location",)),),
    problems=(*REFUSALS, "not-found", "quote-erased"),
)
async def keep(call: Call[Upload, NamedFile]) -> Answer:
    """Keep a file."""
    desk, asked, which = call.desk, call.query, call.path["which"]
    await desk.in_book(lambda book: book.get(which))
    content, found = await measured(desk, call.body, asked.name, dots_an_inch=asked.dots_an_inch)
    kept = await desk.in_book(lambda book: book.keep_artwork(which, content, found))
    told = KeptAndMeasured(kept=_told(kept), measured=found)
    place = f"{desk.settings.base_url}{ONE.format(which=which)}/{kept.content_hash}"
    return in_json(told, status=201, Location=place)


@operation(
    method="GET",
    path=ONE,
    id="list-artwork",
    summary="The artwork that is kept with a quotation.",
    face="owner",
    may=READERS,
    answers=(Answers(what="Its files.", content={JSON: KeptFiles}),),
)
async def list_artwork(call: Call[Nothing, Nothing]) -> Answer:
    """List files."""
    return in_json(KeptFiles(artwork=await files_of(call)))


async def files_of(call: Call[object, object]) -> tuple[KeptFile, ...]:
    """What is kept with the quotation that the path names."""

    def work(book: QuoteBook) -> tuple[KeptArtwork, ...]:
        return book.artwork.kept(book.get(call.path["which"]).id)

    return tuple(_told(one) for one in await call.desk.in_book(work))


@operation(
    method="GET",
    path=ONE + "/{hash}",
    id="get-artwork",
    summary="A file of artwork as it came, as a download.",
    face="owner",
    may=READERS,
    answers=(
        Answers(
            what="The file.", content=dict.fromkeys(ARTWORK), headers=("Content-Disposition",)
        ),
    ),
)  # fmt: skip
async def get_artwork(call: Call[Nothing, Nothing]) -> Answer:
    """Hand a file out."""
    return await download(call)


async def download(call: Call[object, object]) -> Answer:
    """The file that the path names, to be saved: no browser shows it, or guesses what it is."""

    def work(book: QuoteBook) -> tuple[KeptArtwork, bytes]:
        return book.artwork.read(book.get(call.path["which"]).id, call.path["hash"])

    kept, content = await call.desk.in_book(work)
    headers = {name: value for name, value in kept.headers().items() if name != "Content-Type"}
    return Answer(content=content, media_type=kept.media_type, headers=headers)


def _told(kept: KeptArtwork) -> KeptFile:
    return KeptFile(hash=kept.content_hash, name=kept.name, media_type=kept.media_type, byte_count=kept.byte_count)


ROUTES = (measure, keep, list_artwork, get_artwork)
