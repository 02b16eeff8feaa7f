"""Counts of one part, backwards, once the order of its passes is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tests.independent.card import Card, Table
from tests.independent.measures import measure, up
from tests.independent.parts import PlannedPart, Printing


@dataclass(frozen=True)
class Fed:
    """One pass: good sheets out of it, sheets fed to it, pulls with those that set it up."""

    printing: Printing
    good: int
    fed: int
    pulls: int


@dataclass(frozen=True)
class Counted:
    """One part: pieces to the client and the shop, pieces worked at each step, passes, sheets."""

    pieces: int
    finishing: tuple[int, ...]
    joining: tuple[int, ...]
    passes: tuple[Fed, ...]
    sheets: int
    from_stock: int


def counted(part: PlannedPart, ordered: Sequence[Printing], quantity: int) -> Counted:
    """Everything that is counted of a part whose passes are printed in this order."""
    card, item = part.card, part.item
    wanted = quantity * item.get("per_set", 1) * part.versions
    pieces = wanted + (item.get("extra", 0) + item.get("kept", 0)) * part.versions
    needed, joining = _steps(card, item.get("joining", []), pieces)
    needed, finishing = _steps(card, part.part.get("finishing", []), needed)
    good = _good_sheets(part, needed)
    passes, run = _passes(part, ordered, good)
    fresh = _fresh(part)
    rates = card["spoilage"]
    spare = max(Fraction(rates["least_pieces"]), measure(rates["least_share"]) * pieces)
    extra = max(0, up((pieces + spare) / part.told.number_up) - run - fresh)
    sheets = run + fresh + extra
    cutting = card.number("cutting", "spoilage")
    return Counted(
        pieces=pieces,
        finishing=finishing,
        joining=joining,
        passes=tuple(
            Fed(one.printing, one.good, one.fed + extra * one.printing.trips, one.pulls + extra * one.printing.trips)
            for one in passes
        ),
        sheets=sheets,
        from_stock=sheets if part.is_ready_cut else up(Fraction(sheets, part.told.out_of_a_parent) / (1 - cutting)),
    )


def _steps(card: Card, asked: Sequence[Table], pieces: int) -> tuple[int, tuple[int, ...]]:
    """Pieces into the first step, and the pieces worked at each, those that set it up left out."""
    worked: list[int] = []
    for one in reversed(asked):
        rates = card.finishing(one["kind"])
        some = up(pieces * one.get("plies", 1) / (1 - measure(rates["spoilage"])))
        worked.insert(0, some)
        pieces = some + rates.get("set_up_pieces", 0)
    return pieces, tuple(worked)


def _good_sheets(part: PlannedPart, pieces: int) -> int:
    of_each = up(Fraction(up(Fraction(pieces, part.versions)), part.places_a_version))
    if part.cuts_to_pieces()[0]:
        of_each = up(of_each / (1 - part.card.number("cutting", "spoilage")))
    return of_each if part.told.imposition == "ganged" else of_each * part.versions


def _passes(part: PlannedPart, ordered: Sequence[Printing], good: int) -> tuple[list[Fed], int]:
    """The passes in their order, and the sheets that the first of them is fed."""
    found: list[Fed] = []
    out = good
    for printing in reversed(ordered):
        versions = printing.versions
        entering = up(Fraction(out, versions))
        fed = 0
        for _ in range(printing.trips):
            entering = _trip(part, entering, registers=printing.register != "none")
            fed += entering
        set_up = printing.set_up * versions
        found.insert(0, Fed(printing, out, fed * versions, fed * versions + set_up))
        out = entering * versions + (set_up if printing.register != "none" else 0)
    return found, out


def _trip(part: PlannedPart, out: int, *, registers: bool) -> int:
    """Sheets fed for so many good ones: a rate for each band of them, more in register."""
    bands = part.stock_class["running_spoilage"]
    more = part.card.number("spoilage", "register_colour") if registers else Fraction(0)
    tops = [band["above"] for band in bands[1:]]
    total = Fraction(0)
    for place, band in enumerate(bands):
        top = tops[place] if place < len(tops) else out
        total += max(0, min(out, top) - band["above"]) / (1 - measure(band["rate"]) - more)
    return up(total)


def _fresh(part: PlannedPart) -> int:
    """Fresh sheets that set up the passes that are not in register."""
    needs = [printing for printing in part.passes if printing.register == "none"]
    if part.card["spoilage"]["set_up_again"] == "spoiled sheets used again":
        return max((printing.set_up for printing in needs), default=0)
    return sum(printing.set_up * printing.versions for printing in needs)
