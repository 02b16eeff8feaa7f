"""A visitor's artwork at the real server: measured, priced by its figures, kept with the request, gone in time."""

from __future__ import annotations

import datetime
import hashlib
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.media_types import PDF
from quoting.artwork import Artwork
from quoting.offers import prices_of, read_choice
from quoting.reader import from_json
from tests.api.asking import problem
from tests.api.public.conftest import Shop
from tests.api.public.visiting import CONTACT, Visitor, new_key
from tests.artwork.drawn import pdf_of, rule
from tests.book.shop import NOW
from tests.offers.test_choices import CARD

SIDE = 95 * 72 / 25.4
SQUARE = pdf_of("0 g " + rule(100, 100, 60, 60), size=(SIDE, SIDE))
HASH = hashlib.sha256(SQUARE).hexdigest()
FROM_ARTWORK: dict[str, Any] = {"product": "coasters", "quantities": [100]}


def upload(visitor: Visitor, content: bytes = SQUARE, name: str = "eel.pdf", kind: str = PDF) -> httpx.Response:
    return visitor.upload(content, name, kind)


def side(handle: str, **told: Any) -> dict[str, Any]:
    return {"printed_from": "finished artwork", "artwork_file": handle, **told}


def waits(shop: Shop, handle: str) -> list[Path]:
    """What lies there of a file that waits: itself and its note."""
    folder = Path(shop.settings.artwork) / "waiting"
    return sorted(folder.glob(handle.partition(".")[0] + "*")) if folder.is_dir() else []


def test_a_visitors_artwork_is_measured_and_its_figures_are_priced(served_shop: Shop) -> None:
    visitor = served_shop.visitor()

    answer = upload(visitor)
    assert answer.status_code == 200, answer.text
    told = answer.json()
    priced = visitor.price(FROM_ARTWORK, front=side(told["artwork_file"]))

    assert set(told) == {"artwork_file", "until", "name", "forms", "notes"}
    # 60 pt is 60 x 25.4 / 72 = 21.17 mm, to a pixel at 600 dots an inch.
    assert told["forms"][0]["size"].startswith("21.2")
    note = next(path for path in waits(served_shop, told["artwork_file"]) if path.suffix == ".json")
    measured = from_json(note.read_bytes(), Artwork)
    choice = read_choice({**FROM_ARTWORK, "front": side("x")})
    on = datetime.datetime.now(datetime.UTC).date()
    expected = prices_of(choice, CARD, on=on, artwork={"x": measured})
    usual = prices_of(read_choice({**FROM_ARTWORK, "front": side("x", artwork_file=None)}), CARD, on=on)
    assert priced.status_code == 200, priced.text
    assert priced.json()["options"][0]["total"] == str(expected.options[0].total)
    assert expected.options[0].total != usual.options[0].total
    less = upload(visitor, pdf_of("0 g " + rule(100, 100, 60, 6), size=(SIDE, SIDE))).json()["artwork_file"]
    cheaper = visitor.price(FROM_ARTWORK, front=side(less)).json()
    assert Decimal(cheaper["options"][0]["total"]) < expected.options[0].total


