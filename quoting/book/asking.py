"""Requests that may come twice: told by their key, done once, answered alike."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable
from typing import Any, TypeVar

from msgspec import Struct

from quoting.book.chain import entry_from, written_instant
from quoting.book.doors import LONGEST_KEY, LONGEST_NAME, plain_words
from quoting.book.page import Asked, Page
from quoting.book.prepared import Prepared
from quoting.reader import to_json

_T = TypeVar("_T")


class RequestKey(Struct, frozen=True):
    """
    The key of a request that may come twice.

    Args:
        key: The key itself.
        whose: Who gave it, such as the id of an access key: another's same key is another key.
        told: What tells the request from another, such as a hash of what was decoded; what it asks for, if left out.
        since: A key that came before this is another key; none is, if left out.
    """

    key: str
    whose: str = ""
    told: str = ""
    since: datetime.datetime | None = None


def once(
    work: Callable[[Page], _T], asked: Asked, again: Callable[[Page, str, int], Any] | None = None
) -> Callable[[Page], _T]:
    """Work that is done once, however often it is asked for with one key."""

    def done(page: Page) -> _T:
        before = page.led_to_before(asked)
        if before is not None:
            answer: _T = again(page, *before) if again else as_it_was(page, *before)
            return answer
        page.begin(asked)
        first = work(page)
        page.keep_request(asked)
        return first

    return done


def as_it_was(page: Page, id: str, version: int) -> Any:
    """A quotation as it stood at one of its versions."""
    return entry_from(page.events_of(id)[:version])


def asked_for(operation: str, key: str | RequestKey, *payload: object) -> Asked | None:
    """What tells a request from another that has the same key."""
    given = RequestKey(key) if isinstance(key, str) else key
    if not plain_words("key", given.key, most=LONGEST_KEY):
        return None
    of_it = (given.told,) if given.told else payload
    told = [list(one.told) if isinstance(one, Prepared) else one for one in of_it]
    whose = plain_words("whose", given.whose, most=LONGEST_NAME)
    named = f"{operation} of {whose}" if whose else operation
    since = written_instant(given.since) if given.since else ""
    return Asked(named, given.key, hashlib.sha256(to_json(told)).hexdigest(), since)
