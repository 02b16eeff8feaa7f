"""Sorts: whether the case has the letters, for everything that stands at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from msgspec import Struct

from quoting.shop import Fount
from quoting.wording.widths import SPACES, FountWidths

MOST_COUNTED = 1000
MOST_REORDERED = 8


class StandIn(Struct, frozen=True):
    """A sort that the card names in place of another, and how many of it the case can spare."""

    sort: str
    spare: int


class Short(Struct, frozen=True, kw_only=True):
    """A sort that the case has too few of."""

    fount: str
    sort: str
    wanted: int
    owned: int
    stand_ins: tuple[StandIn, ...] = ()

    @property
    def by(self) -> int:
        """How many are wanting."""
        return self.wanted - self.owned

    def __str__(self) -> str:
        told = f"{self.sort} by {self.by}"
        if not self.stand_ins:
            return told
        return told + " (" + ", ".join(f"{one.spare} of {one.sort} could stand in" for one in self.stand_ins) + ")"


Sorts = tuple[tuple[str, str, int], ...]
"""Fount, sort and how many: what a form keeps out of the cases while it stands."""


def case_of(fount: Fount) -> dict[str, int]:
    """What the case holds fit to print: the scheme less what is damaged."""
    return {sort: count - fount.damaged.get(sort, 0) for sort, count in fount.scheme.items()}


def counts_sorts(fount: Fount) -> bool:
    """Whether the card counts the fount's sorts at all."""
    return bool(fount.scheme)


def counts_spaces(fount: Fount) -> bool:
    """Whether the card counts the fount's spaces too."""
    return any(_is_space(sort, fount) for sort in fount.scheme)


def _is_space(sort: str, fount: Fount) -> bool:
    return sort in SPACES or sort in fount.spaces


def counted_in(wanted: Mapping[str, int], fount: Fount) -> Counter[str]:
    """What of ``wanted`` is held to the scheme: every character; spaces only where the scheme counts them."""
    return Counter(
        {sort: count for sort, count in wanted.items() if not _is_space(sort, fount) or sort in fount.scheme}
    )


def unpicked(wanted: Mapping[str, int], fount: Fount) -> Counter[str]:
    """The same letters with the ligatures that the case lacks set as shorter ones, or as single letters."""
    case = case_of(fount)
    found = Counter(wanted)
    shorter = sorted(fount.ligatures, key=len, reverse=True)
    for place, ligature in enumerate(shorter):
        lacking = found[ligature] - case.get(ligature, 0)
        if lacking > 0:
            found[ligature] -= lacking
            for sort in _parted(ligature, shorter[place + 1 :]):
                found[sort] += lacking
    return +found


def _parted(ligature: str, shorter: Sequence[str]) -> Iterator[str]:
    place = 0
    while place < len(ligature):
        sort = next((one for one in shorter if ligature.startswith(one, place)), ligature[place])
        yield sort
        place += len(sort)


