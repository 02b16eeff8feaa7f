"""Idempotency-Key on the real server: done once, answered alike, kept with what it made (A13 to A18)."""

from __future__ import annotations

import datetime
from collections import Counter
from functools import partial
from typing import Any

import httpx
import pytest

from api.media_types import JSON
from quoting.book import QuoteBook
from tests.api.asking import BOOK, OPERATIONS, issued, job, larger, made_key, once, problem, together
from tests.api.conftest import HERE, Mounted
from tests.api.serving import Served


def test_one_key_sent_together_to_four_workers_makes_one_quotation(running: Served, asked: httpx.Client) -> None:
    """A13, on both engines: 3 keys x 30 requests."""
    sent_together(running, asked, keys=3, requests=30)


@pytest.mark.long
def test_many_keys_sent_together_to_four_workers_make_one_quotation_each(
    running: Served, asked: httpx.Client
) -> None:
    """A13 at its full size: 100 keys x 200 requests."""
    sent_together(running, asked, keys=100, requests=200)


def sent_together(running: Served, asked: httpx.Client, *, keys: int, requests: int) -> None:
    series = f"I{keys}"
    for number in range(keys):
        headers = once(f"sent-together-{keys}-{number:04}")
        body = {"job": job(title=f"Sent together {keys} {number}"), "series": series}
        post = partial(asked.post, BOOK, json=body, headers=headers)

        answers = together([post] * requests)

        assert {answer.status_code for answer in answers} == {201}
        assert len({answer.content for answer in answers}) == 1
        assert len({answer.headers["etag"] for answer in answers}) == 1
    with QuoteBook(running.settings.book) as book:
        listed = asked.get(BOOK, params={"series": series, "limit": 200}).json()["quotations"]
        ids = {one["id"] for one in listed}
        told = [one for one in _whole_outbox(book) if one.id in ids]
        kinds = Counter(event.kind for id in ids for event in book.history(id))

    assert sorted(one["number"] for one in listed) == [f"{series}-{count:05}" for count in range(1, keys + 1)]
    assert kinds == {"drafted": keys, "issued": keys}
    # What mail and webhooks are told of: one row each, whose position is the webhook's id.
    assert Counter(one.kind for one in told) == {"issued": keys}


def _whole_outbox(book: QuoteBook) -> tuple[Any, ...]:
    return book.outbox.waiting(most=1_000_000)


CLIENTS = "/v1/book/clients"
FIELDS: list[tuple[str, Any]] = [
    ("title", "Another title"),
    ("notes", "Another note"),
    ("quantities", [300]),
    ("client", {"name": "Somebody else"}),
    ("rush", True),
]


@pytest.mark.parametrize(("field", "other"), FIELDS)
def test_a_key_with_another_payload_is_refused_and_tells_nothing(asked: httpx.Client, field: str, other: Any) -> None:
    """A14."""
    headers = once()
    first = asked.post(BOOK, json={"job": job()}, headers=headers).json()
    before = _events(asked)

    answer = asked.post(BOOK, json={"job": job(**{field: other})}, headers=headers)

    assert (answer.status_code, problem(answer)) == (422, "idempotency-key-used")
    assert not {first["id"], first["number"], first["client"]} & set(answer.text.split('"'))
    assert _events(asked) == before


@pytest.mark.parametrize("field", ["pins", "locale", "series"])
def test_a_key_with_another_choice_is_refused(asked: httpx.Client, field: str) -> None:
    """A14: every field of the body, not of the job alone."""
    headers = once()
    asked.post(BOOK, json={"job": job()}, headers=headers)
    other: dict[str, Any] = {"pins": [{"number_up": 1}], "locale": "de-DE", "series": "Z"}

    answer = asked.post(BOOK, json={"job": job(), field: other[field]}, headers=headers)

    assert problem(answer) == "idempotency-key-used"


def _events(client: httpx.Client) -> int:
    found, cursor = 0, ""
    while True:
        page = client.get("/v1/book/events", params={"limit": 200, "cursor": cursor}).json()
        found, cursor = found + len(page["events"]), page["cursor"]
        if not cursor:
            return found


