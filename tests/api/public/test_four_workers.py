"""
Four worker processes on each engine: one request is kept once, a quotation ends once, a budget holds (A13, A19, A51).

They are asked in one test, since starting them costs more than asking them.
"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.api.conftest import MOST_PRICES
from tests.api.public.conftest import Shop
from tests.api.public.visiting import ACCEPT


def test_four_workers_hold_together(served_shop: Shop) -> None:
    hold_a_hundred_requests_with_one_key_to_one_quotation(served_shop)
    hold_acceptances_and_refusals_to_one_state(served_shop)
    hold_prices_to_one_budget(served_shop)


def hold_a_hundred_requests_with_one_key_to_one_quotation(shop: Shop) -> None:
    """A hundred at once with one key are one quotation and one word to the shop; every answer is the same."""
    with shop.book() as book:
        before = [event.kind for event in book.events(most=100_000)]
    for number in range(2):
        key, visitor = f"one-key-{number}-for-a-hundred", shop.visitor()
        with ThreadPoolExecutor(32) as crew:
            answers = list(crew.map(lambda _, v=visitor, k=key: v.send(key=k), range(100)))
        assert {answer.status_code for answer in answers} == {201}
        assert len({answer.content for answer in answers}) == 1
    with shop.book() as book:
        after = [event.kind for event in book.events(most=100_000)]
        told = [one.kind for one in book.outbox.waiting(most=100_000)]
    assert [after.count(kind) - before.count(kind) for kind in ("drafted", "requested", "issued")] == [2, 2, 2]
    assert told.count("issued") == after.count("issued")
    assert told.count("requested") == after.count("requested")


def hold_acceptances_and_refusals_to_one_state(shop: Shop) -> None:
    """Fifty acceptances and fifty refusals at once end in one state; 99 are told it."""
    path = shop.visitor().link()

    def move(number: int) -> tuple[int, str]:
        stranger = shop.stranger()
        if number % 2:
            answer = stranger.post(f"{path}/acceptance", ACCEPT)
        else:
            answer = stranger.post(f"{path}/decline", {"revision": 1})
        return answer.status_code, answer.json()["state"]

    with ThreadPoolExecutor(32) as crew:
        answers = list(crew.map(move, range(100)))
    told = shop.stranger().get(path).json()
    assert sorted(status for status, _ in answers) == [200] + [409] * 99
    assert {state for _, state in answers} == {told["state"]}


def hold_prices_to_one_budget(shop: Shop) -> None:
    """All workers together accept no more than the budget, and most of it."""
    visitor = shop.visitor()
    began = int(time.time()) // 60

    def ask(_: int) -> int:
        return visitor.price(quantities=[7]).status_code

    with ThreadPoolExecutor(32) as crew:
        statuses = list(crew.map(ask, range(2 * MOST_PRICES)))
    windows = int(time.time()) // 60 - began + 1
    accepted = statuses.count(422)  # counted before it is refused as outside the offer
    assert set(statuses) <= {422, 429}
    assert accepted <= MOST_PRICES * windows
    assert accepted >= MOST_PRICES * 0.7


@pytest.mark.long
def test_two_hundred_at_once_with_each_of_a_hundred_keys_are_a_hundred_quotations(served_shop: Shop) -> None:
    with served_shop.book() as book:
        before = len(book.events(most=1_000_000))
    for number in range(100):
        key, visitor = f"one-key-{number:03}-of-a-hundred", served_shop.visitor()
        with ThreadPoolExecutor(64) as crew:
            answers = list(crew.map(lambda _, v=visitor, k=key: v.send(key=k), range(200)))
        assert {answer.status_code for answer in answers} == {201}
        assert len({answer.content for answer in answers}) == 1
    with served_shop.book() as book:
        kinds = [event.kind for event in book.events(after=before, most=1_000_000)]
    assert [kinds.count(kind) for kind in ("drafted", "requested", "issued")] == [100, 100, 100]
