"""A19, A20, A31: many at once, in threads and in processes, on both engines."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import update

from quoting.book import Entry, QuoteBook
from quoting.book.tables import counters
from quoting.errors import BookError, StaleVersionError, StateError, StorageError
from tests.book.conftest import Addresses
from tests.book.shop import LATER, NOW, card, issued, priced
from tests.book.worker import client_process

PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.book.worker"])
SLOWEST_SECONDS = 60  # a guard against hanging; what is measured is told in the benchmarks


def all_at_once(works: Sequence[Callable[[], Entry]]) -> list[Entry | BookError]:
    """What each of some works gives, or how it is refused, with all of them under way at once."""

    def tried(work: Callable[[], Entry]) -> Entry | BookError:
        try:
            return work()
        except BookError as refused:
            return refused

    with ThreadPoolExecutor(len(works)) as crew:
        return list(crew.map(tried, works))


@pytest.mark.parametrize("rounds", [2, pytest.param(40, marks=pytest.mark.long)])
def test_fifty_accept_and_fifty_decline_and_one_of_them_does(addresses: Addresses, rounds: int) -> None:
    address = addresses()
    with QuoteBook(address) as one, QuoteBook(address) as other:
        for _ in range(rounds):
            id = issued(one, priced(quantities=(100,))).id
            accept = [lambda at=LATER, id=id: one.accept(id, at=at, by="client")] * 50
            decline = [lambda at=LATER, id=id: other.decline(id, at=at, by="client")] * 50
            works = [work for pair in zip(accept, decline, strict=True) for work in pair]

            answers = all_at_once(works)

            won = [answer for answer in answers if isinstance(answer, Entry)]
            lost = [answer for answer in answers if isinstance(answer, StateError)]
            assert (len(won), len(lost)) == (1, 99)
            assert {answer.state for answer in lost} == {won[0].state}
            assert [event.kind for event in one.history(id)] == ["drafted", "issued", won[0].state]
        assert one.verify(engines={}).tampering == ()


@pytest.mark.parametrize("rounds", [3, pytest.param(40, marks=pytest.mark.long)])
def test_twenty_revise_one_version_and_one_of_them_does(addresses: Addresses, rounds: int) -> None:
    address = addresses()
    with QuoteBook(address) as one, QuoteBook(address) as other:
        entry = issued(one)
        papers = {1: one.paper(entry.id, "quotation")}
        for round in range(rounds):
            expected = entry.version
            works = [
                lambda book=book, id=entry.id, expected=expected: book.revise(
                    id, priced("cards"), card(), at=LATER, by="owner", version=expected
                )
                for book in [one, other] * 10
            ]

            answers = all_at_once(works)

            won = [answer for answer in answers if isinstance(answer, Entry)]
            assert [type(answer) for answer in answers].count(StaleVersionError) == 19
            assert [answer.revision for answer in won] == [round + 2]
            entry = won[0]
            papers[entry.revision] = one.paper(entry.id, "quotation")
        assert {at: one.paper(entry.id, "quotation", revision=at) for at in papers} == papers
        assert one.verify(engines={}).tampering == ()


@pytest.mark.parametrize(("clients", "each"), [(16, 3), pytest.param(64, 250, marks=pytest.mark.long)])
def test_clients_of_four_processes_get_numbers_without_gap_or_double(
    addresses: Addresses, clients: int, each: int
) -> None:
    address = addresses()
    with QuoteBook(address):
        pass
    pipes = []
    for process in range(4):
        ours, theirs = PROCESSES.Pipe(duplex=False)
        PROCESSES.Process(target=client_process, args=(address, process, clients, each, theirs)).start()
        theirs.close()
        pipes.append(ours)

    told = [json.loads(pipe.recv_bytes()) for pipe in pipes]

    numbers = sorted(number for found, _, _ in told for number in found)
    half = 2 * clients * each
    expected = [f"{series}-{ordinal:05}" for series in "AB" for ordinal in range(1, half + 1)]
    reasons = {reason for _, refused, _ in told for reason in refused}
    seconds = sorted(second for _, _, found in told for second in found)
    with QuoteBook(address) as book:
        report = book.verify(engines={})
    assert numbers == sorted(expected)
    assert reasons == {"expected the book to answer; found rolled back by the test"}
    assert (report.tampering, report.quotations) == ((), 2 * half)
    assert seconds[len(seconds) * 99 // 100] < SLOWEST_SECONDS
    print(f"{len(numbers)} issued, 99 % within {seconds[len(seconds) * 99 // 100]:.3f} s")


def test_threads_that_open_a_new_book_together_all_get_it(addresses: Addresses) -> None:
    for _ in range(3):
        address = addresses()

        def opened(_: int, address: str = address) -> str:
            with QuoteBook(address) as book:
                return issued(book).number

        with ThreadPoolExecutor(8) as crew:
            numbers = sorted(crew.map(opened, range(8)))

        assert numbers == [f"Q-{ordinal:05}" for ordinal in range(1, 9)]


def test_a_group_is_kept_although_one_of_it_is_refused(book: QuoteBook) -> None:
    entry = issued(book, priced(quantities=(100,)))
    works: list[Callable[[], Entry]] = []
    for number in range(30):
        works.append(lambda number=number: issued(book, key=f"one-of-many-{number}"))  # type: ignore[misc]
        works.append(lambda: book.record_payment(entry.id, Decimal(1), at=NOW, by="owner"))

    answers = all_at_once(works)

    assert [isinstance(answer, Entry) for answer in answers] == [True, False] * 30
    assert book.verify(engines={}).tampering == ()


def test_a_group_is_kept_although_the_storage_does_not_take_a_row_of_it(book: QuoteBook) -> None:
    too_large = update(counters).values(last=2**70)
    works: list[Callable[[], Any]] = []
    for number in range(20):
        works.append(lambda number=number: issued(book, key=f"one-of-many-{number}"))  # type: ignore[misc]
        works.append(lambda: book._desk.write(lambda page: page.execute(too_large)))

    def tried(work: Callable[[], Any]) -> bool:
        try:
            work()
        except (StorageError, OverflowError):
            return False
        return True

    with ThreadPoolExecutor(len(works)) as crew:
        kept = list(crew.map(tried, works))

    assert kept == [True, False] * 20
    assert len(book.list(at=NOW).quotations) == 20
    assert book.verify(engines={}).tampering == ()
