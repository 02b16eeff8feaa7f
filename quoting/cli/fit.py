"""What a form will hold: a wording, a fount and a measure, shown or told as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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


def headings_of(told: Sequence[tuple[str, str]]) -> list[dict[str, str]]:
    """Headings as they are asked for: a fount, and what stands in it."""
    return [{"fount": fount, "text": text} for fount, text in told]


def show(asked: Wording, found: FitReport, card: RateCard) -> None:
    """Everything of a fit, for a person."""
    click.secho("\n".join(_head(found)), bold=True)
    click.echo("\n".join(_room(asked, found)))
    click.echo("\n".join(_case(asked, found.case, card)))
    click.echo("\n".join(_time(asked, found, card)))
    rows = [("head", _short(one.line.text), _spaces(one.line)) for one in found.headings]
    rows += [
        (str(number), _short(line.text), _spaces(line))
        for number, line in enumerate(found.lines[:SHOWN_LINES], start=1)
    ]
    click.echo("")
    click.echo(table(rows, headers=("Line", "Wording", "Spaces and quads"), left=(1, 2)))
    if len(found.lines) > SHOWN_LINES:
        click.echo(f"and {counted(len(found.lines) - SHOWN_LINES, 'line')} more; --json has them all")


def _head(found: FitReport) -> Iterator[str]:
    fitted = found.fitted
    lead = f", leaded {plain(fitted.leading_points)} pt" if fitted.leading_points else ", solid"
    yield (
        f"{counted(fitted.words, 'word')} in {counted(len(fitted.lines), 'line')} of"
        f" {plain_points(fitted.measure_half_points)} pt"
        f" in {fitted.fount}{lead}: {plain(fitted.depth_points)} pt deep, {plain(fitted.ems)} ems"
    )
    heads = f" with {counted(len(found.headings), 'heading')}" if found.headings else ""
    yield (
        f"({fitted.system} points; the form{heads} is {plain(found.width_mm, places=1)} x"
        f" {plain(found.depth_mm, places=1)} mm)"
    )


def _room(asked: Wording, found: FitReport) -> Iterator[str]:
    fitted = found.fitted
    yield {
        "set widths": "Widths are the fount's own, from the card.",
        "characters a pica": "The card lists no set widths of this fount: characters a pica were taken, so that lines"
        " and spaces are near, not sure.",
        "average set": "The card lists no set widths of this fount: its mean character was taken, so that lines and"
        " spaces are near, not sure.",
    }[fitted.basis]
    if fitted.unlisted:
        yield f"Not among its set widths, so taken at the mean: {' '.join(map(named, fitted.unlisted))}"
    if asked.work == "text":
        yield "Words are divided only where the wording has soft hyphens."
    if found.loose_lines:
        yield f"Over an em between words: line {', '.join(map(str, found.loose_lines))}."
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
        lines = f"{counted(one.lines, 'line')} of {plain_points(one.measure_half_points)} pt"
        yield f"Would fit: {one.fount}, {lead}: {lines}, {plain(one.depth_mm, places=1)} mm deep."


def _case(asked: Wording, case: CaseReport, card: RateCard) -> Iterator[str]:
    if not case.is_counted:
        yield "Sorts: the card does not count this fount's."
        return
    up = f"{asked.number_up} up"
    if not case.short:
        most = "" if case.greatest_number_up is None else f"; at most {case.greatest_number_up} up"
        yield f"Sorts: the case sets it {up}{most}."
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


def _time(asked: Wording, found: FitReport, card: RateCard) -> Iterator[str]:
    time = found.time
    yield "Composing:"
    yield from (f"  {one.sentence} = {plain(one.result, places=1)} {one.unit}" for one in time.steps if one.result)
    text = f" (text at {plain(time.ems_an_hour)} ems an hour)" if time.text_minutes else ""
    yield (
        f"Setting {_min(time.setting_minutes)}{text}, correcting {_min(time.correcting_minutes)}, distributing"
        f" {_min(time.distributing_minutes)}: {_min(time.all_in_minutes)}, {amount(time.cost, card)}."
    )
    if time.warning:
        yield f"Hard to believe: {time.warning}."
    share = plain(found.share_inked * Decimal(100), places=1)
    area = plain(found.area_mm2 / 100, places=1)
    weight = f"; about {plain(found.pounds_of_type, places=2)} lb of type" if found.pounds_of_type else ""
    yield f"Form: {area} cm2, {share} % of it prints{weight}."


def _min(minutes: Decimal) -> str:
    return f"{plain(minutes, places=1)} min"


def counted(number: int, what: str) -> str:
    """So many of something."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def named(sort: str) -> str:
    """A sort as it can be seen: one that shows nothing by its code point."""
    return sort if sort.isprintable() else f"U+{ord(sort[0]):04X}"


def _short(text: str) -> str:
    shown = "".join(one if one.isprintable() else " " for one in text)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _spaces(line: SpacedLine) -> str:
    return ", ".join(f"{count} {name}" for name, count in line.pieces.items())
