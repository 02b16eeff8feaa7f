"""The quote book: every quotation kept, numbered, revised, accepted, for ever."""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from sqlalchemy import delete, inspect, select

from quoting.artwork import Artwork
from quoting.book import address_book, moves, search, tables
from quoting.book.access_keys import KeyRing
from quoting.book.address_book import Contact, KnownClient
from quoting.book.artwork_store import ArtworkStore, KeptArtwork, beside
from quoting.book.asking import RequestKey, asked_for
from quoting.book.backup import back_up, restore
from quoting.book.budgets import Budgets
from quoting.book.chain import Event, written_instant
from quoting.book.changes import Declined, Withdrawn
from quoting.book.desk import Desk
from quoting.book.doors import said, series_name
from quoting.book.export import export
from quoting.book.links import id_behind, new_link, token_of
from quoting.book.looking_up import CardVersion, answered_in, card_versions, draft_in, entry_in, history_in, paper_in
from quoting.book.outbox import Outbox
from quoting.book.page import Moment, Page, events_after, last_event
from quoting.book.papers import Chance, Paper, check_document_kind, pack, seal
from quoting.book.prepared import Prepared, prepare, published
from quoting.book.repricing import ENGINES, Engine, card_of
from quoting.book.search import Listing, Wanted
from quoting.book.states import Entry
from quoting.book.storage import Storage, create_file, told_plainly
from quoting.book.upgrading import upgrade, version_of
from quoting.book.verifying import Anchor, Report, verify
from quoting.errors import BookError, BookNotReadyError, Fault, InputError, StaleVersionError, StateError
from quoting.estimate import Estimate
from quoting.money import minor_units
from quoting.numbers import in_engine_context
from quoting.planning.pins import Pin
from quoting.rate_card import RateCard

_T = TypeVar("_T")
SERIES = "Q"


