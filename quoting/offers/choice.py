"""What a visitor chooses of an offer, in a visitor's words: nothing of it names a press, a plate maker or a bench."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from msgspec import Meta, Struct

from quoting import reader
from quoting.errors import InputError, JobError
from quoting.numbers import in_engine_context
from quoting.offer import Artwork, FoldedAlong
from quoting.shop import Count, CountOrNone, Impression
from quoting.units import Length, Size

MOST_QUANTITIES = 3
MOST_LINES = 60
ADVISE_ME = "advise me"
COLLECT = "collect"

PrintedFrom = Literal["words to set", "finished artwork", "same as last time", "own plate"]

# A line is one line: no control characters (C0, DEL, C1) in it.
Line = Annotated[str, Meta(min_length=1, max_length=120, pattern=r"^[^\x00-\x1f\x7f-\x9f]*\Z")]
LineOrNone = Annotated[str, Meta(max_length=120, pattern=r"^[^\x00-\x1f\x7f-\x9f]*\Z")]
Paragraphs = Annotated[str, Meta(max_length=2000, pattern=r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*\Z")]
SetText = Annotated[str, Meta(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*\Z")]
# An address that mail can be sent to, loosely: RFC 5321 bounds its length at 254.
Email = Annotated[
    str, Meta(min_length=3, max_length=254, pattern=r"^[^@\s\x00-\x1f\x7f-\x9f]+@[^@\s\x00-\x1f\x7f-\x9f]+\Z")
]


# What a file of artwork that was measured and waits is known by.
ArtworkFile = Annotated[str, Meta(min_length=1, max_length=200, pattern=r"^[A-Za-z0-9._-]*\Z")]


class LineChoice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    One line to set.

    Without ``fount`` it is set in the first one offered in which all of the lines fit, without ``ink``
    in the side's first.
    """

    text: SetText
    fount: Line | None = None
    ink: Line | None = None


class OwnPlate(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A plate that the visitor brings."""

    size: Size
    thickness: Length


class SideChoice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    One printed side: its inks, and what it prints from.

    What is left out is as the offer usually has it; any other side's ink is that of the product's front.
    What ``artwork_file`` measures stands in for the coverage.
    """

    inks: Annotated[tuple[Line, ...], Meta(max_length=6)] = ()
    printed_from: PrintedFrom | None = None
    lines: Annotated[tuple[LineChoice, ...], Meta(max_length=MOST_LINES)] = ()
    artwork: Artwork | None = None
    coverage: Line | None = None
    plate: OwnPlate | None = None
    artwork_file: ArtworkFile | None = None


class EnvelopeChoice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One envelope a piece, and ``spare`` ones; plain unless ``front`` is printed."""

    stock: Line
    lined: bool = False
    addressed: bool = False
    spare: CountOrNone = 0
    front: SideChoice | None = None


class PieceChoice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A further piece of a set, and its one printed side."""

    piece: Line
    front: SideChoice = SideChoice()


class DeliveryChoice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """``collect``, or a way that the offer has, and where to."""

    method: Line = COLLECT
    to: Paragraphs = ""


class Contact(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Who asks, privately or for a business, and the language they read."""

    name: Line
    email: Email
    company: LineOrNone = ""
    address: Annotated[tuple[Line, ...], Meta(max_length=8)] = ()
    is_business: bool = False
    locale: Annotated[str, Meta(pattern=r"^([a-z]{2}-[A-Z]{2})?\Z")] = ""


class Choice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What a visitor wants of one product, for one to three quantities (of sets, where it comes in sets).

    What is left out is as the offer usually has it: its first size, stock, ink and impression, one
    side, flat, square corners, no envelope, collected. ``size`` names an offered one, ``own_size``
    a size of one's own. ``stock`` may be ``advise me``.
    """

    product: Line
    quantities: Annotated[tuple[Count, ...], Meta(min_length=1, max_length=MOST_QUANTITIES)]
    size: Line | None = None
    own_size: Size | None = None
    stock: Line | None = None
    front: SideChoice = SideChoice()
    back: SideChoice | None = None
    impression: Impression | None = None
    folded: FoldedAlong | Literal["flat"] | None = None
    corners: Literal["square", "rounded"] = "square"
    edges: Line | None = None
    extras: Annotated[tuple[Line, ...], Meta(max_length=20)] = ()
    pieces: Annotated[tuple[PieceChoice, ...], Meta(max_length=10)] = ()
    envelope: EnvelopeChoice | None = None
    needed_by: datetime.date | None = None
    rush: bool = False
    delivery: DeliveryChoice = DeliveryChoice()
    contact: Contact | None = None
    title: LineOrNone = ""
    reference: LineOrNone = ""
    notes: Paragraphs = ""


def named_sides(choice: Choice) -> Iterator[tuple[str, SideChoice]]:
    """Every printed side of a choice, with where it stands in it."""
    yield "front", choice.front
    if choice.back is not None:
        yield "back", choice.back
    for place, one in enumerate(choice.pieces):
        yield f"pieces[{place}].front", one.front
    if choice.envelope is not None and choice.envelope.front is not None:
        yield "envelope.front", choice.envelope.front


@in_engine_context
def read_choice(data: Any) -> Choice:
    """
    A choice from plain data, as JSON gives it.

    Raises:
        JobError: with every fault of it.
    """
    try:
        return reader.convert(data, Choice)
    except InputError as error:
        raise JobError(error.faults) from error
