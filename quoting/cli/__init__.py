"""
The command line: parse, call, print.

Exit codes: 0 done; 1 some of several jobs failed; 2 a wrong call; 3 the rate card is refused;
4 the job is refused; 5 no press can make it; 6 the document cannot be made; 7 the quote book refuses
it; 8 the quote book cannot be read or written now; 9 the artwork cannot be measured.
"""

from __future__ import annotations

import datetime
import gc
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from quoting.cli.access import access
from quoting.cli.artwork import artwork
from quoting.cli.book import book
from quoting.cli.comparing import compare, risk, what_if
from quoting.cli.explain import difference, explain
from quoting.cli.serve import serve
from quoting.errors import (
    ArtworkError,
    BookError,
    DocumentError,
    JobError,
    NoPlanError,
    QuotingError,
    RateCardError,
    StorageError,
)

if TYPE_CHECKING:
    from quoting.planning.pins import Pin
    from quoting.rate_card import RateCard

EXIT_CODES: dict[type[QuotingError], int] = {
    RateCardError: 3,
    JobError: 4,
    NoPlanError: 5,
    DocumentError: 6,
    ArtworkError: 9,
    StorageError: 8,  # before the error it is a kind of
    BookError: 7,
}

_SHORT = {"cut", "docket", "explain", "fit", "price", "quote"}  # what they make is let go with the process

_PATH = click.Path(path_type=Path)
_card_option = click.option(
    "--card", "card_path", type=_PATH, required=True, help="Rate card: a TOML file or a folder of them."
)
_day_option = click.option(
    "--on",
    "on",
    type=click.DateTime(["%Y-%m-%d"]),
    default=None,
    help="The day it is made, as 2026-11-25; today if left out.",
)
_out_option = click.option("--out", type=_PATH, required=True, help="The file to write.")
_templates_option = click.option(
    "--templates", type=_PATH, default=None, help="Folder of your own templates, laid over ours."
)
_locale_option = click.option(
    "--locale", callback=lambda _, __, told: _known_locale(told), help="Language and region, such as fr-FR."
)


def _known_locale(told: str | None) -> str | None:
    """A locale as it was told, if documents can be written in its language."""
    from quoting.languages import is_known, languages

    if told is not None and not (re.fullmatch("[a-z]{2}-[A-Z]{2}", told) and is_known(told)):
        raise click.BadParameter(f"expected one such as fr-FR, of {', '.join(languages())}; found {told}")
    return told


def main() -> None:
    """Run the command line; an error of ours is one message and its exit code."""
    gc.disable()  # until it is known whether this is a short run
    try:
        commands(standalone_mode=False)
    except click.exceptions.Exit as done:
        sys.exit(done.exit_code)
    except click.ClickException as wrong:
        wrong.show()
        sys.exit(2)
    except click.Abort:
        sys.exit(130)
    except QuotingError as error:
        click.echo(str(error), err=True)
        sys.exit(exit_code(error))


def exit_code(error: QuotingError) -> int:
    """The documented exit code of an error."""
    return next((code for kind, code in EXIT_CODES.items() if isinstance(error, kind)), 4)


@click.group()
@click.version_option(package_name="quoting")
@click.pass_context
def commands(context: click.Context) -> None:
    """From a printing job and a rate card to a quotation."""
    if context.invoked_subcommand not in _SHORT:
        gc.enable()


@commands.command()
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card_option
@_day_option
@click.option("--json", "as_json", is_flag=True, help="The whole estimate as JSON.")
@click.option("--why", is_flag=True, help="The arithmetic behind every line.")
@click.option(
    "--pin",
    "pinned",
    metavar="PIN",
    multiple=True,
    help='Choose instead of the search: "press=NAME, number_up=4, imposition=sheetwise, part=NAME".',
)
def price(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    pinned: tuple[str, ...],
    *,
    as_json: bool,
    why: bool,
) -> None:
    """Price a job: cost, price and margin by quantity. For the owner."""
    from quoting.estimate import estimate_job, load_job
    from quoting.rate_card import load_rate_card

    card = load_rate_card(card_path)
    estimate = estimate_job(load_job(job_path), card, on=_day(on, card), pins=[_pin(text) for text in pinned])
    if as_json:
        from quoting.reader import to_json

        click.echo(to_json(estimate, indent=2).decode())
        return
    from quoting.cli.tables import show_estimate

    show_estimate(estimate, card, why=why)


