"""What a file says it is and what it is: name, type and first bytes must agree, and nothing rides along."""

from __future__ import annotations

import re

from quoting.artwork.measured import Kind, Limits
from quoting.errors import ArtworkTooLargeError, UnfitArtworkError, shown

MEDIA_TYPES: dict[Kind, str] = {"pdf": "application/pdf", "png": "image/png", "tiff": "image/tiff"}
ENDINGS: dict[str, Kind] = {"pdf": "pdf", "png": "png", "tif": "tiff", "tiff": "tiff"}
_MAGIC: dict[bytes, Kind] = {
    b"%PDF-1.": "pdf",
    b"%PDF-2.": "pdf",
    b"\x89PNG\r\n\x1a\n": "png",
    b"II*\0": "tiff",
    b"MM\0*": "tiff",
}
# A browser that guesses types looks this far for a page; what is a picture or a PDF holds none of it there.
_LOOKED_THROUGH = 4096
_A_PAGE_TOO = re.compile(rb"<(?:!doctype\s|html|head|body|script|iframe|svg|meta|img|a\s)", re.IGNORECASE)
_PNG_END = b"IEND\xaeB`\x82"
_MOST_NAME = 120
_UNSPEAKABLE = re.compile(r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069/\\]")


def kind_of(content: bytes, name: str, media_type: str | None, limits: Limits) -> Kind:
    """
    The kind of a file, if name, declared type and first bytes say the same.

    Raises:
        ArtworkTooLargeError: more bytes than may be.
        UnfitArtworkError: another kind of file, or one that is two kinds at once.
    """
    if len(content) > limits.bytes:
        raise ArtworkTooLargeError("bytes", f"at most {limits.bytes:,} bytes", f"{len(content):,}")
    found = next((kind for magic, kind in _MAGIC.items() if content.startswith(magic)), None)
    if found is None:
        raise UnfitArtworkError(
            f"expected a file that begins as a PDF, a PNG or a TIFF; found one that begins {shown(content[:12])}"
        )
    ending = name.rpartition(".")[2].lower()
    if ENDINGS.get(ending) != found:
        wanted = " or ".join(f".{end}" for end, kind in ENDINGS.items() if kind == found)
        raise UnfitArtworkError(f"expected a name that ends in {wanted}, as its bytes say; found {shown(name)}")
    if media_type is not None and media_type.partition(";")[0].strip().lower() != MEDIA_TYPES[found]:
        raise UnfitArtworkError(
            f"expected the type {MEDIA_TYPES[found]}, as its bytes say; found {shown(media_type)}"
        )
    _check_alone(content, found)
    return found


def _check_alone(content: bytes, kind: Kind) -> None:
    """Hold that a file is of one kind only: no page for a browser in its head, nothing after its end."""
    also = _A_PAGE_TOO.search(content[:_LOOKED_THROUGH])
    if also:
        raise UnfitArtworkError(
            f"expected a {kind.upper()} and nothing else; found {shown(also[0])} in its first {_LOOKED_THROUGH} bytes"
        )
    if kind == "png":
        after = content.rpartition(_PNG_END)[2]
    elif kind == "pdf":
        after = content.rpartition(b"%%EOF")[2]
    else:
        return
    if len(after) == len(content) or after.strip(b"\r\n\t \0\x1a"):
        raise UnfitArtworkError(
            f"expected a {kind.upper()} that ends where its format ends; found {len(after):,} bytes after it"
        )


def told_name(name: str) -> str:
    """A declared name as it may be kept and shown: its last part, nothing that is no letter, not too long."""
    last = re.split(r"[/\\]", name)[-1]
    plain = _UNSPEAKABLE.sub("", last).strip(". ") or "artwork"
    stem, dot, ending = plain.rpartition(".")
    return plain if len(plain) <= _MOST_NAME else f"{stem[: _MOST_NAME - len(ending) - 1]}{dot}{ending}"
