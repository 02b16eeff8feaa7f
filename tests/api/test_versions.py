"""Versions and states over HTTP: nothing is changed unseen, nothing is decided twice (A8, A19, A20)."""

from __future__ import annotations

import datetime
from collections import Counter
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import pytest

from quoting import load_rate_card
from quoting.book import QuoteBook
from tests.api.asking import BOOK, CARD, OWNERS, issued, job, last_event, once, problem, together
from tests.api.conftest import Mounted
from tests.api.serving import Served


def test_a_change_needs_the_version_that_was_read(asked: httpx.Client) -> None:
    """A8; RFC 9110, 13.1.1 and RFC 6585, 3."""
    kept = issued(asked)
    path, tag = f"{BOOK}/{kept['id']}/revisions", kept["etag"]

    def revise(**headers: str) -> httpx.Response:
        return asked.post(path, json={"job": job()}, headers={**once(), **headers})

    weak, other = revise(**{"If-Match": f"W/{tag}"}), revise(**{"If-Match": '"another.1"'})
    missing = revise()
    right = revise(**{"If-Match": tag})
    stale = revise(**{"If-Match": tag})

    assert [one.status_code for one in (missing, weak, other, stale)] == [428, 412, 412, 412]
    assert {problem(one) for one in (weak, other, stale)} == {"version-changed"}
    assert (right.status_code, right.headers["etag"] != tag) == (200, True)
    events = asked.get(f"{BOOK}/{kept['id']}/history").json()["events"]
    assert [event["kind"] for event in events] == ["drafted", "issued", "revised"]


def test_every_operation_that_must_be_told_a_version_is_refused_without(running: Served, asked: httpx.Client) -> None:
    """A8: as the operations say of themselves; those that may be told one refuse another."""
    before = last_event(running)
    kept = issued(asked)
    after = last_event(running)
    path = {"which": kept["id"], "client": asked.get(f"{BOOK}/{kept['id']}").json()["client"]}
    for one in OWNERS:
        if one.guarded:
            at = one.path.format(**path)
            told = {"": 428, '"another.1"': 412, f"W/{kept['etag']}": 412}
            for tag, status in told.items() if one.guarded == "must" else list(told.items())[1:]:
                headers = {**once(), **({"If-Match": tag} if tag else {})}
                answer = asked.request(one.method, at, json=one.example, headers=headers)
                assert answer.status_code == status, (one.id, tag)

    assert before != after == last_event(running)


def test_a_client_is_changed_at_the_version_that_was_read(asked: httpx.Client) -> None:
    """A8."""
    made = asked.post("/v1/book/clients", json={"name": "Ottilie Crane"}, headers=once())
    path, tag = f"/v1/book/clients/{made.json()['id']}", made.headers["etag"]
    changed = {"name": "Ottilie Crane", "telephone": "01234"}

    assert asked.put(path, json=changed, headers=once()).status_code == 428
    assert asked.put(path, json=changed, headers={**once(), "If-Match": '"none.1"'}).status_code == 412
    right = asked.put(path, json=changed, headers={**once(), "If-Match": tag})
    assert (right.status_code, right.json()["version"]) == (200, 2)
    assert asked.put(path, json=changed, headers={**once(), "If-Match": tag}).status_code == 412


def test_what_is_there_already_is_not_sent_again(asked: httpx.Client, pango: None) -> None:
    """A8; RFC 9110, 13.1.2. Each form of a quotation has a tag of its own."""
    path = f"{BOOK}/{issued(asked)['id']}"
    tags = set()
    for accept in ("application/json", "application/pdf", "application/xml"):
        answer = asked.get(path, headers={"Accept": accept})
        tag = answer.headers["etag"]
        again = asked.get(path, headers={"Accept": accept, "If-None-Match": f'"other", {tag}'})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
        tags.add(tag)

    assert len(tags) == 3
    assert not any(tag.startswith("W/") for tag in tags)


def test_of_many_who_accept_and_decline_together_one_decides(running: Served, asked: httpx.Client) -> None:
    """A19, on both engines: 50 accept, 50 decline."""
    kept = issued(asked)
    path = f"{BOOK}/{kept['id']}"

    def move(name: str) -> httpx.Response:
        return asked.post(f"{path}/{name}", json={}, headers=once())

    answers = together([partial(move, name) for _ in range(50) for name in ("acceptance", "decline")])

    won = [answer for answer in answers if answer.status_code == 200]
    state = won[0].json()["state"]
    assert len(won) == 1
    assert state in {"accepted", "declined"}
    assert {(one.status_code, problem(one), one.json()["state"]) for one in answers if one is not won[0]} == {
        (409, f"quote-{state}", state)
    }
    kinds = Counter(event["kind"] for event in asked.get(f"{path}/history").json()["events"])
    assert kinds == {"drafted": 1, "issued": 1, state: 1}


