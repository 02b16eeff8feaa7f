"""A choice against its offer: what is left out, what is refused and with what instead, what the schema says of it."""

from __future__ import annotations

import copy
import random
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from msgspec.structs import replace

from quoting import JobError, NotOfferedError, RateCard, RateCardError, load_rate_card
from quoting.job import Client, Colour, Delivery, HandSet, Item, Job, ReliefPlate, SetLine, Side
from quoting.offer import OfferedSize
from quoting.offers import choice_schema, job_from_choice, offer_by_key, public_offers, read_choice
from quoting.operations.corner_rounding import CornerRounding
from quoting.operations.edge_painting import EdgePainting
from quoting.operations.envelope_lining import EnvelopeLining
from quoting.operations.folding import Folding
from quoting.operations.ribbon_tying import RibbonTying
from quoting.operations.scoring import Scoring
from quoting.rate_card import rate_card_from
from quoting.reader import json_data, to_json
from quoting.units import Share, Size
from tests.conftest import DAY, SHOPS, demo_card_path
from tests.offers.choosing import SPOILS, any_choice

CARDS: dict[str, RateCard] = {shop: load_rate_card(demo_card_path(shop)) for shop in SHOPS}
OFFERS = [(shop, seen.key) for shop, card in CARDS.items() for seen in public_offers(card)]
CARD = CARDS["marrowby-lane"]


def job(told: dict[str, Any], card: RateCard = CARD) -> Job:
    """The job of a choice told as JSON data."""
    return job_from_choice(read_choice(told), card, on=DAY)


def faults(told: dict[str, Any], card: RateCard = CARD) -> dict[str, str]:
    """What is refused of a choice, by place, with what is offered instead."""
    with pytest.raises(JobError) as refused:
        job(told, card)
    return {fault.where.removeprefix("$."): fault.expected for fault in refused.value.faults}


def test_what_is_left_out_is_as_the_offer_usually_has_it() -> None:
    told = job({"product": "coasters", "quantities": [100], "front": {"lines": [{"text": "THE EEL"}]}})

    form = HandSet(lines=(SetLine(text="THE EEL", fount="tollhouse-24"),))
    colour = Colour(ink="black", form=form, register="none")
    expected = Job(
        format=1,
        title="Coasters",
        client=Client(name="?"),
        quantities=(100,),
        items=(
            Item(
                name="Coasters",
                stock="coaster-round-95",
                size=Size("95 mm"),
                shape="round",
                front=Side(colours=(colour,), impression="visible"),
            ),
        ),
    )
    assert expected == told


def test_a_suite_in_full_becomes_the_job_that_the_owner_would_write() -> None:
    told = job(
        {
            "product": "wedding-and-party-stationery",
            "quantities": [100, 50],
            "size": "Folded invitation",
            "front": {"inks": ["samphire-green"], "artwork": "ready", "coverage": "With a drawing or a border"},
            "impression": "deep",
            "edges": "gold",
            "extras": ["Tied with ribbon"],
            "pieces": [{"piece": "Reply card"}],
            "envelope": {"stock": "envelope-133x184", "lined": True, "spare": 10},
            "delivery": {"method": "parcel", "to": "Tern Barn"},
            "contact": {"name": "Hesper Quill", "email": "hesper@tern-barn.example"},
            "title": "Harvest supper",
        }
    )

    def plate(size: str, share: str, artwork: Any = "to be made ready") -> ReliefPlate:
        return ReliefPlate(supplier="estuary", size=Size(size), share_inked=Share(share), artwork=artwork)

    def side(form: ReliefPlate) -> Side:
        return Side(colours=(Colour(ink="samphire-green", form=form),), impression="deep")

    # By hand: 82 % of 127 x 178 mm is 104.1 x 146 mm; opened along its long edge it is 254 x 178 mm.
    invitation = Item(
        name="Folded invitation",
        stock="cotton-300",
        size=Size("254 x 178 mm"),
        fold=told.items[0].fold,
        front=side(plate("104.1 x 146 mm", "28 %", "ready")),
        finishing=(EdgePainting(colour="gold"), Scoring(), Folding(), RibbonTying()),
    )
    reply = Item(
        name="Reply card",
        stock="cotton-300",
        size=Size("148 x 105 mm"),
        front=side(plate("112.5 x 79.8 mm", "12 %")),
    )
    envelope = Item(
        name="Envelope, 133 x 184 mm, cream, gummed flap",
        stock="envelope-133x184",
        size=Size("184 x 133 mm"),
        extra=10,
        finishing=(EnvelopeLining(),),
    )
    assert (invitation, reply, envelope) == told.items
    assert told.items[0].fold is not None
    assert told.items[0].fold.along == "short side"
    assert Delivery(method="parcel", to="Tern Barn") == told.delivery
    assert (told.title, told.quantities, told.client.email) == (
        "Harvest supper",
        (100, 50),
        "hesper@tern-barn.example",
    )


