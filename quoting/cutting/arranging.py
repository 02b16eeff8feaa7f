"""From a count to the tree of cuts: the pattern that takes the fewest cuts, with trims round it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import islice, pairwise, product
from typing import NamedTuple

from quoting.cutting.counting import count_out
from quoting.cutting.partitions import reachable_lengths
from quoting.cutting.parts import Part, Work, cut_to, divided, every_part, part_of, work_of
from quoting.cutting.patterns import MOST_PATTERNS, Column, Pattern, patterns

# Beyond as many blocks, all are parted the same way.
_MOST_BLOCKS = 3
# Patterns that are tried in every manner: those with the fewest cuts when cut plainly.
_MOST_IN_EVERY_MANNER = 2
# Ways to part a sheet wider than the blade in two that are tried.
_MOST_PAIRS = 40
# Lengths that give one count, the shortest first, that are tried for a part.
_MOST_LENGTHS = 3


class Ask(NamedTuple):
    """
    What is to be cut, in whole units.

    ``sheet`` is the whole sheet; ``near`` and ``far`` what comes off it at the left and the head, and
    at least at the right and the tail. ``ways`` are the ways round a piece may lie: as given, turned.
    """

    sheet: tuple[int, int]
    near: tuple[int, int]
    far: tuple[int, int]
    piece: tuple[int, int]
    gap: int
    ways: tuple[bool, ...]
    blade: int

    @property
    def room(self) -> tuple[int, int]:
        """What is left for pieces, each with its gap."""
        wide, high = (
            side - near - far + self.gap for side, near, far in zip(self.sheet, self.near, self.far, strict=True)
        )
        return wide, high

    def step(self, turned: bool) -> tuple[int, int]:
        """A piece that lies that way, with its gap."""
        wide, high = self.piece[::-1] if turned else self.piece
        return wide + self.gap, high + self.gap

    @property
    def mirrored(self) -> Ask:
        """The same with width and height exchanged."""
        return self._replace(
            sheet=(self.sheet[1], self.sheet[0]),
            near=(self.near[1], self.near[0]),
            far=(self.far[1], self.far[0]),
            piece=(self.piece[1], self.piece[0]),
        )


class Arrangement(NamedTuple):
    """A count and how to cut it; no root where nothing is cut out; ``mirrored``: x and y are exchanged."""

    pieces: int
    root: Part | None
    work: Work
    mixed: bool
    mirrored: bool = False


NOTHING = Arrangement(0, None, Work(0, 0, 0), mixed=False)


def count_in(ask: Ask, wide: int, high: int) -> int:
    """How many of the pieces asked for come out of a room that wide and high, the blade left aside."""
    if min(wide, high) < 1:
        return 0
    if len(ask.ways) == 2:
        return count_out(wide, high, *ask.step(turned=False))
    across, down = ask.step(ask.ways[0])
    return (wide // across) * (high // down)


@lru_cache(maxsize=512)  # 2 kB each; what a plan chose is drawn soon after
def arranged(ask: Ask) -> Arrangement:
    """The best count, cut with the fewest cuts and settings, one way round, and the largest offcut."""
    if max(ask.sheet) > ask.blade:
        return _beyond_the_blade(ask)
    count = count_in(ask, *ask.room)
    plainly = sorted(_plainly(ask, count), key=lambda tried: _rank(tried[0])) if count else []
    found = [
        _trimmed(ask, _built(ask, pattern, upright, manner), plain.mixed)
        for plain, pattern, upright in plainly[:_MOST_IN_EVERY_MANNER]
        for manner in _manners(ask, pattern, upright)
    ]
    return min(found, key=_rank, default=NOTHING)._replace(pieces=count)


def _rank(found: Arrangement) -> tuple[int, int, bool, int]:
    return found.work.cuts, found.work.settings, found.mixed, -found.work.largest_offcut


def _plainly(ask: Ask, count: int) -> Iterator[tuple[Arrangement, Pattern, bool]]:
    """Every pattern cut in the plainest manner, columns upright and level."""
    wide, high = ask.room
    for upright, along, across in ((True, wide, high), (False, high, wide)):
        for pattern in islice(_patterns(ask, along, across, upright, count), MOST_PATTERNS):
            mixed = ask.piece[0] != ask.piece[1] and _is_mixed(pattern)
            manner = next(_manners(ask, pattern, upright))
            yield _trimmed(ask, _built(ask, pattern, upright, manner), mixed), pattern, upright


class _Manner(NamedTuple):
    """How far the last column and every last block reach, and which blocks are parted into rows first."""

    total: int
    depth: int
    rows_first: tuple[bool, ...]


def _manners(ask: Ask, pattern: Pattern, upright: bool) -> Iterator[_Manner]:
    """
    What lies beyond the pieces comes off the whole sheet, or falls off the last column or block.

    The cuts are often as many; the settings are not.
    """
    beyond = [side - near for side, near in zip(ask.sheet, ask.near, strict=True)]
    beyond_along, beyond_across = beyond if upright else beyond[::-1]
    total = sum(column.wide for column in pattern) - ask.gap
    depth = max(_height(column, max(ask.piece), min(ask.piece), ask.gap) for column in pattern)
    blocks = sum(bool(column.rows) + bool(column.turned_rows) for column in pattern)
    choices = product((False, True), repeat=blocks) if blocks <= _MOST_BLOCKS else [(False,) * blocks]
    for rows_first in choices:
        for far_along in dict.fromkeys((total, beyond_along)):
            for far_across in dict.fromkeys((depth, beyond_across)):
                yield _Manner(far_along, far_across, rows_first)


def _patterns(ask: Ask, along: int, across: int, upright: bool, count: int) -> Iterator[Pattern]:
    if len(ask.ways) == 2:
        yield from patterns(along, across, *ask.step(turned=False), count=count)
        return
    step = ask.step(ask.ways[0])
    a, b = step if upright else step[::-1]
    if a >= b:
        yield (Column(along // a * a, across // b, 0),)
    else:
        yield (Column(along // a * a, 0, across // b),)


def _is_mixed(pattern: Pattern) -> bool:
    return any(column.rows for column in pattern) and any(column.turned_rows for column in pattern)


def _built(ask: Ask, pattern: Pattern, upright: bool, manner: _Manner) -> Part:
    """The tree of a pattern: columns, blocks of like rows in them, rows or columns of pieces in those."""
    long, short = max(ask.piece), min(ask.piece)
    rows_first = iter(manner.rows_first)
    columns = []
    left = manner.total
    for column in pattern:
        wide = left if column is pattern[-1] else column.wide - ask.gap
        left -= column.wide
        kinds = ((column.rows, long, short), (column.turned_rows, short, long))
        columns.append(_column(ask, column.wide, wide, manner.depth, kinds, upright, rows_first))
    return divided(columns, manner.total, upright, ask.gap)


def _column(
    ask: Ask,
    room: int,
    wide: int,
    depth: int,
    kinds: tuple[tuple[int, int, int], ...],
    upright: bool,
    rows_first: Iterator[bool],
) -> Part:
    """Blocks one below the other, the last as deep as what is left; ``room`` is what pieces may take across."""
    blocks = []
    kinds = tuple(kind for kind in kinds if kind[0])
    left = depth
    for rows, along, across in kinds:
        high = rows * (across + ask.gap) - ask.gap
        deep = left if (rows, along, across) == kinds[-1] else high
        left -= high + ask.gap
        number = room // (along + ask.gap)
        blocks.append(_block(ask, (wide, deep), (number, rows), (along, across), upright, next(rows_first)))
    return divided(blocks, depth, not upright, ask.gap)


def _height(column: Column, long: int, short: int, gap: int) -> int:
    return column.rows * (short + gap) + column.turned_rows * (long + gap) - gap


def _block(
    ask: Ask,
    size: tuple[int, int],
    grid: tuple[int, int],
    piece: tuple[int, int],
    upright: bool,
    rows_first: bool,
) -> Part:
    """
    A grid of pieces that lie one way in a room of a size.

    Parted into rows first, what is left below falls off the last and what is left beside comes off
    all of them in one cut; into columns first, the other way about.
    """
    (wide, deep), (number, rows), (along, across), gap = size, grid, piece, ask.gap
    flat = part_of(along, across, upright)
    one = Part(flat.width, flat.height, turned=(flat.width, flat.height) != ask.piece)
    if rows_first:
        row = divided([one] * number, number * (along + gap) - gap, upright, gap)
        return cut_to(divided([row] * rows, deep, not upright, gap), wide, upright)
    column = divided([one] * rows, rows * (across + gap) - gap, not upright, gap)
    return cut_to(divided([column] * number, wide, upright, gap), deep, not upright)


def _trimmed(ask: Ask, inner: Part, mixed: bool) -> Arrangement:
    """The tree of the sheet: near trims, then the far ones, the larger first, then ``inner``."""
    wide, high = (side - near for side, near in zip(ask.sheet, ask.near, strict=True))
    root = inner
    width_first = (wide - inner.width) * high >= (high - inner.height) * wide
    for upright in (False, True) if width_first else (True, False):
        root = cut_to(root, wide if upright else high, upright)
    root = cut_to(root, ask.sheet[1], upright=False, keeps_far_side=True)
    root = cut_to(root, ask.sheet[0], upright=True, keeps_far_side=True)
    return Arrangement(0, root, work_of(root), mixed)


def _beyond_the_blade(ask: Ask) -> Arrangement:
    for turned in ask.ways:
        if ask.sheet == ask.step(turned) and not ask.gap:
            return NOTHING._replace(pieces=1, root=Part(*ask.sheet, turned=turned))
    if ask.sheet[0] > ask.blade:
        return _cut_across_first(ask)
    return _cut_across_first(ask.mirrored)._replace(mirrored=True)


def _cut_across_first(ask: Ask) -> Arrangement:
    """
    A sheet wider than the blade: upright cuts until no part is, each part then a sheet of its own.

    No level cut can be made before, and upright ones may all be made first. What lies beyond the
    parts comes off first, falls off with the last, or stays with one until that is cut up.
    """
    if ask.sheet[1] > ask.blade:
        return NOTHING
    beyond = ask.sheet[0] - ask.near[0]
    tries = []
    for strips in _partings(ask):
        rest = beyond - sum(strips) + ask.gap
        tries.append(_laid_across(ask, strips, sum(strips) - ask.gap, beyond))
        tries.append(_laid_across(ask, strips, beyond, beyond))
        for last in dict.fromkeys(strips) if rest else ():
            if last - ask.gap + rest <= ask.blade:
                others = list(strips)
                others.remove(last)
                tries.append(_laid_across(ask, [*others, last + rest], beyond, beyond))
    return min(tries, key=_rank, default=NOTHING)


def _laid_across(ask: Ask, strips: Sequence[int], total: int, beyond: int) -> Arrangement:
    """Strips one after the other, each cut as a sheet of its own, all on the bench together."""
    parts = [_strip(ask, wide) for wide in strips]
    roots = [part.root for part in parts if part.root is not None]
    root = cut_to(divided(roots, total, True, ask.gap), beyond, upright=True)
    root = cut_to(root, ask.sheet[0], upright=True, keeps_far_side=True)
    ways = {part.turned for part in every_part(root)} - {None}
    return Arrangement(sum(part.pieces for part in parts), root, work_of(root), len(ways) == 2)


def _strip(ask: Ask, wide: int) -> Arrangement:
    side = wide - ask.gap
    sheet = ask._replace(sheet=(side, ask.sheet[1]), near=(0, ask.near[1]), far=(0, ask.far[1]))
    return arranged(sheet._replace(blade=max(ask.blade, side)))


def _partings(ask: Ask) -> Iterator[list[int]]:
    """Strips that together give the most: those of the search, and two that give as many, in either order."""
    strips = _strips(ask)
    if not strips:
        return
    yield strips
    wide, high = ask.room
    steps = [ask.step(way)[0] for way in ask.ways]
    lengths = [part for part in reachable_lengths(wide, max(steps), min(steps))[1:] if _is_cuttable(ask, part, high)]
    giving: dict[int, list[int]] = {}
    for part in lengths:
        giving.setdefault(count_in(ask, part, high), []).append(part)
    shortest = {pieces: parts[:_MOST_LENGTHS] for pieces, parts in giving.items() if pieces}
    most = sum(count_in(ask, part, high) for part in strips)
    pairs = [
        [first, second]
        for pieces, firsts in shortest.items()
        for first, second in product(firsts, shortest.get(most - pieces, ()))
        if first + second <= wide
    ]
    yield from (pair for pair in pairs[:_MOST_PAIRS] if pair != strips)


def _strips(ask: Ask) -> list[int]:
    """Widths of parts, each with its gap, that together give the most."""
    wide, high = ask.room
    steps = [ask.step(way)[0] for way in ask.ways]
    ends = reachable_lengths(max(wide, 0), max(steps), min(steps))
    cuttable = [part for part in ends[1:] if _is_cuttable(ask, part, high)]
    worth = {part: pieces for part in cuttable if (pieces := count_in(ask, part, high))}
    most, taken = {0: 0}, {0: 0}
    for before, end in pairwise(ends):
        choices = [(most[end - part] + value, part) for part, value in worth.items() if end - part in most]
        most[end], taken[end] = max([*choices, (most[before], before - end)])
    return _taken_apart(taken, ends[-1])


def _taken_apart(taken: dict[int, int], end: int) -> list[int]:
    strips = []
    while end:
        if taken[end] > 0:
            strips.append(taken[end])
        end -= abs(taken[end])
    return strips


def _is_cuttable(ask: Ask, part: int, high: int) -> bool:
    """Whether the blade spans the part, or the part needs no cut that the blade would have to span."""
    if part - ask.gap <= ask.blade:
        return True
    steps = [ask.step(way) for way in ask.ways]
    return (part, high) in steps and ask.sheet[1] == high - ask.gap
