"""Sorts: whether the case has the letters, for everything that stands at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from quoting.shop import Fount
from quoting.wording.widths import SPACES

MOST_COUNTED = 1000


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


def counted_in(wanted: Mapping[str, int], fount: Fount) -> Counter[str]:
    """What of ``wanted`` is held to the scheme: every character; spaces only where the scheme counts them."""
    return Counter({sort: count for sort, count in wanted.items() if sort not in SPACES or sort in fount.scheme})


def unpicked(wanted: Mapping[str, int], fount: Fount) -> Counter[str]:
    """The same letters with the ligatures that the case lacks set as single letters."""
    case = case_of(fount)
    found = Counter(wanted)
    for ligature in fount.ligatures:
        lacking = found[ligature] - case.get(ligature, 0)
        if lacking > 0:
            found[ligature] -= lacking
            for letter in ligature:
                found[letter] += lacking
    return +found


def shortages(wanted: Mapping[str, int], name: str, fount: Fount, *, stand_ins: bool = False) -> tuple[Short, ...]:
    """
    What a case is short of, each with what the card lets stand in for it.

    Args:
        stand_ins: Whether they do stand in; else they are only told.
    """
    if not counts_sorts(fount):
        return ()
    case = case_of(fount)
    needed = unpicked(counted_in(wanted, fount), fount)
    spare = {sort: owned - needed[sort] for sort, owned in case.items()}
    found = []
    for sort in sorted(needed, key=lambda one: (len(fount.alternates.get(one, ())), one)):
        lacking = needed[sort] - case.get(sort, 0)
        if lacking <= 0:
            continue
        could = tuple(StandIn(one, spare[one]) for one in fount.alternates.get(sort, ()) if spare.get(one, 0) > 0)
        if stand_ins:
            lacking -= _stood_in(lacking, could, spare)
        if lacking > 0:
            owned = needed[sort] - lacking
            found.append(
                Short(fount=name, sort=sort, wanted=needed[sort], owned=owned, stand_ins=() if stand_ins else could)
            )
    return tuple(sorted(found, key=lambda short: short.sort))


def _stood_in(lacking: int, could: Sequence[StandIn], spare: dict[str, int]) -> int:
    """How many of what is lacking others stand in for; they are spare no longer."""
    taken = 0
    for one in could:
        some = min(lacking - taken, spare[one.sort])
        spare[one.sort] -= some
        taken += some
    return taken


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


def short_of(kept: Sorts, founts: Mapping[str, Fount], *, stand_ins: bool = False) -> tuple[Short, ...]:
    """What the cases are short of for forms that stand at once."""
    total: dict[str, Counter[str]] = {}
    for name, sort, count in kept:
        total.setdefault(name, Counter())[sort] += count
    return tuple(
        short
        for name, wanted in total.items()
        for short in shortages(wanted, founts[name].name, founts[name], stand_ins=stand_ins)
    )


def settings_of(
    pieces: Sequence[Sorts], founts: Mapping[str, Fount], *, stand_ins: bool = False
) -> tuple[tuple[int, ...], ...] | None:
    """
    Pieces of work parted into settings that the cases can hold one after another.

    In their order, each setting taking what still goes in: set, print, distribute, set again.

    Returns:
        The places of the pieces of each setting; None where a piece alone is more than the case.
    """
    found: list[list[int]] = []
    standing: Sorts = ()
    for place, piece in enumerate(pieces):
        together = added([standing, piece])
        if found and not short_of(together, founts, stand_ins=stand_ins):
            found[-1].append(place)
            standing = together
        elif short_of(piece, founts, stand_ins=stand_ins):
            return None
        else:
            found.append([place])
            standing = piece
    return tuple(map(tuple, found))
