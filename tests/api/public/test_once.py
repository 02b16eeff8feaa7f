"""A visitor's Idempotency-Key on the real server: done once, told alike, nobody else's data (A13 to A18)."""

from __future__ import annotations

import copy
import datetime
from collections import Counter
from collections.abc import Iterator
from functools import partial
from typing import Any

import httpx
import pytest
from msgspec import inspect

from quoting.offers import Choice
from tests.api.asking import made_key, problem, together
from tests.api.public.conftest import Shop
from tests.api.public.visiting import ACCEPT, COASTERS, CONTACT, choice, new_key, path_of
from tests.book.shop import NOW

REQUESTS = "/v1/public/requests"


def test_one_key_sent_together_to_four_workers_is_one_quotation(served_shop: Shop) -> None:
    """A13: 2 keys x 100 requests."""
    sent_together(served_shop, keys=2, requests=100)


@pytest.mark.long
def test_many_keys_sent_together_to_four_workers_are_one_quotation_each(served_shop: Shop) -> None:
    """A13, at its full size: 100 keys x 200 requests."""
    sent_together(served_shop, keys=100, requests=200)


def sent_together(shop: Shop, *, keys: int, requests: int) -> None:
    with shop.happening() as events:
        for _ in range(keys):
            send = partial(shop.visitor().send, key=new_key())

            answers = together([send] * requests)

            assert {answer.status_code for answer in answers} == {201}
            assert len({answer.content for answer in answers}) == 1
            assert len({answer.headers["location"] for answer in answers}) == 1
    kinds = Counter(event.kind for event in events)
    ids = {event.subject for event in events if event.kind == "issued"}
    with shop.book() as book:
        entries = [book.get(id) for id in ids]
        told = [one for one in book.outbox.waiting(most=1_000_000) if one.id in ids]

    assert [kinds[kind] for kind in ("drafted", "requested", "issued")] == [keys] * 3
    assert len({entry.number for entry in entries} - {""}) == keys
    # What mail and webhooks are told of: one row each, whose position is the webhook's id.
    assert Counter(one.kind for one in told) == {"requested": keys, "issued": keys}
    assert len({one.position for one in told}) == 2 * keys


# Every field that a visitor may send, and what it may be changed to: the type is the same, the value another.
FULL: dict[str, Any] = choice(
    COASTERS,
    contact={
        **CONTACT,
        "company": "The Lantern & Eel",
        "address": ["Quay Street"],
        "is_business": False,
        "locale": "en-GB",
    },
    title="Coasters",
    reference="Bar 7",
    notes="For the bar.",
    delivery={"method": "parcel", "to": "4 Tide Row"},
)
SIDE: dict[str, Any] = {
    "inks": ["black"],
    "printed_from": "finished artwork",
    "lines": [{"text": "EEL"}],
    "artwork": "ready",
    "coverage": "all over",
    "plate": {"size": "40 x 30 mm", "thickness": "1.52 mm"},
    "artwork_file": "a-file.of-nobody",
}
CHANGES: dict[str, Any] = {
    "product": "cards",
    "quantities": [100],
    "size": "Round",
    "own_size": "90 x 90 mm",
    "stock": "advise me",
    "front": {**COASTERS["front"], "inks": ["black"]},
    **{f"front.{name}": value for name, value in SIDE.items()},
    "front.lines.0.text": "THE LANTERN AND EEL",
    "front.lines.0.fount": "wharf-12",
    "front.lines.0.ink": "harbour-blue",
    "front.plate.size": {"size": "40 x 31 mm", "thickness": "1.52 mm"},
    "front.plate.thickness": {"size": "40 x 30 mm", "thickness": "1.53 mm"},
    "back": {"lines": [{"text": "EEL"}]},
    "impression": "kiss",
    "folded": "flat",
    "corners": "rounded",
    "edges": "gold",
    "extras": ["Tied"],
    "pieces": [{"piece": "Reply card"}],
    "pieces.piece": [{"piece": "Another card"}],
    "pieces.front": [{"piece": "Reply card", "front": SIDE}],
    "envelope": {"stock": "envelope-c6"},
    "envelope.stock": {"stock": "envelope-c5"},
    "envelope.lined": {"stock": "envelope-c6", "lined": True},
    "envelope.addressed": {"stock": "envelope-c6", "addressed": True},
    "envelope.spare": {"stock": "envelope-c6", "spare": 7},
    "envelope.front": {"stock": "envelope-c6", "front": {}},
    "needed_by": "2031-01-01",
    "rush": True,
    "delivery": {"method": "collect"},
    "delivery.method": "collect",
    "delivery.to": "5 Tide Row",
    "contact": {**CONTACT, "name": "Somebody Else"},
    "contact.name": "Somebody Else",
    "contact.email": "else@lantern-and-eel.example",
    "contact.company": "Another",
    "contact.address": ["Another Street"],
    "contact.is_business": True,
    "contact.locale": "de-DE",
    "title": "Other coasters",
    "reference": "Bar 8",
    "notes": "And quickly.",
}


