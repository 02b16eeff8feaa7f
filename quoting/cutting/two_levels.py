"""Parent sheet, press sheets, pieces: every press sheet that can be the cheapest, and no other."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import NamedTuple

from msgspec import Struct

from quoting.cutting.counting import count_out
from quoting.cutting.grain import Grain, GrainWanted, runs_across
from quoting.cutting.partitions import reachable_lengths
from quoting.cutting.remembered import cutting_for
from quoting.cutting.shapes import Margins, Rectangle, Sides
from quoting.cutting.whole_units import WholeUnits, in_whole_units
from quoting.errors import Fault, MeasureError

MOST_PRESS_SHEETS = 40_000
_MOST_TIES = 6
_BOTH = (False, True)


class Limits(Struct, frozen=True):
    """
    What a press and a stock allow a press sheet to be.

    Widths lie across the press, heights with the feed, the gripper at the head. Pieces are tried both
    ways round, which is the same as feeding the sheet by its other side.

    Attributes:
        least: Smallest sheet that the press feeds.
        greatest: Largest sheet that it feeds.
        chase: What the form must lie in, bleed included.
        margins: What must stay empty at each side of the press sheet.
        bleed_mm: What prints over the trimmed edge, all round a piece. [mm]
        gap_mm: Between trimmed edges of neighbours. [mm]
        mill_trim_mm: Off every edge of the parent before it is cut. [mm]
        parent_grain: Which side of the parent its grain runs along.
        piece_grain: Which side of the piece it must run along.
        blade_mm: Longest cut that the cutter makes. [mm]
    """

    least: Rectangle
    greatest: Rectangle
    chase: Rectangle
    margins: Margins = Margins()
    bleed_mm: Decimal = Decimal(0)
    gap_mm: Decimal = Decimal(0)
    mill_trim_mm: Decimal = Decimal(0)
    parent_grain: Grain = "none"
    piece_grain: GrainWanted = "any"
    blade_mm: Decimal | None = None


class PressSheet(Struct, frozen=True):
    """
    A press sheet: pieces on it and how many of it come out of a parent.

    ``width_mm`` and ``height_mm`` are as large as ``per_parent`` allows, ``least_...`` as small as the
    pieces do. ``across`` times ``down`` pieces lie in a grid; both are 0 where the pieces are ``mixed``,
    some given, some turned, with mixed grain. ``cuts`` and ``settings`` are those of one parent.
    """

    up: int
    across: int
    down: int
    pieces_turned: bool
    mixed: bool
    per_parent: int
    sheet_ways: tuple[bool, ...]
    width_mm: Decimal
    height_mm: Decimal
    least_width_mm: Decimal
    least_height_mm: Decimal
    cuts: int
    settings: int


class PressSheets(Struct, frozen=True):
    """
    For each number up the press sheet of which most come out of a parent, fewest up first.

    ``grids_only`` says that pieces both ways round on one sheet were not tried though grain allows
    them, there being too many such sheets.
    """

    candidates: tuple[PressSheet, ...]
    looked_at: int
    grids_only: bool


class _Tried(NamedTuple):
    per_parent: int
    unmixed: bool
    wide: int
    high: int
    across: int
    down: int
    turned: bool
    ways: tuple[bool, ...]


class _Job(NamedTuple):
    """The whole question in whole units."""

    parent: tuple[int, int]
    trim: int
    blade: int
    piece: tuple[int, int]
    gap: int
    least: tuple[int, int]
    greatest: tuple[int, int]
    chase: tuple[int, int]
    round_form: tuple[int, int]
    bleed: int

    def step(self, turned: bool) -> tuple[int, int]:
        wide, high = self.piece[::-1] if turned else self.piece
        return wide + self.gap, high + self.gap

    def side_for(self, way: int, pieces_long: int) -> int:
        """The least side of a press sheet for pieces and gaps that long, and nothing at all outside."""
        side = max(self.least[way], self.round_form[way] - self.gap + pieces_long)
        form = pieces_long - self.gap + 2 * self.bleed
        return side if side <= self.greatest[way] and form <= self.chase[way] else 0

    def room(self, way: int) -> int:
        """The most that pieces and gaps may take on any press sheet."""
        outside = self.gap - self.round_form[way]
        return min(self.greatest[way] + outside, self.chase[way] - 2 * self.bleed + self.gap)

    def per_parent(self, wide: int, high: int, ways: tuple[bool, ...]) -> int:
        if max(self.parent) > self.blade:
            sheet = (wide, high)
            return cutting_for(self.parent, sheet, trim=self.trim, ways=ways, blade=self.blade).count
        room_wide, room_high = (side - 2 * self.trim for side in self.parent)
        if len(ways) == 2:
            return count_out(room_wide, room_high, wide, high)
        wide, high = (high, wide) if ways[0] else (wide, high)
        return (room_wide // wide) * (room_high // high)


def press_sheet_candidates(parent: Sides, piece: Sides, limits: Limits) -> PressSheets:
    """
    The press sheets worth a price: for each number up, the one of which a parent yields most.

    The number up changes only where another piece just fits, and no larger sheet yields more from a
    parent: so the least sheet for each combination of pieces is tried, and no other. Of equals the one
    that is not mixed is kept, then the one with fewest cuts and settings; then it is enlarged, width
    first, as far as the yield allows.

    Grain goes through both levels: where it is stated of parent and piece, a press sheet whose pieces
    lie turned must itself lie the other way in the parent.

    Raises:
        MeasureError: a measure that cannot be, or over 40,000 grids to try.
    """
    units, job = _job(parent, piece, limits)
    free = limits.parent_grain == "none" or limits.piece_grain == "any"
    tried = list(_grids(job, None if free else _odd_turns(parent, piece, limits)))
    mixable = free and piece.width_mm != piece.height_mm
    grids_only = mixable and _mixed_number(job) > MOST_PRESS_SHEETS
    if mixable and not grids_only:
        tried += _mixed(job)
    best = _best_by_number(tried)
    candidates = tuple(_finished(job, up, best[up], units) for up in sorted(best))
    return PressSheets(candidates, len(tried), grids_only)


def _odd_turns(parent: Sides, piece: Sides, limits: Limits) -> bool:
    """Whether an odd number of quarter turns lies between the parent and a piece as they are given."""
    return runs_across(parent, limits.parent_grain) != runs_across(piece, limits.piece_grain)


def _job(parent: Sides, piece: Sides, limits: Limits) -> tuple[WholeUnits, _Job]:
    pairs = {"parent": parent, "piece": piece, "greatest sheet": limits.greatest, "chase": limits.chase}
    sides = {f"{name} width": pair.width_mm for name, pair in pairs.items()}
    sides |= {f"{name} height": pair.height_mm for name, pair in pairs.items()}
    if limits.blade_mm is not None:
        sides["blade"] = limits.blade_mm
    units, whole = in_whole_units(sides, _allowances(limits))

    def pair(name: str) -> tuple[int, int]:
        return whole[f"{name} width"], whole[f"{name} height"]

    _check(whole, units)
    bleeds = 2 * whole["bleed"]
    across, down = whole["left"] + whole["right"] + bleeds, whole["gripper"] + whole["tail"] + bleeds
    job = _Job(
        parent=pair("parent"),
        trim=whole["mill trim"],
        blade=whole.get("blade", max(pair("parent"))),
        piece=pair("piece"),
        gap=whole["gap"],
        least=pair("least sheet"),
        greatest=pair("greatest sheet"),
        chase=pair("chase"),
        round_form=(across, down),
        bleed=whole["bleed"],
    )
    return units, job


def _allowances(limits: Limits) -> dict[str, Decimal]:
    margins = limits.margins
    return {
        "least sheet width": limits.least.width_mm,
        "least sheet height": limits.least.height_mm,
        "left": margins.left_mm,
        "right": margins.right_mm,
        "gripper": margins.gripper_mm,
        "tail": margins.tail_mm,
        "bleed": limits.bleed_mm,
        "gap": limits.gap_mm,
        "mill trim": limits.mill_trim_mm,
    }


def _check(whole: dict[str, int], units: WholeUnits) -> None:
    if whole["gap"] < 2 * whole["bleed"]:
        expected = f"at least twice the bleed of {units.mm(whole['bleed'])} mm"
        raise MeasureError([Fault("gap", expected, f"{units.mm(whole['gap'])} mm")])
    if 2 * whole["mill trim"] >= min(whole["parent width"], whole["parent height"]):
        raise MeasureError([Fault("mill trim", "less than half the parent", f"{units.mm(whole['mill trim'])} mm")])


def _grids(job: _Job, odd_turns: bool | None) -> Iterator[_Tried]:
    """Every grid of pieces one way round; ``odd_turns`` is the turns that grain asks for, if it does."""
    for turned in _BOTH if job.piece[0] != job.piece[1] or odd_turns is not None else (False,):
        ways = _BOTH if odd_turns is None else (odd_turns != turned,)
        wide_step, high_step = job.step(turned)
        across, down = max(0, job.room(0)) // wide_step, max(0, job.room(1)) // high_step
        if across * down > MOST_PRESS_SHEETS:
            raise MeasureError([Fault("press sheets", f"at most {MOST_PRESS_SHEETS}", str(across * down))])
        for i in range(1, across + 1):
            for j in range(1, down + 1):
                wide, high = job.side_for(0, i * wide_step), job.side_for(1, j * high_step)
                yield _Tried(job.per_parent(wide, high, ways), True, wide, high, i, j, turned, ways)


def _mixed_number(job: _Job) -> int:
    sides = [len(range(0, max(0, job.room(way)), step)) for way in (0, 1) for step in job.step(False)]
    return sides[0] * sides[1] * sides[2] * sides[3] // 4


def _mixed(job: _Job) -> Iterator[_Tried]:
    """Sheets whose sides are sums of widths and heights, pieces on them either way round."""
    one, other = job.step(False)
    widths, heights = (
        reachable_lengths(max(0, job.room(way)), max(one, other), min(one, other))[1:] for way in (0, 1)
    )
    for pieces_wide in widths:
        for pieces_high in heights:
            up = count_out(pieces_wide, pieces_high, one, other)
            if up:
                wide, high = job.side_for(0, pieces_wide), job.side_for(1, pieces_high)
                yield _Tried(job.per_parent(wide, high, _BOTH), False, wide, high, up, 1, False, _BOTH)


def _best_by_number(tried: list[_Tried]) -> dict[int, list[_Tried]]:
    """By number up, the sheets of which a parent yields most; one way round where that yields as many."""
    best: dict[int, list[_Tried]] = {}
    for sheet in tried:
        up = sheet.across * sheet.down
        kept = best.setdefault(up, [sheet])
        rank, kept_rank = (sheet.per_parent, sheet.unmixed), (kept[0].per_parent, kept[0].unmixed)
        if rank > kept_rank:
            best[up] = [sheet]
        elif rank == kept_rank and sheet is not kept[0] and len(kept) < _MOST_TIES:
            kept.append(sheet)
    return {up: sheets for up, sheets in best.items() if sheets[0].per_parent}


def _finished(job: _Job, up: int, ties: list[_Tried], units: WholeUnits) -> PressSheet:
    """The tie that is cut with least work, enlarged."""
    choices = []
    for tie in ties:
        wide, high = _enlarged(job, tie)
        work = cutting_for(job.parent, (wide, high), trim=job.trim, ways=tie.ways, blade=job.blade)
        choices.append((work.cuts, work.settings, -wide * high, tie.turned, wide, high, tie))
    cuts, settings, _, _, wide, high, tie = min(choices)
    return PressSheet(
        up=up,
        across=tie.across if tie.unmixed else 0,
        down=tie.down if tie.unmixed else 0,
        pieces_turned=tie.turned,
        mixed=not tie.unmixed,
        per_parent=tie.per_parent,
        sheet_ways=tie.ways,
        width_mm=units.mm(wide),
        height_mm=units.mm(high),
        least_width_mm=units.mm(tie.wide),
        least_height_mm=units.mm(tie.high),
        cuts=cuts,
        settings=settings,
    )


def _enlarged(job: _Job, tie: _Tried) -> tuple[int, int]:
    wide = _greatest(job, tie.wide, job.greatest[0], tie, lambda side: (side, tie.high))
    high = _greatest(job, tie.high, job.greatest[1], tie, lambda side: (wide, side))
    return wide, high


def _greatest(job: _Job, least: int, greatest: int, tie: _Tried, sheet: Callable[[int], tuple[int, int]]) -> int:
    """The longest side at which a parent still yields as many: the yield never grows with it."""
    while least < greatest:
        middle = (least + greatest + 1) // 2
        if job.per_parent(*sheet(middle), tie.ways) == tie.per_parent:
            least = middle
        else:
            greatest = middle - 1
    return least
