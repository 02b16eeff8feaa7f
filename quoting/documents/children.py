"""
Rendering children: processes started as ``python -m quoting.documents.child``, spoken to over pipes.

A child renders page after page and gives its place to a new one after ``MOST_PAGES`` of them, which gets warm while
no page waits: WeasyPrint does not let go of the attributes that it makes for text with font features. One that runs
over its time is ended; one that dies takes only its own page along: the next page has a new child. Children end by
themselves when the process that started them is gone.
"""

from __future__ import annotations

import atexit
import threading
from contextlib import suppress
from shutil import rmtree
from tempfile import mkdtemp

from msgspec import msgpack

from quoting.documents.page import Page
from quoting.errors import DocumentError, TemplateError, UnfitTextError
from quoting.piped_child import EndedError, OverdueError, PipedChild

MOST_SECONDS = 15
MOST_MEMORY_BYTES = 768 * 1024 * 1024
MOST_PAGES = 40  # it grows by a quarter of a megabyte a page
DONE, REFUSED, LAST_WORDS = b"+", b"-", b"!"
_KINDS: dict[str, type[DocumentError]] = {
    kind.__name__: kind for kind in (DocumentError, UnfitTextError, TemplateError)
}


class Child(PipedChild):
    """One rendering process."""

    def __init__(self) -> None:
        self._scratch = mkdtemp(prefix="quoting-")  # of fonts; here, since a child that is killed tidies nothing up
        self.pages = 0
        try:
            super().__init__("quoting.documents.child", str(MOST_MEMORY_BYTES), self._scratch)
        except OSError:
            rmtree(self._scratch, ignore_errors=True)
            raise

    def render(self, page: Page, seconds: float) -> bytes:
        """
        A page as PDF; whether it can be asked again ``is_running`` says.

        Raises:
            DocumentError: what the child said, or that it took too long or ended.
        """
        self.pages += 1
        try:
            answer = self.ask(msgpack.encode(page), seconds=seconds)
        except OverdueError as error:
            raise DocumentError(f"expected the page in {seconds:g} s; it took longer and was ended") from error
        except EndedError as error:
            told = "expected a page within its memory; its process ended before it was done"
            raise DocumentError(told) from error
        kind, body = answer[:1], answer[1:]
        if kind == DONE:
            return body
        if kind == LAST_WORDS:
            self.end()
        name, _, said = body.decode(errors="replace").partition(": ")
        raise _KINDS.get(name, DocumentError)(said)

    def end(self) -> None:
        """End it, whatever it is doing, and take away what it left."""
        super().end()
        rmtree(self._scratch, ignore_errors=True)


class Children:
    """As many rendering processes as there may be at once; each is started when it is first wanted."""

    def __init__(self, most: int = 1) -> None:
        self._free: list[Child | None] = [None] * most
        self._places = threading.Semaphore(most)
        self._lock = threading.Lock()

    def render(self, page: Page, *, seconds: float = MOST_SECONDS) -> bytes:
        """
        A page as PDF, as soon as a child is free.

        Raises:
            DocumentError: no child was free in time, or it ran over its limits, or says why it cannot.
        """
        if not self._places.acquire(timeout=seconds):
            raise DocumentError(f"expected a rendering process within {seconds:g} s; all were busy")
        child = self._take()
        try:
            if child is None or not child.is_running:
                child = _other_than(child)
            return child.render(page, seconds)
        finally:
            follower = None
            try:
                follower = _follower(child)
            finally:
                self._give(follower)

    def start(self) -> None:
        """Start one child before there is a page, so that it is warm by then."""
        if not self._places.acquire(blocking=False):
            return
        child = self._take()
        try:
            child = child or Child()
        finally:
            self._give(child)

    def end(self) -> None:
        """End every child that is free."""
        with self._lock:
            free, self._free = self._free, [None] * len(self._free)
        for child in free:
            if child is not None:
                child.end()

    def _take(self) -> Child | None:
        """The warmest, of those the last that was given back; it is known that one is free."""
        with self._lock:
            warmest = max(reversed(self._free), key=_warmth)
            self._free.remove(warmest)
            return warmest

    def _give(self, child: Child | None) -> None:
        with self._lock:
            self._free.append(child)
        self._places.release()


def _warmth(child: Child | None) -> int:
    """One that has rendered before one that was just started before none."""
    return 0 if child is None else 1 + min(child.pages, 1)


def _follower(child: Child | None) -> Child | None:
    """Who renders after a child: itself, until it has rendered enough; then a new one, started at once."""
    if child is None or (child.is_running and child.pages < MOST_PAGES):
        return child
    spent = child.is_running
    child.end()
    with suppress(OSError):  # no room for a process just now: the next page asks again
        return Child() if spent else None
    return None


def _other_than(child: Child | None) -> Child:
    if child is not None:
        child.end()
    try:
        return Child()
    except OSError as error:
        raise DocumentError(f"expected to start a rendering process; found {error.strerror}") from error


_shared: list[Children] = []
_lock = threading.Lock()


def render_in_child(page: Page, *, seconds: float = MOST_SECONDS) -> bytes:
    """
    A page as PDF, rendered in a child process that this process keeps.

    Raises:
        DocumentError: the child ran over its limits, or says why it cannot.
    """
    with _lock:
        if not _shared:
            _shared.append(Children(most=2))
            atexit.register(_shared[0].end)
    return _shared[0].render(page, seconds=seconds)