def changed(path: str, value: Any) -> dict[str, Any]:
    """The full choice with another value at a path; in what it does not have yet the whole of it is told."""
    made = copy.deepcopy(FULL)
    *way, last = path.split(".")
    if way and way[0] not in made["choice"]:
        way, last = [], way[0]
    elif way == ["front", "plate"]:
        way, last = ["front"], "plate"
    place: Any = made["choice"]
    for key in way:
        place = place[int(key)] if isinstance(place, list) else place[key]
    place[last] = value
    return made


def paths_of(kind: Any, under: str = "") -> Iterator[str]:
    """Every field of a struct and of those in it; of a list's the first, of a further side nothing again."""
    for inner in getattr(kind, "types", (kind,)):
        if isinstance(inner, inspect.Metadata):
            yield from paths_of(inner.type, under)
        elif isinstance(inner, inspect.VarTupleType):
            yield from paths_of(inner.item_type, f"{under}.0" if under.endswith("lines") else under)
        elif isinstance(inner, inspect.StructType):
            for field in inner.fields:
                path = f"{under}.{field.encode_name}".removeprefix(".")
                yield path
                if path not in {"back", "pieces.front", "envelope.front"}:
                    yield from paths_of(field.type, path)


def test_every_field_of_a_choice_is_one_that_is_changed() -> None:
    assert set(paths_of(inspect.type_info(Choice))) == set(CHANGES)


def test_a_key_with_anything_changed_is_refused_and_tells_nothing(served_shop: Shop) -> None:
    """A14: in any one field of what a visitor sends; A17: and whoever sends it."""
    key = new_key()
    first = served_shop.visitor().post(REQUESTS, FULL, key=key)
    assert first.status_code == 201, first.text

    with served_shop.happening() as events:
        for path, value in CHANGES.items():
            answer = served_shop.visitor().post(REQUESTS, changed(path, value), key=key)

            assert (answer.status_code, problem(answer)) == (422, "idempotency-key-used"), path
            assert holds_nothing_of(first, answer)
    assert events == []
    assert served_shop.visitor().post(REQUESTS, FULL, key=key).content == first.content


def holds_nothing_of(first: httpx.Response, answer: httpx.Response) -> bool:
    words = {first.json()["number"], first.json()["link"], "Wilmot", "lantern", "Quay Street"}
    return not any(word in answer.text or word in str(answer.headers) for word in words)


MOVED = [
    ("acceptance", ACCEPT | {"note": "Please."}, {"revision": 2, "quantity": 100, "name": "Another", "note": "No."}),
    ("decline", {"revision": 1, "name": "Wilmot Dace", "note": "No."}, {"revision": 2, "name": "X", "note": "Yes."}),
]


