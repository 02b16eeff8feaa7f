"""Starting the API: by its name, since this package does not know it."""

from __future__ import annotations

import os
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

from quoting.cli.book import DEFAULT
from quoting.errors import QuotingError

_PREFIX = "QUOTING_"
_PATH = click.Path(path_type=Path)


@click.command()
@click.option(
    "--card",
    type=_PATH,
    help="Rate card: a TOML file or a folder of them. Also told by QUOTING_CARD, as every option by its own name.",
)
@click.option("--book", metavar="ADDRESS", help="The quote book: a file, or postgresql://USER@HOST/NAME.")
@click.option("--base-url", metavar="URL", help="Where clients find it; links are made of it, and Host must name it.")
@click.option("--workers", type=click.IntRange(1, 64), help="How many processes.")
@click.option("--demo", is_flag=True, help="Ask for no key: everybody on this machine is the owner.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--print-settings", "only_print", is_flag=True, help="Print the settings in force, secrets masked.")
def serve(*, port: int, host: str, only_print: bool, demo: bool, **told: Any) -> None:
    """Serve the API until it is told to stop; what is under way is finished first."""
    check_api_is_ours()
    given = told | {"demo": "true" if demo else None}
    given["card"] = told["card"].resolve() if told["card"] else None
    os.environ.update({_PREFIX + name.upper(): str(value) for name, value in given.items() if value is not None})
    os.environ.setdefault(_PREFIX + "BASE_URL", f"http://{host}:{port}")
    if not demo:
        os.environ.setdefault(_PREFIX + "BOOK", DEFAULT)
    serving = import_module("api.serving")
    if only_print:
        click.echo(serving.print_settings())
        return
    serving.serve(host=host, port=port)


def check_api_is_ours() -> None:
    """Hold that the package ``api`` that Python finds is the one installed with this package."""
    found = find_spec("api")
    where = str(found.origin) if found else "nothing"
    here = Path(__file__).resolve().parents[2] / "api" / "__init__.py"
    if found is None or found.origin is None or Path(found.origin).resolve() != here:
        raise QuotingError(
            f"expected the package api at {here.parent}; found {where}: another package of that name comes first."
            " Run from another folder, or in an environment of its own"
        )