def test_a_request_takes_its_artwork_with_it_and_it_goes_with_the_client(served_shop: Shop) -> None:
    visitor = served_shop.visitor()
    handle = upload(visitor).json()["artwork_file"]

    key, contact = new_key(), {"name": "Isaura Penhale", "email": "isaura@artwork.example"}
    answers = [visitor.send(FROM_ARTWORK, front=side(handle), key=key, contact=contact) for _ in range(2)]

    assert [one.status_code for one in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert waits(served_shop, handle) == []
    with served_shop.book() as book:
        entry = book.get(answers[0].json()["number"])
        kept = book.artwork.kept(entry.id)
    assert [(one.content_hash, one.name) for one in kept] == [(HASH, "eel.pdf")]
    owner = served_shop.owner
    place = f"/v1/book/quotations/{entry.id}/artwork"
    assert served_shop.client.get(f"{place}/{HASH}", headers=owner).content == SQUARE
    assert served_shop.client.get(f"{place}/{HASH}", headers=visitor.headers).status_code == 403
    assert served_shop.client.get(f"{place}/{HASH}").status_code == 401
    with served_shop.book() as book:
        book.erase_client(entry.client, at=datetime.datetime.now(datetime.UTC), by="owner")
    assert served_shop.client.get(place, headers=owner).json() == {"artwork": []}
    assert [path for path in Path(served_shop.settings.artwork).rglob("*") if entry.id in str(path)] == []


@pytest.mark.parametrize("spoilt", ["signed by another", "of another file", "of nothing", "a path"])
def test_what_is_not_the_signed_name_of_a_file_that_waits_is_refused(served_shop: Shop, spoilt: str) -> None:
    visitor = served_shop.visitor()
    one, other = (upload(visitor).json()["artwork_file"] for _ in range(2))
    name, _, signature = one.partition(".")
    handle = {
        "signed by another": f"{name}.{signature[::-1]}",
        "of another file": f"{other.partition('.')[0]}.{signature}",
        "of nothing": f"9999999999-{'0' * 32}.{signature}",
        "a path": f"..-..-book.sqlite.{signature}",
    }[spoilt]

    for answer in (
        visitor.price(FROM_ARTWORK, front=side(handle)),
        visitor.send(FROM_ARTWORK, front=side(handle), contact=CONTACT),
    ):
        assert (answer.status_code, problem(answer)) == (422, "not-offered")
        assert [one["pointer"] for one in answer.json()["invalid"]] == ["/choice/front/artwork_file"]


def test_a_file_has_a_form_for_each_colour_and_goes_with_artwork_alone(served_shop: Shop) -> None:
    visitor = served_shop.visitor()
    two_pages = pdf_of("0 g " + rule(9, 9, 60, 60), "0 g " + rule(9, 9, 30, 30), size=(SIDE, SIDE))
    handle = upload(visitor, two_pages).json()["artwork_file"]

    one_colour = visitor.price(FROM_ARTWORK, front=side(handle))
    set_in_type = visitor.price(FROM_ARTWORK, front={"lines": [{"text": "EEL"}], "artwork_file": handle})

    assert "2: page 1; page 2" in one_colour.text
    assert [answer.status_code for answer in (one_colour, set_in_type)] == [422, 422]


def test_what_the_press_cannot_impress_has_no_price_and_is_an_enquiry_with_its_artwork(served_shop: Shop) -> None:
    visitor = served_shop.visitor()
    wide, high = 150 * 72 / 25.4, 210 * 72 / 25.4
    solid = pdf_of("0 g " + rule(10, 10, wide - 20, high - 20), size=(wide, high))
    handle = upload(visitor, solid).json()["artwork_file"]
    asked = {"product": "cards", "quantities": [100], "own_size": "150 x 210 mm", "impression": "deep"}
    light = upload(visitor, pdf_of("0 g " + rule(10, 10, 60, 60), size=(wide, high))).json()["artwork_file"]

    refused = visitor.price(asked, front=side(handle))
    sent = visitor.send(asked, front=side(handle))

    assert visitor.price(asked, front=side(light)).status_code == 200
    assert (refused.status_code, problem(refused)) == (422, "not-priced")
    assert "its largest solid is" in refused.json()["detail"]
    assert "kN" not in refused.text
    assert (sent.status_code, sent.json()["kind"]) == (201, "enquiry")
    assert waits(served_shop, handle) == []
    assert len(waits(served_shop, light)) == 2


def test_what_nobody_sends_is_gone_after_some_hours(mounted_shop: Shop) -> None:
    """By a clock that is set: it goes with no choice after six hours, and whoever tidies up takes it away."""
    visitor = mounted_shop.visitor()
    mounted_shop.clock.set(NOW)
    handle = upload(visitor).json()["artwork_file"]
    statuses = []
    for hours in (5, 7):
        mounted_shop.clock.set(NOW + datetime.timedelta(hours=hours))
        statuses.append(visitor.price(FROM_ARTWORK, front=side(handle)).status_code)
    there = len(waits(mounted_shop, handle))
    with mounted_shop.book() as book:
        book.tidy_artwork(before=NOW + datetime.timedelta(hours=5))
        early = len(waits(mounted_shop, handle))
        book.tidy_artwork(before=NOW + datetime.timedelta(hours=7))

    assert (statuses, there, early, len(waits(mounted_shop, handle))) == ([200, 422], 2, 2, 0)


def test_without_a_key_nothing_is_measured(served_shop: Shop) -> None:
    assert upload(served_shop.stranger()).status_code == 401
