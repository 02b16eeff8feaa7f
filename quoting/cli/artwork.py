"""`quoting artwork`: what a file of artwork measures, and what it asks of a shop."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import click

from quoting.artwork import WITHIN_SHOP, Artwork, FormArtwork, measure_artwork
from quoting.errors import UnfitArtworkError
from quoting.numbers import plain

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("file", type=_PATH)
@click.option("--dpi", type=click.IntRange(50, 5000), help="Dots an inch of a picture that does not say its own.")
@click.option("--card", "card_path", type=_PATH, help="Rate card: with it, what the artwork asks of the shop.")
@click.option("--stock", help="A stock of the card, by its key.")
@click.option("--ink", help="An ink of the card; its first if left out.")
@click.option("--supplier", help="A plate supplier of the card; its first if left out.")
@click.option("--impression", type=click.Choice(["kiss", "visible", "deep"]), default="visible", show_default=True)
@click.option("--pulls", type=click.IntRange(1, 1_000_000), default=100, show_default=True)
@click.option("--json", "as_json", is_flag=True, help="All of it, with the pictures.")
def artwork(
    file: Path, dpi: int | None, card_path: Path | None, stock: str | None, *, as_json: bool, **asked: Any
) -> None:
    """Measure FILE, a PDF, PNG or TIFF: its forms, their ink, solids, finest lines."""
    if (card_path is None) != (stock is None):
        raise click.UsageError("expected --card and --stock together, or neither; found one")
    try:
        content = file.read_bytes()
    except OSError as error:
        raise UnfitArtworkError(f"expected a file that can be read; found {file}: {error.strerror}") from error
    found = measure_artwork(content, file.name, limits=WITHIN_SHOP, dots_an_inch=dpi)
    asks = None
    if card_path is not None and stock is not None:
        from quoting.artwork_asks import what_artwork_asks
        from quoting.rate_card import load_rate_card

        card = load_rate_card(card_path)
        asks = what_artwork_asks(found, card, stock=stock, **asked)
    if as_json:
        from quoting.reader import to_json

        click.echo(to_json(asks or found, indent=2).decode())
        return
    click.echo("\n".join(_measured(found)))
    if asks is not None:
        click.echo("\n" + "\n".join(_asked(asks, card)))


def _measured(found: Artwork) -> Iterator[str]:
    from quoting.cli.words import table

    count = len(found.forms)
    yield click.style(f"{found.file}: {count} form{'' if count == 1 else 's'}, {found.byte_count:,} bytes", bold=True)
    columns = [list(_column(form)) for form in found.forms]
    rows = [[name, *cells] for name, *cells in zip(_ROWS, *columns, strict=True)]
    yield table(rows, headers=["", *(form.named for form in found.forms)])
    for form in found.forms:
        yield from (click.style(f"{form.named}: {note}", fg="yellow") for note in form.notes)
    yield from (click.style(note, fg="yellow") for note in found.notes)


_ROWS = (
    "Page, trimmed",
    "Form, all its ink",
    "From the left, from the top",
    "Prints, cm2",
    "Share inked, of the form",
    "Coverage, of the page",
    "Largest solid",
    "Ink in heavy solids",
    "Ink in greys",
    "Thinnest line",
    "Finest gap",
    "Bleeds",
    "Drawn in",
    "Measured at",
)


def _column(form: FormArtwork) -> Iterator[str]:
    solid = form.largest_solid_size
    yield str(form.page_size)
    yield str(form.size)
    yield f"{form.left}, {form.top}"
    yield plain(form.printed_area / 100, places=2)
    yield _per_cent(form.share_inked)
    yield _per_cent(form.coverage)
    yield f"{plain(form.largest_solid / 100, places=2)} cm2 in {solid}" if solid else "none"
    yield _per_cent(form.heavy)
    yield _per_cent(form.tints)
    yield str(form.thinnest_positive) if form.thinnest_positive is not None else "2 mm or more"
    yield str(form.thinnest_reversed) if form.thinnest_reversed is not None else "2 mm or more"
    yield "yes" if form.bleeds else "no"
    yield ", ".join(form.colours) or form.separation
    yield f"{form.dots_an_inch} dots an inch"


def _per_cent(share: Decimal) -> str:
    return f"{plain(share * 100, places=1)} %"


def _asked(asks: Any, card: Any) -> Iterator[str]:
    from quoting.cli.words import amount, table

    yield click.style(f"On {asks.stock}, {asks.impression} impression, one up", bold=True)
    rows = []
    for one in asks.forms:
        plate = f"{plain(one.plate_width_mm, places=1)} x {plain(one.plate_height_mm, places=1)} mm"
        minutes = plain(one.make_ready_minutes, places=1)
        rows.append([one.form.named, plate, f"{plain(one.ink_grams, places=2)} g", f"{minutes} min", one.difficulty])
    headers = ["Form", "Plate", f"Ink, {asks.pulls:,} pulls", "Make-ready", "Impression"]
    yield table(rows, headers=headers, left=(0, 4))
    order = asks.order
    area = plain(order.area_mm2 / 100, places=1)
    yield f"Plates in one order, {order.supplier}: {order.plates}, {area} cm2, {amount(order.cost, card)}"
    for one in asks.forms:
        for press in one.presses:
            share = plain(press.share_of_greatest * 100, places=0)
            force = plain(press.force_n / 1000, places=1)
            told = f"{one.form.named}, {press.press}: {force} kN, {share} % of its greatest"
            yield click.style(f"{told}: refused there", fg="red") if press.refused else told
        if one.second_hit:
            yield click.style(f"{one.form.named}: a second hit is wise: {one.second_hit}", fg="yellow")
