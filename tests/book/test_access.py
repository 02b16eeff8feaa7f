"""What lets people in, to the last bit: keys, private links and budgets of the book (A53, A51, A60)."""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac

import pytest
from sqlalchemy import select, update

from quoting.book import QuoteBook, tables
from quoting.book.access_keys import AccessKey, KeysInForce
from quoting.book.links import LEAST_SECRET_BYTES, new_link, token_of
from quoting.book.states import Link
from quoting.errors import BookError, InputError, QuoteNotFoundError
from tests.book.shop import LATER, NOW, SECRET, issued

SOON = NOW + datetime.timedelta(minutes=1)
INSTANT = datetime.timedelta(microseconds=1)
TWO_SITES = ("https://shop.example", "https://pages.shop.example")


def counted(size: int) -> bytes:
    """Chance that gives what it was asked for: so many times the byte of its size."""
    return bytes([size]) * size


def test_a_key_is_8_bytes_of_id_and_32_of_secret_as_a_url_takes_them(address: str) -> None:
    """256 bits of chance, in the alphabet of RFC 4648, section 5, without padding."""
    with QuoteBook(address, secret=SECRET, chance=counted) as book:
        new = book.keys.make("site", scopes=["form"], at=NOW, by="owner")

    assert new.key.id == "08" * 8
    assert new.secret == f"qk_{'08' * 8}_{base64.urlsafe_b64encode(bytes([32]) * 32).decode().rstrip('=')}"
    assert "=" not in new.secret


def test_a_key_is_kept_as_it_was_asked_for(book: QuoteBook) -> None:
    new = book.keys.make("site", scopes=["form", "owner-ro"], origins=TWO_SITES, ends_at=LATER, at=NOW, by="owner")

    assert (new.key.name, new.key.scopes, new.key.origins) == ("site", ("form", "owner-ro"), TWO_SITES)
    assert (new.key.made_at, new.key.ends_at) == (NOW, LATER)
    assert book.keys.list() == (new.key,)
    (event,) = book.history(new.key.id)
    assert (event.kind, event.at, event.by) == ("key made", "2026-11-25T10:00:00.000000Z", "owner")


def test_a_key_without_an_end_has_none(book: QuoteBook) -> None:
    new = book.keys.make("site", scopes=["form"], at=NOW, by="owner")

    assert new.key.ends_at is None
    assert book.keys.find(new.secret, at=datetime.datetime(9999, 1, 1, tzinfo=datetime.UTC)) == new.key


@pytest.mark.parametrize(
    ("ends_at", "at", "good"),
    [(None, LATER, True), (LATER, LATER - INSTANT, True), (LATER, LATER, False), (LATER, LATER + INSTANT, False)],
)
def test_a_key_is_good_until_the_instant_it_ends(
    ends_at: datetime.datetime | None, at: datetime.datetime, good: bool
) -> None:
    key = AccessKey(id="1", name="a", scopes=("form",), origins=TWO_SITES, made_at=NOW, ends_at=ends_at)
    kept = KeysInForce({hashlib.sha256(b"the secret").hexdigest(): key})

    assert key.is_good(at) is good
    assert kept.find("the secret", at=at) == (key if good else None)
    assert kept.find("the secre", at=at) is None
    assert kept.origins_at(at) == (frozenset(TWO_SITES) if good else frozenset())


def test_the_keys_in_force_are_those_that_have_not_ended(book: QuoteBook) -> None:
    """Looked at once, they tell for themselves when they end."""
    for_ever, ends_later, ended = (
        book.keys.make(name, scopes=["form"], origins=[f"https://{name}.example"], at=NOW, by="owner", ends_at=ends)
        for name, ends in (("one", None), ("two", LATER), ("three", SOON))
    )
    kept = book.keys.in_force(at=SOON)

    assert set(kept.by_hash.values()) == {for_ever.key, ends_later.key}
    assert kept.find(for_ever.secret, at=LATER) == for_ever.key
    assert (kept.find(ends_later.secret, at=SOON), kept.find(ends_later.secret, at=LATER)) == (ends_later.key, None)
    assert kept.find(ended.secret, at=SOON) is None
    assert kept.origins_at(SOON) == {"https://one.example", "https://two.example"}
    assert set(book.keys.in_force(at=LATER).by_hash.values()) == {for_ever.key}
    assert book.keys.in_force(at=SOON - INSTANT).find(ended.secret, at=SOON - INSTANT) == ended.key


