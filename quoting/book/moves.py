"""What may befall a quotation, each as one work on the page: hold that it may, then put it down."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from hashlib import sha256
from typing import Any

from sqlalchemy import select

from quoting.book import tables
from quoting.book.address_book import find_or_keep
from quoting.book.chain import written_instant
from quoting.book.changes import (
    Accepted,
    CardPublished,
    Declined,
    Drafted,
    Issued,
    Kept,
    Linked,
    Paid,
    QuoteChange,
    Requested,
    Revised,
    Withdrawn,
    after,
    check_move,
    tag_of,
)
from quoting.book.page import Moment, Page
from quoting.book.papers import JSON, Paper, Sealed, commitments_of, pack, seal
from quoting.book.prepared import Prepared, PublishedCard
from quoting.book.quote_ids import new_id
from quoting.book.states import Entry, Link, written_number
from quoting.errors import Fault, InputError, OverpaidError, PublishedCardError, StaleVersionError
from quoting.money import minor_units


def draft(page: Page, prepared: Prepared, now: Moment) -> Entry:
    """Keep a priced job as a draft."""
    return _begin(page, prepared, now, prepared.sealed(0, now.chance))


def draft_again(page: Page, which: str, prepared: Prepared, now: Moment, *, version: int | None) -> Entry:
    """Put a newer job in a draft's place."""
    place, entry = _for_move(page, which, Drafted, now, version)
    client = find_or_keep(page, prepared.client, now)
    publish(page, prepared.card, now)
    sealed = prepared.sealed(0, now.chance)
    page.take_papers(place, tuple(entry.commitments))
    change = Drafted(client, prepared.terms, commitments_of(sealed))
    return _put(page, place, entry, change, now, sealed=sealed, prepared=prepared)


def draft_and_issue(page: Page, prepared: Prepared, now: Moment, *, series: str) -> Entry:
    """Keep a priced job and send it at once: two events, one transaction."""
    entry = _begin(page, prepared, now, [])
    return _issue(page, page.events_of(entry.id)[0].position, entry, prepared, now, series)


def ask(page: Page, prepared: Prepared, now: Moment, *, offer: str, link: Link | None, series: str | None) -> Entry:
    """Keep what somebody outside asked for, and send it at once where a series is told: one transaction."""
    entry = _begin(page, prepared, now, [] if series else prepared.sealed(0, now.chance))
    place = page.events_of(entry.id)[0].position
    entry = _put(page, place, entry, Requested(offer, link), now)
    return _issue(page, place, entry, prepared, now, series) if series else entry


def link(page: Page, which: str, made: Link, now: Moment, *, version: int | None) -> Entry:
    """Have a private link lead to a quotation, in place of the one before."""
    place, entry = _for_move(page, which, Linked, now, version)
    return _put(page, place, entry, Linked(made), now)


def issue(page: Page, id: str, prepared: Prepared | None, now: Moment, *, version: int, series: str) -> Entry:
    """Give a draft its number and send it."""
    place, entry = _for_move(page, id, Issued, now, version)
    if prepared is None:
        raise StaleVersionError(entry.named, version, entry.version)
    page.take_papers(place, tuple(entry.commitments))
    return _issue(page, place, entry, prepared, now, series)


def revise(page: Page, which: str, prepared: Prepared, now: Moment, *, version: int | None) -> Entry:
    """Send a new revision in place of the one before, under the same number."""
    place, entry = _for_move(page, which, Revised, now, version)
    publish(page, prepared.card, now)
    days = prepared.dated(now.at)
    sealed = prepared.sealed(entry.revision + 1, now.chance, number=entry.number, days=days)
    change = Revised(prepared.terms, days, commitments_of(sealed))
    return _put(page, place, entry, change, now, sealed=sealed, prepared=prepared)


def accept(
    page: Page,
    which: str,
    quantity: int | None,
    said: bytes,
    now: Moment,
    *,
    revision: int | None,
    version: int | None,
) -> Entry:
    """Record which option the client took, and who said so."""
    place, entry = _for_move(page, which, Accepted, now, version, revision=revision)
    option = option_of(entry, quantity)
    sealed = seal(pack(Paper("accepted", JSON, said)), entry.revision, now.chance)
    return _put(page, place, entry, Accepted(option, commitments_of([sealed])), now, sealed=[sealed])


def end(
    page: Page,
    which: str,
    kind: type[Declined] | type[Withdrawn],
    said: bytes,
    now: Moment,
    *,
    revision: int | None,
    version: int | None,
) -> Entry:
    """Record that a quotation was declined or withdrawn, and why."""
    place, entry = _for_move(page, which, kind, now, version, revision=revision)
    sealed = seal(pack(Paper(tag_of(kind), JSON, said)), entry.revision, now.chance)
    return _put(page, place, entry, kind(commitments_of([sealed])), now, sealed=[sealed])


def option_of(entry: Entry, quantity: int | None) -> int:
    """
    The place of the option of a quantity; of the only one where no quantity is told.

    Raises:
        InputError: no such option, or several and none told.
    """
    quantities = [one.quantity for one in entry.terms.options]
    if quantity is None and len(quantities) == 1:
        return 0
    if quantity not in quantities:
        raise InputError([Fault("quantity", f"one of {quantities}", "none" if quantity is None else str(quantity))])
    return quantities.index(quantity)


