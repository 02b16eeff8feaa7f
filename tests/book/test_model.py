"""A36: any sequence of moves, on both engines beside a model in memory: the same answers from all three."""

from __future__ import annotations

import datetime
import random
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from msgspec.structs import replace

from quoting.book import QuoteBook
from quoting.errors import BookError, QuotingError
from tests.book.postgresql import Server
from tests.book.shop import NOW, SECRET, card, priced

ESTIMATES = [priced(quantities=(100,)), priced(quantities=(100, 200)), priced(client="Linnet Ashdown")]
OFFERS = [next(one.name for one in card().offers if one.issued == by) for by in ("by the owner", "at once")]
LASTING = datetime.timedelta(days=30)
BOOKS: list[QuoteBook] = []
RUNS = iter(range(10**9))


class Model:
    """One quotation as a plain reading of the rules has it."""

    def __init__(self, estimate: int) -> None:
        self.state, self.estimate, self.revision, self.version = "draft", estimate, 0, 1
        self.paid, self.accepted, self.number = 0, -1, ""
        self.until = datetime.date.max
        self.kept: set[str] = set()

    def state_at(self, at: datetime.datetime) -> str:
        """London has no summer time in winter, when these days are: UTC's date is the shop's."""
        return "lapsed" if self.state == "open" and at.date() > self.until else self.state

    def may(self, at: datetime.datetime, *states: str) -> bool:
        """Whether it is in one of some states."""
        return self.state_at(at) in states

    def totals(self) -> list[int]:
        """Totals of its options in pence, from the estimate itself."""
        return [int(option.price.total * 100) for option in ESTIMATES[self.estimate].options]


Refused = type[QuotingError] | str


