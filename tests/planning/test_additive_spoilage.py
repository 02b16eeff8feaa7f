"""The handbooks' additive rule beside the backward one."""

from __future__ import annotations

from quoting import estimate_job, read_job
from quoting.rate_card import rate_card_from
from tests.conftest import DAY
from tests.strategies import Data, card_data_of


def card_at_three_per_cent(rule: str) -> Data:
    card = card_data_of("marrowby-lane")
    for stock_class in card["stock_classes"].values():
        stock_class["running_spoilage"] = [{"above": 0, "rate": "3 %"}]
    for rates in card["finishing"]:
        rates |= {"spoilage": "3 %", "set_up_pieces": 0}
    card["spoilage"] |= {"rule": rule, "register_colour": "0 %", "least_pieces": 0, "least_share": "0 %"}
    card["spoilage"] |= {"set_up_plate": 0, "set_up_metal": 0, "set_up_wood": 0, "set_up_register": 0}
    return card


def sheets(rule: str) -> int:
    form = {"kind": "plate", "size": "60 x 40 mm", "share_inked": "8 %", "supplier": "estuary"}
    colours = [{"ink": ink, "form": form} for ink in ("black", "brick-red")]
    item = {
        "name": "Card",
        "size": "95 mm",
        "stock": "coaster-square-95",
        "front": {"colours": colours},
        "finishing": [{"kind": "scoring"}],
    }
    data = {"format": 1, "title": "T", "client": {"name": "C"}, "quantities": [500], "items": [item]}
    option = estimate_job(read_job(data), rate_card_from(card_at_three_per_cent(rule)), on=DAY).options[0]
    return option.parts[0].count.sheets


# Printers' forum, from a college class (D): 3 % a pass, scoring included, of the number wanted.
def test_five_hundred_in_two_colours_and_scored_start_as_545() -> None:
    assert sheets("additive") == 545


# Derived: 500 / .97 = 516, 532, 549, each rounded up.
def test_worked_backwards_the_same_start_as_549() -> None:
    assert sheets("backwards") == 549
