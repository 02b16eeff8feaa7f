"""`quoting access`: keys of the API, handed out, listed, rotated, ended. For the owner."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from quoting.book.access_keys import AccessKey, NewKey

ROLES = ("owner", "owner-ro", "form")


@click.group()
def access() -> None:
    """Hand out keys of the API, rotate and end them."""


def _in_book(function: Callable[..., None]) -> Callable[..., None]:
    from quoting.cli.book import DEFAULT

    return click.option(
        "--book",
        "address",
        envvar="QUOTING_BOOK",
        default=DEFAULT,
        show_default=True,
        help="A file, or postgresql://USER@HOST/NAME; also told by QUOTING_BOOK.",
    )(function)


@access.command()
@click.argument("name")
@click.option("--role", type=click.Choice(ROLES), default="owner", show_default=True, help="What it may do.")
@click.option("--origin", "origins", multiple=True, metavar="URL", help="A web page that may use it: https://HOST.")
@click.option("--days", type=click.IntRange(1, 3650), help="How long it is good; until it is ended if left out.")
@_in_book
def make(name: str, role: str, origins: tuple[str, ...], days: int | None, address: str) -> None:
    """Hand out a key for NAME, and print its secret, which is told this once."""
    from quoting.book import QuoteBook

    now = datetime.datetime.now(datetime.UTC)
    ends_at = now + datetime.timedelta(days=days) if days else None
    with QuoteBook(address) as opened:
        made = opened.keys.make(name, scopes=(role,), origins=origins, ends_at=ends_at, at=now, by="owner")
    _tell(made)


@access.command("list")
@_in_book
def list_(address: str) -> None:
    """List every key; secrets are not kept."""
    from quoting.book import QuoteBook
    from quoting.cli.words import table

    now = datetime.datetime.now(datetime.UTC)
    with QuoteBook(address) as opened:
        rows = [_row(key, now) for key in opened.keys.list()]
    headers = ("Key", "Name", "Role", "Origins", "Made", "Ends")
    click.echo(table(rows, headers=headers, left=range(6), title="Keys of the API") if rows else "No keys")


@access.command()
@click.argument("id")
@click.option("--overlap-minutes", type=click.IntRange(0, 43_200), default=60, show_default=True)
@_in_book
def rotate(id: str, overlap_minutes: int, address: str) -> None:
    """Hand out a key in place of ID, which stays good for the overlap."""
    from quoting.book import QuoteBook

    overlap = datetime.timedelta(minutes=overlap_minutes)
    with QuoteBook(address) as opened:
        made = opened.keys.rotate(id, overlap=overlap, at=datetime.datetime.now(datetime.UTC), by="owner")
    _tell(made)


@access.command()
@click.argument("id")
@_in_book
def end(id: str, address: str) -> None:
    """End the key ID: from now on it opens nothing."""
    from quoting.book import QuoteBook

    with QuoteBook(address) as opened:
        opened.keys.end(id, at=datetime.datetime.now(datetime.UTC), by="owner")
    click.echo(f"{id} ended")


def _tell(made: NewKey) -> None:
    click.echo(f"{made.key.id}: {', '.join(made.key.scopes)}. Keep its secret now; it is not told again:", err=True)
    click.echo(made.secret)


def _row(key: AccessKey, now: datetime.datetime) -> list[str]:
    ends = "" if key.ends_at is None else f"{key.ends_at:%Y-%m-%d %H:%M}"
    state = ends if key.is_good(now) else f"ended {ends}"
    return [key.id, key.name, ", ".join(key.scopes), ", ".join(key.origins), f"{key.made_at:%Y-%m-%d %H:%M}", state]
