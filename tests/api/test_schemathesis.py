"""
A4: requests derived from the documents (valid, at the bounds, wrong) against real servers on both engines.

Schemathesis derives them, sends them as the owner, and holds every answer to the document in every check that it has;
what is derived is the same each run. Each request is then sent by every role to both engines, and once more with what
is there in the place of ids that were drawn: nothing may fail or be other than the document says, and both engines
must answer with the same status.
"""

from __future__ import annotations

import datetime
import functools
import re
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
import requests
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import from_schema
from schemathesis.engine.events import EngineEvent, FatalError, NonFatalError, ScenarioFinished

from api.idempotency import key_asked
from api.problems import ProblemError
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import BOOK, CARD, OPERATIONS, job, made_key, once
from tests.api.conftest import ENGINES, OPEN_HANDED, SECRET, asking, new_book
from tests.api.documents import Held
from tests.api.serving import Served, free_url
from tests.book.shop import NOW

# Of these bodies alone some 7,000 cases lie at the bounds of their fields: the long form walks along all of them.
LARGE = ("JobAsked", "QuotationAsked", "Job", "RateCard", "ComparisonAsked", "ExplanationAsked", "DifferenceAsked",
         "WhatIfAsked", "SwingsAsked", "RiskAsked", "DocketOfJobAsked")  # fmt: skip
# What fits its schema may still ask for what the shop has not, meet another state, or name nothing that is there.
REFUSED = ["400", "401", "403", "404", "406", "409", "412", "415", "422", "428", "429"]
ROLES = ("anon", "form", "owner-ro", "owner", "revoked", "expired")
PATHS = [
    (re.compile(re.sub(r"\{(\w+)\}", r"(?P<\1>[^/]+)", path)), path)
    for path in sorted({one.path for one in OPERATIONS if "{" in one.path})
]
OF_WHO_SENT_IT = {"authorization", "host", "content-length", "connection"}
RENEWED_AFTER = 20


class Engine:
    """A book that is served on one engine: who may ask, and what is there in the place of a path's parameters."""

    def __init__(self, client: httpx.Client, address: str) -> None:
        self.client = client
        self.address = address
        with QuoteBook(address) as book:
            revoked = book.keys.make("revoked", scopes=("owner",), at=NOW, by="owner")
            book.keys.end(revoked.key.id, at=NOW, by="owner")
            ends_at = NOW + datetime.timedelta(seconds=1)
            expired = book.keys.make("expired", scopes=("owner",), ends_at=ends_at, at=NOW, by="owner")
            self._key = book.keys.make("of nobody", scopes=("form",), at=NOW, by="owner").key.id
        self.roles = {
            "anon": {},
            **{role: made_key(address, role) for role in ("form", "owner-ro", "owner")},
            "revoked": {"Authorization": f"Bearer {revoked.secret}"},
            "expired": {"Authorization": f"Bearer {expired.secret}"},
        }
        self._requests = self.asked = 0

    @functools.cached_property
    def _there(self) -> dict[str, str]:
        """A value that leads somewhere for every parameter of a path; the quotation is open."""
        headers = {**self.roles["owner"], **once()}
        kept = self.client.post(BOOK, json={"job": job()}, headers=headers).json()
        card = self.client.get("/v1/rate-cards", headers=headers).json()["cards"][-1]["hash"]
        with QuoteBook(self.address, secret=SECRET.encode()) as book:
            link = book.link_token(book.make_link(kept["id"], at=NOW, by="owner"))
        return {"which": kept["id"], "client": kept["client"], "key": self._key, "hash": card, "link": link}

    def statuses(self, sent: requests.PreparedRequest) -> list[int]:
        """
        How each role is answered to a request as it was drawn, and how the owner and a visitor are, by what is there.

        Schemathesis draws ids from earlier answers too: what is answered by role to those is this engine's own, and
        not told. It repeats keys of requests: a key that fits is made anew, since what it met before is this
        engine's own too.
        """
        self._requests += 1
        if self._requests % RENEWED_AFTER == 0:
            self.__dict__.pop("_there", None)
        url = urlsplit(str(sent.url))
        headers = {
            name: value.decode("latin-1") if isinstance(value, bytes) else value
            for name, value in sent.headers.items()
            if name.lower() not in OF_WHO_SENT_IT
        }
        with suppress(ProblemError):
            key_asked({name.lower(): told for name, told in headers.items()})
            headers |= once()
        answers = [self._answered(sent, url.path, url.query, headers, role) for role in ROLES]
        found = next(((match, path) for one, path in PATHS if (match := one.fullmatch(url.path))), None)
        if found is None:
            return answers
        if sent.method == "DELETE":
            return []
        match, path = found
        there = path.format(**{name: self._there.get(name, drawn) for name, drawn in match.groupdict().items()})
        own = headers | (once() if "Idempotency-Key" in headers else {})
        return [self._answered(sent, there, url.query, own, role) for role in ("anon", "owner")]

    def _answered(
        self, sent: requests.PreparedRequest, path: str, query: str, headers: dict[str, str], role: str
    ) -> int:
        content: Any = sent.body
        at = f"{path}?{query}" if query else path
        self.asked += 1
        answer = self.client.request(str(sent.method), at, content=content, headers={**headers, **self.roles[role]})
        assert answer.status_code < 500, f"{sent.method} {path} by {role}: {answer.text}"
        return answer.status_code