def test_two_inks_of_words_are_set_once_and_broken_for_the_second() -> None:
    lines = [{"text": "THE LANTERN"}, {"text": "& EEL", "ink": "brick-red"}]
    told = job(
        {"product": "coasters", "quantities": [100], "front": {"inks": ["black", "brick-red"], "lines": lines}}
    )

    first, second = told.items[0].front.colours if told.items[0].front else ()
    assert isinstance(first.form, HandSet)
    assert isinstance(second.form, HandSet)
    assert [first.form.broken_out, second.form.broken_out] == [False, True]
    assert [first.register, second.register] == ["none", "loose"]
    assert [line.text for line in second.form.lines] == ["& EEL"]


def test_words_are_set_in_the_first_fount_in_which_they_fit() -> None:
    def fount_of(text: str) -> str:
        told = job({"product": "coasters", "quantities": [100], "front": {"lines": [{"text": text}]}})
        side = told.items[0].front
        form = side.colours[0].form if side else None
        assert isinstance(form, HandSet)
        return form.lines[0].fount

    # 68 % of 95 mm is 64.6 mm: 24 pt at 55 % of 8.4 mm takes 4.6 mm a letter, so 13 of them; 18 pt at 45 % takes 2.8.
    assert [fount_of("X" * count) for count in (13, 14, 22, 23)] == [
        "tollhouse-24",
        "wharf-18",
        "wharf-18",
        "wharf-12",
    ]


@pytest.mark.parametrize(
    ("finished", "along", "flat", "fold"),
    [
        ("Postcard", "long edge", "148 x 210 mm", "short side"),
        ("Postcard", "short edge", "296 x 105 mm", "short side"),
        ("Large card", "long edge", "254 x 178 mm", "short side"),
    ],
)
def test_a_folded_piece_is_opened_out_over_the_edge_it_folds_along(
    finished: str, along: str, flat: str, fold: str
) -> None:
    told = job({"product": "cards", "quantities": [100], "size": finished, "stock": "cotton-300", "folded": along})

    item = told.items[0]
    assert (str(item.size), item.fold.along if item.fold else None) == (flat, fold)


def test_an_inch_size_is_opened_out_in_inches() -> None:
    told = job(
        {"product": "cards-and-invitations", "quantities": [100], "size": "Folded card"}, CARDS["pellam-hollow"]
    )

    assert str(told.items[0].size) == "10 x 7 in"


def test_rounded_corners_and_a_size_of_ones_own() -> None:
    told = job({"product": "cards", "quantities": [100], "own_size": "100 x 60 mm", "corners": "rounded"})

    assert (str(told.items[0].size), told.items[0].finishing) == ("100 x 60 mm", (CornerRounding(),))


def test_a_stock_to_be_advised_is_priced_on_the_usual_one_and_said_in_the_visitors_language() -> None:
    asked = {"product": "cards", "quantities": [100], "stock": "advise me", "notes": "Something warm."}
    told = job(asked)
    other = job({**asked, "contact": {"name": "A", "email": "a@b.example", "locale": "de-DE"}})

    assert told.items[0].stock == "cotton-600"
    assert "Fenwell cotton, 600 gsm" in told.notes
    assert told.notes.endswith("\nSomething warm.")
    assert told.notes != other.notes


