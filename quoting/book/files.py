"""Files beside the book: written whole or not at all, read by this user alone."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

_HALF_WRITTEN = ".part"


def write(path: Path, content: bytes) -> None:
    """A file that only this user reads, whole or not at all, on disk when this returns."""
    half = path.with_name(path.name + _HALF_WRITTEN)
    with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    half.replace(path)


def sizes(folder: Path) -> Iterator[int]:
    """What each file under a folder takes; nothing of a folder that is not there. [bytes]"""
    for place, _, files in os.walk(folder):
        for name in files:
            with suppress(FileNotFoundError):
                yield (Path(place) / name).stat().st_size