def test_spelling_of_the_same_data_is_the_same_request(asked: httpx.Client) -> None:
    """A14: the order of keys, white space, and a whole number with a point."""
    headers = {**once(), "Content-Type": "application/json"}
    body = {"job": job()}
    first = asked.post(BOOK, json=body, headers=headers)
    turned = {"job": dict(reversed(list(body["job"].items())))}
    spelled = httpx.Request("POST", HERE, json=turned).content.replace(b"[250]", b" [ 250.0 ] ")

    again = asked.post(BOOK, content=spelled, headers=headers)

    assert spelled != httpx.Request("POST", HERE, json=body).content
    assert (again.status_code, again.content) == (201, first.content)


CREATING = [
    ("POST", BOOK, {"job": job()}),
    ("POST", "/v1/book/drafts", {"job": job()}),
    ("POST", f"{BOOK}/x/acceptance", {}),
    ("POST", f"{BOOK}/x/decline", {}),
    ("POST", f"{BOOK}/x/withdrawal", {}),
    ("POST", f"{BOOK}/x/payments", {"amount": "1.00"}),
    ("POST", f"{BOOK}/x/revisions", {"job": job()}),
    ("POST", "/v1/book/clients", {"name": "Somebody"}),
    ("POST", "/v1/keys", {"name": "somebody", "role": "form"}),
]


@pytest.mark.parametrize(("method", "path", "body"), CREATING)
def test_a_creating_call_needs_a_key(asked: httpx.Client, method: str, path: str, body: Any) -> None:
    """A15."""
    answer = asked.request(method, path, json=body, headers={"If-Match": '"x.1"'})

    assert (answer.status_code, problem(answer)) == (400, "idempotency-key-missing")


def test_every_operation_that_creates_takes_a_key(asked: httpx.Client) -> None:
    for one in OPERATIONS:
        if JSON in one.takes and any(answer.status == 201 for answer in one.answers):
            assert one.once, one.id


@pytest.mark.parametrize(
    "key", ["x" * 15, "x" * 256, "sixteen of-them \t!", "sixteen-of-them-é", '"', '"fifteen-of-them"']
)
def test_a_key_that_cannot_be_used_is_refused(asked: httpx.Client, key: str) -> None:
    """A15."""
    headers = [(b"Idempotency-Key", key.encode("latin-1"))]

    answer = asked.post(BOOK, json={"job": job()}, headers=headers)

    assert (answer.status_code, problem(answer)) == (400, "idempotency-key-invalid")


def test_the_quoted_and_the_bare_form_are_one_key(asked: httpx.Client) -> None:
    """A15."""
    bare = asked.post(BOOK, json={"job": job()}, headers=once("one-key-in-two-forms"))
    quoted = asked.post(BOOK, json={"job": job()}, headers=once('"one-key-in-two-forms"'))

    assert quoted.content == bare.content


def test_what_was_refused_is_not_kept(running: Served, asked: httpx.Client) -> None:
    """A16: a fault of the body, no key of the API, one that may not; then the corrected request succeeds."""
    headers = once()
    refused = [
        asked.post(BOOK, json={"job": job(title=3)}, headers=headers),
        asked.post(BOOK, json={"job": larger()}, headers=headers),
        asked.post(BOOK, json={"job": job()}, headers={**headers, "Authorization": "Bearer qk_none"}),
        asked.post(BOOK, json={"job": job()}, headers={**headers, **made_key(running.settings.book, "owner-ro")}),
    ]

    assert [answer.status_code for answer in refused] == [422, 422, 401, 403]
    assert asked.post(BOOK, json={"job": job()}, headers=headers).status_code == 201


def test_a_key_is_of_one_credential_and_of_one_operation(running: Served, asked: httpx.Client) -> None:
    """A17."""
    headers, another = once(), made_key(running.settings.book)
    mine = asked.post(BOOK, json={"job": job()}, headers=headers).json()
    theirs = asked.post(BOOK, json={"job": job()}, headers={**headers, **another}).json()
    draft = asked.post("/v1/book/drafts", json={"job": job()}, headers=headers)

    assert mine["id"] != theirs["id"]
    assert (draft.status_code, draft.json()["state"]) == (201, "draft")