def test_every_fault_is_told_at_once_with_what_is_offered_instead() -> None:
    found = faults(
        {
            "product": "coasters",
            "quantities": [49, 1001, 49],
            "size": "Large",
            "front": {"inks": ["black", "silver", "ochre"], "printed_from": "own plate"},
            "back": {"lines": [{"text": " ", "fount": "comic", "ink": "pink"}], "artwork": "ready"},
            "impression": "deep",
            "corners": "rounded",
            "edges": "gold",
            "extras": ["A bow"],
            "pieces": [{"piece": "Mat"}],
            "needed_by": "2026-11-24",
            "delivery": {"method": "balloon"},
            "contact": {"name": "A", "email": "a@b.example", "locale": "xx-XX"},
        }
    )

    assert found["quantities[0]"] == "50 to 1000"
    assert found["quantities[1]"] == "50 to 1000"
    assert found["quantities[2]"] == "each quantity once"
    assert found["size"] == "one of Coaster board, round, 95 mm, Coaster board, square, 95 mm"
    assert found["front.inks[1]"] == "one of black, harbour-blue, brick-red, samphire-green, ochre"
    assert found["front.printed_from"] == "one of words to set, finished artwork"
    assert found["back.lines[0].text"] == "characters that type can set"
    assert found["back.lines[0].fount"].startswith("one of tollhouse-24, ")
    assert found["back.lines[0].ink"] == "one of black"
    assert found["back.artwork"] == "nothing, as none is offered"
    assert found["impression"] == "one of visible, kiss"
    assert found["corners"] == "one of square"
    assert found["edges"] == "nothing, as none is offered"
    assert found["extras[0]"] == "nothing, as none is offered"
    assert found["pieces[0].piece"] == "nothing, as none is offered"
    assert found["needed_by"] == "a day from 2026-11-25 on"
    assert found["delivery.method"] == "one of collect, parcel, next-day"
    assert found["delivery.to"] == "where to"
    assert "contact.locale" in found


def test_every_field_of_another_type_is_told_at_once() -> None:
    told = {
        "product": 3,
        "quantities": [0, "x", 2**63],
        "front": {"inks": "black", "lines": [{"text": ""}]},
        "rush": "yes",
        "needed_by": "tomorrow",
        "contact": {"name": "A\nB", "email": "nobody"},
        "margin": "3",
    }

    assert set(faults(told)) == {
        "product",
        "quantities[0]",
        "quantities[1]",
        "quantities[2]",
        "front.inks",
        "front.lines[0].text",
        "rush",
        "needed_by",
        "contact.name",
        "contact.email",
        "margin",
    }


@pytest.mark.parametrize(
    ("told", "where"),
    [
        ({"own_size": "10 x 60 mm"}, "own_size"),
        ({"own_size": "160 x 220 mm"}, "own_size"),
        ({"own_size": "100 x 60 mm", "size": "Postcard"}, "own_size"),
        ({"size": "Business card", "folded": "long edge"}, "folded"),
        ({"size": "Swing ticket, cut to shape", "corners": "rounded"}, "corners"),
        ({"size": "Swing ticket, cut to shape", "stock": "cotton-600"}, "stock"),
        ({"size": "Business card", "envelope": {"stock": "envelope-c6"}}, "envelope.stock"),
        ({"size": "Postcard", "envelope": {"stock": "envelope-c6", "spare": 51}}, "envelope.spare"),
        ({"size": "Postcard", "envelope": {"stock": "envelope-c6", "lined": True}}, "envelope.lined"),
        ({"front": {"lines": [{"text": "words"}]}}, "front.lines"),
        ({"front": {"printed_from": "own plate"}}, "front.plate"),
        ({"front": {"plate": {"size": "40 x 30 mm", "thickness": "1.5 mm"}}}, "front.plate"),
        ({"front": {"inks": ["black", "black"]}}, "front.inks[1]"),
        ({"front": {"inks": ["black", "silver", "ochre"]}}, "front.inks"),
        ({"front": {"coverage": "Everywhere"}}, "front.coverage"),
        ({"extras": ["x", "x"]}, "extras[1]"),
    ],
)
def test_what_an_offer_does_not_hold_is_refused(told: dict[str, Any], where: str) -> None:
    found = faults({"product": "cards", "quantities": [100], **told})

    assert where in found


def test_an_ink_without_a_line_is_refused() -> None:
    front = {"inks": ["black", "brick-red"], "lines": [{"text": "all in black"}]}
    found = faults({"product": "coasters", "quantities": [100], "front": front})

    assert found == {"front.inks[1]": "a line in brick-red"}