@pytest.mark.parametrize(("move", "body", "others"), MOVED)
def test_a_key_of_an_answer_to_a_quotation_with_anything_changed_is_refused(
    served_shop: Shop, move: str, body: dict[str, Any], others: dict[str, Any]
) -> None:
    """A14."""
    path, key = served_shop.visitor().link(), new_key()
    first = served_shop.stranger().post(f"{path}/{move}", body, key=key)
    assert first.status_code == 200, first.text
    assert set(others) == set(body)

    with served_shop.happening() as events:
        for field, other in others.items():
            answer = served_shop.stranger().post(f"{path}/{move}", body | {field: other}, key=key)
            assert (answer.status_code, problem(answer)) == (422, "idempotency-key-used"), field
            assert "Dace" not in answer.text
    assert events == []
    assert served_shop.stranger().post(f"{path}/{move}", body, key=key).content == first.content


def test_order_and_spelling_are_no_change(served_shop: Shop) -> None:
    """A14: the order of keys, white space, how a number is spelled, escapes."""
    key = new_key()
    first = served_shop.visitor().send(key=key)
    body = (
        '{ "choice": {"contact": {"email": "wilmot@lantern-and-eel.example", "name": "Wilmot Dace"},'
        ' "front": {"lines": [{"text": "THE LANTERN \\u0026 EEL"}, {"text": "Quay Street"}],'
        ' "inks": ["harbour-blue"]}, "quantities": [100.0, 2e2], "product": "coasters"}}'
    )
    again = served_shop.visitor().ask(
        "POST", REQUESTS, body, Content_Type="application/json", Idempotency_Key=f'"{key}"'
    )

    assert (again.status_code, again.content) == (201, first.content)


def creating(shop: Shop) -> list[tuple[str, dict[str, Any]]]:
    """Every public operation that takes a key, with a body that it would take."""
    path = shop.visitor().link()
    return [
        (REQUESTS, choice(contact=CONTACT)),
        (f"{path}/acceptance", dict(ACCEPT)),
        (f"{path}/decline", {"revision": 1}),
    ]


def test_what_creates_needs_a_key_that_can_be_used(served_shop: Shop) -> None:
    """A15: none, too short, too long, with a control character, with another than ASCII."""
    bad = ["x" * 15, "x" * 256, "sixteen-of-them\t!", "sixteen of them x", "sixteen-of-them-é", '"fifteen-of-them"']
    calls = creating(served_shop)
    with served_shop.happening() as events:
        for path, body in calls:
            client, headers = served_shop.client, served_shop.visitor().headers
            missing = client.post(path, json=body, headers=headers)
            assert (missing.status_code, problem(missing)) == (400, "idempotency-key-missing")
            for key in bad:
                told = [*((name.encode(), value.encode()) for name, value in headers.items())]
                answer = client.post(path, json=body, headers=[*told, (b"Idempotency-Key", key.encode("latin-1"))])
                assert (answer.status_code, problem(answer)) == (400, "idempotency-key-invalid"), key
    assert events == []


@pytest.mark.parametrize("length", [16, 255])
def test_the_quoted_and_the_bare_form_are_one_key(served_shop: Shop, length: int) -> None:
    """A15."""
    key = new_key().ljust(length, "x")[-length:]
    bare, quoted = (served_shop.visitor().send(key=one) for one in (key, f'"{key}"'))

    assert (bare.status_code, quoted.content) == (201, bare.content)