class QuoteBook:
    """
    A book of quotations, in a file of SQLite or in a database of PostgreSQL.

    Every change takes ``at`` (an instant with its time zone) and ``by`` (the part somebody plays: owner,
    client, a key's name; never a person's name, which would stay for ever). ``key`` makes a change safe to
    ask for twice: the second time it gives the first answer. ``version`` holds that nobody changed the
    quotation since it was read. Threads may share a book; processes open one each.
    """

    def __init__(
        self,
        address: str,
        *,
        secret: bytes = b"",
        chance: Chance = secrets.token_bytes,
        artwork: Path | None = None,
        make: bool = True,
    ) -> None:
        """
        Open a book; where there is none yet, it is made.

        Args:
            address: A path, ``sqlite:///PATH`` or ``postgresql://USER@HOST/NAME``.
            secret: What private links are made with, 16 bytes or more; it stands nowhere in the book.
            chance: Where ids and salts come from.
            artwork: The folder for artwork; beside the book, where that is a file, if left out.
            make: False to refuse, where there is no book yet.

        Raises:
            BookNotReadyError: what is there is not as it must be.
            StorageError: nothing answers.
        """
        self.storage = Storage(address)
        self._secret = secret
        self._desk = Desk(self.storage, chance)
        self.keys, self.outbox, self.budgets = KeyRing(self._desk), Outbox(self._desk), Budgets(self._desk)
        path = self.storage.path
        self.artwork = ArtworkStore(artwork if path is None or artwork is not None else beside(path), chance)
        if self.storage.path is not None and not self.storage.path.exists():
            if not make:
                raise _no_book(address)
            create_file(self.storage.path)
        try:
            self._make_if_new(make=make)
            self.storage.start()
            self._erase_artwork()
        except BaseException:
            self.storage.close()
            raise

    def __enter__(self) -> Self:
        """The book itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def check_ready(self, *, least_bytes: int = 0) -> None:
        """
        Hold that the book can be read and written now.

        Args:
            least_bytes: What must be free on the disk, where the book is a file.

        Raises:
            StorageError: it cannot; the message says why.
        """
        self.storage.check_ready(least_bytes)

    def close(self) -> None:
        """Finish what is being written and let the storage go."""
        self._desk.close()

    # Quotations

    def draft(
        self,
        estimate: Estimate,
        card: RateCard,
        *,
        at: datetime.datetime,
        by: str,
        pins: Sequence[Pin] = (),
        locale: str | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """
        Keep a priced job without a number; its rate card's version is published with it.

        Raises:
            PublishedCardError: the card's version is published with other content.
        """
        prepared, now = prepare(estimate, card, pins=pins, locale=locale), self._desk.now(at, by)
        asked = asked_for("draft", key, prepared)
        return self._desk.write(lambda page: moves.draft(page, prepared, now), asked)

    def draft_again(
        self,
        which: str,
        estimate: Estimate,
        card: RateCard,
        *,
        at: datetime.datetime,
        by: str,
        pins: Sequence[Pin] = (),
        locale: str | None = None,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Put a newer job in a draft's place."""
        prepared, now = prepare(estimate, card, pins=pins, locale=locale), self._desk.now(at, by)
        asked = asked_for("draft again", key, prepared, which, version)
        return self._desk.write(lambda page: moves.draft_again(page, which, prepared, now, version=version), asked)

    def ask(
        self,
        estimate: Estimate,
        card: RateCard,
        *,
        offer: str,
        at: datetime.datetime,
        by: str,
        held: bool = False,
        series: str = SERIES,
        locale: str | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """
        Keep a request from outside: issued at once or left for the owner, as the card's offer says.

        A book that was opened with a secret gives it a private link: ``link_token`` of the entry.

        Args:
            held: It is left for the owner, whatever the offer says. What has no price always is.

        Raises:
            InputError: the card has no such offer.
        """
        found = next((one for one in card.offers if one.name == offer), None)
        if found is None:
            raise InputError([Fault("offer", f"one of {[one.name for one in card.offers]}", repr(offer))])
        prepared, now = prepare(estimate, card, locale=locale), self._desk.now(at, by)
        asked = asked_for("ask", key, prepared, offer, series)
        goes_out = found.issued == "at once" and not held and estimate.options
        at_once = series_name(series) if goes_out else None
        link = new_link(self._secret, self._desk.chance) if self._secret else None
        return self._desk.write(
            lambda page: moves.ask(page, prepared, now, offer=offer, link=link, series=at_once), asked
        )

    def draft_and_issue(
        self,
        estimate: Estimate,
        card: RateCard,
        *,
        at: datetime.datetime,
        by: str,
        series: str = SERIES,
        pins: Sequence[Pin] = (),
        locale: str | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Keep a priced job and issue it, in one transaction."""
        prepared, now = prepare(estimate, card, pins=pins, locale=locale), self._desk.now(at, by)
        asked, named = asked_for("draft and issue", key, prepared, series), series_name(series)
        return self._desk.write(lambda page: moves.draft_and_issue(page, prepared, now, series=named), asked)

    def issue(
        self,
        which: str,
        *,
        at: datetime.datetime,
        by: str,
        series: str = SERIES,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Give a draft the next number of its series, and the days of today: from now on it binds the shop."""
        now, asked = self._desk.now(at, by), asked_for("issue", key, which, series, version)
        while True:
            entry, prepared = self._desk.read(lambda connection: draft_in(connection, which))
            expected = entry.version if version is None else version
            try:
                return self._desk.write(_issuing(entry, prepared, now, expected, series_name(series)), asked)
            except StaleVersionError:
                if version is not None:
                    raise

    def revise(
        self,
        which: str,
        estimate: Estimate,
        card: RateCard,
        *,
        at: datetime.datetime,
        by: str,
        pins: Sequence[Pin] = (),
        locale: str | None = None,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Issue a new revision in place of the one before, under the same number."""
        prepared, now = prepare(estimate, card, pins=pins, locale=locale), self._desk.now(at, by)
        asked = asked_for("revise", key, prepared, which, version)
        return self._desk.write(lambda page: moves.revise(page, which, prepared, now, version=version), asked)

    def accept(
        self,
        which: str,
        *,
        at: datetime.datetime,
        by: str,
        quantity: int | None = None,
        who: str = "",
        note: str = "",
        revision: int | None = None,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """
        Record that the client takes it.

        Args:
            quantity: The option they take; may be left out where there is one.
            who: Who said so, and what: kept apart from the history, and erased with the client.
            revision: The revision they mean, where it must be the newest.

        Raises:
            StateError: it has lapsed, is replaced, accepted, declined or withdrawn.
        """
        words, now = said(who=who, note=note), self._desk.now(at, by)
        asked = asked_for("accept", key, which, quantity, words, revision, version)
        return self._desk.write(
            lambda page: moves.accept(page, which, quantity, words, now, revision=revision, version=version), asked
        )

    def decline(
        self,
        which: str,
        *,
        at: datetime.datetime,
        by: str,
        who: str = "",
        note: str = "",
        revision: int | None = None,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Record that the client does not take it, and what they said."""
        words, now = said(who=who, note=note), self._desk.now(at, by)
        asked = asked_for("decline", key, which, words, revision, version)
        return self._desk.write(
            lambda page: moves.end(page, which, Declined, words, now, revision=revision, version=version), asked
        )

    def withdraw(
        self,
        which: str,
        *,
        at: datetime.datetime,
        by: str,
        note: str = "",
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """Take a quotation back, or put a draft away."""
        words, now = said(note=note), self._desk.now(at, by)
        asked = asked_for("withdraw", key, which, words, version)
        return self._desk.write(
            lambda page: moves.end(page, which, Withdrawn, words, now, revision=None, version=version), asked
        )

    def record_payment(
        self,
        which: str,
        amount: Decimal,
        *,
        at: datetime.datetime,
        by: str,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """
        Record money that came for what was accepted: the deposit asked, or what is left.

        Raises:
            OverpaidError: it is more than the balance.
        """
        minor = _coins(amount, self.get(which).terms.currency)
        now, asked = self._desk.now(at, by), asked_for("pay", key, which, minor, version)
        return self._desk.write(lambda page: moves.pay(page, which, minor, now, version=version), asked)

    def keep_document(
        self, which: str, kind: str, content: bytes, *, media_type: str, at: datetime.datetime, by: str
    ) -> Entry:
        """
        Keep a document of the newest revision as it was sent: the PDF, the XML.

        The same bytes may be handed in again.

        Raises:
            BookError: another document of that kind is kept already; it stays.
        """
        check_document_kind(kind)
        entry = self.get(which)
        sealed = seal(pack(Paper(kind, media_type, content)), entry.revision, self._desk.chance)
        if sealed.label in entry.commitments:
            if self.paper(which, kind).content != content:
                raise BookError(f"{entry.named}: expected no {kind} yet; found one that was sent, and it stays")
            return entry
        now = self._desk.now(at, by)
        return self._desk.write(lambda page: moves.keep_document(page, entry.id, sealed, now), None)

    def publish_card(self, card: RateCard, *, at: datetime.datetime, by: str, key: str | RequestKey = "") -> str:
        """
        Keep a version of a rate card for ever; its content hash.

        Raises:
            PublishedCardError: the version is published with other content.
        """
        kept, now = published(card), self._desk.now(at, by)
        asked = asked_for("publish card", key, kept.hash)
        self._desk.write(lambda page: moves.publish_by_request(page, kept, now), asked, lambda *_: None)
        return kept.hash

    # Reading

    def get(self, which: str) -> Entry:
        """
        A quotation, by number or id.

        Raises:
            QuoteNotFoundError: none goes by it.
        """
        return self._desk.read(lambda connection: entry_in(connection, which))

    def history(self, which: str) -> tuple[Event, ...]:
        """Everything that befell a quotation or a client."""
        return self._desk.read(lambda connection: history_in(connection, which))

    def paper(self, which: str, kind: str, *, revision: int | None = None) -> Paper:
        """
        A paper of a quotation as it was kept: ``job``, ``estimate``, ``quotation``, ``pdf``, ``xml``.

        Args:
            revision: Of which revision; the newest if left out.

        Raises:
            QuoteNotFoundError: nothing of the kind is kept.
        """
        return self._desk.read(lambda connection: paper_in(connection, which, kind, revision))

    def list(
        self, wanted: Wanted | None = None, *, at: datetime.datetime, most: int = 50, cursor: str = ""
    ) -> Listing:
        """One page of quotations, newest first."""
        asked = wanted or Wanted()
        return self._desk.read(lambda connection: search.listing(connection, asked, at=at, most=most, cursor=cursor))

    def events(self, *, after: int = 0, most: int = 100) -> tuple[Event, ...]:
        """The history of the whole book, oldest first, from a position on."""
        return self._desk.read(lambda connection: events_after(connection, after, most))

    def cards(self) -> tuple[CardVersion, ...]:
        """Every published version of a rate card, oldest first."""
        return self._desk.read(card_versions)

    def card(self, hash: str) -> RateCard:
        """
        A rate card as it was published, by the hash of its content.

        Raises:
            QuoteNotFoundError: none was.
        """
        return self._desk.read(lambda connection: card_of(connection, hash))

    def head(self) -> Event | None:
        """The newest event: whoever writes its position and hash down can prove later that nothing was cut off."""
        return self._desk.read(last_event)

    # The book as a whole

    def verify(self, *, engines: Mapping[int, Engine] = ENGINES, anchor: Anchor | None = None) -> Report:
        """
        Hold every row against the history, and every price against the engine of its rules.

        Args:
            engines: What works out an estimate, by rules number; none to leave prices alone.
            anchor: An event written down earlier, that must still stand.
        """
        return self._desk.read(lambda connection: verify(connection, engines, anchor))

    def back_up(self, to: Path | str) -> None:
        """Write a backup, a book in a file of SQLite, while this one is in use."""
        back_up(self.storage, Path(to))

    def export(self, to: Path | str) -> None:
        """Write everything the book holds into a ZIP file that needs no book to be read."""
        self._desk.read(lambda connection: export(connection, Path(to)))

    @staticmethod
    def restore(backup: Path | str, address: str) -> None:
        """Bring a backup back to an address where there is no book yet, of either engine."""
        with closing(Storage(address)) as storage:
            restore(Path(backup), storage)

    @staticmethod
    def upgrade(address: str) -> None:
        """Bring a book to the newest tables."""
        with closing(Storage(address)) as storage, told_plainly():
            upgrade(storage.engine)

    # Clients

    def keep_client(
        self,
        contact: Contact,
        *,
        at: datetime.datetime,
        by: str,
        id: str | None = None,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> KnownClient:
        """Put a client into the address book; one who is known already is not doubled."""
        now, asked = self._desk.now(at, by), asked_for("keep client", key, contact, id, version)
        return self._desk.write(
            lambda page: address_book.keep(page, contact, now, id=id, version=version),
            asked,
            lambda _, known, then: KnownClient(id=known, version=then, contact=contact),
        )

    def client(self, id: str) -> KnownClient:
        """A client of the address book."""
        return self._desk.read(lambda connection: address_book.read(connection, id))

    def clients(self, *, after: str = "", most: int = 200) -> tuple[KnownClient, ...]:
        """Clients of the address book by id; ``after`` the last id of the page before."""
        return self._desk.read(lambda connection: address_book.known_clients(connection, after=after, most=most))

    def erase_client(self, id: str, *, at: datetime.datetime, by: str) -> tuple[str, ...]:
        """
        Take everything personal of a client out of the book; numbers and sums stay.

        Backups that were made before still hold it; PostgreSQL frees its place at its next vacuum.

        Returns:
            The ids of their quotations.
        """
        now = self._desk.now(at, by)
        erased = self._desk.write(lambda page: address_book.erase(page, id, now))
        self.storage.forget_deleted()
        self._erase_artwork()
        return erased

    # Artwork

    def keep_artwork(self, which: str, content: bytes, artwork: Artwork) -> KeptArtwork:
        """
        Keep a file that was measured with a request or a quotation, beside the book.

        Raises:
            QuoteNotFoundError: no such entry.
            StateError: its client is erased.
            ArtworkTooLargeError: too many files, or too much in all.
        """
        return self._keep_artwork(which, content, artwork)

    def take_up_artwork(self, which: str, waiting: str) -> KeptArtwork:
        """
        Keep a file that waited, with the request that it was sent for; it waits no longer.

        Raises:
            QuoteNotFoundError: no such entry, or nothing waits under that name.
            StateError: its client is erased.
        """
        content, artwork = self.artwork.waiting.read(waiting)
        kept = self._keep_artwork(which, content, artwork, waited=True)
        self.artwork.waiting.remove(waiting)
        return kept

    def tidy_artwork(self, *, before: datetime.datetime) -> None:
        """Take away what waited until then for no request, and what is of clients who were erased elsewhere."""
        self.artwork.waiting.empty(before=before)
        self._erase_artwork()

    def _keep_artwork(self, which: str, content: bytes, artwork: Artwork, *, waited: bool = False) -> KeptArtwork:
        entry = self.get(which)
        if not entry.erased:
            kept = self.artwork.keep(entry.id, content, artwork, waited=waited)
            if not self.get(entry.id).erased:
                return kept
            self.artwork.erase([entry.id])
        raise StateError(entry.named, "keep artwork", "erased", ("not erased",))

    def _erase_artwork(self) -> None:
        """Take away artwork of clients who are erased: also what an end in the midst of it left behind."""
        kept = self.artwork.entries()
        if kept:
            quotes = tables.quotes.c
            of_erased = select(quotes.id).where(quotes.erased == 1)
            gone = self._desk.read(lambda connection: set(connection.execute(of_erased).scalars()))
            self.artwork.erase([entry for entry in kept if entry in gone])

    # Private links, and keys of requests

    def make_link(
        self,
        which: str,
        *,
        at: datetime.datetime,
        by: str,
        version: int | None = None,
        key: str | RequestKey = "",
    ) -> Entry:
        """
        Have a new private link lead to a quotation; the one before leads nowhere any more.

        Raises:
            BookError: the book was opened without a secret.
        """
        made, now = new_link(self._secret, self._desk.chance), self._desk.now(at, by)
        asked = asked_for("link", key, which, version)
        return self._desk.write(lambda page: moves.link(page, which, made, now, version=version), asked)

    def link_token(self, entry: Entry) -> str:
        """What opens the private link of a quotation; empty where it has none."""
        return token_of(entry.link, self._secret) if entry.link else ""

    def by_link(self, token: str) -> Entry:
        """
        The quotation that a private link leads to.

        Raises:
            QuoteNotFoundError: it leads to none.
        """
        return self._desk.read(lambda connection: entry_in(connection, id_behind(connection, token)))

    def answered_before(self, operation: str, key: RequestKey) -> Entry | None:
        """
        The quotation as a change left it that was asked for with this key; None where none was.

        Args:
            operation: What was asked: ``ask``, ``accept``, as the method of the book is called.
            key: With what tells the request from another.

        Raises:
            KeyUsedError: the key came with another request.
        """
        asked = asked_for(operation, key)
        return self._desk.read(lambda connection: answered_in(connection, asked)) if asked else None

    def forget_keys(self, *, before: datetime.datetime) -> None:
        """Forget keys of requests made before an instant."""
        old = delete(tables.requests).where(tables.requests.c.at < written_instant(before))
        self._desk.write(lambda page: page.execute(old))

    def _make_if_new(self, *, make: bool) -> None:
        with told_plainly(), self.storage.engine.connect() as connection:
            if version_of(connection):
                return
            if not make:
                raise _no_book(self.storage.url.render_as_string(hide_password=True))
            if self.storage.is_sqlite and inspect(connection).get_table_names():
                raise BookNotReadyError(f"expected a quote book at {self.storage.path}; found another database")
        upgrade(self.storage.engine)


def _no_book(address: str) -> BookNotReadyError:
    return BookNotReadyError(f"expected a quote book at {address}; found none")


def _issuing(
    entry: Entry, prepared: Prepared | None, now: Moment, version: int, series: str
) -> Callable[[Page], Entry]:
    return lambda page: moves.issue(page, entry.id, prepared, now, version=version, series=series)


@in_engine_context
def _coins(amount: Decimal, currency: str) -> int:
    """An amount in whole smallest coins."""
    minor = amount.scaleb(minor_units(currency))
    if not minor.is_finite() or minor % 1:
        raise InputError([Fault("amount", f"whole coins of {currency}", str(amount))])
    return int(minor)
