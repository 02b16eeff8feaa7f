"""``cut_out``: a sheet, a piece and what stands between them, to the layout."""

from __future__ import annotations

from decimal import Decimal

from quoting.cutting.arranging import Arrangement, Ask, arranged, count_in
from quoting.cutting.bounds import best_bound
from quoting.cutting.grain import Grain, GrainWanted, Runs, runs, ways_round
from quoting.cutting.layout import Cut, Direction, Layout, Place, Proof
from quoting.cutting.parts import Part, Stroke, strokes
from quoting.cutting.shapes import Margins, Rectangle, Sides
from quoting.cutting.stages import count_by_stages, steps_by_stages
from quoting.cutting.whole_units import WholeUnits, in_whole_units
from quoting.errors import Fault, MeasureError
from quoting.numbers import plain

MOST_PLACES = 20_000
_STEPS_WORTH_A_PROOF = 20_000


def cut_out(
    sheet: Sides,
    piece: Sides,
    *,
    gap_mm: Decimal = Decimal(0),
    trim_mm: Decimal = Decimal(0),
    margins: Margins = Margins(),  # noqa: B008  # frozen
    bleed_mm: Decimal = Decimal(0),
    turn: bool = True,
    grain: Grain = "none",
    piece_grain: GrainWanted = "any",
    blade_mm: Decimal | None = None,
    strip_least_mm: Decimal = Decimal(0),
) -> Layout:
    """
    The most pieces out of a sheet, with the layout that takes the fewest cuts.

    Ties between layouts fall to fewer cuts, fewer back-gauge settings, one way round, and the larger
    offcut in one piece. Without a gap one cut serves two neighbours; with one there are two cuts.

    Args:
        sheet: Its width and height.
        piece: Its trimmed width and height.
        gap_mm: Between trimmed edges of neighbours; at least twice the bleed. [mm]
        trim_mm: Off every edge of the sheet, as of a mill edge. [mm]
        margins: What stays empty besides, side by side.
        bleed_mm: What prints over a piece's edge, all round. [mm]
        turn: Whether pieces may lie turned, where no grain says otherwise.
        grain: Which side of the sheet its grain runs along; ``none`` where it does not matter.
        piece_grain: Which side of the piece it must run along.
        blade_mm: Longest cut that the cutter makes. [mm]
        strip_least_mm: Thinnest strip that it can cut off between two pieces. [mm]

    Returns:
        The layout; its count is 0 where the piece does not fit.

    Raises:
        MeasureError: a measure that cannot be, a gap over the sheet or too thin to cut, a bleed that
            the gap does not hold, or more places than can be listed.
    """
    sides = _sides(sheet, piece) | ({} if blade_mm is None else {"blade": blade_mm})
    allowances = _allowances(gap_mm, trim_mm, margins, bleed_mm, strip_least_mm)
    units, whole = in_whole_units(sides, allowances)
    _check(whole, units)
    ways = ways_round(sheet, piece, grain, piece_grain)
    ask = _ask(whole, ways if turn or len(ways) == 1 else (False,))
    if count_in(ask, *ask.room) > MOST_PLACES:
        raise MeasureError([Fault("sheet", f"at most {MOST_PLACES} pieces to lay out", "more")])
    found = arranged(ask)
    return _layout(ask, found, units, runs(sheet, grain), whole["strip_least"])


def _sides(sheet: Sides, piece: Sides) -> dict[str, Decimal]:
    return {
        "sheet width": sheet.width_mm,
        "sheet height": sheet.height_mm,
        "piece width": piece.width_mm,
        "piece height": piece.height_mm,
    }


def _allowances(
    gap: Decimal, trim: Decimal, margins: Margins, bleed: Decimal, strip_least: Decimal
) -> dict[str, Decimal]:
    return {
        "gap": gap,
        "trim": trim,
        "left": margins.left_mm,
        "right": margins.right_mm,
        "gripper": margins.gripper_mm,
        "tail": margins.tail_mm,
        "bleed": bleed,
        "strip_least": strip_least,
    }


def _check(whole: dict[str, int], units: WholeUnits) -> None:
    gap, bleed, strip = whole["gap"], whole["bleed"], whole["strip_least"]
    around = 2 * (whole["trim"] + bleed)
    across = around + whole["left"] + whole["right"]
    down = around + whole["gripper"] + whole["tail"]
    shorter = min(whole["sheet width"], whole["sheet height"])
    rules = (
        (gap < shorter, "gap", "less than the sheet's shorter side", gap),
        (gap >= 2 * bleed, "gap", f"at least twice the bleed of {units.mm(bleed)} mm", gap),
        (not gap or gap >= strip, "gap", f"none, or a strip of {units.mm(strip)} mm or more", gap),
        (across < whole["sheet width"], "margins", "less than the sheet's width", across),
        (down < whole["sheet height"], "margins", "less than the sheet's height", down),
    )
    faults = [Fault(where, expected, f"{units.mm(found)} mm") for holds, where, expected, found in rules if not holds]
    if faults:
        raise MeasureError(faults)