def test_keys_are_listed_in_the_order_they_were_made_in_and_of_one_instant_by_their_ids(book: QuoteBook) -> None:
    made = [
        book.keys.make("site", scopes=["form"], at=at, by="owner").key
        for at in (SOON, NOW, SOON, NOW, LATER, NOW, SOON)
    ]

    assert book.keys.list() == tuple(sorted(made, key=lambda key: (key.made_at, key.id)))


def test_a_secret_opens_its_own_key_and_no_other(book: QuoteBook) -> None:
    one, other = (book.keys.make(name, scopes=["form"], at=NOW, by="owner") for name in ("one", "other"))

    assert [book.keys.find(new.secret, at=NOW) for new in (one, other)] == [one.key, other.key]
    assert book.keys.find(one.key.id, at=NOW) is None
    assert book.keys.find("", at=NOW) is None
    assert book.keys.find("\ud800", at=NOW) is None  # half a character, which no UTF-8 has


def test_what_is_kept_of_a_secret_is_its_sha_256(book: QuoteBook) -> None:
    """FIPS 180-4, as Python's hashlib has it."""
    new = book.keys.make("site", scopes=["form"], at=NOW, by="owner")

    with book.storage.reading() as connection:
        kept = connection.execute(select(tables.access_keys.c.hash)).scalars().all()
    assert kept == [hashlib.sha256(new.secret.encode()).hexdigest()]


def test_ending_a_key_twice_keeps_the_earlier_end(book: QuoteBook) -> None:
    new = book.keys.make("site", scopes=["form"], at=NOW, by="owner", ends_at=LATER)
    sooner = book.keys.end(new.key.id, at=SOON, by="owner")
    again = book.keys.end(new.key.id, at=SOON, by="owner")
    later = book.keys.end(new.key.id, at=SOON + INSTANT, by="owner")

    assert (sooner.ends_at, again, later) == (SOON, sooner, sooner)
    assert [event.kind for event in book.history(new.key.id)] == ["key made", "key ended"]
    with pytest.raises(QuoteNotFoundError):
        book.keys.end("nobody", at=NOW, by="owner")


def test_of_many_keys_the_one_that_is_meant_is_ended(book: QuoteBook) -> None:
    made = [book.keys.make("site", scopes=["form"], at=NOW, by="owner") for _ in range(8)]
    for place, new in enumerate(made):
        assert book.keys.end(new.key.id, at=SOON, by="owner").id == new.key.id
        assert [book.keys.find(one.secret, at=SOON) for one in made].count(None) == place + 1
    assert len(book.keys.in_force(at=SOON).by_hash) == 0
    with pytest.raises(QuoteNotFoundError):
        book.keys.end("0" * 16, at=SOON, by="owner")  # every other comes after it


def test_a_rotated_key_ends_with_its_overlap_but_never_later_than_it_would_have(book: QuoteBook) -> None:
    """The new one takes everything over, also the end that the old one had."""
    told = {"scopes": ["form"], "origins": TWO_SITES, "at": NOW, "by": "owner"}
    old, short, endless = (
        book.keys.make(name, ends_at=ends, **told)  # type: ignore[arg-type]  # told alike for all three
        for name, ends in (("old", LATER), ("short", SOON), ("endless", None))
    )
    hour = datetime.timedelta(hours=1)
    new = book.keys.rotate(old.key.id, at=NOW, by="owner", overlap=hour)
    of_short = book.keys.rotate(short.key.id, at=NOW, by="owner", overlap=hour)
    of_endless = book.keys.rotate(endless.key.id, at=NOW, by="owner")
    ends = {key.id: key.ends_at for key in book.keys.list()}

    assert [ends[one.key.id] for one in (old, short, endless)] == [NOW + hour, SOON, NOW]
    assert [one.key.ends_at for one in (new, of_short, of_endless)] == [LATER, SOON, None]
    assert (new.key.name, new.key.scopes, new.key.origins) == ("old", ("form",), TWO_SITES)
    assert new.key.made_at == NOW
    assert len({one.secret for one in (old, short, endless, new, of_short, of_endless)}) == 6


