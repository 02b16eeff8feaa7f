"""Standing type: which sorts a form keeps out of the cases, and into how many settings it parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from msgspec.structs import replace

from quoting.job import HandSet, SetLine, TextBlock
from quoting.numbers import plain, whole_up
from quoting.shop import Fount
from quoting.units import Share
from quoting.wording.copyfitting import Fitted, spaced
from quoting.wording.hand_set import measure_type, text_fitted
from quoting.wording.sorts import (
    Sorts,
    added,
    as_sorts,
    counted_in,
    counts_sorts,
    counts_spaces,
    fewest_settings,
    in_order,
    most_of,
    short_of,
)
from quoting.wording.spacing import SpacedLine, spaced_line
from quoting.wording.widths import HALF_POINT, FountWidths


def sorts_kept(form: HandSet, founts: Mapping[str, Fount], *, version: int = 0) -> Sorts:
    """
    Sorts that a form keeps out of the cases while it stands; only of founts that the card counts.

    Args:
        version: 0 for the first; a line that says what it reads in a further one is counted so.
    """
    return added(kept for _, kept in _rows(form, founts, version))


def standing_sorts(by_version: Sequence[Sorts], *, copies: int, together: bool) -> Sorts:
    """
    What a form keeps out of the cases: so many copies of one version after another, or of all at once.

    Args:
        copies: Copies that stand at once; of versions together, all of them.
        together: Whether the versions stand together, each as often.
    """
    if together:
        return added(by_version, times=copies // len(by_version))
    return added([most_of(by_version)], times=copies)


def in_settings(
    form: HandSet, founts: Mapping[str, Fount], *, copies: int, versions: int = 1, together: bool = False
) -> tuple[HandSet, ...] | None:
    """
    A form parted, line by line, into the fewest forms that the cases can set one after another.

    Args:
        copies: Copies that stand at once; of versions together, all of them.
        versions: How many the form is set for.
        together: Whether they stand together, or one takes the place of another.

    Returns:
        The forms, the given one alone where it can be set whole; None where a line alone is too much.
    """
    by_version = [list(_rows(form, founts, version)) for version in range(versions)]

    def goes_in(places: Sequence[int]) -> bool:
        kept = [added(rows[place][1] for place in places) for rows in by_version]
        return not short_of(standing_sorts(kept, copies=copies, together=together), founts, stand_ins=form.stand_ins)

    rows = [row[0] for row in by_version[0]]
    parted = fewest_settings if form.text is None else in_order  # running text is set on in its order
    places = parted(len(rows), goes_in)
    if places is None or len(places) == 1:
        return None if places is None else (form,)
    return tuple(
        _joined([rows[place] for place in group], form, founts, borders=0 if number else form.borders)
        for number, group in enumerate(places)
    )


Row = SetLine | TextBlock


def _rows(form: HandSet, founts: Mapping[str, Fount], version: int) -> Iterator[tuple[Row, Sorts]]:
    """Each line of a form, display first, and the sorts that it takes."""
    counted = [line for line in form.lines if counts_sorts(founts[line.fount])]
    width = measure_type(form, founts).width_mm if counted else Decimal(0)
    for line in form.lines:
        read = _read_in(line, version)
        yield line, _line_sorts(read, founts[line.fount], width) if counts_sorts(founts[line.fount]) else ()
    if form.text is not None:
        yield from _text_rows(form.text, founts[form.text.fount], text_fitted(form.text, founts))


def _read_in(line: SetLine, version: int) -> SetLine:
    return replace(line, text=line.further[version - 1]) if 0 < version <= len(line.further) else line


def _text_rows(text: TextBlock, fount: Fount, fitted: Fitted | None) -> Iterator[tuple[Row, Sorts]]:
    if fitted is None:
        yield text, ()
        return
    for line, spacing in zip(fitted.lines, spaced(fitted, fount), strict=True):
        row = replace(text, wording=line.text + ("\n" if line.ends else " "))
        found = characters_of(line.text, fount)
        yield row, _kept(text.fount, found + spacing.pieces, fount)


def _kept(name: str, found: Mapping[str, int], fount: Fount) -> Sorts:
    return as_sorts({name: counted_in(found, fount)}) if counts_sorts(fount) else ()


def characters_of(
    text: str, fount: Fount, *, letterspaced: bool = False, widths: FountWidths | None = None
) -> Counter[str]:
    """Sorts of the words alone: ligatures where the fount has them, no spaces."""
    sorts = (widths or FountWidths(fount)).sorts(text, letterspaced=letterspaced)
    return Counter(sort for sort in sorts if not sort.isspace())


def _line_sorts(line: SetLine, fount: Fount, width_mm: Decimal) -> Sorts:
    found = characters_of(line.text, fount, letterspaced=line.letterspaced)
    if counts_spaces(fount):
        found += centred_line(line, fount, width_mm).pieces
    return _kept(line.fount, found, fount)


def centred_line(line: SetLine, fount: Fount, width_mm: Decimal) -> SpacedLine:
    """A display line centred in a width, or in what it takes itself where that is wider by less than half a point."""
    widths = FountWidths(fount)
    least = whole_up(Decimal(widths.width(line.text, letterspaced=line.letterspaced)) / HALF_POINT)
    return spaced_line(
        line.text,
        fount,
        measure_half_points=max(widths.half_points(width_mm), least),
        arranged="centred",
        letterspaced=line.letterspaced,
        widths=widths,
    )


def _joined(rows: Sequence[Row], form: HandSet, founts: Mapping[str, Fount], *, borders: int) -> HandSet:
    """Some rows of a form as a form of their own; a told share inked goes by what of it prints."""
    lines = tuple(row for row in rows if isinstance(row, SetLine))
    texts = [row for row in rows if isinstance(row, TextBlock)]
    text = replace(texts[0], wording="".join(row.wording for row in texts).strip()) if texts else None
    part = replace(form, lines=lines, text=text, borders=borders, broken_out=False)
    if form.share_inked is None:
        return part
    whole = measure_type(replace(form, share_inked=None), founts).share_inked
    mine = measure_type(replace(part, share_inked=None), founts).share_inked
    share = min(Decimal(1), form.share_inked * mine / whole)
    return replace(part, share_inked=Share(f"{plain(share * 100, places=6)} %"))
