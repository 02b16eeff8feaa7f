"""What may befall a quotation, and what may not: on both engines."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting import Estimate, estimate_job
from quoting.book import Contact, QuoteBook, Wanted
from quoting.book.asking import RequestKey
from quoting.errors import (
    BookError,
    InputError,
    KeyUsedError,
    OverpaidError,
    PublishedCardError,
    QuoteNotFoundError,
    StaleVersionError,
    StateError,
)
from quoting.quotation import Quotation
from quoting.reader import from_json
from tests.book.shop import LATER, NOW, card, drafted, issued, priced
from tests.conftest import DAY


def test_a_draft_has_no_number_and_issuing_gives_the_next(book: QuoteBook) -> None:
    draft = drafted(book)

    entry = book.issue(draft.id, at=LATER, by="owner")

    assert (draft.number, draft.state, draft.revision) == ("", "draft", 0)
    assert (entry.number, entry.state, entry.revision) == ("Q-00001", "open", 1)
    assert issued(book).number == "Q-00002"
    assert issued(book, series="W").number == "W-00001"


def test_what_is_sent_carries_the_number_and_the_days_of_issue(book: QuoteBook) -> None:
    entry = book.issue(drafted(book).id, at=LATER, by="owner")

    kept = from_json(book.paper(entry.number, "quotation").content, Quotation)

    assert (kept.number, kept.dated, kept.valid_until) == (
        "Q-00001",
        datetime.date(2026, 11, 27),
        datetime.date(2026, 12, 27),
    )
    assert entry.days is not None
    assert (entry.days.dated, entry.days.valid_until) == (kept.dated, kept.valid_until)


def test_a_draft_may_be_drafted_again_and_an_issued_one_may_not(book: QuoteBook) -> None:
    draft = drafted(book)
    again = book.draft_again(draft.id, priced("cards"), card(), at=NOW, by="owner", version=1)
    entry = book.issue(draft.id, at=NOW, by="owner")

    assert again.version == 2
    assert from_json(book.paper(entry.number, "quotation").content, Quotation).title == "Cards for a reading room"
    with pytest.raises(StateError) as refused:
        book.draft_again(draft.id, priced(), card(), at=NOW, by="owner")
    assert (refused.value.state, refused.value.move) == ("open", "drafted")


def test_a_revision_keeps_the_number_and_the_one_before_stays_as_it_was(book: QuoteBook) -> None:
    entry = issued(book)
    before = book.paper(entry.number, "quotation")

    revised = book.revise(entry.number, priced("cards"), card(), at=LATER, by="owner")

    assert (revised.number, revised.revision, revised.state) == (entry.number, 2, "open")
    assert book.paper(entry.number, "quotation", revision=1) == before
    assert book.paper(entry.number, "quotation") != before


def test_accepting_takes_one_option_asks_its_deposit_and_leaves_a_balance(book: QuoteBook) -> None:
    entry = issued(book, priced("cards"))
    second = entry.terms.options[1]

    entry = book.accept(entry.number, quantity=second.quantity, at=LATER, by="owner", who="Isaura")

    assert (entry.state, entry.accepted, entry.total_minor) == ("accepted", 1, second.total_minor)
    assert entry.deposit_minor + (entry.balance_minor - entry.deposit_minor) == second.total_minor
    assert entry.balance_minor == second.total_minor
    assert b"Isaura" in book.paper(entry.number, "accepted").content


def test_an_option_that_was_not_quoted_cannot_be_accepted(book: QuoteBook) -> None:
    entry = issued(book, priced("cards"))

    with pytest.raises(InputError, match="quantity: expected one of"):
        book.accept(entry.number, quantity=7, at=LATER, by="owner")
    with pytest.raises(InputError, match="found none"):
        book.accept(entry.number, at=LATER, by="owner")


def test_payments_lower_the_balance_and_never_pass_it(book: QuoteBook) -> None:
    entry = issued(book, priced(quantities=(100,)))
    entry = book.accept(entry.number, at=NOW, by="owner")
    deposit = Decimal(entry.deposit_minor) / 100

    first = book.record_payment(entry.number, deposit, at=LATER, by="owner", key="the-first-payment")
    again = book.record_payment(entry.number, deposit, at=LATER, by="owner", key="the-first-payment")

    assert first == again
    assert book.get(entry.number).balance_minor == entry.total_minor - entry.deposit_minor
    with pytest.raises(OverpaidError):
        book.record_payment(entry.number, Decimal(entry.total_minor) / 100, at=LATER, by="owner")
    with pytest.raises(OverpaidError):
        book.record_payment(entry.number, Decimal("0.00"), at=LATER, by="owner")
    with pytest.raises(InputError, match="whole coins of GBP"):
        book.record_payment(entry.number, Decimal("0.001"), at=LATER, by="owner")


MOVES = ("issue", "revise", "accept", "decline", "withdraw", "pay", "keep")
ALLOWED = {
    "draft": {"issue", "withdraw"},
    "open": {"revise", "accept", "decline", "withdraw", "keep"},
    "accepted": {"pay", "keep"},
    "declined": {"revise", "keep"},
    "withdrawn": {"keep"},
    "lapsed": {"revise", "keep"},
}


def in_state(book: QuoteBook, state: str) -> str:
    """The id of a quotation in a state; it has lapsed a year on."""
    estimate = priced(quantities=(100,))
    entry = drafted(book, estimate) if state == "draft" else issued(book, estimate)
    moves = {"accepted": book.accept, "declined": book.decline, "withdrawn": book.withdraw}
    if state in moves:
        entry = moves[state](entry.id, at=NOW, by="owner")
    return entry.id


def move(book: QuoteBook, name: str, id: str, at: datetime.datetime) -> None:
    """One move of a quotation."""
    estimate = priced(quantities=(100,))
    moves = {
        "issue": lambda: book.issue(id, at=at, by="owner"),
        "revise": lambda: book.revise(id, estimate, card(), at=at, by="owner"),
        "accept": lambda: book.accept(id, at=at, by="owner"),
        "decline": lambda: book.decline(id, at=at, by="owner"),
        "withdraw": lambda: book.withdraw(id, at=at, by="owner"),
        "pay": lambda: book.record_payment(id, Decimal("1.00"), at=at, by="owner"),
        "keep": lambda: book.keep_document(id, "pdf", b"%PDF", media_type="application/pdf", at=at, by="owner"),
    }
    moves[name]()


@pytest.mark.parametrize("state", ALLOWED)
def test_a_move_is_made_where_it_is_allowed_and_else_refused_with_the_state(book: QuoteBook, state: str) -> None:
    at = NOW + datetime.timedelta(days=365) if state == "lapsed" else LATER
    for name in MOVES:
        id = in_state(book, state)
        before = book.get(id)
        if name in ALLOWED[state]:
            move(book, name, id, at)
            assert book.get(id).version == before.version + 1
            continue
        with pytest.raises(StateError) as refused:
            move(book, name, id, at)
        assert refused.value.state == state
        assert book.get(id) == before


def test_a_replaced_revision_can_neither_be_accepted_nor_declined(book: QuoteBook) -> None:
    entry = issued(book, priced(quantities=(100,)))
    book.revise(entry.id, priced(quantities=(100,)), card(), at=NOW, by="owner")

    for move_by in (book.accept, book.decline):
        with pytest.raises(StateError) as refused:
            move_by(entry.id, at=LATER, by="client", revision=1)
        assert refused.value.state == "replaced"


def test_a_stale_version_changes_nothing(book: QuoteBook) -> None:
    entry = issued(book)
    book.keep_document(entry.id, "pdf", b"%PDF", media_type="application/pdf", at=NOW, by="owner")

    with pytest.raises(StaleVersionError) as refused:
        book.decline(entry.id, at=LATER, by="client", version=entry.version)

    assert (refused.value.expected, refused.value.found) == (2, 3)


def test_a_key_gives_the_first_answer_again_and_is_refused_for_another_request(book: QuoteBook) -> None:
    first = issued(book, key="one-key-of-a-request")
    book.decline(first.id, at=LATER, by="client")

    assert issued(book, key="one-key-of-a-request", at=LATER) == first
    assert len(book.list(at=NOW).quotations) == 1
    with pytest.raises(KeyUsedError):
        issued(book, priced("cards"), key="one-key-of-a-request")
    book.forget_keys(before=LATER)
    assert issued(book, key="one-key-of-a-request").number == "Q-00002"


def test_a_key_that_came_before_an_instant_is_another_key(book: QuoteBook) -> None:
    first = issued(book, key=RequestKey("one-key-of-a-request"))

    def again(since: datetime.datetime, estimate: Estimate | None = None) -> str:
        return issued(book, estimate, at=LATER, key=RequestKey("one-key-of-a-request", since=since)).number

    assert again(NOW) == first.number
    assert again(LATER, priced("cards")) == "Q-00002"
    assert again(LATER, priced("cards")) == "Q-00002"
    with pytest.raises(KeyUsedError):
        again(LATER)
    assert book.verify(engines={}).is_sound


def test_a_published_card_stays_as_it_is_and_a_new_one_reprices_nothing(book: QuoteBook) -> None:
    entry = issued(book)
    changed = replace(card(), pricing=replace(card().pricing, valid_days=90))

    with pytest.raises(PublishedCardError, match="2026-1"):
        book.publish_card(changed, at=NOW, by="owner")
    before = book.paper(entry.id, "estimate")
    book.publish_card(replace(changed, card=replace(changed.card, version="2026-2")), at=NOW, by="owner")

    assert book.paper(entry.id, "estimate") == before
    assert book.get(entry.id) == entry


def test_an_estimate_of_another_card_is_refused(book: QuoteBook) -> None:
    with pytest.raises(BookError, match="the rate card that made the estimate"):
        book.draft(priced(), card("2026-2"), at=NOW, by="owner")


def test_an_offer_says_whether_a_request_is_issued_at_once(book: QuoteBook) -> None:
    states = {}
    for issued_when in ("at once", "by the owner"):
        base = card()
        offers = (replace(base.offers[0], issued=issued_when),)
        own = replace(base, offers=offers, card=replace(base.card, version=f"offers {issued_when}"))
        entry = book.ask(estimate_job(priced().job, own, on=DAY), own, offer=offers[0].name, at=NOW, by="form")
        states[issued_when] = (entry.state, entry.number)

    assert states == {"at once": ("open", "Q-00001"), "by the owner": ("draft", "")}
    with pytest.raises(InputError, match="offer"):
        book.ask(priced(), card(), offer="castles", at=NOW, by="form")


def test_a_document_is_kept_once_and_stays_as_it_was_sent(book: QuoteBook) -> None:
    entry = issued(book)
    kept = book.keep_document(entry.id, "pdf", b"%PDF-1", media_type="application/pdf", at=NOW, by="owner")

    again = book.keep_document(entry.id, "pdf", b"%PDF-1", media_type="application/pdf", at=LATER, by="owner")

    assert again == kept
    with pytest.raises(BookError, match="it stays"):
        book.keep_document(entry.id, "pdf", b"%PDF-2", media_type="application/pdf", at=LATER, by="owner")
    with pytest.raises(BookError, match="kind of document"):
        book.keep_document(entry.id, "job", b"{}", media_type="application/json", at=LATER, by="owner")
    assert book.paper(entry.id, "pdf").content == b"%PDF-1"


def test_a_draft_that_was_withdrawn_keeps_no_document(book: QuoteBook) -> None:
    draft = book.withdraw(drafted(book).id, at=NOW, by="owner")

    with pytest.raises(StateError):
        book.keep_document(draft.id, "pdf", b"%PDF", media_type="application/pdf", at=NOW, by="owner")


def test_nobody_goes_by_another_number(book: QuoteBook) -> None:
    for which in ("Q-00001", "nothing", "", "Q-", "-1", "Q-99999999999999999999", "Q-٣"):
        with pytest.raises(QuoteNotFoundError):
            book.get(which)


def test_an_instant_without_its_time_zone_is_refused(book: QuoteBook) -> None:
    with pytest.raises(ValueError, match="time zone"):
        drafted(book, at=NOW.replace(tzinfo=None))
    with pytest.raises(InputError, match="by"):
        drafted(book, by="")


@pytest.mark.parametrize("hostile", ["a\0b", "\ud800", "x" * 5000, "\u202e", "a\nb"])
def test_hostile_words_are_refused_at_the_door(book: QuoteBook, hostile: str) -> None:
    entry = issued(book)

    for told in ("key", "by", "series"):
        with pytest.raises(InputError):
            issued(book, priced(), **{told: hostile})
    for which in (hostile, f"Q-{hostile}"):
        with pytest.raises(QuoteNotFoundError):
            book.decline(which, at=LATER, by="client")
        with pytest.raises(QuoteNotFoundError):
            book.client(which)
    for wanted in (Wanted(client=hostile), Wanted(number=hostile), Wanted(series=hostile)):
        with pytest.raises(InputError):
            book.list(wanted, at=NOW)
    assert book.list(Wanted(text=hostile), at=NOW).quotations in ((), book.list(at=NOW).quotations)
    if len(hostile) > 4000 or hostile == "\ud800":
        with pytest.raises(InputError):
            book.decline(entry.id, at=LATER, by="client", note=hostile)
    assert book.verify(engines={}).tampering == ()


def test_every_change_is_in_the_history_with_its_time_and_who_made_it(book: QuoteBook) -> None:
    entry = issued(book, by="form")
    book.decline(entry.id, at=LATER, by="client")

    history = book.history(entry.id)

    assert [(one.kind, one.by) for one in history] == [
        ("drafted", "form"),
        ("issued", "form"),
        ("declined", "client"),
    ]
    assert [one.instant for one in history] == [NOW, NOW, LATER]
    assert book.history(entry.number) == history


def test_what_somebody_must_hear_of_waits_in_the_outbox(book: QuoteBook) -> None:
    entry = issued(book)
    book.decline(entry.id, at=LATER, by="client")

    waiting = book.outbox.waiting()

    assert [(one.kind, one.id) for one in waiting] == [("issued", entry.id), ("declined", entry.id)]
    book.outbox.hand_out(waiting[0].position, [], at=LATER)
    assert book.outbox.waiting() == waiting[1:]


def test_a_client_is_known_once_and_may_be_changed(book: QuoteBook) -> None:
    entry, other = issued(book), issued(book)
    contact = book.client(entry.client).contact
    assert contact is not None
    changed = Contact(name=contact.name, company=contact.company, email=contact.email, terms="30 days")

    kept = book.keep_client(changed, at=NOW, by="owner")
    book.keep_client(changed, at=NOW, by="owner")

    assert entry.client == other.client == kept.id
    assert book.client(entry.client).contact == changed
    assert book.client(entry.client).version == 2
    assert book.clients() == (book.client(entry.client),)
    assert book.clients(after=entry.client) == ()


def test_two_clients_cannot_become_one(book: QuoteBook) -> None:
    first = book.keep_client(Contact(name="A", email="a@post.example"), at=NOW, by="owner")
    book.keep_client(Contact(name="B", email="b@post.example"), at=NOW, by="owner")

    with pytest.raises(BookError, match="another client's"):
        book.keep_client(Contact(name="A", email=" B@post.EXAMPLE "), at=NOW, by="owner", id=first.id)
    with pytest.raises(QuoteNotFoundError):
        book.keep_client(Contact(name="C"), at=NOW, by="owner", id="nobody")


def test_erasing_takes_what_is_personal_and_leaves_numbers_and_sums(book: QuoteBook) -> None:
    entry = issued(book, priced(client="Linnet Ashdown"))
    book.accept(entry.id, quantity=entry.terms.options[0].quantity, at=NOW, by="client", who="Linnet Ashdown")
    issued(book)
    sums = book.get(entry.id).terms

    assert book.erase_client(entry.client, at=LATER, by="owner") == (entry.id,)

    after = book.get(entry.number)
    assert (after.erased, after.state, after.terms, after.commitments) == (True, "accepted", sums, {})
    assert book.client(entry.client).contact is None
    assert entry.client not in {one.id for one in book.clients()}
    assert book.list(Wanted(text="linnet"), at=LATER).quotations == ()
    for kind in ("job", "estimate", "quotation", "accepted"):
        with pytest.raises(QuoteNotFoundError):
            book.paper(entry.id, kind)
    assert book.verify().tampering == ()
    assert book.erase_client(entry.client, at=LATER, by="owner") == ()


def test_an_erased_client_who_comes_back_is_somebody_new(book: QuoteBook) -> None:
    entry = issued(book, priced(client="Linnet Ashdown"))
    book.erase_client(entry.client, at=LATER, by="owner")

    again = issued(book, priced(client="Linnet Ashdown"))

    assert again.client != entry.client
    assert book.get(entry.id).state == "withdrawn"
    with pytest.raises(StateError, match="erased"):
        book.keep_document(entry.id, "pdf", b"%PDF", media_type="application/pdf", at=LATER, by="owner")


def test_nothing_personal_is_left_in_the_file_after_erasing(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with QuoteBook(str(path)) as book:
        entry = issued(book, priced(client="Xanthippe Quillfeather"))
        book.erase_client(entry.client, at=LATER, by="owner")

        left = b"".join(file.read_bytes() for file in path.parent.iterdir())

    assert b"uillfeather" not in left
    assert entry.terms.card.encode() in left