def test_a_key_is_kept_for_as_long_as_the_document_says(mounted: Mounted, asked_mounted: httpx.Client) -> None:
    """A18, by a clock that is set."""
    began = datetime.datetime(2026, 11, 25, 9, tzinfo=datetime.UTC)
    kept = datetime.timedelta(days=mounted.served.settings.keep_keys_days)
    headers = once()

    def post(after: datetime.timedelta) -> bytes:
        mounted.clock.set(began + after)
        answer = asked_mounted.post(BOOK, json={"job": job()}, headers=headers)
        assert answer.status_code == 201
        return answer.content

    first = post(datetime.timedelta())
    replayed = post(kept - datetime.timedelta(hours=1))
    anew = post(kept + datetime.timedelta(seconds=1))
    told = asked_mounted.get("/v1/openapi/owner.json").json()

    assert kept == datetime.timedelta(days=7)
    assert replayed == first
    assert anew != first
    parameters = told["paths"][BOOK]["post"]["parameters"]
    assert any("kept for 7 days" in one["description"] for one in parameters)
    assert "kept for 7 days" in told["info"]["description"]


def test_a_payment_sent_twice_is_recorded_once(asked: httpx.Client) -> None:
    kept = issued(asked)
    asked.post(f"{BOOK}/{kept['id']}/acceptance", json={}, headers=once())
    headers = once()

    first, again = (
        asked.post(f"{BOOK}/{kept['id']}/payments", json={"amount": "10.00"}, headers=headers) for _ in range(2)
    )

    assert first.content == again.content
    assert asked.get(f"{BOOK}/{kept['id']}").json()["paid"] == "10.00"


def test_a_client_sent_twice_stands_once_in_the_address_book(asked: httpx.Client) -> None:
    contact = {"name": "Odile Marsh", "email": "odile@marsh.example"}
    headers = once()
    first, with_another_key, again = (
        asked.post(CLIENTS, json=contact, headers=sent) for sent in (headers, once(), headers)
    )

    assert again.content == first.content
    assert with_another_key.json() == first.json() | {"version": 2}


def test_a_key_is_kept_though_its_request_changed_nothing(asked: httpx.Client) -> None:
    """A14: found by derived requests: what stood as it was asked for left the key free for another request."""
    contact = {"name": "Wilf Tarrant", "email": "wilf@tarrant.example"}
    asked.post(CLIENTS, json=contact, headers=once())
    headers = once()
    kept = asked.post(CLIENTS, json=contact, headers=headers)
    changed = contact | {"telephone": "01632 960 018"}
    asked.post(CLIENTS, json=changed, headers=once())

    again, another = (asked.post(CLIENTS, json=body, headers=headers) for body in (contact, changed))

    assert again.content == kept.content
    assert (another.status_code, problem(another)) == (422, "idempotency-key-used")
    assert asked.get(f"{CLIENTS}/{kept.json()['id']}").json()["contact"]["telephone"] == changed["telephone"]


def test_the_key_of_a_card_that_was_published_before_is_kept(running: Served, asked: httpx.Client) -> None:
    """A14: as above, of cards."""
    cards = asked.get("/v1/rate-cards").json()["cards"]
    card = asked.get(f"/v1/rate-cards/{cards[-1]['hash']}").json()
    headers = once()
    first = asked.post("/v1/rate-cards", json=card, headers=headers)
    other = card | {"card": card["card"] | {"version": "never published"}}

    again, another = (asked.post("/v1/rate-cards", json=body, headers=headers) for body in (card, other))

    assert (first.status_code, again.content) == (201, first.content)
    assert (another.status_code, problem(another)) == (422, "idempotency-key-used")
    assert asked.get("/v1/rate-cards").json()["cards"] == cards
    with QuoteBook(running.settings.book) as book:
        assert book.verify(engines={}).is_sound
