"""The order form without a browser: what its fields come to, and what becomes of what is sent."""

from __future__ import annotations

import random

import pytest

from api.site.fields import choice_data, field_of
from api.site.form_token import is_human, is_ours, new_token
from api.site.render import locale_for
from quoting import RateCard
from quoting.offers import public_offers
from tests.artwork.drawn import pdf_of, rule
from tests.book.shop import NOW
from tests.site.conftest import SECRET, Page, Shop, totals

PRODUCTS = ("coasters", "cards", "wedding-and-party-stationery")


@pytest.mark.parametrize("product", PRODUCTS)
@pytest.mark.parametrize("locale", ["en-GB", "fr-FR", "de-DE", "es-ES", "it-IT", "ja-JP", "en-US"])
def test_every_product_has_a_form_in_every_language(shop: Shop, product: str, locale: str) -> None:
    answer = shop.client.get(f"/order/{product}", params={"locale": locale})
    page = Page(answer.text)

    assert answer.status_code == 200
    assert dict(page.tags)["html"]["lang"] == locale
    assert {"quantities", "front.inks", "contact.name", "contact.email", "token"} <= set(page.fields)


def test_every_field_has_a_label(shop: Shop) -> None:
    for product in PRODUCTS:
        page = Page(shop.client.get(f"/order/{product}").text)
        labelled = {told.get("for") for tag, told in page.tags if tag == "label"}
        for tag, told in page.tags:
            if tag in {"input", "select", "textarea"} and told.get("type") != "hidden":
                assert told.get("aria-label") or told.get("id") in labelled, (product, told)


def test_the_price_of_the_form_is_the_price_of_the_api(shop: Shop) -> None:
    form_key = {"Authorization": f"Bearer {shop.key('form')}"}
    rng = random.Random(7)
    for _ in range(20):
        quantities = sorted(rng.sample(range(50, 1000), rng.randint(1, 3)))
        inks = rng.sample(["black", "harbour-blue", "brick-red", "ochre"], rng.randint(1, 2))
        back = rng.random() < 0.5
        lines = [f"LINE {place} OF WORDS"[: rng.randint(4, 20)].strip() for place in range(rng.randint(2, 4))]
        form = shop.form() | {
            "quantities": [str(one) for one in quantities],
            "front.inks": inks,
            "front.lines": "\r\n".join(lines),
            "back": "yes" if back else "",
            "back.lines": "Behind",
        }
        shown = shop.client.post("/order/coasters/price", data=form)
        set_lines = [{"text": line} for line in lines]
        set_lines[-1] |= {"ink": inks[-1]}
        side = {"lines": set_lines, "inks": inks}
        choice = {"product": "coasters", "quantities": quantities, "front": side}
        choice |= {"back": {"lines": [{"text": "Behind"}]}} if back else {}
        asked = shop.client.post("/v1/public/prices", json={"choice": choice}, headers=form_key)

        assert shown.status_code == asked.status_code == 200, asked.text
        assert totals(shown.text) == [(str(one["quantity"]), one["total"]) for one in asked.json()["options"]]


def test_what_is_missing_is_told_by_its_field(shop: Shop) -> None:
    answer = shop.client.post("/order/coasters/price", data=shop.form(**{"front.lines": ""}))

    assert 'data-field="front.lines"' in answer.text
    assert totals(answer.text) == []


def test_a_choice_outside_the_offer_says_what_is_offered(shop: Shop) -> None:
    answer = shop.client.post("/order/coasters/price", data=shop.form(quantities=["5"]))

    assert 'data-field="quantities"' in answer.text
    assert "50" in answer.text


def test_a_request_becomes_a_quotation_with_a_private_page(shop: Shop) -> None:
    answer = shop.client.post("/order/coasters", data=shop.form())
    [document, link] = [one for one in Page(answer.text).links if "/look/" in one]
    looked = shop.client.get(link)

    assert answer.status_code == 201
    assert "Q-00001" in looked.text
    assert looked.headers["referrer-policy"] == "no-referrer"
    assert document == f"{link}/quotation.pdf"


def test_the_same_form_sent_twice_is_one_quotation(shop: Shop) -> None:
    form = shop.form()
    answers = [shop.client.post("/order/coasters/send", data=form) for _ in range(3)]

    assert {answer.text for answer in answers} == {answers[0].text}
    assert shop.count() == 1


