"""What ``quoting serve --demo`` makes for itself: a quote book, a secret, a key for the order form."""

from __future__ import annotations

import json
import os
import secrets
from pathlib import Path

from msgspec.structs import replace

from api.settings import Settings
from quoting.book import QuoteBook

BOOK = "quotations/demo.sqlite"
FORM_KEY = "demo order form"


def with_demo(settings: Settings) -> Settings:
    """The settings with what a demo needs and was not told; what is made is kept beside the book."""
    book = settings.book or BOOK
    if not settings.book:
        Path(book).parent.mkdir(parents=True, exist_ok=True)
    return replace(settings, book=book, secret=settings.secret or _kept(book, "secret", secrets.token_urlsafe(32)))


def form_key(settings: Settings) -> str:
    """The key that the demo page's order form carries, made the first time."""
    from api.desk import system_clock

    made = _kept(settings.book, "form key", "")
    if not made:
        with QuoteBook(settings.book, secret=settings.secret.encode()) as book:
            key = book.keys.make(
                FORM_KEY, scopes=("form",), origins=(settings.base_url,), at=system_clock(), by="owner"
            )
        made = _kept(settings.book, "form key", key.secret)
    return made


def where_to_look(settings: Settings) -> str:
    """What a person who starts a demo is told."""
    base = settings.base_url
    return (
        f"The demo shop, with its order form:  {base}/\n"
        f"The owner's pages:                   {base}/office\n"
        f"The API's documents:                 {base}/docs\n"
        f"The quote book:                      {settings.book}"
    )


def _kept(book: str, name: str, made: str) -> str:
    """What is kept under a name beside a book of a file; what is made now where there is nothing yet."""
    path = Path(f"{book.removeprefix('sqlite:///')}.demo.json")
    if "://" in str(book).removeprefix("sqlite:///"):
        return made
    told: dict[str, str] = json.loads(path.read_text()) if path.exists() else {}
    if made and not told.get(name):
        told[name] = made
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            json.dump(told, file)
    return told.get(name, "")
