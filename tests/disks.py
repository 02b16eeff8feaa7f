"""Small disks that fill up, as a file system of their own; mounting one needs root."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[Path]:
    """A file system of so many megabytes at a folder, which is made."""
    folder.mkdir()
    told = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m,mode=0777", "tmpfs", str(folder)]
    subprocess.run(told, check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)
        folder.rmdir()


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """A file system that cannot be written for a while; nobody may have a file of it open to write."""
    subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    try:
        yield
    finally:
        subprocess.run(["mount", "-o", "remount,rw", str(folder)], check=True)