def _ask(whole: dict[str, int], ways: tuple[bool, ...]) -> Ask:
    around = whole["trim"] + whole["bleed"]
    sheet = (whole["sheet width"], whole["sheet height"])
    return Ask(
        sheet=sheet,
        near=(around + whole["left"], around + whole["gripper"]),
        far=(around + whole["right"], around + whole["tail"]),
        piece=(whole["piece width"], whole["piece height"]),
        gap=whole["gap"],
        ways=ways,
        blade=whole.get("blade", max(sheet)),
    )


def _layout(
    ask: Ask,
    found: Arrangement,
    units: WholeUnits,
    grain: Runs,
    strip_least: int,
) -> Layout:
    steps = list(strokes(found.root)) if found.root is not None else []
    pieces = [step for step in steps if not isinstance(step, Stroke)]
    slack = _slack(ask, found.mirrored, pieces)
    bound, proof = _proof(ask, found.pieces)
    used = found.pieces * ask.piece[0] * ask.piece[1]
    whole = ask.sheet[0] * ask.sheet[1]
    return Layout(
        sheet=Rectangle(*map(units.mm, ask.sheet)),
        piece=Rectangle(*map(units.mm, ask.piece)),
        count=found.pieces,
        bound=bound,
        proof=proof,
        places=tuple(_place(*piece, found.mirrored, units) for piece in pieces),
        cuts=tuple(_cut(step, found.mirrored, units) for step in steps if isinstance(step, Stroke)),
        settings=found.work.settings,
        mixed=found.mixed,
        waste_mm2=units.mm2(whole - used),
        largest_offcut_mm2=units.mm2(found.work.largest_offcut if found.pieces else whole),
        slack_across_mm=units.mm(slack[0]),
        slack_down_mm=units.mm(slack[1]),
        grain=grain,
        cautions=tuple(_cautions(slack, strip_least)) if found.pieces else (_why_none(ask, bound, units),),
    )


def _place(part: Part, x: int, y: int, mirrored: bool, units: WholeUnits) -> Place:
    x, y, width, height = (y, x, part.height, part.width) if mirrored else (x, y, part.width, part.height)
    mm = units.mm
    return Place(mm(x), mm(y), mm(width), mm(height), bool(part.turned))


def _cut(stroke: Stroke, mirrored: bool, units: WholeUnits) -> Cut:
    part, x, y = stroke.part, stroke.x, stroke.y
    side, start = (part.width, x) if part.upright else (part.height, y)
    at = start + (side - part.gauge if part.keeps_far_side else part.gauge)
    upright = part.upright != mirrored
    x, y, width, height = (y, x, part.height, part.width) if mirrored else (x, y, part.width, part.height)
    mm = units.mm
    direction: Direction = "upright" if upright else "level"
    return Cut(mm(x), mm(y), mm(width), mm(height), direction, mm(at), mm(part.gauge), stroke.setting)


def _slack(ask: Ask, mirrored: bool, pieces: list[tuple[Part, int, int]]) -> tuple[int, int]:
    across = max((x + part.width for part, x, _ in pieces), default=0)
    down = max((y + part.height for part, _, y in pieces), default=0)
    if mirrored:
        across, down = down, across
    used_across = across - ask.near[0] if pieces else 0
    used_down = down - ask.near[1] if pieces else 0
    return ask.room[0] - ask.gap - used_across, ask.room[1] - ask.gap - used_down


def _proof(ask: Ask, count: int) -> tuple[int, Proof]:
    wide, high = ask.room
    if max(ask.sheet) > ask.blade:
        unlimited = count_in(ask, wide, high)
        bound = unlimited if len(ask.ways) == 1 else best_bound(wide, high, *ask.step(False))[0]
        return bound, "the blade's parts, each in three stages"
    if len(ask.ways) == 1:
        return count, "one way round"
    bound, name = best_bound(wide, high, *ask.step(False))
    if bound == count:
        return bound, name
    if steps_by_stages(wide, high, *ask.step(False)) <= _STEPS_WORTH_A_PROOF:
        return max(count, count_by_stages(wide, high, *ask.step(False))), "every pattern"
    return bound, "three stages"


def _why_none(ask: Ask, bound: int, units: WholeUnits) -> str:
    """Why nothing comes out; the bound leaves the blade aside."""
    if bound:
        return f"a blade of {plain(units.mm(ask.blade))} mm is too short for the cuts that a piece takes"
    return "the piece does not fit the sheet"


def _cautions(slack: tuple[int, int], strip_least: int) -> list[str]:
    cautions = []
    for way, left in zip(("across", "down"), slack, strict=True):
        if not left:
            cautions.append(f"an exact fit {way}: no slack for the cutter")
        elif left < strip_least:
            cautions.append(f"the last trim {way} is thinner than the thinnest strip")
    return cautions