def test_a_key_is_not_rotated_from_the_instant_it_ends(book: QuoteBook) -> None:
    new = book.keys.make("site", scopes=["form"], at=NOW, by="owner", ends_at=SOON)

    with pytest.raises(QuoteNotFoundError):
        book.keys.rotate(new.key.id, at=SOON, by="owner")
    assert book.keys.rotate(new.key.id, at=SOON - INSTANT, by="owner").key.ends_at == SOON


def test_a_request_for_a_key_that_comes_twice_makes_one_and_tells_its_secret_once(book: QuoteBook) -> None:
    first, again = (
        book.keys.make("site", scopes=["form"], at=at, by="owner", key="a-key-of-the-request") for at in (NOW, SOON)
    )

    assert (again.key, again.secret) == (first.key, "")
    assert book.keys.list() == (first.key,)


@pytest.mark.parametrize(
    ("told", "where"),
    [
        ({"scopes": []}, "scopes"),
        ({"scopes": [""]}, "scopes"),
        ({"scopes": ["form", "a\nb"]}, "scopes"),
        ({"name": ""}, "name"),
        ({"name": "x" * 101}, "name"),
        ({"origins": [""]}, "origins"),
        ({"origins": ["x" * 256]}, "origins"),
    ],
)
def test_what_a_key_cannot_be_is_refused_where_it_stands(
    book: QuoteBook, told: dict[str, object], where: str
) -> None:
    with pytest.raises(InputError) as refused:
        book.keys.make(**{"name": "site", "scopes": ["form"], "at": NOW, "by": "owner", **told})  # type: ignore[arg-type]

    assert [fault.where for fault in refused.value.faults] == [where]
    assert book.keys.list() == ()


@pytest.mark.parametrize("told", [{"name": "x"}, {"name": "x" * 100}, {"origins": ["x" * 255]}, {"origins": ["x"]}])
def test_what_a_key_can_just_be_is_taken(book: QuoteBook, told: dict[str, object]) -> None:
    new = book.keys.make(**{"name": "site", "scopes": ["form"], "at": NOW, "by": "owner", **told})  # type: ignore[arg-type]

    assert book.keys.list() == (new.key,)


def test_a_row_whose_secret_was_changed_beside_the_book_opens_nothing(book: QuoteBook) -> None:
    new = book.keys.make("site", scopes=["form"], at=NOW, by="owner")
    other = hashlib.sha256(b"another").hexdigest()
    with book.storage.writing() as connection:
        connection.execute(update(tables.access_keys).values(hash=other))

    assert book.keys.find(new.secret, at=NOW) is None


def test_a_private_link_is_an_hmac_of_its_salt_and_the_book_keeps_its_hash(book: QuoteBook) -> None:
    """HMAC-SHA-256 (RFC 2104), in the alphabet of RFC 4648, section 5: 256 bits that only the secret makes."""
    salt = "000102030405060708090a0b0c0d0e0f"
    link = new_link(SECRET, lambda size: bytes(range(size)))
    token = token_of(link, SECRET)
    made = base64.urlsafe_b64encode(hmac.digest(SECRET, b"link " + link.salt.encode(), "sha256")).decode()

    assert link.salt.startswith(salt)
    assert token == f"qv_{salt[:16]}_{made.rstrip('=')}"
    assert link.hash == hashlib.sha256(token.encode()).hexdigest()
    assert token_of(link, SECRET + b"x") != token
    assert token_of(Link("f" + link.salt[1:], ""), SECRET) != token


@pytest.mark.parametrize(("size", "taken"), [(0, False), (LEAST_SECRET_BYTES - 1, False), (LEAST_SECRET_BYTES, True)])
def test_no_link_is_made_of_a_secret_that_could_be_guessed(size: int, taken: bool) -> None:
    """128 bits at least, which nobody can try through: common practice, no source."""
    assert LEAST_SECRET_BYTES == 16
    if taken:
        assert token_of(Link("ab" * 16, ""), b"s" * size).startswith("qv_")
        return
    with pytest.raises(BookError, match="16 bytes"):
        token_of(Link("ab" * 16, ""), b"s" * size)


