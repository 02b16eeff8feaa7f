"""
Sittings: the order of passes on one press, and where a day ends, so that ink and washing cost least.

A press starts and ends each sitting clean. Within a sitting a wash is paid between unlike inks
and to a clean press at its end; an inking is paid whenever an ink comes onto the press. The
least cost is exact up to ``MOST_EXACT`` passes: over all orders, and over all ways to part them
into sittings. Beyond that, passes are taken one by one, each time the one that adds least.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache

from msgspec import Struct

from quoting.bench.washing_up import CLEAN

MOST_EXACT = 8


class Stint(Struct, frozen=True):
    """
    One pass as the order of passes sees it.

    ``sheet`` names the part that it prints; ``after`` the stints that must come before it;
    ``wet``: nothing else may be printed on the same sheet in the same sitting after it.
    """

    ink: str
    sheet: int
    wet: bool
    after: tuple[int, ...]


class WashCosts(Struct, frozen=True):
    """
    What a wash costs by (before, after), and an inking by ink, in whole parts of the money.

    Whole, so that orders that cost the same are told to. Hashable, so that orders are remembered.
    """

    washes: tuple[tuple[str, str, Decimal], ...]
    inkings: tuple[tuple[str, Decimal], ...]


class Sitting(Struct, frozen=True):
    """One sitting: its stints in order."""

    stints: tuple[int, ...]


@lru_cache(maxsize=4096)
def best_sittings(stints: tuple[Stint, ...], costs: WashCosts) -> tuple[Sitting, ...]:
    """The sittings that cost least; ties go to fewer sittings, then to the earlier stints first."""
    washes = {(before, after): cost for before, after, cost in costs.washes}
    inkings = dict(costs.inkings)
    if len(stints) > MOST_EXACT:
        return _one_by_one(stints, washes, inkings)
    return _exactly(stints, washes, inkings)


def _exactly(
    stints: tuple[Stint, ...], washes: Mapping[tuple[str, str], Decimal], inkings: Mapping[str, Decimal]
) -> tuple[Sitting, ...]:
    """Least cost of a sitting for every set it may hold after every set already done; then the best parting."""
    everything = (1 << len(stints)) - 1
    if stints and not any(stint.wet for stint in stints):
        return (Sitting(_one_sitting(stints, 0, washes, inkings)[everything][1]),)
    best: dict[int, tuple[Decimal, int, tuple[tuple[int, ...], ...]]] = {0: (Decimal(0), 0, ())}
    for done in range(everything + 1):
        if done not in best:
            continue
        cost, count, sittings = best[done]
        for held, (added, order) in _one_sitting(stints, done, washes, inkings).items():
            found = (cost + added, count + 1, (*sittings, order))
            after = done | held
            if after not in best or found < best[after]:
                best[after] = found
    return tuple(Sitting(order) for order in best[everything][2])


def _one_sitting(
    stints: tuple[Stint, ...],
    done: int,
    washes: Mapping[tuple[str, str], Decimal],
    inkings: Mapping[str, Decimal],
) -> dict[int, tuple[Decimal, tuple[int, ...]]]:
    """For every set of stints that one sitting may hold after ``done``: its least cost and order."""
    paths: dict[tuple[int, int], tuple[Decimal, tuple[int, ...]]] = {}
    for place, stint in enumerate(stints):
        if not done >> place & 1 and _allowed(stints, place, done, 0):
            paths[1 << place, place] = (inkings[stint.ink], (place,))
    ends: dict[int, tuple[Decimal, tuple[int, ...]]] = {}
    frontier = dict(paths)
    while frontier:
        longer: dict[tuple[int, int], tuple[Decimal, tuple[int, ...]]] = {}
        for (held, last), (cost, order) in frontier.items():
            end = (cost + washes[stints[last].ink, CLEAN], order)
            if held not in ends or end < ends[held]:
                ends[held] = end
            for place, stint in enumerate(stints):
                if (done | held) >> place & 1 or not _allowed(stints, place, done, held):
                    continue
                step = (cost + _change(stints[last].ink, stint.ink, washes, inkings), (*order, place))
                key = (held | 1 << place, place)
                if key not in longer or step < longer[key]:
                    longer[key] = step
        frontier = longer
    return ends


def _change(
    before: str, after: str, washes: Mapping[tuple[str, str], Decimal], inkings: Mapping[str, Decimal]
) -> Decimal:
    return Decimal(0) if before == after else washes[before, after] + inkings[after]


def _allowed(stints: tuple[Stint, ...], place: int, done: int, held: int) -> bool:
    """Whether what must come before has come, and no wet pass of the same sheet is in this sitting."""
    stint = stints[place]
    if any(not (done | held) >> before & 1 for before in stint.after):
        return False
    return not any(held >> other & 1 and one.wet and one.sheet == stint.sheet for other, one in enumerate(stints))


def _one_by_one(
    stints: tuple[Stint, ...], washes: Mapping[tuple[str, str], Decimal], inkings: Mapping[str, Decimal]
) -> tuple[Sitting, ...]:
    """Each time the allowed stint that adds least; a new sitting where none is allowed."""
    done, held = 0, 0
    sittings: list[list[int]] = [[]]
    everything = (1 << len(stints)) - 1
    while done | held != everything:
        open_places = [
            place
            for place in range(len(stints))
            if not (done | held) >> place & 1 and _allowed(stints, place, done, held)
        ]
        if not open_places:
            done, held = done | held, 0
            sittings.append([])
            continue
        last = stints[sittings[-1][-1]].ink if sittings[-1] else CLEAN
        chosen = min(
            open_places,
            key=lambda place: (
                inkings[stints[place].ink] if last == CLEAN else _change(last, stints[place].ink, washes, inkings),
                place,
            ),
        )
        sittings[-1].append(chosen)
        held |= 1 << chosen
    return tuple(Sitting(tuple(order)) for order in sittings if order)
