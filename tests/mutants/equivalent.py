"""Mutants that no test can tell from the code, as ``equivalent.txt`` has them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

_LISTED = Path(__file__).with_name("equivalent.txt")


def _read(text: str) -> Iterator[tuple[str, str, str]]:
    path = before = ""
    for line in text.splitlines():
        if line.startswith("- "):
            before = line[2:]
        elif line.startswith("+ "):
            yield path, before, line[2:]
        elif line and not line.startswith("#"):
            path = line


EQUIVALENT = frozenset(_read(_LISTED.read_text(encoding="utf-8")))