@pytest.mark.parametrize(
    ("told", "seconds"),
    [({"website": "https://spam.example"}, 20), ({}, 0), ({}, 3 * 3600), ({"token": "of_made_up"}, 20)],
    ids=["honeypot", "too soon", "too late", "no token of ours"],
)
def test_a_machine_is_thanked_and_nothing_is_kept(shop: Shop, told: dict[str, str], seconds: int) -> None:
    form = shop.form(**told)
    shop.clock.on(seconds=seconds - 20)
    answer = shop.client.post("/order/coasters/send", data=form)

    assert answer.status_code == 201
    assert "Q-" not in answer.text
    assert shop.count() == 0


@pytest.mark.parametrize("posts", [300, pytest.param(10_000, marks=pytest.mark.long)])
def test_a_flood_is_thanked_keeps_nothing_and_shuts_nobody_out(shop: Shop, posts: int) -> None:
    """A57: a thousand posts a minute from 200 addresses, each a machine's in its own way."""
    stale, good = shop.form(), shop.form()
    shop.client.post("/order/coasters/send", data=good)
    shop.clock.on(hours=2)
    fresh = shop.form()
    ways: list[dict[str, str | list[str]]] = [
        fresh | {"website": "https://spam.example"},
        stale,
        good | {"notes": "another request under the same token"},
        fresh | {"token": "of_made_up"},
        shop.form() | {"token": new_token(SECRET, shop.clock())},
    ]
    sent = 0
    for number in range(posts):
        ways[-1]["token"] = new_token(SECRET, shop.clock())
        answer = shop.client.post(
            "/order/coasters/send",
            data=ways[number % len(ways)],
            headers={"X-Forwarded-For": f"198.51.100.{number % 200}"},
        )
        assert answer.status_code == 201
        assert "Q-" not in answer.text
        if number % 100 == 50:
            visitor = shop.form(**{"contact.email": f"visitor-{number}@client.example"})
            sent += "Q-" in shop.client.post("/order/coasters/send", data=visitor).text

    assert sent == posts // 100
    assert shop.count() == min(50, 1 + sent)


def test_what_does_not_fit_is_told_and_can_be_sent_again_under_the_same_token(shop: Shop) -> None:
    form = shop.form(**{"contact.email": "nobody"})
    refused = shop.client.post("/order/coasters", data=form)
    sent = shop.client.post("/order/coasters", data=form | {"contact.email": "isaura@client.example"})

    assert refused.status_code == 200
    assert 'role="alert"' in refused.text
    assert sent.status_code == 201
    assert shop.count() == 1


def test_without_scripts_the_price_is_shown_on_the_page_and_nothing_is_lost(shop: Shop) -> None:
    answer = shop.client.post("/order/coasters", data=shop.form(do="price"))

    assert len(totals(answer.text)) == 2
    assert "THE LANTERN &amp; EEL" in answer.text
    assert shop.count() == 0


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", "{{ 7*7 }}{% x %}", '" onfocus="alert(1)', "\u202eabc"]
)
def test_hostile_words_stay_words(shop: Shop, hostile: str) -> None:
    form = shop.form(do="price", **{"contact.name": hostile, "notes": hostile, "front.lines": hostile})
    answer = shop.client.post("/order/coasters", data=form)
    page = Page(answer.text)

    assert answer.status_code == 200
    assert [told for tag, told in page.tags if tag == "script"] == [{"src": "/order/files/order.js", "defer": None}]
    assert not any(name.startswith("on") for _, told in page.tags for name in told)


def test_no_page_holds_a_script_or_a_style_of_its_own(shop: Shop) -> None:
    for path in ("/order", "/order/cards", "/office/sign-in"):
        answer = shop.client.get(path)
        policy = answer.headers["content-security-policy"]

        assert "unsafe" not in policy
        assert not any("style" in told for _, told in Page(answer.text).tags)


def test_an_unknown_product_or_link_is_a_page_for_a_person_and_a_problem_for_a_program(shop: Shop) -> None:
    for path in ("/order/castles", "/look/nothing"):
        person = shop.client.get(path, headers={"Accept": "text/html"})
        program = shop.client.get(path)

        assert (person.status_code, program.status_code) == (404, 404)
        assert person.headers["content-type"].startswith("text/html")
        assert program.json()["type"] == "urn:quoting:problem:not-found"


