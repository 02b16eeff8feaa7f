"""Private links on the real server: look, download, accept or decline (A5, A6, A19, A45, A56)."""

from __future__ import annotations

import datetime
import secrets
import time
from functools import partial
from typing import Any
from urllib.parse import unquote

import httpx
import pytest
from sqlalchemy import select

from api.media_types import JSON, PDF, XML
from api.problems import PROBLEM_JSON
from quoting.book.tables import metadata
from quoting.documents.names import content_disposition
from tests.api.asking import BOOK, once, problem, together
from tests.api.conftest import Serve
from tests.api.documents import Held
from tests.api.public.conftest import Shop, shop_of
from tests.api.public.visiting import ACCEPT, CONTACT, STATIONERY

LINKED = "/v1/public/quotations"


def test_a_link_tells_the_quotation_as_it_was_issued(served_shop: Shop) -> None:
    path = served_shop.visitor().link()
    told = served_shop.stranger().get(path).json()

    quotation = told["quotation"]
    assert (told["state"], told["revision"], told["accepted"]) == ("open", 1, None)
    assert quotation["number"] == served_shop.entry(path).number
    assert quotation["client"]["name"] == "Wilmot Dace"
    assert [one["quantity"] for one in quotation["options"]] == [100, 200]


@pytest.mark.parametrize(
    ("accept", "status", "kind"),
    [
        (PDF, 200, PDF),
        (JSON, 200, JSON),
        (XML, 200, XML),
        ("*/*", 200, JSON),
        ("", 200, JSON),
        ("application/*;q=0.5, application/xml", 200, XML),
        ("application/json;q=0, application/xml", 200, XML),
        ("application/json;q=0, */*;q=0.1", 200, PDF),
        ("text/csv", 406, PROBLEM_JSON),
        ("*/*;q=0", 406, PROBLEM_JSON),
    ],
)
def test_it_is_given_as_the_type_that_is_wanted(
    served_shop: Shop, accept: str, status: int, kind: str, pango: None
) -> None:
    """A6; RFC 9110, 12.5.1."""
    answer = served_shop.stranger().get(served_shop.visitor().link(), Accept=accept)

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)
    if status == 406:
        assert answer.json()["offered"] == [JSON, PDF, XML]
    if kind in {PDF, XML}:
        assert answer.content.startswith(b"%PDF-" if kind == PDF else b"<?xml")


def test_who_says_nothing_of_types_gets_json(served_shop: Shop) -> None:
    """A6: without the header at all."""
    path, client = served_shop.visitor().link(), served_shop.client
    request = client.build_request("GET", path)
    del request.headers["accept"]
    answer = client.send(request)

    assert (answer.status_code, answer.headers["content-type"]) == (200, JSON)


@pytest.mark.parametrize(
    "title",
    [
        '"; filename="x.exe" Set-Cookie: a=b',
        "../../x",
        "€ Ünï",
        "x" * 119,
        "a/b\\c",
        "..",
        "CON",
        "%0d%0aX: y",
        "名刺",
    ],
    ids=lambda title: repr(title[:12]),
)
def test_a_download_has_a_name_of_one_line_without_folders(served_shop: Shop, title: str) -> None:
    """A56; RFC 6266."""
    path = served_shop.visitor().link(title=title)
    answer = served_shop.stranger().get(path, Accept=XML)
    (named,) = answer.headers.get_list("content-disposition")
    plain, _, extended = named.removeprefix('attachment; filename="').partition("\"; filename*=UTF-8''")

    assert named == content_disposition(f"quotation {served_shop.entry(path).number} {title}", "xml")
    assert "set-cookie" not in answer.headers
    assert "x" not in answer.headers
    assert plain.isascii()
    for name in (plain, unquote(extended)):
        assert name.endswith(".xml")
        assert not set(name) & set('/\\"\r\n')
        assert len(name) <= 200


@pytest.mark.parametrize("title", ['x"; filename="x.exe\r\nSet-Cookie: a=b', "x" * 300])
def test_a_title_that_is_no_line_is_refused(served_shop: Shop, title: str) -> None:
    """A56."""
    answer = served_shop.visitor().send(title=title)

    assert (answer.status_code, answer.json()["invalid"][0]["pointer"]) == (422, "/choice/title")


def test_what_waits_for_the_shop_is_no_document_yet(served_shop: Shop) -> None:
    path = served_shop.visitor().link(STATIONERY)
    answer = served_shop.stranger().get(path, Accept=PDF)
    accepted = served_shop.stranger().post(f"{path}/acceptance", {"revision": 1, "quantity": 100})

    assert (answer.status_code, problem(answer)) == (409, "quote-draft")
    assert (accepted.status_code, accepted.json()["state"]) == (409, "replaced")


def test_an_option_is_accepted_once(served_shop: Shop) -> None:
    path, visitor = served_shop.visitor().link(), served_shop.stranger()
    key = once()["Idempotency-Key"]
    first = visitor.post(f"{path}/acceptance", ACCEPT, key=key)
    again = visitor.post(f"{path}/acceptance", ACCEPT, key=key)
    other = visitor.post(f"{path}/decline", {"revision": 1})

    assert (first.status_code, first.json()["state"], first.json()["accepted"]) == (200, "accepted", 200)
    assert again.content == first.content
    assert (other.status_code, problem(other), other.json()["state"]) == (409, "quote-accepted", "accepted")


