"""A shop whose pages are served: in this process with a clock of the tests', and by a real server."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest
from litestar.testing import TestClient

from api.app import create_app
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import CARD
from tests.api.conftest import HERE
from tests.book.shop import NOW

SECRET = "a-secret-that-stands-nowhere-in-the-book"
MANY = 100_000


class Clock:
    """A clock that stands until it is told."""

    def __init__(self) -> None:
        self.at = NOW

    def __call__(self) -> datetime.datetime:
        return self.at

    def on(self, **much: float) -> None:
        """Let time pass."""
        self.at += datetime.timedelta(**much)


class Page(HTMLParser):
    """What stands on a page: fields with their first values, links, words, and what could run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self.links: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self._select = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        self.tags.append((tag, told))
        name = told.get("name") or ""
        if tag == "input" and name and (told.get("type") not in {"checkbox", "radio"} or "checked" in told):
            self.fields.setdefault(name, []).append(told.get("value") or "")
        if tag == "textarea" and name:
            self.fields.setdefault(name, []).append("")
        if tag == "select":
            self._select = name
        if tag == "option" and self._select and (self._select not in self.fields or "selected" in told):
            self.fields[self._select] = [told.get("value") or ""]
        if told.get("href"):
            self.links.append(told["href"] or "")

    def handle_data(self, data: str) -> None:
        self.words += data


class Shop:
    """A shop's pages in this process."""

    def __init__(self, client: httpx.Client, settings: Settings, clock: Clock) -> None:
        self.client, self.settings, self.clock = client, settings, clock

    def book(self) -> QuoteBook:
        """Its book, opened beside the server."""
        return QuoteBook(self.settings.book, secret=SECRET.encode())

    def key(self, role: str) -> str:
        """A new key's secret."""
        with self.book() as book:
            return book.keys.make(f"tests, {role}", scopes=(role,), at=self.clock(), by="owner").secret

    def form(self, product: str = "coasters", **told: list[str] | str) -> dict[str, list[str] | str]:
        """The fields of a product's form as a visitor fills them, some time after it was shown."""
        page = Page(self.client.get(f"/order/{product}").text)
        self.clock.on(seconds=20)
        filled: dict[str, list[str] | str] = {
            **page.fields,
            "front.lines": "THE LANTERN & EEL\r\nQuay Street",
            "contact.name": "Isaura Penhale",
            "contact.email": "isaura@client.example",
            "quantities": ["100", "200"],
            "do": "send",
        }
        return filled | told

    def count(self) -> int:
        """How many quotations the book holds."""
        with self.book() as book:
            return len(book.list(at=self.clock()).quotations)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    settings = Settings(
        card=CARD,
        book=str(tmp_path / "book.sqlite"),
        base_url=HERE,
        secret=SECRET,
        most_looks_a_minute=MANY,
        most_prices_a_minute=MANY,
        most_requests_an_hour=MANY,
        most_requests_an_email_a_day=MANY,
    )
    clock = Clock()
    app = create_app(settings, clock=clock)
    with TestClient(app, raise_server_exceptions=False, base_url=HERE) as client:
        yield Shop(client, settings, clock)


def totals(page: str) -> list[tuple[str, str]]:
    """Quantities and totals of a price box."""
    return re.findall(r'data-quantity="(\d+)" data-total="([\d.]+)"', page)
