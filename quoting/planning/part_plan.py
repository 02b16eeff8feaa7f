"""A way to make one part: press, press sheet, number up, imposition, passes."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.bench.composing import Setting
from quoting.presswork import Imposition, Pass


class FormWork(Struct, frozen=True, kw_only=True):
    """What it takes to make the form of one pass: settings or plates, and how often it changes."""

    label: str
    copies: int
    setting: Setting | None = None
    supplier: str | None = None
    plate_width_mm: Decimal = Decimal(0)
    plate_height_mm: Decimal = Decimal(0)
    plates: int = 0
    needs_artwork: int = 0
    needs_design: int = 0
    stands: bool = False
    changes: int = 0
    changed_lines: int = 0


class PartPlan(Struct, frozen=True, kw_only=True):
    """
    One way to make one part.

    ``across`` by ``down`` pieces stand on a press sheet; ``sheets_a_parent`` press sheets come
    out of a parent sheet (1 for ready-cut blanks, which never meet the knife). Ganged, all versions
    stand on it together, each as often; else one version is printed after the other.
    """

    item: int
    part: int
    label: str
    stock: str
    press: str
    imposition: Imposition
    across: int
    down: int
    sheet_width_mm: Decimal
    sheet_height_mm: Decimal
    sheets_a_parent: int
    cuts_to_size: int
    settings_to_size: int
    cuts_to_pieces: int
    settings_to_pieces: int
    copies: int
    versions_together: int
    passes: tuple[Pass, ...]
    forms: tuple[FormWork, ...]
    warnings: tuple[str, ...] = ()

    @property
    def number_up(self) -> int:
        """Pieces on a press sheet."""
        return self.across * self.down

    def printed(self, order: tuple[int, ...]) -> PartPlan:
        """The plan with its passes in the order in which they are printed, by their places."""
        if order == tuple(range(len(self.passes))):
            return self
        return replace(self, passes=tuple(self.passes[place] for place in order))

    @property
    def order(self) -> tuple[str, str, int, int, Decimal]:
        """The written order by which ties fall: press, imposition, fewest up, then sheet."""
        return (self.press, self.imposition, self.number_up, self.across, self.sheet_width_mm)
