"""
Limits: how much one client address, one e-mail address, one key may ask for in a while, over all workers.

A worker leases a share of a budget from the book and spends it by itself, so that a request writes nothing
as a rule; what all workers accept together never passes the budget. While the book does not answer, each
worker goes by a budget of its own: prices need no book.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
import math
from contextlib import suppress
from typing import TYPE_CHECKING

from anyio import Lock
from msgspec import Struct

from api.problems import ProblemError
from quoting.errors import StorageError

if TYPE_CHECKING:
    from api.desk import Desk

MOST_REMEMBERED = 20_000
SHARES_A_WORKER = 4  # what other workers hold and do not spend is at most a quarter of a budget
SWEEP_EVERY = datetime.timedelta(minutes=1)
FORGET_EVERY = datetime.timedelta(minutes=10)


class Limit(Struct, frozen=True):
    """So many of something in so many seconds; windows begin with the clock's own multiples of them."""

    name: str
    most: int
    seconds: int

    def window_end(self, at: datetime.datetime) -> datetime.datetime:
        """When the window that an instant lies in is over."""
        number = math.floor(at.timestamp()) // self.seconds + 1
        return datetime.datetime.fromtimestamp(number * self.seconds, datetime.UTC)


class Left(Struct, frozen=True):
    """What is left of a limit, as far as this worker knows, and the seconds until it begins anew."""

    limit: Limit
    left: int
    seconds: int

    @property
    def headers(self) -> dict[str, str]:
        """As fields of an answer (the IETF draft of RateLimit fields)."""
        limit = self.limit
        return {
            "RateLimit-Policy": f'"{limit.name}";q={limit.most};w={limit.seconds}',
            "RateLimit": f'"{limit.name}";r={self.left};t={self.seconds}',
        }


class _Lease(Struct):
    """A share that this worker holds; ``over`` where the budget has no more."""

    until: datetime.datetime
    left: int = 0
    over: bool = False
    leasing: Lock | None = None  # while somebody leases; there are many leases, and few are being made


class Limits:
    """The limits of one worker."""

    def __init__(self, desk: Desk, secret: str) -> None:
        self._desk = desk
        self._secret = secret.encode()
        self._leases: dict[str, _Lease] = {}
        self._forgotten = self._swept = desk.now()

    async def spend(self, limit: Limit, whose: str) -> Left:
        """
        Count one request of somebody's.

        Raises:
            ProblemError: they asked for too much; Retry-After says when more is granted.
        """
        lease = self._lease(limit, whose)
        if not lease.left and not lease.over:
            leasing = lease.leasing = lease.leasing or Lock()
            async with leasing:
                if not lease.left and not lease.over:
                    await self._lease_more(limit, whose, lease)
            lease.leasing = None
        if not lease.left:
            raise self._refusal(limit, lease)
        lease.left -= 1
        return Left(limit, lease.left, self._seconds_to(lease.until))

    def check(self, limit: Limit, whose: str) -> None:
        """
        Hold that somebody is not known to have asked for too much; nothing is counted or looked up.

        Raises:
            ProblemError: they have.
        """
        lease = self._lease(limit, whose)
        if lease.over and not lease.left:
            raise self._refusal(limit, lease)

    def _refusal(self, limit: Limit, lease: _Lease) -> ProblemError:
        seconds = self._seconds_to(lease.until)
        headers = {"Retry-After": str(seconds), **Left(limit, 0, seconds).headers}
        return ProblemError("quota-exceeded", headers=headers)

    def _seconds_to(self, until: datetime.datetime) -> int:
        return max(1, math.ceil((until - self._desk.now()).total_seconds()))

    def _lease(self, limit: Limit, whose: str) -> _Lease:
        name, until = self._named(limit, whose), limit.window_end(self._desk.now())
        lease = self._leases.get(name)
        if lease is None or lease.until != until:
            self._forget_leases()
            lease = self._leases[name] = _Lease(until)
        return lease

    def _forget_leases(self) -> None:
        """Forget leases that are over; all where there are too many: what is forgotten was counted in the book."""
        now = self._desk.now()
        if now - self._swept < SWEEP_EVERY and len(self._leases) < MOST_REMEMBERED:
            return
        self._swept = now
        self._leases = {one: kept for one, kept in self._leases.items() if kept.until > now}
        if len(self._leases) >= MOST_REMEMBERED:
            self._leases = {}

    async def _lease_more(self, limit: Limit, whose: str, lease: _Lease) -> None:
        name = self._named(limit, whose)
        share = max(1, limit.most // (SHARES_A_WORKER * self._desk.settings.workers))
        try:
            granted = await self._desk.in_book(
                lambda book: book.budgets.take(name, share, most=limit.most, until=lease.until)
            )
        except StorageError:
            granted, lease.over = limit.most, True
        else:
            lease.over = not granted
            await self._forget_old()
        lease.left += granted  # last: whoever leases is the first to spend it

    async def _forget_old(self) -> None:
        now = self._desk.now()
        if now - self._forgotten < FORGET_EVERY:
            return
        self._forgotten = now
        with suppress(StorageError):
            await self._desk.in_book(lambda book: book.budgets.forget(before=now - FORGET_EVERY))

    def _named(self, limit: Limit, whose: str) -> str:
        """A budget's name in the book: no address, no e-mail can be read out of it."""
        kept = hmac.digest(self._secret or b"-", whose.encode("utf-8", "surrogatepass"), hashlib.sha256).hex()
        return f"{limit.name} {kept[:32]}"
