"""What a form will hold: a wording, a fount and a measure, shown or told as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import click

from quoting.cli.words import amount, table
from quoting.errors import Fault, MeasureError
from quoting.numbers import plain
from quoting.rate_card import RateCard
from quoting.wording.fitting import CaseReport, FitReport, Wording
from quoting.wording.spacing import SpacedLine, plain_points

SHOWN_LINES = 40


def words_in(path: Path) -> str:
    """
    The wording of a text file.

    Raises:
        MeasureError: the file cannot be read.
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise MeasureError([Fault("wording", "a readable text file", str(error), path.name)]) from error


def show(asked: Wording, found: FitReport, card: RateCard) -> None:
    """Everything of a fit, for a person."""
    click.secho("\n".join(_head(asked, found)), bold=True)
    click.echo("\n".join(_room(asked, found)))
    click.echo("\n".join(_case(asked, found.case, card)))
    click.echo("\n".join(_time(asked, found)))
    rows = [_row(number, line) for number, line in enumerate(found.lines[:SHOWN_LINES], start=1)]
    click.echo("")
    click.echo(table(rows, headers=("Line", "Wording", "Spaces and quads"), left=(1, 2)))
    if len(found.lines) > SHOWN_LINES:
        click.echo(f"and {len(found.lines) - SHOWN_LINES} lines more; --json has them all")


def _head(asked: Wording, found: FitReport) -> Iterator[str]:
    fitted = found.fitted
    lead = f", leaded {plain(fitted.leading_points)} pt" if fitted.leading_points else ", solid"
    yield (
        f"{fitted.words} words make {len(fitted.lines)} lines of {plain_points(fitted.measure_half_points)} pt"
        f" in {fitted.fount}{lead}: {plain(fitted.depth_points)} pt deep, {plain(fitted.ems)} ems"
    )
    yield f"({fitted.system} points; {plain(fitted.width_mm, places=1)} x {plain(fitted.depth_mm, places=1)} mm)"


def _room(asked: Wording, found: FitReport) -> Iterator[str]:
    fitted = found.fitted
    yield {
        "set widths": "Widths are the fount's own, from the card.",
        "characters a pica": "The card lists no set widths of this fount: characters a pica were taken.",
        "average set": "The card lists no set widths of this fount: its mean character was taken.",
    }[fitted.basis]
    if fitted.unlisted:
        yield f"Not among its set widths, so taken at the mean: {' '.join(fitted.unlisted)}"
    if found.fits is not None:
        yield f"It {'fits' if found.fits else 'does not fit'} {asked.piece} with margins of {asked.margins.written}."
    if found.words_by_table is not None:
        yield f"By the handbook's table the piece holds {plain(found.words_by_table, places=0)} words."
    if found.fits is False:
        yield from _others(found)


def _others(found: FitReport) -> Iterator[str]:
    if not found.would_fit:
        yield "No size of this face in the shop fits with any lead in the rack."
    for one in found.would_fit:
        lead = f"leaded {plain(one.leading_points)} pt" if one.leading_points else "solid"
        yield f"Would fit: {one.fount}, {lead}: {one.lines} lines, {plain(one.depth_mm, places=1)} mm deep."


def _case(asked: Wording, case: CaseReport, card: RateCard) -> Iterator[str]:
    if not case.is_counted:
        yield "Sorts: the card does not count this fount's."
        return
    up = f"{asked.number_up} up"
    if not case.short:
        yield f"Sorts: the case sets it {up}; at most {case.greatest_number_up} up."
        return
    told = ", ".join(str(one) for one in case.short)
    yield f"Sorts, {up}: short of {told}; at most {case.greatest_number_up} up at once."
    if case.settings is None:
        yield f"A line alone, {up}, is more than the case holds."
    else:
        yield (
            f"In {case.settings} settings (set, print, distribute, set again): {plain(case.further_settings_minutes)}"
            f" min more at case and stone, {amount(case.further_settings_cost, card)}; the press comes on top."
        )


def _time(asked: Wording, found: FitReport) -> Iterator[str]:
    time = found.time
    yield (
        f"Setting: {plain(time.setting_minutes, places=1)} min at {plain(time.ems_an_hour)} ems an hour,"
        f" {plain(time.all_in_minutes, places=1)} min with correcting and distributing."
    )
    if time.warning:
        yield f"Hard to believe: {time.warning}."
    share = plain(found.share_inked * Decimal(100), places=1)
    area = plain(found.area_mm2 / 100, places=1)
    yield f"Form: {area} cm2, {share} % of it prints; about {plain(found.pounds_of_type, places=1)} lb of type."


def _row(number: int, line: SpacedLine) -> tuple[str, str, str]:
    text = line.text if len(line.text) <= 60 else f"{line.text[:57]}..."
    return str(number), text, ", ".join(f"{count} {name}" for name, count in sorted(line.pieces.items()))
