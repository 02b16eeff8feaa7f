"""Measuring from this side: a file goes to a child of its own, in an empty folder that is taken away after it."""

from __future__ import annotations

from hashlib import sha256
from threading import BoundedSemaphore

from msgspec import Struct

from quoting.artwork.measured import UPLOADED, Artwork, FormArtwork, Kind, Limits
from quoting.errors import (
    ArtworkBusyError,
    ArtworkError,
    ArtworkTooLargeError,
    ArtworkToolError,
    InputError,
    UnfitArtworkError,
)

MOST_AT_ONCE = 2
_places = BoundedSemaphore(MOST_AT_ONCE)
_SPACE_FOR_FILES = 600_000_000
_MOST_ANSWERED = 16_000_000
_PROGRAMS = "/usr/local/bin:/usr/bin:/bin:/opt/homebrew/bin"


class Asked(Struct, frozen=True, kw_only=True):
    """What a child is asked: the file, what it is, how much of it may be read."""

    content: bytes
    name: str
    content_hash: str
    kind: Kind
    limits: Limits
    dots_an_inch: int | None = None


class Refusal(Struct, frozen=True, tag="refused"):
    """Why the child refuses: the error by its name, what it says, and of a limit which."""

    error: str
    said: str
    limit: str = ""
    found: str = ""


class Answer(Struct, frozen=True, tag="measured"):
    """What the child measured, as JSON: its numbers are read again at the door."""

    forms: bytes
    notes: tuple[str, ...] = ()


_REFUSALS: dict[str, type[ArtworkError]] = {
    kind.__name__: kind for kind in (UnfitArtworkError, ArtworkToolError, ArtworkBusyError)
}


def measure_artwork(
    content: bytes,
    declared_name: str,
    declared_type: str | None = None,
    *,
    limits: Limits = UPLOADED,
    dots_an_inch: int | None = None,
) -> Artwork:
    """
    Every form that a PDF, a PNG or a TIFF holds, measured.

    A page is a form; a page in spot colours, or in process colours, is a form a separation.

    Args:
        declared_name: The name it came with: its ending must be that of its kind.
        declared_type: The media type it came with, if it came with one.
        dots_an_inch: Of a picture that does not say its own.

    Raises:
        UnfitArtworkError: not such a file, or one that cannot be read.
        ArtworkTooLargeError: over one of the limits.
        ArtworkBusyError: no place was free in time.
        ArtworkToolError: what reads it is not installed.
    """
    from quoting.artwork.doors import kind_of, told_name

    kind = kind_of(content, declared_name, declared_type, limits)
    asked = Asked(
        content=content,
        name=told_name(declared_name),
        content_hash=sha256(content).hexdigest(),
        kind=kind,
        limits=limits,
        dots_an_inch=dots_an_inch,
    )
    forms, notes = _read(_answer(asked, limits))
    return Artwork(
        file=asked.name,
        content_hash=asked.content_hash,
        kind=kind,
        byte_count=len(content),
        forms=forms,
        notes=notes,
    )


def _answer(asked: Asked, limits: Limits) -> bytes:
    """The child's answer, once a place is free."""
    import tempfile
    from pathlib import Path

    from msgspec import msgpack

    from quoting.piped_child import EndedError, OverdueError, PipedChild

    if not _places.acquire(timeout=limits.waited_seconds):
        raise ArtworkBusyError(
            f"expected a place to measure artwork within {limits.waited_seconds} s; all {MOST_AT_ONCE} were taken"
        )
    try:
        with tempfile.TemporaryDirectory(prefix="artwork-", ignore_cleanup_errors=True) as folder:
            child = PipedChild(
                "quoting.artwork.child",
                *(str(most) for most in (limits.memory_bytes, limits.seconds, _SPACE_FOR_FILES)),
                folder=Path(folder),
                environment=_environment(folder),
                most_bytes=_MOST_ANSWERED,
            )
            try:
                return child.ask(msgpack.encode(asked), seconds=limits.seconds)
            except OverdueError as error:
                raise ArtworkTooLargeError(
                    "seconds", f"at most {limits.seconds} s of work", "more, and it was ended"
                ) from error
            except EndedError as error:
                raise ArtworkTooLargeError(
                    "memory", f"at most {limits.memory_bytes:,} bytes once unpacked", "more, or a file that breaks"
                ) from error
            finally:
                child.end()
    finally:
        _places.release()


def _environment(folder: str) -> dict[str, str]:
    """All that a child is told of this machine: where programs and modules are."""
    import os
    import sys

    return {
        "PATH": _PROGRAMS,
        "PYTHONPATH": os.pathsep.join(place for place in sys.path if place),
        "PYTHONSAFEPATH": "1",
        "PYTHONDONTWRITEBYTECODE": "1",
        "HOME": folder,
        "TMPDIR": folder,
        "LC_ALL": "C.UTF-8",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }


def _read(answer: bytes) -> tuple[tuple[FormArtwork, ...], tuple[str, ...]]:
    """
    What a child answered: nothing of it is trusted, as what it read may have run in it.

    Raises:
        ArtworkError: what it refused with, or an answer that cannot be.
    """
    from msgspec import DecodeError, msgpack

    from quoting.reader import from_json

    try:
        told = msgpack.decode(answer, type=Answer | Refusal)
        if isinstance(told, Answer):
            return from_json(told.forms, tuple[FormArtwork, ...]), told.notes
    except (DecodeError, UnicodeDecodeError, InputError) as error:
        raise UnfitArtworkError("expected artwork that can be measured; found one that broke its reader") from error
    if told.error == ArtworkTooLargeError.__name__:
        raise ArtworkTooLargeError(told.limit, told.said, told.found)
    raise _REFUSALS.get(told.error, UnfitArtworkError)(told.said)
