"""Papers: what a quotation was made from and what was sent, kept as it was, apart from the history."""

from __future__ import annotations

import re
import unicodedata
import zlib
from collections.abc import Callable, Iterable

from msgspec import Struct

from quoting.book.chain import commitment
from quoting.errors import BookError
from quoting.quotation import Quotation

JSON = "application/json"
# What the book keeps by itself; every other kind is a document that somebody sent.
OWN = ("job", "estimate", "quotation", "pins", "accepted", "declined", "withdrawn")
SALT_BYTES = 32
_KIND = re.compile(r"[a-z][a-z0-9-]{0,39}")
_WORD = re.compile(r"\w+")
_MOST_WORDS, _LONGEST_WORD = 64, 60

Chance = Callable[[int], bytes]


class Paper(Struct, frozen=True):
    """One paper: what it is, and its bytes."""

    kind: str
    media_type: str
    content: bytes


class Packed(Struct, frozen=True):
    """A paper as its bytes are stored: packed before a page is written, since that takes longest."""

    kind: str
    media_type: str
    body: bytes


class Sealed(Struct, frozen=True):
    """A paper of a revision as it is stored, packed and salted."""

    revision: int
    kind: str
    salt: bytes
    media_type: str
    body: bytes

    @property
    def label(self) -> str:
        """How the history names it: ``1/job``."""
        return f"{self.revision}/{self.kind}"

    @property
    def commitment(self) -> str:
        """What the history holds of it."""
        return commitment(self.salt, f"{self.label} {self.media_type}", self.body)

    @property
    def paper(self) -> Paper:
        """The paper itself."""
        return Paper(self.kind, self.media_type, unpacked(self.body))


def pack(paper: Paper) -> Packed:
    """A paper as its bytes are stored."""
    return Packed(paper.kind, paper.media_type, packed(paper.content))


def seal(paper: Packed, revision: int, chance: Chance) -> Sealed:
    """Salt a paper of a revision."""
    return Sealed(revision, paper.kind, chance(SALT_BYTES), paper.media_type, paper.body)


def packed(content: bytes) -> bytes:
    """Bytes as they are stored."""
    return zlib.compress(content, 1)


def unpacked(body: bytes) -> bytes:
    """
    Stored bytes as they were.

    Raises:
        ValueError: bytes that were not stored by us.
    """
    try:
        return zlib.decompress(body)
    except zlib.error as error:
        raise ValueError(str(error)) from error


def commitments_of(sealed: Iterable[Sealed]) -> dict[str, str]:
    """What the history holds of some papers, by label."""
    return {one.label: one.commitment for one in sealed}


def check_document_kind(kind: str) -> None:
    """
    Hold that a document's kind is one word and none of the book's own.

    Raises:
        BookError: another kind.
    """
    if not _KIND.fullmatch(kind) or kind in OWN:
        raise BookError(f"expected a kind of document such as pdf; found {kind!r}")


def words_of(quotation: Quotation) -> tuple[str, ...]:
    """The words that a quotation is found by: its client's, its title's and reference's, its items'."""
    client = quotation.client
    texts = (client.name, client.company, quotation.title, quotation.reference, *(it.name for it in quotation.items))
    return tuple(sorted(set(folded_words(" ".join(texts))))[:_MOST_WORDS])


def folded_words(text: str) -> list[str]:
    """Words without case, width and accents' spelling, as they are looked for."""
    found: list[str] = _WORD.findall(folded(text))
    return [word[:_LONGEST_WORD] for word in found]


def folded(text: str) -> str:
    """Text as it is compared: NFKC, no case, single spaces, no NUL."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().replace("\0", " ").split())


def shown_name(quotation: Quotation) -> str:
    """A client as a list shows them."""
    client = quotation.client
    return storable(f"{client.name}, {client.company}" if client.company else client.name)


def storable(text: str) -> str:
    """Text that both engines take: PostgreSQL knows no NUL."""
    return text.replace("\0", "\N{REPLACEMENT CHARACTER}")
