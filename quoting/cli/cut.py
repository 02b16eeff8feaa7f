"""How many out: a sheet and a piece, or a file of them, counted, drawn and told as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import click
from msgspec import Meta, Struct

from quoting import reader
from quoting.cutting import Layout, Margins, Rectangle, Rounds, cut_out, drawn_in_svg, drawn_in_text, round_out
from quoting.cutting.drawing import Unit
from quoting.cutting.grain import GrainWanted
from quoting.errors import DocumentError, Fault, InputError, MeasureError
from quoting.numbers import whole_up
from quoting.shop import Grain
from quoting.units import Length, Size

MOST_ROWS = 30
NOTHING = Length("0 mm")


class Question(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One sheet and one piece, and what stands between them. ``round_web`` asks for die-cut rounds."""

    sheet: Size
    piece: Size
    gutter: Length = NOTHING
    trim: Length = NOTHING
    margins: Length = NOTHING
    gripper: Length = NOTHING
    bleed: Length = NOTHING
    grain: GrainWanted = "any"
    sheet_grain: Grain = "long"
    blade: Length | None = None
    round_web: Length | None = None


class Questions(Struct, frozen=True, forbid_unknown_fields=True):
    """A file of questions."""

    cuts: Annotated[tuple[Question, ...], Meta(min_length=1, max_length=1000)]


def questions_in(path: Path) -> tuple[Question, ...]:
    """
    Questions of a TOML file, each a ``[[cuts]]`` table.

    Raises:
        MeasureError: with every fault of the file.
    """
    try:
        return reader.convert(reader.toml_data(path.read_text(encoding="utf-8"), file=path.name), Questions).cuts
    except (OSError, UnicodeDecodeError) as error:
        raise MeasureError([Fault("$", "a readable TOML file", str(error), path.name)]) from error
    except InputError as error:
        raise MeasureError(
            Fault(fault.where, fault.expected, fault.found, path.name) for fault in error.faults
        ) from error


def answer(question: Question) -> Layout | Rounds:
    """The layout, or the nested rounds where a web is told."""
    if question.round_web is not None:
        web = max(question.round_web.in_base_unit, 2 * question.bleed)
        return round_out(_room_of_rounds(question), question.piece.width_mm, web_mm=web)
    edge = question.margins.in_base_unit
    return cut_out(
        question.sheet,
        question.piece,
        gap_mm=max(question.gutter.in_base_unit, 2 * question.bleed),
        trim_mm=question.trim.in_base_unit,
        margins=Margins(edge, edge, max(edge, question.gripper.in_base_unit), edge),
        bleed_mm=question.bleed.in_base_unit,
        grain=question.sheet_grain,
        piece_grain=question.grain,
        blade_mm=None if question.blade is None else question.blade.in_base_unit,
    )


def _room_of_rounds(question: Question) -> Rectangle:
    """
    What trim, margins, gripper and bleed leave for die-cut rounds.

    Raises:
        MeasureError: what a die does not know, a piece that is not round, or no room at all.
    """
    faults = []
    if question.piece.width_mm != question.piece.height_mm:
        faults.append(Fault("piece", "a round piece, as wide as it is high", str(question.piece)))
    for name, told in (("gutter", question.gutter), ("blade", question.blade or NOTHING)):
        if told:
            faults.append(Fault(name, "none beside round_web, for a die cuts the pieces", told.written))
    edge = question.trim + question.margins + question.bleed
    head = question.trim + max(question.margins.in_base_unit, question.gripper.in_base_unit) + question.bleed
    width, height = question.sheet.width_mm - 2 * edge, question.sheet.height_mm - edge - head
    if min(width, height) <= 0:
        faults.append(Fault("margins", "less than the sheet", f"nothing left of {question.sheet}"))
    if faults:
        raise MeasureError(faults)
    return Rectangle(width, height)


def show(question: Question, found: Layout | Rounds, *, columns: int) -> None:
    """The count in a line, then the drawing."""
    click.secho(f"{found.count} out of {question.sheet}, {question.piece} each", bold=True)
    if isinstance(found, Rounds):
        click.echo(f"Die-cut round, {found.nesting}; a guillotine would cut the squares they stand in.")
        return
    held = "proved" if found.is_proved else "verified, not proved"
    click.echo(f"No more than {found.bound} can be cut; {held}: {found.proof}.")
    if found.mixed:
        click.echo("Pieces lie both ways round: their grain is mixed.")
    if found.count:
        click.echo("\n".join(drawn_in_text(found, columns=_columns(found, columns), unit=_unit(question))))
    else:
        click.echo("\n".join(found.cautions))


def _unit(question: Question) -> Unit:
    return "in" if question.sheet.is_in_inches else "mm"


def _columns(layout: Layout, most: int) -> int:
    """As wide as a drawing may be that is not taller than a screen; a character is twice as high as wide."""
    return min(most, whole_up(2 * MOST_ROWS * layout.sheet.width_mm / layout.sheet.height_mm))


def write_svg(question: Question, layout: Layout | Rounds, path: Path) -> None:
    """
    The drawing of a layout as SVG.

    Raises:
        DocumentError: the file cannot be written, or there is no drawing of nested rounds.
    """
    if isinstance(layout, Rounds):
        raise DocumentError("expected a layout that a guillotine cuts; found die-cut rounds, which are not drawn")
    try:
        path.write_text(drawn_in_svg(layout, unit=_unit(question)), encoding="utf-8")
    except OSError as error:
        raise DocumentError(f"expected to write {path}; found {error.strerror}") from error