@pytest.mark.parametrize(("shop", "key"), OFFERS)
def test_the_schema_and_the_offer_take_and_refuse_the_same(shop: str, key: str) -> None:
    card, chance = CARDS[shop], random.Random(key)
    seen = next(one for one in public_offers(card) if one.key == key)
    schema = choice_schema(offer_by_key(key, card), card)
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    for _ in range(60):
        told = any_choice(seen, chance)
        assert [error.message for error in validator.iter_errors(told)] == []
        job(told, card)
        for where, spoil in SPOILS.items():
            spoilt = copy.deepcopy(told)
            spoil(spoilt)
            refused = faults(spoilt, card)
            assert any(place.startswith(where[1:].replace("/0", "[0]").replace("/", ".")) for place in refused) or (
                "front.printed_from" in refused
            )
            assert not validator.is_valid(spoilt), where


@pytest.mark.parametrize(("shop", "key"), OFFERS)
def test_the_default_of_a_schema_is_what_is_taken(shop: str, key: str) -> None:
    card = CARDS[shop]
    schema = choice_schema(offer_by_key(key, card), card)
    told: dict[str, Any] = {"product": key, "quantities": [100]}
    if schema["$defs"]["side"]["properties"]["printed_from"]["default"] == "words to set":
        told["front"] = {"lines": [{"text": "a line"}]}
    usual = {
        name: one["default"]
        for name, one in schema["properties"].items()
        if "default" in one and name in {"size", "stock", "impression", "corners", "rush"}
    }
    first = schema["allOf"][0]["then"]["properties"]["stock"]["enum"][0]

    assert job({**told, **usual, "stock": first}, card) == job(told, card)


def test_a_size_that_no_stock_is_made_to_is_refused() -> None:
    sizes = (OfferedSize(name="Mat", size=Size("120 mm")),)
    card = replace(CARD, offers=(replace(CARD.offers[0], sizes=sizes),))

    found = faults({"product": "coasters", "quantities": [100], "front": {"lines": [{"text": "A"}]}}, card)

    assert found == {"size": "a size that a stock here is made to"}


def test_a_new_product_in_the_card_is_offered_without_code() -> None:
    data = json_data(to_json(CARD))
    data["offers"].append({**data["offers"][0], "name": "Beer mats, square", "stocks": ["coaster-square-95"]})
    card = rate_card_from(data)

    told = job({"product": "beer-mats-square", "quantities": [100], "front": {"lines": [{"text": "A"}]}}, card)

    assert [one.key for one in public_offers(card)][-1] == "beer-mats-square"
    assert told.items[0].stock == "coaster-square-95"


def test_an_offer_with_nothing_to_choose_is_not_shown() -> None:
    bare = replace(CARD.offers[1], sizes=(), own_size=None)
    card = replace(CARD, offers=(CARD.offers[0], bare))

    assert [one.key for one in public_offers(card)] == ["coasters"]
    with pytest.raises(NotOfferedError):
        job({"product": "cards", "quantities": [100]}, card)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"founts": ["comic"]}, "offers[0].founts"),
        ({"delivery": ["balloon"]}, "offers[0].delivery"),
        ({"plate_supplier": "nobody"}, "offers[0].plate_supplier"),
        ({"order": "odd"}, "offers[0].order"),
        ({"name": "¡¿"}, "offers[0].name"),
        ({"name": "Cards"}, "offers[1].name"),
        ({"quantities": [200, 100]}, "offers[0]"),
        ({"least_quantity": 2000}, "offers[0]"),
        ({"extras": [{"name": "Die", "work": [{"kind": "drilling"}]}]}, "offers[0].extras[0].work[0].kind"),
        ({"pieces": [{"name": "Mat", "size": "9 cm", "stock": "cork"}]}, "offers[0].pieces[0].stock"),
        ({"sizes": [{"name": "A", "size": "9 cm", "stocks": ["cork"]}]}, "offers[0].sizes[0].stocks"),
        ({"sizes": [{"name": "A", "size": "9 cm", "envelopes": ["sack"]}]}, "offers[0].sizes[0].envelopes"),
        ({"sizes": [{"name": "A", "size": "9 cm", "folds": ["long edge"]}]}, "offers[0].sizes[0].folds"),
        ({"sizes": [{"name": "A", "size": "9 cm", "flat": False}]}, "offers[0].sizes[0]"),
    ],
)
def test_an_offer_that_the_card_cannot_keep_is_refused(change: dict[str, Any], where: str) -> None:
    data = json_data(to_json(CARD))
    data["offers"][0] |= change
    with pytest.raises(RateCardError) as refused:
        rate_card_from(data)

    assert [fault.where for fault in refused.value.faults] == [where]