def test_what_was_refused_may_be_sent_again_with_its_key(served_shop: Shop) -> None:
    """A16: faults of the body of each kind, no key of ours, one that may not."""
    key, visitor, other = new_key(), served_shop.visitor(), served_shop.visitor()
    other.headers["Authorization"] = "Bearer qk_none"
    reader = served_shop.visitor()
    reader.headers |= made_key(served_shop.settings.book, "owner-ro")
    with served_shop.happening() as events:
        refused = [
            visitor.send(key=key, quantities=["x"]),
            visitor.send(key=key, quantities=[7]),
            visitor.send(key=key, contact=None),
            visitor.send(key=key, notes="\u0e01"),
            visitor.ask("POST", REQUESTS, "{", Content_Type="application/json", Idempotency_Key=key),
            visitor.ask("POST", REQUESTS, "{}", Content_Type="text/plain", Idempotency_Key=key),
            other.send(key=key),
            reader.send(key=key),
        ]
    statuses = [answer.status_code for answer in refused]

    assert statuses == [422, 422, 422, 422, 400, 415, 401, 403]
    assert events == []
    assert visitor.send(key=key).status_code == 201


def test_keys_of_other_forms_are_other_keys(served_shop: Shop) -> None:
    """A17: by another credential."""
    key, other = new_key(), served_shop.visitor()
    other.headers |= served_shop.owner
    first, second = served_shop.visitor().send(key=key), other.send(key=key)

    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["number"] != second.json()["number"]
    assert first.json()["link"] != second.json()["link"]


def test_a_key_is_of_one_operation_and_of_one_link(served_shop: Shop) -> None:
    """A17: strangers share no credential at all, and a key of one link's is none of another's."""
    key = new_key()
    one, other = served_shop.visitor().link(), path_of(served_shop.visitor().send(key=key))
    stranger = served_shop.stranger()
    answers = [
        stranger.post(f"{one}/acceptance", ACCEPT, key=key),
        stranger.post(f"{other}/acceptance", ACCEPT | {"name": "Isaura Penhale"}, key=key),
        stranger.post(f"{one}/decline", {"revision": 1}, key=key),
    ]

    assert [answer.status_code for answer in answers] == [200, 200, 409]
    numbers = [answer.json()["quotation"]["number"] for answer in answers[:2]]
    assert len(set(numbers)) == 2
    assert problem(answers[2]) == "quote-accepted"


def test_a_visitor_with_the_key_of_another_is_told_nothing_of_theirs(served_shop: Shop) -> None:
    """A17: all visitors of a form share its credential; a fingerprint of what they send tells them apart."""
    key, theirs, mine = new_key(), served_shop.visitor(), served_shop.visitor()
    first = theirs.send(key=key)
    for contact in (
        {"name": "Isaura Penhale", "email": "isaura@penhale.example"},
        {**CONTACT, "name": "Wilmot  Dace"},
        {**CONTACT, "email": CONTACT["email"].upper()},
    ):
        answer = mine.send(key=key, contact=contact)
        assert (answer.status_code, problem(answer)) == (422, "idempotency-key-used")
        assert holds_nothing_of(first, answer)


def test_a_key_is_kept_for_as_long_as_the_document_says(mounted_shop: Shop) -> None:
    """A18, by a clock that is set."""
    key, visitor = new_key(), mounted_shop.visitor()
    path = visitor.link()
    kept = datetime.timedelta(days=mounted_shop.settings.keep_keys_days)

    def told(after: datetime.timedelta) -> tuple[bytes, int]:
        mounted_shop.clock.set(NOW + after)
        answer = visitor.send(key=key)
        assert answer.status_code == 201
        return answer.content, visitor.post(f"{path}/acceptance", ACCEPT, key=key).status_code

    first = told(datetime.timedelta())
    late = told(kept - datetime.timedelta(hours=1))
    after = told(kept + datetime.timedelta(seconds=1))
    document = mounted_shop.client.get("/v1/openapi/public.json").json()

    assert kept == datetime.timedelta(days=7)
    assert late == first
    assert after[0] != first[0]
    assert [first[1], late[1], after[1]] == [200, 200, 409]  # it is accepted already, and the key says so no more
    for path, methods in document["paths"].items():
        for parameter in methods.get("post", {}).get("parameters", ()):
            assert parameter["name"] != "Idempotency-Key" or "kept for 7 days" in parameter["description"], path
    assert "kept for 7 days" in document["info"]["description"]
