"""The address book: whom the shop quotes for, each once."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import asdict
from sqlalchemy import Connection, bindparam, select, update

from quoting.book import tables
from quoting.book.chain import commitment, entry_from
from quoting.book.changes import ClientErased, ClientKept, Erased, after
from quoting.book.doors import number_or_id
from quoting.book.page import Moment, Page
from quoting.book.papers import SALT_BYTES, folded, packed, unpacked
from quoting.book.quote_ids import new_id
from quoting.errors import BookError, QuoteNotFoundError, StaleVersionError
from quoting.job import Client
from quoting.reader import from_json, to_json
from quoting.shop import Text

_SAME = select(tables.clients.c.id).where(tables.clients.c.same_as == bindparam("same_as"))


class Contact(Client, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A client as the address book keeps them: with the kind of tax and the terms agreed with them."""

    telephone: Text = ""
    tax: Text = ""
    terms: Text = ""


class KnownClient(Struct, frozen=True, kw_only=True):
    """A client of the address book; ``contact`` is gone once they are erased."""

    id: str
    version: int
    contact: Contact | None


def find_or_keep(page: Page, client: Client, now: Moment) -> str:
    """The id of a client: of the one who is known by that e-mail, or by that name and company; else a new one."""
    same_as = sameness(client)
    known = page.clients.get(same_as) or _id_of_same(page.connection, same_as)
    if known is None:
        known = new_id(now.chance)
        _put(page, known, contact_of(client), now)
    page.clients[same_as] = known
    return known


def keep(page: Page, contact: Contact, now: Moment, *, id: str | None, version: int | None) -> KnownClient:
    """
    Put a client into the address book, or in place of what stands there.

    Raises:
        QuoteNotFoundError: no client goes by the id.
        StaleVersionError: somebody changed them since that version.
        BookError: another client is known by the same e-mail, or name and company.
    """
    page.flush()
    same = _id_of_same(page.connection, sameness(contact))
    if id is not None and same not in {None, id}:
        raise BookError("expected an e-mail, or a name and company, of this client alone; found another client's")
    known = id or same
    if known is None:
        known = find_or_keep(page, contact, now)
        return KnownClient(id=known, version=len(page.events_of(known)), contact=contact)
    before = read(page.connection, known, page)
    if version is not None and version != before.version:
        raise StaleVersionError(known, version, before.version)
    if before.contact != contact or page.asked:  # the key of a request leads to a version of its own
        _put(page, known, contact, now)
    return KnownClient(id=known, version=len(page.events_of(known)), contact=contact)


def erase(page: Page, id: str, now: Moment) -> tuple[str, ...]:
    """
    Take everything personal of a client out of the book; numbers and sums stay.

    Returns:
        The ids of their quotations.
    """
    page.flush()
    before = read(page.connection, id, page)
    if before.contact is None:
        return ()
    page.clients.clear()
    gone = {"erased": 1, "version": before.version + 1, "same_as": None, "salt": None, "body": None}
    page.execute(update(tables.clients).where(tables.clients.c.id == id).values(gone))
    quotes = tables.quotes.c
    found = page.connection.execute(select(quotes.entry, quotes.id).where(quotes.client == id)).all()
    for place, quotation in found:
        _erase_quotation(page, place, quotation, now)
    page.add(id, ClientErased(), at=now.at, by=now.by)
    return tuple(quotation for _, quotation in found)


def _erase_quotation(page: Page, place: int, id: str, now: Moment) -> None:
    entry = entry_from(page.events_of(id))
    if entry is None:
        raise QuoteNotFoundError(id)
    page.take_papers(place, tuple(entry.commitments))
    page.put_labels(place, client_name=None, title=None, words=())
    _forget_refusals(page, id)
    event = page.add(id, Erased(), at=now.at, by=now.by)
    page.put_quotation(place, after(entry, Erased(), id=id, at=event.instant))


def _forget_refusals(page: Page, id: str) -> None:
    # A relay that takes no mail may name the address.
    outbox, deliveries = tables.outbox.c, tables.deliveries
    mine = deliveries.c.position.in_(select(outbox.position).where(outbox.subject == id))
    told = deliveries.c.refused.is_not(None)
    page.execute(update(deliveries).where(mine, told).values(refused="erased"))


def read(connection: Connection, id: str, page: Page | None = None) -> KnownClient:
    """
    A client of the address book.

    Raises:
        QuoteNotFoundError: no client goes by the id.
    """
    if page is not None:
        page.flush()
    row = connection.execute(select(tables.clients).where(tables.clients.c.id == number_or_id(id))).first()
    if row is None:
        raise QuoteNotFoundError(id)
    contact = from_json(unpacked(row.body), Contact) if row.body is not None else None
    return KnownClient(id=id, version=row.version, contact=contact)


def known_clients(connection: Connection, *, after: str, most: int) -> tuple[KnownClient, ...]:
    """Clients of the address book who are not erased, by id, from one on."""
    clients = tables.clients.c
    wanted = select(tables.clients).where(clients.id > after, clients.erased == 0).order_by(clients.id).limit(most)
    return tuple(
        KnownClient(id=row.id, version=row.version, contact=from_json(unpacked(row.body), Contact))
        for row in connection.execute(wanted)
    )


def sameness(client: Client) -> str:
    """What two entries of one client share: the e-mail, or name and company where there is none."""
    return folded(client.email) or f"{folded(client.name)} | {folded(client.company)}"


def client_commitment(salt: bytes, body: bytes) -> str:
    """What the history holds of a client."""
    return commitment(salt, "client", body)


def _put(page: Page, id: str, contact: Contact, now: Moment) -> None:
    salt, body = now.chance(SALT_BYTES), packed(to_json(contact))
    event = page.add(id, ClientKept(client_commitment(salt, body)), at=now.at, by=now.by)
    row = {"same_as": sameness(contact), "salt": salt, "body": body, "version": event.version, "erased": 0}
    if event.version == 1:
        page.put(tables.clients, {"id": id, **row})
        return
    page.clients.clear()
    page.execute(update(tables.clients).where(tables.clients.c.id == id).values(row))


def _id_of_same(connection: Connection, same_as: str) -> str | None:
    return connection.execute(_SAME, {"same_as": same_as}).scalar()


def contact_of(client: Client) -> Contact:
    """A client of a job as the address book keeps them."""
    return client if isinstance(client, Contact) else Contact(**asdict(client))