def test_a_quantity_that_is_not_quoted_is_refused(served_shop: Shop) -> None:
    path = served_shop.visitor().link()
    answer = served_shop.stranger().post(f"{path}/acceptance", {**ACCEPT, "quantity": 150})

    assert (answer.status_code, answer.json()["invalid"][0]["pointer"]) == (422, "/quantity")


def test_fifty_acceptances_and_fifty_refusals_at_once_end_in_one_state(served_shop: Shop) -> None:
    """A19, over four workers."""
    path, stranger = served_shop.visitor().link(), served_shop.stranger()
    accept = partial(stranger.post, f"{path}/acceptance", ACCEPT)
    decline = partial(stranger.post, f"{path}/decline", {"revision": 1})
    with served_shop.happening() as events:
        answers = together([accept, decline] * 50)
    told = stranger.get(path).json()

    assert sorted(answer.status_code for answer in answers) == [200] + [409] * 99
    assert told["state"] in {"accepted", "declined"}
    assert {answer.json()["state"] for answer in answers} == {told["state"]}
    assert {problem(answer) for answer in answers if answer.status_code == 409} == {f"quote-{told['state']}"}
    assert [event.kind for event in events] == [told["state"]]


def owner_does(shop: Shop, path: str, what: str) -> None:
    """Have the owner do something with the quotation behind a link."""
    entry = shop.entry(path)
    place = f"{BOOK}/{entry.id}"
    etag = shop.client.get(place, headers=shop.owner).headers["etag"]
    job = shop.client.get(f"{place}/job", headers=shop.owner).json()
    body: dict[str, Any] = {"job": job} if what == "revisions" else {}
    answer = shop.client.post(f"{place}/{what}", json=body, headers={**shop.owner, **once(), "If-Match": etag})
    assert answer.status_code in {200, 201}, answer.text


@pytest.mark.parametrize(
    ("what", "expected"),
    [("revisions", "quote-replaced"), ("withdrawal", "quote-withdrawn"), ("decline", "quote-declined")],
)
def test_what_ended_otherwise_is_accepted_no_more(served_shop: Shop, what: str, expected: str) -> None:
    """A19: a revision that was superseded, a quotation that was withdrawn or declined."""
    path, stranger = served_shop.visitor().link(), served_shop.stranger()
    owner_does(served_shop, path, what)
    with served_shop.happening() as events:
        accepted = stranger.post(f"{path}/acceptance", ACCEPT)
        declined = stranger.post(f"{path}/decline", {"revision": 1})
    told = stranger.get(path).json()

    for answer in (accepted, declined):
        assert (answer.status_code, problem(answer)) == (409, expected)
        assert served_shop.entry(path).number not in answer.text
    assert events == []
    assert told["state"] == ("open" if what == "revisions" else expected.removeprefix("quote-"))
    if what == "revisions":
        assert stranger.post(f"{path}/acceptance", {**ACCEPT, "revision": 2}).json()["state"] == "accepted"


def test_a_revision_that_is_not_there_yet_is_not_accepted(served_shop: Shop) -> None:
    path = served_shop.visitor().link()
    answer = served_shop.stranger().post(f"{path}/acceptance", {**ACCEPT, "revision": 2})

    assert (answer.status_code, problem(answer)) == (409, "quote-replaced")


@pytest.mark.parametrize(
    ("dated", "lapses_at"),
    [
        # Thirty days on. Clocks go on in Britain on 28 March 2027 and back on 31 October, at 01:00 UTC, the last
        # Sundays of both months: The Summer Time Order 2002, from memory; the time-zone database has it too.
        ("2027-02-26T10:00:00+00:00", "2027-03-28T23:00:00+00:00"),
        ("2027-10-01T10:00:00+00:00", "2027-11-01T00:00:00+00:00"),
        ("2027-06-01T10:00:00+00:00", "2027-07-01T23:00:00+00:00"),
        ("2026-12-01T23:59:59+00:00", "2027-01-01T00:00:00+00:00"),
    ],
)
def test_a_quotation_is_accepted_until_its_last_day_is_over_where_the_shop_is(
    mounted_shop: Shop, dated: str, lapses_at: str
) -> None:
    """A19, by a clock that is set: the last millisecond, and the one after it; on days when clocks change too."""
    mounted_shop.clock.set(datetime.datetime.fromisoformat(dated))
    visitor, late = mounted_shop.visitor(), datetime.datetime.fromisoformat(lapses_at)
    links = [visitor.link(), visitor.link()]
    mounted_shop.clock.set(late - datetime.timedelta(milliseconds=1))
    in_time = visitor.post(f"{links[0]}/acceptance", ACCEPT)
    open_yet = visitor.get(links[1]).json()
    mounted_shop.clock.set(late)
    with mounted_shop.happening() as events:
        accepted = visitor.post(f"{links[1]}/acceptance", ACCEPT)
        declined = visitor.post(f"{links[1]}/decline", {"revision": 1})
    looked = visitor.get(links[1]).json()

    assert (in_time.status_code, in_time.json()["state"], open_yet["state"]) == (200, "accepted", "open")
    for answer in (accepted, declined):
        assert (answer.status_code, problem(answer), answer.json()["state"]) == (409, "quote-expired", "lapsed")
    assert events == []
    assert looked["state"] == "expired"