@commands.command()
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card_option
@_day_option
@_out_option
@_locale_option
@_templates_option
@click.option("--format", "kind", type=click.Choice(["pdf", "json", "xml"]), default="pdf", show_default=True)
def quote(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    out: Path,
    locale: str | None,
    templates: Path | None,
    kind: str,
) -> None:
    """Write the client's quotation: PDF, JSON, or OASIS UBL 2.1 as XML."""
    from quoting.cli.documents import quotation_as, rendering_ahead, write_file

    with rendering_ahead(at_once=kind == "pdf") as children:
        from quoting.estimate import estimate_job, load_job
        from quoting.quotation import quotation_for
        from quoting.rate_card import load_rate_card

        card = load_rate_card(card_path)
        quotation = quotation_for(estimate_job(load_job(job_path), card, on=_day(on, card)), card, locale=locale)
        write_file(quotation_as(kind, quotation, templates, children), out)
    click.echo(f"{out} written")


@commands.command()
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card_option
@_day_option
@_out_option
@_locale_option
@_templates_option
@click.option("--quantity", type=int, default=None, help="Which of the job's quantities; the first if left out.")
def docket(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    out: Path,
    locale: str | None,
    templates: Path | None,
    quantity: int | None,
) -> None:
    """Write the job docket for the bench as PDF. For the shop, not for the client."""
    from quoting.cli.documents import docket_as_pdf, rendering_ahead, write_file

    with rendering_ahead() as children:
        from quoting.docket import docket_for
        from quoting.estimate import estimate_job, load_job
        from quoting.rate_card import load_rate_card

        card = load_rate_card(card_path)
        estimate = estimate_job(load_job(job_path), card, on=_day(on, card))
        made = docket_for(estimate, card, quantity=quantity, locale=locale)
        write_file(docket_as_pdf(made, templates, children), out)
    click.echo(f"{out} written")


for owners_command in (explain, difference, compare, what_if, risk):
    commands.add_command(owners_command)
commands.add_command(artwork)
commands.add_command(book)
commands.add_command(serve)
commands.add_command(access)

_MEASURES = ("gutter", "trim", "margins", "gripper", "bleed", "blade")


def _measure_options(function: Callable[..., None]) -> Callable[..., None]:
    told = {
        "gutter": "Between neighbours; without it one cut serves two.",
        "trim": "Mill edge off every side of the sheet.",
        "margins": "What stays empty at every side besides.",
        "gripper": "What stays empty at the head.",
        "bleed": "What prints over a piece's edge.",
        "blade": "Longest cut of the cutter.",
    }
    for name in reversed(_MEASURES):
        function = click.option(f"--{name}", metavar="LENGTH", help=told[name])(function)
    return function


@commands.command()
@click.argument("sheet", required=False)
@click.argument("piece", required=False)
@_measure_options
@click.option(
    "--grain", type=click.Choice(["long", "short", "any"]), default="any", help="Grain the piece must have."
)
@click.option("--sheet-grain", type=click.Choice(["long", "short", "none"]), default="long", show_default=True)
@click.option("--round-web", metavar="LENGTH", help="Round pieces, die-cut: the web between them.")
@click.option("--from", "listed", type=_PATH, help="A TOML file of [[cuts]], each with sheet and piece.")
@click.option("--svg", type=_PATH, help="Write the drawing, with dimensions and the order of cuts.")
@click.option("--json", "as_json", is_flag=True, help="Count, bound, layout and cuts for a machine.")
def cut(
    sheet: str | None,
    piece: str | None,
    listed: Path | None,
    svg: Path | None,
    *,
    as_json: bool,
    **asked: str | None,
) -> None:
    """How many PIECEs come out of a SHEET: quoting cut "26 x 40 in" "3 1/2 x 2 in"."""
    from quoting.cli.cut import Question, answer, questions_in, show, write_svg
    from quoting.reader import convert, to_json

    if listed is not None:
        questions = questions_in(listed)
    elif sheet and piece:
        told = {name: value for name, value in asked.items() if value is not None}
        questions = (convert({"sheet": sheet, "piece": piece, **told}, Question),)
    else:
        raise click.UsageError("expected SHEET and PIECE, or --from FILE; found neither")
    found = [answer(question) for question in questions]
    if as_json:
        click.echo(to_json(found[0] if listed is None else found, indent=2).decode())
    else:
        for question, one in zip(questions, found, strict=True):
            show(question, one, columns=min(100, shutil.get_terminal_size((80, 24)).columns))
    if svg is not None:
        write_svg(questions[0], found[0], svg)


