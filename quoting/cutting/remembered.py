"""The cheap form for a planner: count, cuts and settings, worked out once for each sheet and piece."""

from __future__ import annotations

from functools import lru_cache

from msgspec import Struct

from quoting.cutting.arranging import Ask, arranged


class Cutting(Struct, frozen=True):
    """What a planner needs to know of a layout."""

    count: int
    cuts: int
    settings: int


@lru_cache(maxsize=4096)  # 1 kB each
def cutting_for(
    sheet: tuple[int, int],
    piece: tuple[int, int],
    *,
    gap: int = 0,
    trim: int = 0,
    ways: tuple[bool, ...] = (False, True),
    blade: int = 0,
) -> Cutting:
    """
    Count, cuts and settings for one sheet, in whole numbers of any one unit; remembered.

    Args:
        sheet: Width and height.
        piece: Width and height.
        gap: Between neighbours; 0 for common cuts.
        trim: Off every edge of the sheet before anything else.
        ways: Ways round a piece may lie: as given (``False``), turned (``True``).
        blade: Longest cut; 0 for no limit.
    """
    edges = (trim, trim)
    ask = Ask(sheet, edges, edges, piece, gap, ways, blade or max(sheet))
    found = arranged(ask)
    return Cutting(found.pieces, found.work.cuts, found.work.settings)