def pay(page: Page, which: str, amount_minor: int, now: Moment, *, version: int | None) -> Entry:
    """Record money for what was accepted."""
    place, entry = _for_move(page, which, Paid, now, version)
    if not 0 < amount_minor <= entry.balance_minor:
        told = [_in_currency(minor, entry.terms.currency) for minor in (amount_minor, entry.balance_minor)]
        raise OverpaidError(entry.named, *told)
    return _put(page, place, entry, Paid(amount_minor), now)


def _in_currency(minor: int, currency: str) -> str:
    places = minor_units(currency)
    return f"{Decimal(minor).scaleb(-places):.{places}f} {currency}"


def keep_document(page: Page, which: str, sealed: Sealed, now: Moment) -> Entry:
    """Keep a document of the current revision as it was sent."""
    place, entry = _for_move(page, which, Kept, now, None, revision=sealed.revision)
    return _put(page, place, entry, Kept(commitments_of([sealed])), now, sealed=[sealed])


def publish(page: Page, card: PublishedCard | None, now: Moment) -> None:
    """
    Keep a version of a rate card, if it is not kept yet.

    Raises:
        PublishedCardError: its name and version are kept with other content.
    """
    if card is None or page.events_of(card.hash):
        return
    cards = tables.cards.c
    same = select(cards.hash).where(cards.name == card.name, cards.version == card.version)
    waiting = page.cards.get((card.name, card.version))
    if waiting or page.connection.execute(same).first():
        raise PublishedCardError(card.name, card.version)
    page.cards[card.name, card.version] = card.hash
    page.add(card.hash, CardPublished(card.name, card.version, sha256(card.body).hexdigest()), at=now.at, by=now.by)
    row: dict[str, Any] = {name: getattr(card, name) for name in PublishedCard.__struct_fields__}
    page.put(tables.cards, row | {"published_at": written_instant(now.at)})


def publish_by_request(page: Page, card: PublishedCard, now: Moment) -> None:
    """
    Keep a version of a rate card; of one that is kept, that a request asked for it again, so that its key leads here.

    Raises:
        PublishedCardError: its name and version are kept with other content.
    """
    known = page.events_of(card.hash)
    if known and page.asked:
        page.add(card.hash, known[0].change, at=now.at, by=now.by)
    else:
        publish(page, card, now)


def _begin(page: Page, prepared: Prepared, now: Moment, sealed: Sequence[Sealed]) -> Entry:
    publish(page, prepared.card, now)
    client = find_or_keep(page, prepared.client, now)
    change = Drafted(client, prepared.terms, commitments_of(sealed))
    return _put(page, None, None, change, now, sealed=sealed, prepared=prepared)


def _issue(page: Page, place: int, entry: Entry, prepared: Prepared, now: Moment, series: str) -> Entry:
    if entry.is_enquiry:
        raise InputError([Fault("$", "a draft that has a price", "an enquiry that has none yet: draft it again")])
    days, ordinal = prepared.dated(now.at), page.next_ordinal(series)
    sealed = prepared.sealed(1, now.chance, number=written_number(series, ordinal), days=days)
    change = Issued(series, ordinal, days, commitments_of(sealed))
    return _put(page, place, entry, change, now, sealed=sealed)


def _for_move(
    page: Page,
    which: str,
    kind: type[QuoteChange],
    now: Moment,
    version: int | None,
    *,
    revision: int | None = None,
) -> tuple[int, Entry]:
    place, entry = page.quotation(which)
    if version is not None and version != entry.version:
        raise StaleVersionError(entry.named, version, entry.version)
    check_move(entry, kind, now.at, revision=revision)
    return place, entry


def _put(
    page: Page,
    place: int | None,
    before: Entry | None,
    change: QuoteChange,
    now: Moment,
    *,
    sealed: Sequence[Sealed] = (),
    prepared: Prepared | None = None,
) -> Entry:
    """Put one change down: the event, how the quotation stands after it, its papers, what it is found by."""
    id = before.id if before else new_id(now.chance)
    if before is None:
        page.begin_history(id)
    event = page.add(id, change, at=now.at, by=now.by)
    place = event.position if place is None else place
    entry = after(before, change, id=id, at=event.instant)
    page.put_quotation(place, entry)
    if prepared is not None:
        page.put_labels(place, client_name=prepared.client_name, title=prepared.title, words=prepared.words)
    for one in sealed:
        page.put_paper(place, one)
    if isinstance(change, Issued | Revised):
        _put_revision(page, place, entry)
    return entry


def _put_revision(page: Page, place: int, entry: Entry) -> None:
    for table, row in revision_rows(place, entry):
        page.put(table, row)


def revision_rows(place: int, entry: Entry) -> list[tuple[Any, dict[str, Any]]]:
    """The rows of the revision that an entry is at, and of its options."""
    terms, days = entry.terms, entry.days
    if days is None:
        return []
    key = {"entry": place, "revision": entry.revision}
    head = {
        "card": terms.card,
        "rules": terms.rules,
        "priced_on": terms.priced_on.isoformat(),
        "dated": days.dated.isoformat(),
        "valid_until": days.valid_until.isoformat(),
        "lapses_at": written_instant(days.lapses_at),
        "currency": terms.currency,
    }
    options = [
        {**key, "place": number, **{name: getattr(option, name) for name in option.__struct_fields__}}
        for number, option in enumerate(terms.options)
    ]
    return [(tables.revisions, key | head), *((tables.options, option) for option in options)]
