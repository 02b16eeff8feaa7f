"""Plans that cannot be made, each with why: put into words only where somebody asks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.numbers import plain
from quoting.planning.part_plan import PartPlan
from quoting.presswork import Imposition

EVERY_PRESS = "every press"
RULE, SHEET, LAID, FORM, FORCE, CASE, PARENT = range(7)
"""What a plan is asked in turn: how the sheet is turned, what is fed, how it lies, form, force, case, parent."""


class Refusal(Struct, frozen=True):
    """
    Why a plan cannot be, and the way round: a sentence with braces, and what goes into them.

    ``asked`` is the question that it failed; the later, the nearer it came.
    """

    sentence: str
    found: tuple[object, ...] = ()
    asked: int = RULE

    def __str__(self) -> str:
        return self.sentence.format(*(_shown(value) for value in self.found))


class Refused(Struct, frozen=True, kw_only=True):
    """A plan that cannot be made: a press, how it is imposed, which grid; without them, whatever they are."""

    press: str | None
    press_name: str
    why: Refusal
    imposition: Imposition | None = None
    across: int = 0
    down: int = 0

    @property
    def number_up(self) -> int:
        """Pieces on the sheet; 0 where none was looked at."""
        return self.across * self.down

    @property
    def way(self) -> str:
        """The way that is refused."""
        return _way(self, str(self.number_up) if self.number_up else "")


def told_by_way(refused: Sequence[Refused], plans: Iterable[PartPlan]) -> dict[str, str]:
    """
    Every refusal by its way, a sentence each.

    Of several grids of as many pieces the one that came nearest speaks; where another grid of them can be
    printed, each is told by its grid. Numbers up that one rule or the size of the sheet refuses are told
    together, in the words of the fewest.
    """
    printable = {(plan.press, plan.imposition, plan.number_up) for plan in plans}
    told: dict[str, str] = {}
    for ways in _by_number(refused):
        alike: dict[str, list[Refused]] = {}
        for grids in ways:
            if (grids[0].press, grids[0].imposition, grids[0].number_up) in printable:
                told.update({f"{one.way} as {one.across} x {one.down}": str(one.why) for one in grids})
                continue
            nearest = min(grids, key=_distance)
            if nearest.number_up and nearest.why.asked <= SHEET:
                alike.setdefault(nearest.why.sentence, []).append(nearest)
            else:
                told[nearest.way] = str(nearest.why)
        for together in alike.values():
            numbers = _numbers_told([one.number_up for one in together])
            told[_way(together[0], numbers)] = str(together[0].why)
    return told


def nearest_misses(refused: Iterable[Refused]) -> dict[str, str]:
    """Of each press the way that came nearest, and what it failed."""
    by_press: dict[str, list[Refused]] = {}
    for one in refused:
        by_press.setdefault(one.press_name, []).append(one)
    nearest = [min(some, key=_distance) for some in by_press.values()]
    return {one.way: str(one.why) for one in nearest}


def _shown(value: object) -> str:
    return plain(value) if isinstance(value, Decimal) else str(value)


def _way(one: Refused, numbers: str) -> str:
    named = [one.press_name, *([one.imposition] if one.imposition else []), *([f"{numbers} up"] if numbers else [])]
    return ", ".join(named)


def _distance(one: Refused) -> tuple[int, int, int]:
    """How far from a plan that can be: fewest questions passed last, then fewest up, then the squarest grid."""
    return -one.why.asked, one.number_up, abs(one.across - one.down)


def _by_number(refused: Iterable[Refused]) -> Iterator[list[list[Refused]]]:
    """Press by press and imposition by imposition, the grids of each number up."""
    found: dict[tuple[str, str | None], dict[int, list[Refused]]] = {}
    for one in refused:
        ways = found.setdefault((one.press_name, one.imposition), {})
        ways.setdefault(one.number_up, []).append(one)
    for ways in found.values():
        yield [ways[number] for number in sorted(ways)]


def _numbers_told(numbers: Collection[int]) -> str:
    """Rising numbers as a person says them: 1, 3 and 5 to 8."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    said = [str(number) for run in runs for number in run] if max(map(len, runs)) < 3 else [_run(run) for run in runs]
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)


def _run(numbers: Sequence[int]) -> str:
    return str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"
