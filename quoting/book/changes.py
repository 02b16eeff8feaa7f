"""
Every change that can befall a quotation, a client or a card: what it says, from where it may come, what is after.

An entry is what its changes make of it, one after the other: the writer, a repeated request and ``verify``
all work it out here. A new kind of change is a struct, its line in ``Change``, ``_FROM`` and ``_AFTER``.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from quoting.book.states import Days, Entry, Link, State, Terms
from quoting.errors import StateError

Commitments = dict[str, str]


class Drafted(Struct, frozen=True, tag="drafted"):
    """A priced job is kept, without a number; a draft that is drafted again holds the newer job."""

    client: str
    terms: Terms
    commitments: Commitments


class Requested(Struct, frozen=True, tag="requested"):
    """Somebody outside asked for it by an offer, and looks at it by a private link if it has one."""

    offer: str
    link: Link | None


class Linked(Struct, frozen=True, tag="linked"):
    """A private link leads to it, in place of the one before."""

    link: Link


class Issued(Struct, frozen=True, tag="issued"):
    """A draft is given its number and sent: revision 1."""

    series: str
    ordinal: int
    days: Days
    commitments: Commitments


class Revised(Struct, frozen=True, tag="revised"):
    """A new revision under the same number takes the place of the one before."""

    terms: Terms
    days: Days
    commitments: Commitments


class Accepted(Struct, frozen=True, tag="accepted"):
    """The client takes one option; who said so is kept apart."""

    option: int
    commitments: Commitments


class Declined(Struct, frozen=True, tag="declined"):
    """The client does not take it; what was said is kept apart."""

    commitments: Commitments


class Withdrawn(Struct, frozen=True, tag="withdrawn"):
    """The shop takes its quotation back, or puts a draft away."""

    commitments: Commitments


class Paid(Struct, frozen=True, tag="paid"):
    """Money came for what was accepted: the deposit, or what is left."""

    amount_minor: int


class Kept(Struct, frozen=True, tag="kept"):
    """A document of the current revision is kept as it was sent."""

    commitments: Commitments


class Erased(Struct, frozen=True, tag="erased"):
    """Everything personal is gone; what was not ended is withdrawn."""


class CardPublished(Struct, frozen=True, tag="card published"):
    """
    A version of a rate card is kept, for ever as it is; ``body`` is the hash of its stored bytes.

    Said again, unchanged, where a request asked for the same once more.
    """

    name: str
    version: str
    body: str


class ClientKept(Struct, frozen=True, tag="client kept"):
    """Somebody stands in the address book as ``commitment`` says."""

    commitment: str


class ClientErased(Struct, frozen=True, tag="client erased"):
    """Somebody is taken out of the address book, and everything personal of their quotations with them."""


class KeyMade(Struct, frozen=True, tag="key made"):
    """A key of the API is handed out; of its secret the book keeps the hash."""

    name: str
    scopes: tuple[str, ...]
    origins: tuple[str, ...]
    hash: str
    ends_at: datetime.datetime | None


class KeyEnded(Struct, frozen=True, tag="key ended"):
    """A key is good until an instant and no longer."""

    ends_at: datetime.datetime


QuoteChange = Drafted | Requested | Linked | Issued | Revised | Accepted | Declined | Withdrawn | Paid | Kept | Erased
Change = QuoteChange | CardPublished | ClientKept | ClientErased | KeyMade | KeyEnded

# Whom somebody outside the book must hear of.
TOLD: tuple[type[Struct], ...] = (Requested, Issued, Revised, Accepted, Declined, Withdrawn, Paid)

_FROM: dict[type[Any], tuple[State, ...]] = {
    Drafted: ("draft",),
    Requested: ("draft",),
    Linked: ("draft", "open", "lapsed", "accepted", "declined", "withdrawn"),
    Issued: ("draft",),
    Revised: ("open", "lapsed", "declined"),
    Accepted: ("open",),
    Declined: ("open",),
    Withdrawn: ("draft", "open"),
    Paid: ("accepted",),
    Kept: ("open", "lapsed", "accepted", "declined", "withdrawn"),
    Erased: ("draft", "open", "lapsed", "accepted", "declined", "withdrawn"),
}


def check_move(entry: Entry, kind: type[QuoteChange], at: datetime.datetime, *, revision: int | None = None) -> None:
    """
    Hold that a change may befall a quotation now.

    Args:
        revision: The revision that is meant, where it must be the current one.

    Raises:
        StateError: with the state it is in; ``replaced`` where a newer revision is there.
    """
    state: State = entry.state_at(at)
    if revision is not None and revision != entry.revision:
        state = "replaced"
    gone = entry.erased and kind not in {Paid, Withdrawn}
    never_sent = kind is Kept and not entry.revision
    if state not in _FROM[kind] or gone or never_sent:
        raise StateError(entry.named, tag_of(kind), "erased" if gone else state, _FROM[kind])


def tag_of(kind: type[Struct]) -> str:
    """What a kind of change is called in the history."""
    return str(kind.__struct_config__.tag)


def after(entry: Entry | None, change: QuoteChange, *, id: str, at: datetime.datetime) -> Entry:
    """A quotation after one more change; ``None`` before its first."""
    if entry is None:
        return _first(change, id, at)
    changed = _AFTER[type(change)](entry, change)
    return replace(changed, version=entry.version + 1, changed_at=at)


def _first(change: QuoteChange, id: str, at: datetime.datetime) -> Entry:
    if not isinstance(change, Drafted):
        raise ValueError(f"expected a history that begins with a draft; found {change}")
    return Entry(
        id=id,
        version=1,
        state="draft",
        client=change.client,
        terms=change.terms,
        commitments=change.commitments,
        made_at=at,
        changed_at=at,
    )


def _drafted(entry: Entry, change: Drafted) -> Entry:
    return replace(entry, client=change.client, terms=change.terms, commitments=change.commitments)


def _requested(entry: Entry, change: Requested) -> Entry:
    return replace(entry, offer=change.offer, link=change.link)


def _linked(entry: Entry, change: Linked) -> Entry:
    return replace(entry, link=change.link)


def _issued(entry: Entry, change: Issued) -> Entry:
    return replace(
        entry,
        state="open",
        series=change.series,
        ordinal=change.ordinal,
        revision=1,
        days=change.days,
        first_dated=change.days.dated,
        commitments=change.commitments,
    )


def _revised(entry: Entry, change: Revised) -> Entry:
    more = entry.commitments | change.commitments
    return replace(
        entry, state="open", revision=entry.revision + 1, terms=change.terms, days=change.days, commitments=more
    )


def _ended(state: str) -> Callable[[Entry, Any], Entry]:
    def end(entry: Entry, change: Accepted | Declined | Withdrawn) -> Entry:
        option = change.option if isinstance(change, Accepted) else None
        return replace(entry, state=state, accepted=option, commitments=entry.commitments | change.commitments)

    return end


def _paid(entry: Entry, change: Paid) -> Entry:
    return replace(entry, paid_minor=entry.paid_minor + change.amount_minor)


def _kept(entry: Entry, change: Kept) -> Entry:
    return replace(entry, commitments=entry.commitments | change.commitments)


def _erased(entry: Entry, _: Erased) -> Entry:
    state = "withdrawn" if entry.state in {"draft", "open"} else entry.state
    return replace(entry, state=state, erased=True, commitments={}, link=None)


_AFTER: dict[type[Any], Callable[[Entry, Any], Entry]] = {
    Drafted: _drafted,
    Requested: _requested,
    Linked: _linked,
    Issued: _issued,
    Revised: _revised,
    Accepted: _ended("accepted"),
    Declined: _ended("declined"),
    Withdrawn: _ended("withdrawn"),
    Paid: _paid,
    Kept: _kept,
    Erased: _erased,
}