def test_a_private_page_accepts_once(shop: Shop) -> None:
    sent = shop.client.post("/order/coasters", data=shop.form())
    [_, link] = [one for one in Page(sent.text).links if "/look/" in one]
    page = Page(shop.client.get(link).text)
    form = {"token": page.fields["token"][0], "revision": "1", "quantity": "200", "name": "Isaura Penhale"}
    accepted = [shop.client.post(f"{link}/accept", data=form) for _ in range(2)]
    other = shop.client.post(f"{link}/decline", data={"token": page.fields["token"][-1], "revision": "1"})

    assert all("accepted it" in answer.text for answer in accepted)
    assert "could not be done" in other.text
    with shop.book() as book:
        entry = book.get("Q-00001")
        assert entry.state == "accepted"
        assert [event.kind for event in book.history(entry.id)].count("accepted") == 1


def test_a_private_page_takes_no_form_but_its_own(shop: Shop) -> None:
    sent = shop.client.post("/order/coasters", data=shop.form())
    [_, link] = [one for one in Page(sent.text).links if "/look/" in one]

    assert shop.client.post(f"{link}/accept", data={"quantity": "100", "revision": "1"}).status_code == 400


def test_a_new_product_of_the_card_has_a_form_without_code(cards: dict[str, RateCard]) -> None:
    for shop_name in ("marrowby-lane", "pellam-hollow"):
        for offer in public_offers(cards[shop_name]):
            data = choice_data({"quantities": [str(offer.least_quantity)]}, offer, with_contact=False)
            assert data["product"] == offer.key


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("$.quantities[1]", "quantities"),
        ("$.front.lines[3].text", "front.lines"),
        ("$.back.inks[0]", "back.inks"),
        ("$.front.plate.size", "front.plate.size"),
        ("$.delivery.to", "delivery.to"),
        ("$.delivery.method", "delivery"),
        ("$.contact.email", "contact.email"),
        ("$.envelope.stock", "envelope"),
        ("$.size", "size"),
    ],
)
def test_a_fault_is_shown_at_its_field(path: str, field: str) -> None:
    assert field_of(path) == field


def test_a_token_is_good_for_as_long_as_people_take() -> None:
    token = new_token(SECRET, NOW)
    flipped = token[:-1] + ("A" if token[-1] != "A" else "B")

    assert is_ours(token, SECRET)
    assert not is_ours(token, SECRET[:-1] + "x")
    assert not is_ours(flipped, SECRET)
    assert not is_human(token, SECRET, NOW)


@pytest.mark.parametrize(
    ("asked", "accepted", "locale"),
    [
        ("", "", "en-GB"),
        ("fr-BE", "", "fr-BE"),
        ("fr", "", "fr-FR"),
        ("en", "", "en-GB"),
        ("xx-YY", "", "en-GB"),
        ("", "de-AT,de;q=0.9,en;q=0.8", "de-AT"),
        ("", "nl, ja;q=0.5", "ja-JP"),
        ("", "en-US,en;q=0.9", "en-GB"),
        ("../../etc", "*;q=x", "en-GB"),
    ],
)
def test_the_language_of_a_page(asked: str, accepted: str, locale: str) -> None:
    assert locale_for(asked, accepted, "en-GB") == locale


def test_a_file_is_measured_for_the_form_and_its_price_is_that_of_its_figures(shop: Shop) -> None:
    def measured(content: bytes, name: str) -> str:
        told = {"locale": "fr-FR", "name": name}
        answer = shop.client.post(
            "/order/coasters/artwork", params=told, content=content, headers={"Content-Type": "application/pdf"}
        )
        assert answer.status_code == 200
        return answer.text

    page = pdf_of("0 g " + rule(100, 100, 60, 45), "0 g " + rule(100, 100, 60, 4), size=(269, 269))
    handle = dict(Page(measured(page, "eel.pdf")).tags)["ol"]["data-artwork-file"]
    form = shop.form() | {"front.printed_from": "finished artwork", "front.artwork_file": handle or ""}

    two_colours = shop.client.post("/order/coasters/price", data=form | {"front.inks": ["black", "ochre"]})
    one_colour = shop.client.post("/order/coasters/price", params={"locale": "fr-FR"}, data=form)
    without = shop.client.post("/order/coasters/price", data=form | {"front.artwork_file": ""})

    assert len(totals(two_colours.text)) == len(totals(without.text)) == 2
    assert 'data-field="front.artwork_file"' in one_colour.text
    assert "Le fichier à envoyer" in one_colour.text
    assert "Ce fichier ne convient pas" in measured(b"<html>", "eel.pdf")
    assert "data-artwork-file" not in measured(b"<html>", "eel.pdf")