@pytest.fixture(scope="module")
def both(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, held: Held
) -> Iterator[list[Engine]]:
    """A server on each engine. What is derived is written in books of their own."""
    folder = tmp_path_factory.mktemp("derived")
    engines = []
    with ExitStack() as stack:
        for engine in ENGINES:
            address = new_book(request, engine, folder)
            told = OPEN_HANDED | {"most_prices_a_minute": 1_000_000, "most_looks_a_minute": 1_000_000}
            artwork = str(folder / f"artwork-{engine}")
            settings = Settings(card=CARD, book=address, artwork=artwork, base_url=free_url(), **told)
            served = stack.enter_context(Served(settings, folder / f"{engine}.log"))
            engines.append(Engine(stack.enter_context(asking(served, held)), address))
        yield engines


def config(authorization: str, examples: int, *, bounds: bool) -> SchemathesisConfig:
    """
    How requests are derived.

    Args:
        bounds: Whether the bounds of every field are walked along, or values are drawn.
    """
    return SchemathesisConfig.from_dict(
        {
            "seed": 1,
            "headers": {"Authorization": authorization},
            "continue-on-failure": True,
            "generation": {"deterministic": True, "max-examples": examples, "database": "none", "no-shrink": True},
            "phases": {
                "examples": {"enabled": not bounds},
                "coverage": {"enabled": bounds},
                "fuzzing": {"enabled": not bounds},
                "stateful": {"enabled": False},
            },
            "checks": {
                "positive_data_acceptance": {"expected-statuses": ["2xx", "304", *REFUSED]},
                "negative_data_rejection": {"expected-statuses": REFUSED},
                "missing_required_header": {"expected-statuses": ["400", "401", "428"]},
            },
        }
    )


@pytest.mark.parametrize("face", ["public", "owner"])
def test_answers_to_drawn_requests_are_as_the_document_says(both: list[Engine], face: str) -> None:
    sent, faults = derived(face, both, 2, bounds=False, small=True, besides=["price", "draft"], every=3)

    assert faults == []
    assert sent > 100


@pytest.mark.parametrize("face", ["public", "owner"])
def test_answers_to_requests_at_the_bounds_are_as_the_document_says(both: list[Engine], face: str) -> None:
    sent, faults = derived(face, both, 3, bounds=True, small=True, every=11)

    assert faults == []
    assert sent > 100


@pytest.mark.long
@pytest.mark.parametrize(("besides", "most"), [(["draft"], 100_000), (None, 1_000_000)])
def test_answers_to_many_derived_requests_are_as_the_document_says(
    both: list[Engine], besides: Sequence[str] | None, most: int
) -> None:
    """A4, at its full size: the bounds of one large body, some 7,000 of them, or those of all: hours."""
    told = [derived(face, both, 20, bounds=False) for face in ("public", "owner")]
    told += [
        derived(face, both, 20, bounds=True, small=besides is not None, besides=besides or ())
        for face in ("public", "owner")
    ]

    faults = [fault for _, found in told for fault in found]
    print([sent for sent, _ in told], len(faults), *faults[:20], sep="\n")
    assert len(faults) == 0
    assert sum(sent for sent, _ in told) >= most


def derived(
    face: str,
    both: list[Engine],
    examples: int,
    *,
    bounds: bool,
    small: bool = False,
    besides: Sequence[str] = (),
    every: int = 1,
) -> tuple[int, list[str]]:
    """
    How many requests were sent that derive from a document, and what was wrong with their answers.

    Args:
        small: Without the operations that have a large body, but for some.
        besides: These.
        every: The place of the request that everybody sends, among so many.
    """
    first = both[0]
    own = made_key(first.address)  # a key of its own: what was sent with it is no replay to anybody
    schema: Any = schemathesis.openapi.from_url(
        f"{first.client.base_url}/v1/openapi/{face}.json",
        config=config(own["Authorization"], examples, bounds=bounds),
        headers=own,
    )
    if small:
        large = [one.id for one in OPERATIONS if one.body.__name__ in LARGE and one.id not in besides]
        schema = schema.exclude(operation_id=large)
    sent = 0
    before = sum(engine.asked for engine in both)
    faults: list[str] = []
    with ThreadPoolExecutor(len(both)) as crew:

        def send_by_everybody(_: Any, __: Any, answer: Any) -> None:
            nonlocal sent
            sent += 1
            if sent % every:
                return
            try:
                told = list(crew.map(lambda engine: engine.statuses(answer.request), both))
            except (AssertionError, httpx.HTTPError) as error:
                faults.append(f"{answer.request.method} {answer.request.url}: {error!r}"[:2000])
                return
            if told[0] != told[1]:
                faults.append(
                    f"{answer.request.method} {answer.request.url}: {told[0]} on one, {told[1]} on the other"
                )

        schema.hook("after_call")(send_by_everybody)
        for event in from_schema(schema).execute():
            faults.extend(_faults(event))
    return sent + sum(engine.asked for engine in both) - before, faults


def _faults(event: EngineEvent) -> Iterator[str]:
    if isinstance(event, FatalError):
        yield f"{event.exception!r}"
    if isinstance(event, NonFatalError):
        yield f"{event.label}: {event.info}"
    if isinstance(event, ScenarioFinished):
        for checks in event.recorder.checks.values():
            for check in checks:
                if check.failure_info is not None:
                    failure: Any = check.failure_info.failure
                    yield f"{event.label}: {check.name}: {failure.title}: {failure.message}"[:2000]