class Beside(RuleBasedStateMachine):
    """Every step is taken in both books and in the model; each says the same of it."""

    def __init__(self) -> None:
        super().__init__()
        self.at = NOW
        self.models: list[Model] = []
        self.ids: list[str] = []
        self.issued = 0
        self.keyed: dict[str, tuple[Any, Any]] = {}
        self.tokens: dict[str, str] = {}
        self.told_links: list[str] = []
        self.secrets: dict[str, tuple[str, datetime.datetime]] = {}

    @initialize()
    def begin(self) -> None:
        """A series of numbers of its own."""
        self.run = next(RUNS)
        self.series = f"S{self.run}"
        for book in BOOKS:
            book._desk.chance.seed(self.run)  # type: ignore[attr-defined]

    def both(self, work: Callable[[QuoteBook], Any]) -> Any:
        """What both books answer to one question, which must be the same."""
        answers = [self._tried(work, book) for book in BOOKS]

        assert answers[0] == answers[1]
        return answers[0]

    @staticmethod
    def _tried(work: Callable[[QuoteBook], Any], book: QuoteBook) -> Any:
        try:
            return work(book)
        except BookError as refused:
            return (type(refused).__name__, getattr(refused, "state", ""))

    def agreed(self, model: Model, answer: Any, allowed: bool) -> bool:
        """Whether a move was made, as the model says that it should be."""
        assert isinstance(answer, tuple) != allowed
        if allowed:
            model.version += 1
        else:
            assert answer[1] in {model.state_at(self.at), "", "replaced"}
        return allowed

    def pick(self, data: st.DataObject) -> tuple[Model, str]:
        """One of the quotations there are."""
        place = data.draw(st.integers(0, len(self.models) - 1))
        return self.models[place], self.ids[place]

    @rule(days=st.integers(0, 20))
    def wait(self, days: int) -> None:
        """Days go by."""
        if self.at + datetime.timedelta(days=days) < NOW + datetime.timedelta(days=110):
            self.at += datetime.timedelta(days=days)

    @rule(estimate=st.integers(0, 2))
    def draft(self, estimate: int) -> None:
        """A draft."""
        entry = self.both(lambda book: book.draft(ESTIMATES[estimate], card(), at=self.at, by="owner"))
        self.models.append(Model(estimate))
        self.ids.append(entry.id)

    @precondition(lambda self: self.models)
    @rule(data=st.data(), estimate=st.integers(0, 2))
    def draft_again(self, data: st.DataObject, estimate: int) -> None:
        """A newer job for a draft."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.draft_again(id, ESTIMATES[estimate], card(), at=self.at, by="owner"))
        if self.agreed(model, answer, model.may(self.at, "draft")):
            model.estimate = estimate

    @precondition(lambda self: self.models)
    @rule(data=st.data())
    def issue(self, data: st.DataObject) -> None:
        """A number for a draft."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.issue(id, at=self.at, by="owner", series=self.series))
        if self.agreed(model, answer, model.may(self.at, "draft")):
            self.issued += 1
            model.state, model.revision = "open", 1
            model.until = self.at.date() + LASTING
            model.number = f"{self.series}-{self.issued:05}"

    @precondition(lambda self: self.models)
    @rule(data=st.data(), estimate=st.integers(0, 2))
    def revise(self, data: st.DataObject, estimate: int) -> None:
        """A new revision."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.revise(id, ESTIMATES[estimate], card(), at=self.at, by="owner"))
        if self.agreed(model, answer, model.may(self.at, "open", "lapsed", "declined")):
            model.state, model.estimate, model.revision = "open", estimate, model.revision + 1
            model.until, model.kept = self.at.date() + LASTING, set()

    @precondition(lambda self: self.models)
    @rule(data=st.data(), past=st.booleans())
    def accept(self, data: st.DataObject, past: bool) -> None:
        """The first option is taken; of an earlier revision it is refused."""
        model, id = self.pick(data)
        revision = model.revision - 1 if past else None
        quantity = ESTIMATES[model.estimate].options[0].quantity
        answer = self.both(
            lambda book: book.accept(id, quantity=quantity, at=self.at, by="client", revision=revision)
        )
        if self.agreed(model, answer, model.may(self.at, "open") and not past):
            model.state, model.accepted = "accepted", 0

    @precondition(lambda self: self.models)
    @rule(data=st.data())
    def decline(self, data: st.DataObject) -> None:
        """It is declined."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.decline(id, at=self.at, by="client", who="X"))
        if self.agreed(model, answer, model.may(self.at, "open")):
            model.state = "declined"

    @precondition(lambda self: self.models)
    @rule(data=st.data())
    def withdraw(self, data: st.DataObject) -> None:
        """It is withdrawn."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.withdraw(id, at=self.at, by="owner"))
        if self.agreed(model, answer, model.may(self.at, "draft", "open")):
            model.state = "withdrawn"

    @precondition(lambda self: self.models)
    @rule(data=st.data(), pounds=st.integers(0, 150))
    def pay(self, data: st.DataObject, pounds: int) -> None:
        """Money comes."""
        model, id = self.pick(data)
        answer = self.both(lambda book: book.record_payment(id, Decimal(pounds), at=self.at, by="owner"))
        left = model.totals()[0] - model.paid
        if self.agreed(model, answer, model.may(self.at, "accepted") and 0 < pounds * 100 <= left):
            model.paid += pounds * 100

    @precondition(lambda self: self.models)
    @rule(data=st.data(), kind=st.sampled_from(["pdf", "xml"]))
    def keep(self, data: st.DataObject, kind: str) -> None:
        """A document is kept; the same again changes nothing."""
        model, id = self.pick(data)
        answer = self.both(
            lambda book: book.keep_document(id, kind, b"<>", media_type="application/xml", at=self.at, by="owner")
        )
        if kind in model.kept:
            assert answer.version == model.version
        elif self.agreed(model, answer, model.revision > 0):
            model.kept.add(kind)

    @rule(key=st.sampled_from(["first", "second"]), estimate=st.integers(0, 1))
    def retry(self, key: str, estimate: int) -> None:
        """The same key gives the same answer, and is refused for another job."""
        told = f"{self.series}-request-{key}"
        answer = self.both(
            lambda book: book.draft_and_issue(
                ESTIMATES[estimate], card(), at=self.at, by="form", key=told, series=self.series
            )
        )
        if told not in self.keyed:
            self.issued += 1
            self.keyed[told] = (estimate, answer)
            assert answer.number == f"{self.series}-{self.issued:05}"
        first, before = self.keyed[told]
        assert answer == (before if first == estimate else ("KeyUsedError", ""))

    @rule(at_once=st.booleans(), estimate=st.integers(0, 2))
    def ask(self, at_once: bool, estimate: int) -> None:
        """Somebody outside asks: a number at once, or a draft, as the offer says."""
        entry = self.both(
            lambda book: book.ask(
                ESTIMATES[estimate], card(), offer=OFFERS[at_once], at=self.at, by="form", series=self.series
            )
        )
        model = Model(estimate)
        model.version = 2
        if at_once:
            self.issued += 1
            model.state, model.revision, model.version = "open", 1, 3
            model.until, model.number = self.at.date() + LASTING, f"{self.series}-{self.issued:05}"
        self.models.append(model)
        self.ids.append(entry.id)
        self.told_links.append(self.both(lambda book: book.link_token(entry)))
        self.tokens[self.told_links[-1]] = entry.id

    @precondition(lambda self: self.models)
    @rule(data=st.data())
    def link(self, data: st.DataObject) -> None:
        """A new link leads to a quotation, and the one before leads nowhere."""
        model, id = self.pick(data)
        entry = self.both(lambda book: book.make_link(id, at=self.at, by="owner"))
        model.version += 1
        self.tokens = {token: of for token, of in self.tokens.items() if of != id}
        self.told_links.append(self.both(lambda book: book.link_token(entry)))
        self.tokens[self.told_links[-1]] = id

    @precondition(lambda self: self.told_links)
    @rule(data=st.data())
    def follow(self, data: st.DataObject) -> None:
        """A link leads where it should, or nowhere."""
        token = data.draw(st.sampled_from(self.told_links))
        found = self.both(lambda book: book.by_link(token))
        assert (self.tokens[token] == found.id) if token in self.tokens else (found == ("QuoteNotFoundError", ""))

    @rule()
    def make_key(self) -> None:
        """A key that is good for ten days."""
        ends_at = self.at + datetime.timedelta(days=10)
        new = self.both(lambda book: book.keys.make("site", scopes=["form"], ends_at=ends_at, at=self.at, by="owner"))
        self.secrets[new.secret] = (new.key.id, ends_at)

    @precondition(lambda self: self.secrets)
    @rule(data=st.data(), end=st.booleans())
    def use_key(self, data: st.DataObject, end: bool) -> None:
        """A key is known until it ends."""
        secret = data.draw(st.sampled_from(sorted(self.secrets)))
        id, ends_at = self.secrets[secret]
        if end:
            self.both(lambda book: book.keys.end(id, at=self.at, by="owner"))
            ends_at = min(ends_at, self.at)
            self.secrets[secret] = (id, ends_at)
        found = self.both(lambda book: book.keys.find(secret, at=self.at))
        assert (found is not None) == (self.at < ends_at)

    @rule(days=st.integers(1, 3))
    def publish(self, days: int) -> None:
        """A version of the card is published; with other content it is refused."""
        own = card(f"of run {self.run}", "Europe/London", 30)
        other = replace(own, pricing=replace(own.pricing, valid_days=days))
        assert self.both(lambda book: book.publish_card(own, at=self.at, by="owner")) == own.content_hash
        assert self.both(lambda book: book.publish_card(other, at=self.at, by="owner"))[0] == "PublishedCardError"

    @invariant()
    def stands(self) -> None:
        """The last quotation stands as the model has it, in both books."""
        if not self.models:
            return
        model, id = self.models[-1], self.ids[-1]
        entry = self.both(lambda book: book.get(id))
        assert (entry.state_at(self.at), entry.revision, entry.version, entry.number) == (
            model.state_at(self.at),
            model.revision,
            model.version,
            model.number,
        )
        assert [one.total_minor for one in entry.terms.options] == model.totals()
        assert entry.balance_minor == (model.totals()[0] - model.paid if model.accepted >= 0 else 0)

    def teardown(self) -> None:
        """Every quotation, the history and the list are the same in both."""
        for model, id in zip(self.models, self.ids, strict=True):
            entry = self.both(partial(QuoteBook.get, which=id))
            assert (entry.state, entry.version, entry.paid_minor) == (model.state, model.version, model.paid)
        self.both(lambda book: book.list(at=self.at, most=20))
        self.both(lambda book: book.head())


class _Seeded:
    """Chance that gives both books the same ids and salts."""

    def __init__(self) -> None:
        self.source = random.Random()

    def seed(self, run: int) -> None:
        """Begin again from a run's number."""
        self.source.seed(run)

    def __call__(self, count: int) -> bytes:
        """Bytes that look like chance."""
        return self.source.randbytes(count)


@pytest.fixture
def books(tmp_path: Any, server: Server) -> Iterator[list[QuoteBook]]:
    """A book on each engine, with the same chance in both."""
    with (
        QuoteBook(str(tmp_path / "book.sqlite"), secret=SECRET, chance=_Seeded()) as one,
        QuoteBook(server.new_database(), secret=SECRET, chance=_Seeded()) as other,
    ):
        BOOKS[:] = [one, other]
        yield BOOKS


@pytest.mark.parametrize(("sequences", "steps"), [(60, 30), pytest.param(2000, 50, marks=pytest.mark.long)])
def test_both_engines_answer_as_the_model_does(books: list[QuoteBook], sequences: int, steps: int) -> None:
    told = settings(
        max_examples=sequences,
        stateful_step_count=steps,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )

    run_state_machine_as_test(Beside, settings=told)

    assert [book.verify(engines={}).tampering for book in books] == [(), ()]
    assert books[0].head() == books[1].head()