def test_what_cannot_be_accepted_says_why(asked: httpx.Client) -> None:
    """A19."""
    declined, withdrawn, replaced = issued(asked), issued(asked), issued(asked)
    draft = asked.post("/v1/book/drafts", json={"job": job()}, headers=once()).json()
    asked.post(f"{BOOK}/{declined['id']}/decline", json={}, headers=once())
    asked.post(f"{BOOK}/{withdrawn['id']}/withdrawal", json={}, headers=once())
    revised = {**once(), "If-Match": replaced["etag"]}
    asked.post(f"{BOOK}/{replaced['id']}/revisions", json={"job": job()}, headers=revised)

    def accept(kept: dict[str, Any], **body: Any) -> str:
        answer = asked.post(f"{BOOK}/{kept['id']}/acceptance", json=body, headers=once())
        assert answer.status_code == 409
        return problem(answer)

    assert accept(declined) == "quote-declined"
    assert accept(withdrawn) == "quote-withdrawn"
    assert accept(replaced, revision=1) == "quote-replaced"
    assert accept(draft) == "quote-draft"


ZONE_DAYS = [
    datetime.datetime(2026, 11, 25, 9, tzinfo=datetime.UTC),
    # Their last days are those on which clocks change in Great Britain: 28 March and 31 October 2027.
    datetime.datetime(2027, 2, 26, 9, tzinfo=datetime.UTC),
    datetime.datetime(2027, 10, 1, 9, tzinfo=datetime.UTC),
]


@pytest.mark.parametrize("began", ZONE_DAYS)
def test_a_quotation_holds_to_the_last_moment_of_its_last_day(
    mounted: Mounted, asked_mounted: httpx.Client, began: datetime.datetime
) -> None:
    """A19, on both engines, by a clock that is set: 23:59:59.999 where the shop is, and a thousandth later."""
    zone = ZoneInfo(load_rate_card(CARD).region.time_zone)
    mounted.clock.set(began)
    early, late = issued(asked_mounted), issued(asked_mounted)
    last = datetime.datetime.fromisoformat(f"{early['valid_until']}T23:59:59.999").replace(tzinfo=zone)
    mounted.clock.set(last)
    in_time = asked_mounted.post(f"{BOOK}/{early['id']}/acceptance", json={}, headers=once())
    before = asked_mounted.get(f"{BOOK}/{late['id']}")
    mounted.clock.set(last + datetime.timedelta(milliseconds=1))
    too_late = asked_mounted.post(f"{BOOK}/{late['id']}/acceptance", json={}, headers=once())
    after = asked_mounted.get(f"{BOOK}/{late['id']}")

    assert early["valid_until"] in {"2026-12-25", "2027-03-28", "2027-10-31"}
    assert (in_time.status_code, in_time.json()["state"]) == (200, "accepted")
    assert (too_late.status_code, problem(too_late), too_late.json()["state"]) == (409, "quote-expired", "lapsed")
    assert (before.json()["state"], after.json()["state"]) == ("open", "lapsed")
    assert before.headers["etag"] != after.headers["etag"]


def test_of_many_revisions_at_one_version_one_is_kept(running: Served, asked: httpx.Client) -> None:
    """A20, on both engines: 20 together."""
    kept = issued(asked)
    path = f"{BOOK}/{kept['id']}"

    def revise(number: int) -> httpx.Response:
        headers = {**once(), "If-Match": kept["etag"]}
        return asked.post(f"{path}/revisions", json={"job": job(title=f"Revised {number}")}, headers=headers)

    answers = together([partial(revise, number) for number in range(20)])

    assert Counter(answer.status_code for answer in answers) == {200: 1, 412: 19}
    assert asked.get(path).json()["revision"] == 2


def test_revisions_are_counted_without_a_gap_and_earlier_ones_stay(running: Served, asked: httpx.Client) -> None:
    """A20, on both engines."""
    kept = issued(asked)
    path, tag = f"{BOOK}/{kept['id']}", kept["etag"]
    sent = [asked.get(f"{path}/revisions/1").content]
    for number in range(2, 6):
        headers = {**once(), "If-Match": tag}
        answer = asked.post(f"{path}/revisions", json={"job": job(title=f"Revised {number}")}, headers=headers)
        tag = answer.headers["etag"]
        assert answer.json()["revision"] == number
        sent.append(asked.get(f"{path}/revisions/{number}").content)

    assert [asked.get(f"{path}/revisions/{number}").content for number in range(1, 6)] == sent
    with QuoteBook(running.settings.book) as book:
        assert book.verify(engines={}).tampering == ()
