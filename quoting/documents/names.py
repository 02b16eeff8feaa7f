"""What a document is called when it is downloaded: one header line, whatever a client is called."""

from __future__ import annotations

import re
import unicodedata
from urllib.parse import quote

MOST_CHARACTERS = 80


def file_name(stem: str, ending: str) -> str:
    """
    A name for a file: no folders, no controls, nothing that a shell or a file system takes amiss.

    Args:
        stem: What it is of: a title, a client's name.
        ending: ``pdf``, ``xml``, ``json``.
    """
    kept = "".join(
        character if character.isalnum() or unicodedata.category(character) in {"Mn", "Mc"} else "-"
        for character in unicodedata.normalize("NFC", stem)
    )
    return (re.sub("-+", "-", kept)[:MOST_CHARACTERS].strip("-") or "document") + f".{ending}"


def content_disposition(stem: str, ending: str) -> str:
    """The header of a download (RFC 6266): a name in ASCII, and the true one for who can read it."""
    name = file_name(stem, ending)
    plain = unicodedata.normalize("NFKD", stem).encode("ascii", "ignore").decode()
    return f"attachment; filename=\"{file_name(plain, ending)}\"; filename*=UTF-8''{quote(name)}"
