"""Requests without a price yet, or left to the shop: drafts that are found, priced later, erased like any other."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting.book import QuoteBook, RequestKey
from quoting.errors import InputError, KeyUsedError, StateError
from tests.book.shop import LATER, NOW, SECRET, card, priced

OFFER = "Coasters"  # it is issued at once


def test_what_has_no_price_is_kept_and_priced_later(address: str, tmp_path: Path) -> None:
    nothing_yet = replace(priced(), options=())
    with QuoteBook(address, secret=SECRET) as book:
        entry = book.ask(nothing_yet, card(), offer=OFFER, at=NOW, by="form")

        assert (entry.state, entry.is_enquiry, entry.number, entry.total_minor) == ("draft", True, "", 0)
        assert [told.kind for told in book.outbox.waiting()] == ["requested"]
        assert book.by_link(book.link_token(entry)).id == entry.id
        with pytest.raises(InputError, match="an enquiry that has none yet"):
            book.issue(entry.id, at=LATER, by="owner")
        with pytest.raises(StateError):
            book.accept(entry.id, at=LATER, by="visitor", quantity=100)
        book.draft_again(entry.id, priced(), card(), at=LATER, by="owner")
        issued = book.issue(entry.id, at=LATER, by="owner")
        assert (issued.number, issued.is_enquiry) == ("Q-00001", False)
        assert book.verify().is_sound
        book.export(tmp_path / "all.zip")


def test_an_enquiry_is_erased_with_its_client(address: str) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        entry = book.ask(replace(priced(), options=()), card(), offer=OFFER, at=NOW, by="form")
        book.erase_client(entry.client, at=LATER, by="owner")

        assert book.get(entry.id).erased
        assert book.verify().is_sound


def test_what_is_held_waits_for_the_owner_whatever_the_offer_says(address: str) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        held = book.ask(priced(), card(), offer=OFFER, held=True, at=NOW, by="form")

        assert (held.state, held.is_enquiry) == ("draft", False)
        assert book.issue(held.id, at=LATER, by="owner").number == "Q-00001"


def test_a_request_is_answered_as_before_without_being_worked_out_again(address: str) -> None:
    key = RequestKey("a-key-of-the-order-form", whose="form 1", told="a hash of the body")
    with QuoteBook(address, secret=SECRET) as book:
        assert book.answered_before("ask", key) is None
        first = book.ask(priced(), card(), offer=OFFER, at=NOW, by="form", key=key)
        book.accept(first.id, at=LATER, by="visitor", quantity=first.terms.options[0].quantity)

        assert book.answered_before("ask", key) == first
        assert book.answered_before("accept", key) is None
        with pytest.raises(KeyUsedError):
            book.answered_before("ask", replace(key, told="a hash of another body"))
