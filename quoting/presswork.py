"""The work of one part once its plan is fixed: its passes, its counts, what each operation is handed."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.shop import FormKind, Impression

Imposition = Literal["one side", "sheetwise", "work-and-turn", "work-and-tumble", "fed as it comes", "ganged"]
Register = Literal["none", "loose", "close"]


class Pass(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One colour, one side, one form, before any counting.

    ``form_area_mm2`` is the whole form's, every copy up; ``set_pieces`` counts the copies.
    ``trips`` is 2 where a turned sheet meets the same form again. ``versions`` is how often
    the form is changed and run anew, ``version_lines`` what is set anew each time. ``sorts`` are what
    its type keeps out of the cases while it stands (fount, sort, how many), of founts that the card
    counts; ``set_with_last`` where it was set with the pass before it; ``stand_ins`` where the card's
    alternates may stand in. ``over``: of a turned form, the ``colours_before`` of the passes that lie
    under it on a side; None where all the side's earlier ones do. ``solid``: the largest solid that its
    artwork measures, in words.
    """

    label: str
    item: int
    part: int
    side: Literal["front", "back", "both"]
    press: str
    ink: str | None
    form_kind: FormKind
    scarce: bool
    form_area_mm2: Decimal
    share_inked: Decimal
    register: Register
    impression: Impression
    second_side: bool
    double_rolled: bool
    trips: int
    versions: int
    set_up_sheets: int
    colours_before: int
    large_form: bool
    thick_board: bool
    is_low: bool
    stock_class: str
    round_later: bool
    force_n: Decimal
    sorts: tuple[tuple[str, str, int], ...] = ()
    set_with_last: bool = False
    stand_ins: bool = False
    over: tuple[int, ...] | None = None
    solid: str = ""

    def lies_on(self, other: Pass) -> bool:
        """Whether another pass of the same sheet and side must be printed before it."""
        if self.over is not None:
            return other.colours_before in self.over
        return other.colours_before < self.colours_before

    @property
    def of_the_case(self) -> tuple[object, ...]:
        """All that decides what may stand at once with it; nothing where no sorts are counted."""
        return (self.sorts, self.set_with_last, self.stand_ins) if self.sorts else ()


class PassCount(Struct, frozen=True, kw_only=True):
    """
    Sheets of one pass: what must come out good, what goes in, what is fed, what sets it up.

    ``sheets_fed`` counts a turned sheet twice where it meets the same form on both trips.
    """

    sheets_out: int
    sheets_in: int
    sheets_fed: int
    set_up_pulls: int

    @property
    def pulls(self) -> int:
        """Every impression, those of the make-ready too."""
        return self.sheets_fed + self.set_up_pulls


class StepCount(Struct, frozen=True, kw_only=True):
    """Pieces into and out of one step after printing."""

    operation: str
    pieces_in: int
    pieces_out: int
    set_up_pieces: int


class PartCount(Struct, frozen=True, kw_only=True):
    """
    Counts of one part, worked backwards from what the client gets.

    ``sheets`` are press sheets (or ready-cut blanks) taken from stock; ``least_extra`` is what
    the card's least spoilage adds to what the arithmetic asks.
    """

    pieces: int
    pieces_from_press: int
    sheets_good: int
    least_extra: int
    fresh_set_up: int
    sheets: int
    passes: tuple[PassCount, ...]
    steps: tuple[StepCount, ...]

    def carried_out(self, place: int) -> int:
        """Sheets out of a pass where no more spoil than must be reckoned with: the least spoilage's among them."""
        return self.passes[place].sheets_out + self.least_extra

    @property
    def spoilage(self) -> int:
        """Sheets that do not reach the client."""
        return self.sheets - self.sheets_good
