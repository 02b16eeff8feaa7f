"""
The command line: parse, call, print.

Exit codes: 0 done; 1 some of several jobs failed; 2 a wrong call; 3 the rate card is refused;
4 the job is refused; 5 no press can make it; 6 the document cannot be made.
"""

from __future__ import annotations

import datetime
import gc
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from quoting.errors import DocumentError, JobError, NoPlanError, QuotingError, RateCardError

if TYPE_CHECKING:
    from quoting.rate_card import RateCard

EXIT_CODES: dict[type[QuotingError], int] = {RateCardError: 3, JobError: 4, NoPlanError: 5, DocumentError: 6}

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


def main() -> None:
    """Run the command line; an error of ours is one message and its exit code."""
    gc.disable()  # one short run: what it makes is let go with the process
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
def commands() -> None:
    """From a printing job and a rate card to a quotation."""


@commands.command()
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card_option
@_day_option
@click.option("--json", "as_json", is_flag=True, help="The whole estimate as JSON.")
@click.option("--why", is_flag=True, help="The arithmetic behind every line.")
def price(job_path: Path, card_path: Path, on: datetime.datetime | None, *, as_json: bool, why: bool) -> None:
    """Price a job: cost, price and margin by quantity. For the owner."""
    from quoting.estimate import estimate_job, load_job
    from quoting.rate_card import load_rate_card

    card = load_rate_card(card_path)
    estimate = estimate_job(load_job(job_path), card, on=_day(on, card))
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
@click.option("--out", type=_PATH, required=True, help="The PDF file to write.")
def quote(job_path: Path, card_path: Path, on: datetime.datetime | None, out: Path) -> None:
    """Write the client's quotation as PDF."""
    from quoting.cli.demo import write_quotation
    from quoting.estimate import estimate_job, load_job
    from quoting.rate_card import load_rate_card

    card = load_rate_card(card_path)
    write_quotation(estimate_job(load_job(job_path), card, on=_day(on, card)), card, out)
    click.echo(f"{out} written")


@commands.command()
@click.option("--out", type=_PATH, default=Path("quotations"), show_default=True, help="Folder for the PDFs.")
@_day_option
def demo(out: Path, on: datetime.datetime | None) -> None:
    """Price every demo job of both demo shops and write their quotations."""
    from quoting.cli.demo import run_demo

    sys.exit(run_demo(out, on.date() if on else None))


@commands.command()
@_card_option
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
def serve(card_path: Path, port: int, host: str) -> None:
    """Serve the API. It asks for no key yet: keep it on this machine."""
    from quoting.cli.serve import run_server

    run_server(card_path, host=host, port=port)


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


def _day(on: datetime.datetime | None, card: RateCard) -> datetime.date:
    """The day asked for, or today where the shop is."""
    from zoneinfo import ZoneInfo

    return on.date() if on else datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