def test_a_link_opens_its_own_quotation_and_whatever_is_no_link_of_ours_opens_none(book: QuoteBook) -> None:
    entries = [issued(book) for _ in range(2)]
    links = [book.make_link(entry.id, at=NOW, by="owner") for entry in entries]
    tokens = [book.link_token(entry) for entry in links]

    assert [book.by_link(token).id for token in tokens] == [entry.id for entry in entries]
    for nothing in (
        "",
        "qv_",
        tokens[0][1:],
        tokens[0] + "A",
        tokens[0][:-2] + "zz",
        f" {tokens[0]}",
        f"{tokens[0]}\n",
    ):
        with pytest.raises(QuoteNotFoundError, match="a private link"):
            book.by_link(nothing)


def test_a_budget_is_granted_to_its_last_one(book: QuoteBook) -> None:
    """3 of 10, and again until 1 is left: what is granted adds up to the budget."""
    grants = [book.budgets.take("form", 3, most=10, until=SOON) for _ in range(6)]

    assert grants == [3, 3, 3, 1, 0, 0]


def test_a_budget_begins_anew_with_another_end(book: QuoteBook) -> None:
    assert book.budgets.take("form", 7, most=10, until=SOON) == 7
    assert book.budgets.take("form", 7, most=10, until=LATER) == 7
    assert book.budgets.take("form", 7, most=10, until=LATER) == 3
    assert book.budgets.take("form", 7, most=10, until=SOON) == 7


def test_budgets_of_other_names_are_others(book: QuoteBook) -> None:
    assert [book.budgets.take(name, 9, most=10, until=SOON) for name in ("one", "other", "one", "other")] == [
        9,
        9,
        1,
        1,
    ]


@pytest.mark.parametrize(("amount", "most", "granted"), [(0, 10, 0), (-1, 10, 0), (5, 0, 0), (1, 1, 1), (5, 4, 4)])
def test_a_budget_grants_no_less_than_nothing_and_no_more_than_there_is(
    book: QuoteBook, amount: int, most: int, granted: int
) -> None:
    assert book.budgets.take("form", amount, most=most, until=SOON) == granted


def test_a_budget_that_shrank_grants_nothing_until_it_begins_anew(book: QuoteBook) -> None:
    """8 of 10 are used where only 5 are meant now: nothing is left, and nothing is given back."""
    assert book.budgets.take("form", 8, most=10, until=SOON) == 8
    assert book.budgets.take("form", 1, most=5, until=SOON) == 0
    assert book.budgets.take("form", 5, most=10, until=SOON) == 2


def kept_budgets(book: QuoteBook) -> dict[str, int]:
    with book.storage.reading() as connection:
        rows = connection.execute(select(tables.budgets.c.name, tables.budgets.c.used)).all()
    return {row.name: row.used for row in rows}


def test_what_is_granted_is_written_once_for_its_name_and_nothing_is_where_nothing_is_granted(
    book: QuoteBook,
) -> None:
    book.budgets.take("form", 3, most=5, until=SOON)
    book.budgets.take("form", 3, most=5, until=SOON)
    book.budgets.take("form", 3, most=5, until=SOON)
    book.budgets.take("none", 0, most=5, until=SOON)

    assert kept_budgets(book) == {"form": 5}


def test_what_is_taken_of_one_budget_is_taken_of_no_other(book: QuoteBook) -> None:
    for name in ("a", "c", "b", "b"):
        book.budgets.take(name, 3, most=9, until=SOON)

    assert kept_budgets(book) == {"a": 3, "b": 6, "c": 3}


def test_budgets_that_ended_before_an_instant_are_forgotten_and_others_are_not(book: QuoteBook) -> None:
    book.budgets.take("ended", 1, most=5, until=SOON - INSTANT)
    book.budgets.take("ends now", 1, most=5, until=SOON)
    book.budgets.take("goes on", 1, most=5, until=LATER)
    book.budgets.forget(before=SOON)

    assert kept_budgets(book) == {"ends now": 1, "goes on": 1}


@pytest.mark.parametrize("name", ["", "a\nb", "x" * 101])
def test_a_budget_needs_a_name(book: QuoteBook, name: str) -> None:
    with pytest.raises(InputError) as refused:
        book.budgets.take(name, 1, most=1, until=SOON)

    assert [fault.where for fault in refused.value.faults] == ["name"]
