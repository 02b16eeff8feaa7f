"""Formats of card and job files: which are read, and how an older one is brought up to date."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from quoting import reader
from quoting.errors import Fault, RateCardError
from quoting.rate_card import FORMAT

# From each format to the next, on the file's own text so that comments stay. None is needed yet.
STEPS: dict[int, Callable[[str], str]] = {}


def upgrade_card(path: Path, *, newest: int = FORMAT) -> str:
    """
    Bring the files of a rate card to the newest format, and say what was done.

    Raises:
        RateCardError: no format is named, or one that no step leads on from.
    """
    names = sorted(path.glob("*.toml")) if path.is_dir() else [path]
    texts = {name: _text(name) for name in names}
    found = _format_of(texts)
    if found == newest:
        return f"{path}: format {newest} is the newest; nothing to do"
    for step in range(found, newest):
        texts = {name: STEPS[step](text) for name, text in texts.items()}
    for name, text in texts.items():
        name.write_text(text, encoding="utf-8")
    return f"{path}: brought from format {found} to {newest}"


def _text(name: Path) -> str:
    try:
        return name.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RateCardError([Fault("$", "a readable TOML file", str(error), name.name)]) from error


def _format_of(texts: dict[Path, str]) -> int:
    for name, text in texts.items():
        tables: dict[str, Any] = reader.toml_data(text, file=name.name)
        if "format" in tables:
            found = tables["format"]
            if found == FORMAT or found in STEPS:
                return int(found)
            raise RateCardError(
                [
                    Fault(
                        "format",
                        f"a number from 1 to {FORMAT}, which this version reads",
                        repr(found),
                        name.name,
                    )
                ]
            )
    raise RateCardError([Fault("format", f"format = {FORMAT} in one of the files", "none")])
