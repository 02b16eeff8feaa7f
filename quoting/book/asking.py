"""Requests that may come twice: told by their key, done once, answered alike."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TypeVar

from quoting.book.doors import LONGEST_KEY, plain_words
from quoting.book.page import Asked, Page
from quoting.book.prepared import Prepared
from quoting.book.states import Entry
from quoting.reader import to_json

_T = TypeVar("_T")


def once(work: Callable[[Page], _T], asked: Asked) -> Callable[[Page], _T]:
    """Work that is done once, however often it is asked for with one key."""

    def done(page: Page) -> _T:
        before = page.answered_before(asked)
        if before is not None:
            return before  # type: ignore[return-value]  # keys are given to changes of quotations, which answer entries
        page.asked = asked
        answer = work(page)
        if isinstance(answer, Entry):
            page.keep_answer(asked, answer)
        return answer

    return done


def asked_for(operation: str, key: str, *payload: object) -> Asked | None:
    """What tells a request from another that has the same key."""
    if not plain_words("key", key, most=LONGEST_KEY):
        return None
    told = [list(one.told) if isinstance(one, Prepared) else one for one in payload]
    return Asked(operation, key, hashlib.sha256(to_json(told)).hexdigest())
