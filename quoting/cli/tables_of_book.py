"""Quotations of the book as the terminal shows them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from decimal import Decimal

from quoting.book import Delivery, Entry, KnownClient, Listing
from quoting.book.chain import Event
from quoting.cli.words import table
from quoting.money import minor_units


def coins(minor: int, currency: str) -> str:
    """An amount of whole smallest coins, with its currency."""
    places = minor_units(currency)
    return f"{Decimal(minor).scaleb(-places):,.{places}f} {currency}"


def show_list(listing: Listing) -> str:
    """A page of quotations, and how to ask for the next."""
    if not listing.quotations:
        return "No quotations"
    rows = [
        [
            one.number or one.id,
            one.state,
            str(one.dated or ""),
            one.client_name,
            one.title,
            coins(one.total_minor, one.currency),
        ]
        for one in listing.quotations
    ]
    text = table(rows, headers=["number", "state", "dated", "client", "title", "total"], left=(0, 1, 2, 3, 4))
    return f"{text}\n\nMore: --cursor {listing.cursor}" if listing.cursor else text


def show_clients(clients: Sequence[KnownClient]) -> str:
    """A page of the address book."""
    rows = [
        [one.id, one.contact.name, one.contact.company, one.contact.email, one.contact.terms]
        for one in clients
        if one.contact is not None
    ]
    headers = ["id", "name", "company", "e-mail", "terms"]
    return table(rows, headers=headers, left=(0, 1, 2, 3, 4)) if rows else "No clients"


def show_deliveries(deliveries: Sequence[Delivery]) -> str:
    """What was given up: of which quotation, to whom, how often it was tried and why not."""
    if not deliveries:
        return "Nothing: everything was told, or is still to be tried"
    rows = [
        [str(one.told.position), one.told.kind, one.told.id, one.channel, str(one.attempts), one.refused]
        for one in deliveries
    ]
    headers = ["event", "what", "of", "to", "tries", "why not"]
    return table(rows, headers=headers, left=(1, 2, 3, 5))


def show_entry(entry: Entry, client: KnownClient, history: Sequence[Event], at: datetime.datetime) -> str:
    """How a quotation stands, its options and its history."""
    head = [
        ["state", entry.state_at(at)],
        ["revision", str(entry.revision)],
        ["version", str(entry.version)],
        ["client", f"{_named(client)} ({client.id})"],
        ["rate card", entry.terms.card[:12]],
        ["rules", str(entry.terms.rules)],
    ]
    if entry.offer:
        head.append(["asked by", f"the form, offer {entry.offer}"])
    if entry.days is not None:
        head += [["dated", str(entry.days.dated)], ["valid until", str(entry.days.valid_until)]]
    if entry.accepted is not None:
        for name, minor in (("deposit", entry.deposit_minor), ("paid", entry.paid_minor)):
            head.append([name, coins(minor, entry.terms.currency)])
        head.append(["balance", coins(entry.balance_minor, entry.terms.currency)])
    return "\n\n".join([table(head, left=(0, 1), title=entry.named), _options(entry), _history(history)])


def _named(client: KnownClient) -> str:
    if client.contact is None:
        return "erased"
    return ", ".join(filter(None, [client.contact.name, client.contact.company]))


def _options(entry: Entry) -> str:
    currency = entry.terms.currency
    rows = [
        [
            str(one.quantity) + (" (accepted)" if place == entry.accepted else ""),
            *(coins(minor, currency) for minor in (one.net_minor, one.tax_minor, one.total_minor)),
        ]
        for place, one in enumerate(entry.terms.options)
    ]
    return table(rows, headers=["quantity", "net", "tax", "total"])


def _history(history: Sequence[Event]) -> str:
    rows = [[str(event.version), f"{event.instant:%Y-%m-%d %H:%M:%S} UTC", event.kind, event.by] for event in history]
    return table(rows, headers=["", "when", "what", "by"], left=(1, 2, 3))