def guesses(shop: Shop, path: str) -> list[str]:
    """What somebody might try in place of a link's end."""
    entry, token = shop.entry(path), path.rpartition("/")[2]
    return [
        entry.number,
        entry.id,
        entry.link.hash if entry.link else "",
        entry.link.salt if entry.link else "",
        entry.client,
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        token.lower(),
        token + "A",
        f"qv_{secrets.token_hex(8)}_{secrets.token_urlsafe(32)}",
        f"{token.rpartition('_')[0]}_{secrets.token_urlsafe(32)}",
        secrets.token_hex(16),
        "x",
        "1",
        "%00",
        "qv_" + "é" * 20,
        "..%2F" + entry.id,
    ]


def test_whatever_is_no_link_of_ours_is_the_same_not_found(served_shop: Shop) -> None:
    """A45: a number, an id, what the book keeps, one letter off, chance; but for the request's own id."""
    path, stranger = served_shop.visitor().link(), served_shop.stranger()
    for more in ("", "/acceptance", "/decline"):
        answers = []
        for guess in guesses(served_shop, path):
            place = f"{LINKED}/{guess}{more}"
            answers.append(stranger.post(place, ACCEPT if "accept" in more else {"revision": 1}) if more else
                           stranger.get(place))  # fmt: skip
        assert {answer.status_code for answer in answers} == {404}
        assert len({alike(answer) for answer in answers}) == 1


def alike(answer: httpx.Response) -> tuple[bytes, str]:
    """An answer but for what tells one request from another."""
    id = answer.headers["request-id"]
    headers = {name: told for name, told in answer.headers.items() if name not in {"request-id", "date"}}
    return answer.content.replace(id.encode(), b""), str(headers)


def test_a_link_is_256_bits_of_chance_and_stands_nowhere_in_the_book(served_shop: Shop) -> None:
    """A45: what opens it is made of a secret outside the book."""
    path = served_shop.visitor().link()
    token = path.rpartition("/")[2]
    secret = token.split("_", 2)[2]
    with served_shop.book() as book, book.storage.reading() as connection:
        rows = [row for table in metadata.sorted_tables for row in connection.execute(select(table))]
    kept = [value.encode() if isinstance(value, str) else value for row in rows for value in row]
    kept = [value for value in kept if isinstance(value, bytes)]
    id = served_shop.entry(path).id.encode()

    assert len(secret) * 6 >= 256
    assert any(id in value for value in kept)
    assert not [value for value in kept if secret.encode() in value]


def test_links_of_many_requests_have_nothing_in_common(served_shop: Shop) -> None:
    """A45: no part of one tells of another."""
    tokens = [served_shop.visitor().link().rpartition("/")[2].split("_", 2) for _ in range(8)]

    assert {kind for kind, _, _ in tokens} == {"qv"}
    for place in (1, 2):
        assert len({token[place] for token in tokens}) == 8
        assert len({token[place][:4] for token in tokens}) == 8


def test_guesses_open_nothing_and_are_held_up(serve: Serve, held: Held) -> None:
    """A45: 1,500 guesses."""
    guessed(serve, held, guesses=1_500)


@pytest.mark.long
def test_a_hundred_thousand_guesses_open_nothing_and_are_held_up(serve: Serve, held: Held) -> None:
    """A45, at its full size: 100,000."""
    guessed(serve, held, guesses=100_000)


def guessed(serve: Serve, held: Held, *, guesses: int) -> None:
    """One client guesses at a server as it comes; who has a link of theirs gets through meanwhile."""
    served = serve(secret="a-secret-that-stands-nowhere-in-the-book", trusted_proxies=1)
    with shop_of(served, held) as shop:
        path, guesser = shop.visitor().link(), shop.stranger()

        def guess() -> int:
            token = f"qv_{secrets.token_hex(8)}_{secrets.token_urlsafe(32)}"
            return guesser.get(f"{LINKED}/{token}").status_code

        began = int(time.time()) // 60
        statuses = together([guess] * guesses, threads=16)
        minutes = int(time.time()) // 60 - began + 1
        assert shop.stranger().get(path).status_code == 200

    assert set(statuses) == {404, 429}
    assert statuses.count(404) <= minutes * served.settings.most_looks_a_minute


def test_what_is_erased_is_told_as_erased(served_shop: Shop) -> None:
    contact = {**CONTACT, "name": "Isaura Penhale", "email": "isaura@penhale.example"}
    path = served_shop.visitor().link(contact=contact)
    place = f"/v1/book/clients/{served_shop.entry(path).client}"
    erased = served_shop.client.delete(place, headers=served_shop.owner)

    assert erased.status_code in {200, 204}, erased.text
    assert served_shop.stranger().get(path).status_code == 404