def made_up(wanted: Mapping[str, int], fount: Fount) -> Counter[str]:
    """
    The same whites with the spaces that the case lacks made up of others, the widest first.

    Each by the fewest that can be spared; what cannot be made up stays wanting.
    """
    case = case_of(fount)
    found = Counter(wanted)
    if not any(count > case.get(sort, 0) for sort, count in found.items() if _is_space(sort, fount)):
        return found
    spaces = {name: wide for name, wide in FountWidths(fount).spaces.items() if name in case}
    for name, wide in spaces.items():
        while found[name] > case[name]:
            spare = {one: case[one] - found[one] for one in spaces if one != name}
            pieces = _fewest(wide, spaces, spare)
            if not pieces:
                break
            times = min(found[name] - case[name], *(spare[one] // count for one, count in pieces.items()))
            found[name] -= times
            found.update({one: count * times for one, count in pieces.items()})
    return found


def _fewest(wide: int, spaces: Mapping[str, int], spare: Mapping[str, int]) -> Counter[str]:
    """The fewest spare spaces that fill a width exactly; none where they cannot."""
    best: dict[int, list[str]] = {0: []}
    for name, count in spare.items():
        for _ in range(min(count, wide // spaces[name])):
            for filled, pieces in list(best.items()):
                longer = filled + spaces[name]
                if longer <= wide and len(pieces) + 1 < len(best.get(longer, range(wide + 2))):
                    best[longer] = [*pieces, name]
    return Counter(best.get(wide, ()))


def shortages(wanted: Mapping[str, int], name: str, fount: Fount, *, stand_ins: bool = False) -> tuple[Short, ...]:
    """
    What a case is short of, each with what the card lets stand in for it.

    Args:
        stand_ins: Whether they do stand in, in the way that leaves least wanting; else they are only told.
    """
    if not counts_sorts(fount):
        return ()
    case = case_of(fount)
    needed = made_up(unpicked(counted_in(wanted, fount), fount), fount)
    held = _shared_out(needed, case, fount.alternates if stand_ins else {})
    spare = {sort: owned - needed[sort] for sort, owned in case.items()}
    found = []
    for sort in sorted(needed):
        lacking = needed[sort] - held[sort]
        if lacking <= 0:
            continue
        could = () if stand_ins else fount.alternates.get(sort, ())
        told = tuple(StandIn(one, spare[one]) for one in could if spare[one] > 0)
        found.append(Short(fount=name, sort=sort, wanted=needed[sort], owned=needed[sort] - lacking, stand_ins=told))
    return tuple(found)


def _shared_out(
    needed: Mapping[str, int], case: Mapping[str, int], alternates: Mapping[str, Sequence[str]]
) -> dict[str, int]:
    """
    How many of each sort wanted the case serves, by itself or what may stand in: as many in all as can be.

    The greatest flow from the case to the wording, by shortest augmenting paths: what stands in for one may be
    given up to another that has nothing else.
    """
    held = {sort: min(count, case.get(sort, 0)) for sort, count in needed.items()}
    if not alternates:
        return held
    given = {sort: Counter({sort: count}) for sort, count in held.items()}
    left = {sort: count - held.get(sort, 0) for sort, count in case.items()}
    for sort in sorted(needed):
        while held[sort] < needed[sort]:
            path = _path(sort, given, left, alternates)
            if path is None:
                break
            _passed_on(path, given, left, most=needed[sort] - held[sort])
            held[sort] = given[sort].total()
    return held


# A sort that is wanted, and what serves it instead: the last of these is one that the case can spare.
Handed = tuple[str, str]


def _path(
    sort: str, given: Mapping[str, Counter[str]], left: Mapping[str, int], alternates: Mapping[str, Sequence[str]]
) -> list[Handed] | None:
    """Who takes what from whom, so that the case gives one more; None where it cannot."""
    reached: dict[str, list[Handed]] = {sort: []}
    waiting = [sort]
    for taker in waiting:
        for one in (taker, *alternates.get(taker, ())):
            way = [*reached[taker], (taker, one)]
            if left.get(one, 0) > 0:
                return way
            for other, serving in given.items():
                if serving[one] > 0 and other not in reached:
                    reached[other] = way
                    waiting.append(other)
    return None


def _passed_on(path: Sequence[Handed], given: Mapping[str, Counter[str]], left: dict[str, int], *, most: int) -> None:
    """Move as many along a path as all of it allows."""
    givers = list(pairwise(path))
    some = min([most, left[path[-1][1]], *(given[giver][one] for (_, one), (giver, _) in givers)])
    for (taker, one), (giver, _) in givers:
        given[taker][one] += some
        given[giver][one] -= some
    taker, one = path[-1]
    given[taker][one] += some
    left[one] -= some


def greatest_number_up(wanted: Mapping[str, int], fount: Fount, *, stand_ins: bool = False) -> int | None:
    """How many copies of a wording the case sets at once, up to 1,000; None where nothing limits it."""
    held = counted_in(wanted, fount)
    if not counts_sorts(fount) or not held:
        return None
    least, most = 0, MOST_COUNTED
    while least < most:
        middle = (least + most + 1) // 2
        copies = {sort: count * middle for sort, count in held.items()}
        if shortages(copies, "", fount, stand_ins=stand_ins):
            most = middle - 1
        else:
            least = middle
    return least


def as_sorts(wanted: Mapping[str, Mapping[str, int]]) -> Sorts:
    """Counts by fount as they are kept on a form, in a written order."""
    return tuple(
        (name, sort, count) for name in sorted(wanted) for sort, count in sorted(wanted[name].items()) if count
    )


def added(kept: Iterable[Sorts], *, times: int = 1) -> Sorts:
    """What several forms keep out of the cases together, each standing so often."""
    total: dict[str, Counter[str]] = {}
    for sorts in kept:
        for name, sort, count in sorts:
            total.setdefault(name, Counter())[sort] += count * times
    return as_sorts(total)


def most_of(kept: Iterable[Sorts]) -> Sorts:
    """The most of each sort that any of several versions wants, where one follows another."""
    total: dict[str, Counter[str]] = {}
    for sorts in kept:
        for name, sort, count in sorts:
            mine = total.setdefault(name, Counter())
            mine[sort] = max(mine[sort], count)
    return as_sorts(total)


def by_fount(kept: Sorts) -> dict[str, dict[str, int]]:
    """What is kept, fount by fount."""
    found: dict[str, dict[str, int]] = {}
    for name, sort, count in kept:
        mine = found.setdefault(name, {})
        mine[sort] = mine.get(sort, 0) + count
    return found


def short_of(kept: Sorts, founts: Mapping[str, Fount], *, stand_ins: bool = False) -> tuple[Short, ...]:
    """What the cases are short of for forms that stand at once."""
    return tuple(
        short
        for name, wanted in by_fount(kept).items()
        for short in shortages(wanted, founts[name].name, founts[name], stand_ins=stand_ins)
    )


def settings_of(
    pieces: Sequence[Sorts], founts: Mapping[str, Fount], *, stand_ins: bool = False
) -> tuple[tuple[int, ...], ...] | None:
    """
    Pieces of work parted into settings that the cases can hold one after another, in their order.

    Each setting takes what still goes in: set, print, distribute, set again.

    Returns:
        The places of the pieces of each setting; None where a piece alone is more than the case.
    """

    def goes_in(places: Sequence[int]) -> bool:
        return not short_of(added(pieces[place] for place in places), founts, stand_ins=stand_ins)

    return in_order(len(pieces), goes_in)


GoesIn = Callable[[Sequence[int]], bool]
Settings = tuple[tuple[int, ...], ...]


def in_order(number: int, goes_in: GoesIn) -> Settings | None:
    """So many pieces in the fewest settings that keep their order; None where one alone does not go in."""
    found = []
    start = 0
    while start < number:
        if not goes_in([start]):
            return None
        end = _furthest(start, number, goes_in)
        found.append(tuple(range(start, end)))
        start = end
    return tuple(found)


def _furthest(start: int, number: int, goes_in: GoesIn) -> int:
    """Where a setting that begins at ``start`` ends: in strides that double, then by halves."""
    least, stride = start + 1, 1
    while least + stride <= number and goes_in(range(start, least + stride)):
        least, stride = least + stride, 2 * stride
    most = min(number, least + stride - 1)
    while least < most:
        middle = (least + most + 1) // 2
        if goes_in(range(start, middle)):
            least = middle
        else:
            most = middle - 1
    return least


def fewest_settings(number: int, goes_in: GoesIn) -> Settings | None:
    """
    So many pieces in the fewest settings: in their order unless another takes fewer.

    Other orders are tried, all of them, for up to ``MOST_REORDERED`` pieces.
    """
    found = in_order(number, goes_in)
    if found is None or len(found) <= 2 or number > MOST_REORDERED:  # two are the least where one is too few
        return found
    whole = (1 << number) - 1
    groups = {mask: tuple(place for place in range(number) if mask >> place & 1) for mask in range(1, whole + 1)}
    held = [mask for mask, places in groups.items() if goes_in(places)]
    best: dict[int, tuple[int, ...]] = {0: ()}
    for mask in range(1, whole + 1):
        first = mask & -mask
        ways = [(one, *best[mask ^ one]) for one in held if one & first and one & mask == one]
        best[mask] = min(ways, key=lambda way: (len(way), [groups[one] for one in way]))
    return tuple(groups[one] for one in best[whole]) if len(best[whole]) < len(found) else found
