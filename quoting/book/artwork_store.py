"""
Artwork that came with a request or a quotation: files beside the book, none of it in the book's rows.

A folder an entry of the book, by its id; in it each file under a name of chance, with a note of what it is. It
lies under no folder that is served, and is handed out by its content hash, as a download and in no other way.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Collection, Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from msgspec import Struct

from quoting.artwork import Artwork
from quoting.artwork.doors import MEDIA_TYPES
from quoting.book.artwork_waiting import WaitingArtwork
from quoting.book.files import sizes, write
from quoting.book.papers import Chance
from quoting.errors import ArtworkTooLargeError, BookError, InputError, QuoteNotFoundError, StorageError
from quoting.reader import from_json, to_json

MOST_STORED_BYTES = 2_000_000_000
MOST_AN_ENTRY = 20
_ID = re.compile(r"[A-Za-z0-9_-]{22}")
_HASH = re.compile(r"[0-9a-f]{64}")
_NOTE = ".json"
_NAME_BYTES = 16


class KeptArtwork(Struct, frozen=True, kw_only=True):
    """One file that is kept: what it is, what it was called; ``stored_as`` is its name in the folder."""

    content_hash: str
    name: str
    media_type: str
    byte_count: int
    stored_as: str

    def headers(self) -> dict[str, str]:
        """The only way that it is served: a download, of a type that no browser looks behind."""
        from quoting.documents.names import content_disposition

        stem, _, ending = self.name.rpartition(".")
        return {
            "Content-Type": self.media_type,
            "Content-Disposition": content_disposition(stem or "artwork", ending),
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "Cache-Control": "no-store",
        }


class ArtworkStore:
    """The folder of artwork of one book; several processes may share it."""

    def __init__(self, folder: Path | None, chance: Chance, *, most_bytes: int = MOST_STORED_BYTES) -> None:
        self._folder, self._chance, self.most_bytes = folder, chance, most_bytes
        self.waiting = WaitingArtwork(folder / "waiting" if folder else None, chance)

    def keep(self, entry: str, content: bytes, artwork: Artwork, *, waited: bool = False) -> KeptArtwork:
        """
        Keep a file that was measured, for an entry of the book; kept already, it is not doubled.

        Args:
            waited: Whether it waited here, and so is among what is stored already.

        Raises:
            ArtworkTooLargeError: an entry's or the book's folder would hold too much.
            BookError: other content than was measured, or a book without a folder for artwork.
            StorageError: it cannot be written.
        """
        if sha256(content).hexdigest() != artwork.content_hash:
            raise BookError("expected the file that was measured; found another content")
        before = self.kept(entry)
        known = next((one for one in before if one.content_hash == artwork.content_hash), None)
        if known is not None:
            return known
        if len(before) >= MOST_AN_ENTRY:
            raise ArtworkTooLargeError("files", f"at most {MOST_AN_ENTRY} files a request", "one more")
        stored = self.stored_bytes()
        if not waited and stored + len(content) > self.most_bytes:
            raise ArtworkTooLargeError(
                "storage", f"at most {self.most_bytes:,} bytes in all", f"{stored + len(content):,}"
            )
        found = KeptArtwork(
            content_hash=artwork.content_hash,
            name=artwork.file,
            media_type=MEDIA_TYPES[artwork.kind],
            byte_count=len(content),
            stored_as=self._chance(_NAME_BYTES).hex(),
        )
        try:
            folder = self._of(entry)
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write(folder / found.stored_as, content)
            write(folder / (found.stored_as + _NOTE), to_json(found))
        except OSError as error:
            raise StorageError(f"expected to keep artwork; found {error.strerror}") from error
        return found

    def kept(self, entry: str) -> tuple[KeptArtwork, ...]:
        """Every file of an entry, by name."""
        if self._folder is None:
            return ()
        notes = sorted(self._of(entry).glob(f"*{_NOTE}"))
        return tuple(sorted(_noted(notes), key=lambda one: (one.name, one.content_hash)))

    def read(self, entry: str, content_hash: str) -> tuple[KeptArtwork, bytes]:
        """
        A file of an entry by its content hash, as it came.

        Raises:
            QuoteNotFoundError: the entry has none of that hash.
            StorageError: it is not as it came, or cannot be read.
        """
        found = next((one for one in self.kept(entry) if one.content_hash == content_hash), None)
        if found is None or not _HASH.fullmatch(content_hash):
            raise QuoteNotFoundError(content_hash[:64])
        try:
            content = (self._of(entry) / found.stored_as).read_bytes()
        except OSError as error:
            raise StorageError(f"expected artwork {content_hash[:12]}; found {error.strerror}") from error
        if sha256(content).hexdigest() != content_hash:
            raise StorageError(f"expected artwork {content_hash[:12]} as it came; found other content")
        return found, content

    def erase(self, entries: Collection[str]) -> None:
        """
        Take away all that was kept for some entries.

        Raises:
            StorageError: something stays; erasing once more goes on from there.
        """
        if self._folder is None:
            return
        for entry in entries:
            try:
                shutil.rmtree(self._of(entry))
            except FileNotFoundError:
                continue
            except OSError as error:
                raise StorageError(f"expected to erase artwork of {entry}; found {error.strerror}") from error

    def entries(self) -> tuple[str, ...]:
        """Every entry that something is kept for."""
        if self._folder is None or not self._folder.is_dir():
            return ()
        return tuple(sorted(path.name for path in self._folder.iterdir() if _ID.fullmatch(path.name)))

    def stored_bytes(self) -> int:
        """What all files take together. [bytes]"""
        if self._folder is None or not self._folder.is_dir():
            return 0
        return sum(sizes(self._folder))

    def _of(self, entry: str) -> Path:
        if self._folder is None:
            raise StorageError("expected a folder for artwork, told as the book is opened; found none")
        if not _ID.fullmatch(entry):
            raise QuoteNotFoundError(entry[:64])
        return self._folder / entry


def beside(book: Path) -> Path:
    """The folder of a book that is a file."""
    return book.with_name(f"{book.name}.artwork")


def _noted(notes: list[Path]) -> Iterator[KeptArtwork]:
    for note in notes:
        with suppress(FileNotFoundError, InputError):  # erased by another process meanwhile
            yield from_json(note.read_bytes(), KeptArtwork)
