"""
Looks at the book that nobody waits long for, so that what needs no book goes on while it hangs.

A database that is down refuses at once; one that is frozen, or behind a network that lost it, lets whoever asks
wait for ever. One look finds that out; while it still waits, nobody else joins it.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Awaitable, Callable
from typing import TypeVar

from anyio import CapacityLimiter, Lock, move_on_after, to_thread
from msgspec import Struct, field

from quoting.errors import StorageError

_T = TypeVar("_T")
MOST_AT_ONCE = 8


class _Look(Struct):
    begun: bool = False
    ended: threading.Event = field(default_factory=threading.Event)


class Looks:
    """
    Looks of one kind.

    Args:
        seconds: What one is waited for.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._places = CapacityLimiter(MOST_AT_ONCE)
        self._waits: _Look | None = None

    def hold_none_waits(self) -> None:
        """
        Hold that no look that was given up still waits.

        Raises:
            StorageError: one does.
        """
        if self._waits is not None and not self._waits.ended.is_set():
            raise StorageError("expected the book to answer; found that an earlier look at it still waits")
        self._waits = None

    async def look(self, work: Callable[[], _T]) -> _T:
        """
        What a look finds.

        Raises:
            StorageError: the book does not answer, or not in time.
        """
        self.hold_none_waits()
        look = _Look()

        def looked() -> _T:
            look.begun = True
            try:
                return work()
            finally:
                look.ended.set()

        with move_on_after(self._seconds):
            return await to_thread.run_sync(looked, abandon_on_cancel=True, limiter=self._places)
        if look.begun:
            self._waits = look
        raise StorageError(f"expected the book to answer in {self._seconds:g} s; found that it did not")


class SharedLook:
    """
    A look that many want at once: one looks, and the others go by a look that began after they asked.

    Args:
        look: What looks, and keeps what it finds.
    """

    def __init__(self, look: Callable[[], Awaitable[None]]) -> None:
        self._look = look
        self._turn = Lock()
        self._began = -math.inf
        self._failed = ""

    async def look(self) -> None:
        """
        Have what is found now kept.

        Raises:
            StorageError: the book does not answer, or not in time.
        """
        asked = time.monotonic()
        async with self._turn:
            if self._began < asked:
                await self._look_anew()
            elif self._failed:
                raise StorageError(self._failed)

    async def _look_anew(self) -> None:
        began = time.monotonic()
        try:
            await self._look()
        except StorageError as error:
            self._began, self._failed = began, str(error)
            raise
        self._began, self._failed = began, ""