@commands.command("fit")
@click.argument("text", metavar="WORDING", required=False)
@_card_option
@click.option("--from", "listed", type=_PATH, help="A text file of the wording; each line of it is a paragraph.")
@click.option("--fount", required=True, help="A fount of the card, by its key.")
@click.option("--measure", metavar="LENGTH", required=True, help='Length of the lines, such as "20 picas".')
@click.option("--leading", metavar="LENGTH", help="What stands between lines.")
@click.option("--piece", metavar="SIZE", help="The piece that it must fit.")
@click.option("--margins", metavar="LENGTH", help="What stays empty round it.")
@click.option("--display", is_flag=True, help="Each line of it is a line of type, not text to be broken.")
@click.option(
    "--arranged",
    type=click.Choice(["justified", "centred", "left", "right"]),
    help="How lines stand; text is justified, display centred.",
)
@click.option("--letterspaced", is_flag=True, help="Hair spaces between the letters of display work.")
@click.option(
    "--heading",
    "headings",
    type=(str, str),
    multiple=True,
    metavar="FOUNT WORDING",
    help="A display line over it, in its own fount.",
)
@click.option("--borders", type=click.IntRange(0), help="Borders round it.")
@click.option("--broken-out", is_flag=True, help="Lifted out of an earlier colour's setting.")
@click.option("--stand-ins", is_flag=True, help="What the card names may stand in where the case is short.")
@click.option("--up", "number_up", type=click.IntRange(1), help="Copies that stand at once.")
@click.option("--version", "versions", multiple=True, metavar="WORDING", help="A version that stands with it.")
@click.option("--copy", type=click.Choice(["plain", "poor", "tabular"]))
@click.option("--json", "as_json", is_flag=True, help="Everything, for a machine.")
def fit_words(
    text: str | None, card_path: Path, listed: Path | None, *, display: bool, as_json: bool, **asked: Any
) -> None:
    """Whether a WORDING fits, how long it takes to set, whether the case has the letters."""
    from quoting.cli.fit import headings_of, show, words_in
    from quoting.rate_card import load_rate_card
    from quoting.reader import convert, to_json
    from quoting.wording.fitting import Wording, fit_report

    words = words_in(listed) if listed is not None else text
    if words is None:
        raise click.UsageError("expected WORDING, or --from FILE; found neither")
    told = {name: value for name, value in asked.items() if value not in (None, ())}
    told["headings"] = headings_of(asked["headings"])
    told["work"] = "display" if display else "text"
    wording = convert({"text": words, **told}, Wording)
    card = load_rate_card(card_path)
    found = fit_report(wording, card)
    if as_json:
        click.echo(to_json(found, indent=2).decode())
    else:
        show(wording, found, card)


@commands.command()
@click.option("--out", type=_PATH, default=Path("quotations"), show_default=True, help="Folder for the PDFs.")
@_day_option
def demo(out: Path, on: datetime.datetime | None) -> None:
    """Price every demo job of both demo shops and write their quotations."""
    from quoting.cli.demo import run_demo

    sys.exit(run_demo(out, on.date() if on else None))


@commands.group()
def card() -> None:
    """Check, show and describe rate cards."""


@card.command("check")
@click.argument("path", type=_PATH)
def card_check(path: Path) -> None:
    """Read a rate card and tell every fault of it."""
    from quoting.rate_card import load_rate_card

    found = load_rate_card(path)
    click.echo(
        f"{found.card.name}, version {found.card.version}: no faults. {len(found.presses)} presses,"
        f" {len(found.stocks)} stocks, {len(found.inks)} inks, {len(found.founts)} founts,"
        f" {len(found.finishing)} finishing operations. Content {found.content_hash[:12]}."
    )


@card.command("show")
@click.argument("path", type=_PATH)
def card_show(path: Path) -> None:
    """Print a rate card as tables, with the build-up of every hour rate."""
    from quoting.cli.tables import show_card
    from quoting.rate_card import load_rate_card

    show_card(load_rate_card(path))


@card.command("upgrade")
@click.argument("path", type=_PATH)
def card_upgrade(path: Path) -> None:
    """Bring a rate card to the newest format."""
    from quoting.upgrading import upgrade_card

    click.echo(upgrade_card(path))


@commands.command()
@click.argument("kind", type=click.Choice(["card", "job"]))
def schema(kind: str) -> None:
    """Print the JSON Schema of a rate card or a job."""
    import json

    from quoting.reference import schema_of

    click.echo(json.dumps(schema_of(kind), indent=2))


@commands.command()
@click.argument("kind", type=click.Choice(["card", "job"]))
def keys(kind: str) -> None:
    """Print every key of a rate card or a job: what it is, its unit, an example."""
    from quoting.reference import keys_of

    click.echo(keys_of(kind))


def _pin(text: str) -> Pin:
    """A pin from its text: names and values with commas between."""
    from quoting.planning.pins import Pin
    from quoting.reader import convert

    pairs = (pair.partition("=") for pair in text.split(","))
    told: dict[str, str | int] = {name.strip(): value.strip() for name, _, value in pairs}
    number = str(told.get("number_up", ""))
    return convert(told | ({"number_up": int(number)} if number.isdecimal() else {}), Pin)


def _day(on: datetime.datetime | None, card: RateCard) -> datetime.date:
    """The day asked for, or today where the shop is."""
    from zoneinfo import ZoneInfo

    return on.date() if on else datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
