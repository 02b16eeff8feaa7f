"""Clients who go on asking while something befalls a server: some send requests with keys, some ask for prices."""

from __future__ import annotations

import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import httpx

from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import BOOK, CARD, job, once, problem, together
from tests.api.conftest import MANY, OPEN_HANDED, asking
from tests.api.documents import Held
from tests.api.public.conftest import made_keys
from tests.api.public.visiting import Visitor
from tests.api.serving import Served, free_url

PAUSE_SECONDS = 0.05
PATIENCE_SECONDS = 60  # a guard
SERIES = "C"
TOLD: dict[str, Any] = {**OPEN_HANDED, "most_prices_a_minute": MANY, "workers": 2}


class Crowd:
    """What they sent, and what they were answered."""

    def __init__(self, served: Served, client: httpx.Client) -> None:
        self.served = served
        self.client = client
        form, owner = made_keys(served.settings.book)
        self._owner = {"Authorization": f"Bearer {owner}"}
        self._visitor = Visitor(client, form)
        self._named = secrets.token_hex(6)
        self._over = threading.Event()
        self.kept: dict[str, httpx.Response] = {}
        """The answer that says it is kept, by the key of the request."""
        self.refused: list[httpx.Response] = []
        self.prices: list[httpx.Response] = []

    def owner_sends(self, key: str) -> httpx.Response:
        """A quotation that the owner makes."""
        body = {"job": job(title=key), "series": SERIES}
        return self.client.post(BOOK, json=body, headers={**self._owner, **once(key)})

    def visitor_sends(self, key: str) -> httpx.Response:
        """A request that becomes a quotation."""
        return self._visitor.send(key=key, title=key)

    def send(self, key: str) -> httpx.Response:
        """One request of a key, which says of whom it is."""
        return (self.visitor_sends if "visitor" in key else self.owner_sends)(key)

    def ask_prices(self) -> None:
        """One price of the owner's, with its costs, and one of a visitor's."""
        self.prices.append(self.client.post("/v1/estimates", json=job(), headers=self._owner))
        self.prices.append(self._visitor.price())

    def _go_on_sending(self, name: str) -> None:
        number = 0
        while not self._over.is_set():
            key = f"{name}-{self._named}-{number:06}"
            gives_up_at = time.monotonic() + PATIENCE_SECONDS
            while (answer := self.send(key)).status_code == 503 and time.monotonic() < gives_up_at:
                self.refused.append(answer)
                time.sleep(PAUSE_SECONDS)
            assert answer.status_code == 201, answer.text
            self.kept[key] = answer
            number += 1

    def _go_on_pricing(self) -> None:
        while not self._over.is_set():
            self.ask_prices()

    @contextmanager
    def at_work(self) -> Iterator[None]:
        """They ask for as long as this lasts; then each gets the answer to what it sent."""
        names = ("owner-1", "owner-2", "visitor-1", "visitor-2")
        works: list[Callable[[], None]] = [partial(self._go_on_sending, name) for name in names]
        works.append(self._go_on_pricing)
        with ThreadPoolExecutor(len(works)) as crew:
            at_work = [crew.submit(work) for work in works]
            try:
                yield
            finally:
                self._over.set()
            for one in at_work:
                one.result()

    def hold_refusals(self) -> None:
        """Who was refused was told so in the right words, and when to come again; prices went on."""
        told = {(answer.status_code, problem(answer), answer.headers["retry-after"]) for answer in self.refused}
        assert told == {(503, "storage-unavailable", "5")}
        inside = ("sql", "psycopg", "disk", "/tmp", self.served.settings.book)
        assert not [answer.text for answer in self.refused if any(word in answer.text for word in inside)]
        assert {answer.status_code for answer in self.prices} == {200}

    def hold_kept(self, book: QuoteBook) -> None:
        """What was answered is there, once, and nothing else: retries are answered alike, numbers have no gap."""
        again = {key: self.send(key).content for key in self.kept}
        visitors = [key for key in self.kept if "visitor" in key]
        numbers = [answer.json()["number"] for answer in self.kept.values()]
        kinds = Counter(event.kind for event in book.events(most=1_000_000))
        wanted = {"drafted": len(self.kept), "issued": len(self.kept), "requested": len(visitors)}

        assert again == {key: answer.content for key, answer in self.kept.items()}
        assert sorted(numbers) == [
            *_numbered(SERIES, len(self.kept) - len(visitors)),
            *_numbered("Q", len(visitors)),
        ]
        assert {kind: kinds[kind] for kind in wanted} == wanted
        assert book.verify(engines={}).tampering == ()


def _numbered(series: str, most: int) -> list[str]:
    return [f"{series}-{count:05}" for count in range(1, most + 1)]


@contextmanager
def crowd_at(address: str, held: Held, folder: Path) -> Iterator[Crowd]:
    """A crowd at a real server of two workers, which both know them; answers are held to the document."""
    settings = Settings(card=CARD, book=address, base_url=free_url(), **TOLD)
    with Served(settings, folder / "server.log") as served, asking(served, held) as client:
        come = Crowd(served, client)
        together([come.ask_prices] * 20, threads=20)
        yield come
