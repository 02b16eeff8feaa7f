"""Artwork that waits for its request: a folder that is emptied of what nobody sent in time."""

from __future__ import annotations

import datetime
import re
from contextlib import suppress
from pathlib import Path

from quoting.artwork import Artwork
from quoting.book.files import sizes, write
from quoting.book.papers import Chance
from quoting.errors import ArtworkTooLargeError, QuoteNotFoundError, StorageError
from quoting.reader import from_json, to_json

MOST_WAITING_BYTES = 500_000_000
_NAME = re.compile(r"([0-9]{10,12})-[0-9a-f]{32}")
_NOTE = ".json"


class WaitingArtwork:
    """The folder of what waits. A name says until when, so that nothing need be opened to empty it."""

    def __init__(self, folder: Path | None, chance: Chance) -> None:
        self._folder, self._chance = folder, chance

    def put(self, content: bytes, artwork: Artwork, *, until: datetime.datetime) -> str:
        """
        Have a file that was measured wait; what it waits under.

        Raises:
            ArtworkTooLargeError: too much waits.
            StorageError: it cannot be written.
        """
        folder = self._place()
        waits = sum(sizes(folder))
        if waits + len(content) > MOST_WAITING_BYTES:
            raise ArtworkTooLargeError(
                "storage", f"at most {MOST_WAITING_BYTES:,} bytes that wait", f"{waits + len(content):,}"
            )
        name = f"{int(until.timestamp())}-{self._chance(16).hex()}"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write(folder / name, content)
            write(folder / (name + _NOTE), to_json(artwork))
        except OSError as error:
            raise StorageError(f"expected to put artwork by; found {error.strerror}") from error
        return name

    def note(self, name: str) -> bytes:
        """
        What a file measures, as it was written.

        Raises:
            QuoteNotFoundError: nothing waits under that name.
        """
        return self._read(name, _NOTE)

    def read(self, name: str) -> tuple[bytes, Artwork]:
        """
        A file and what it measures.

        Raises:
            QuoteNotFoundError: nothing waits under that name.
        """
        return self._read(name), from_json(self.note(name), Artwork)

    def remove(self, name: str) -> None:
        """Let go of a file."""
        for ending in (_NOTE, ""):
            (self._place() / (name + ending)).unlink(missing_ok=True)

    def empty(self, *, before: datetime.datetime) -> None:
        """Let go of what waited until then, also of what was written in part."""
        if self._folder is None or not self._folder.is_dir():
            return
        for path in self._folder.iterdir():
            found = _NAME.match(path.name)
            if found and int(found[1]) < before.timestamp():
                with suppress(FileNotFoundError):
                    path.unlink()

    def _read(self, name: str, ending: str = "") -> bytes:
        if not _NAME.fullmatch(name):
            raise QuoteNotFoundError(name[:64])
        try:
            return (self._place() / (name + ending)).read_bytes()
        except FileNotFoundError as error:
            raise QuoteNotFoundError(name) from error
        except OSError as error:
            raise StorageError(f"expected artwork that waits; found {error.strerror}") from error

    def _place(self) -> Path:
        if self._folder is None:
            raise StorageError("expected a folder for artwork, told as the book is opened; found none")
        return self._folder
