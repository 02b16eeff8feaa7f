"""The plain limits: each refusal names what is wrong and the way round."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest

from quoting import NoPlanError, RateCard, estimate_job, read_job
from tests.conftest import DAY

PLATE = {"kind": "plate", "size": "40 x 40 mm", "share_inked": "10 %", "supplier": "estuary"}
COASTER = {
    "name": "Coaster",
    "size": "95 mm",
    "shape": "round",
    "stock": "coaster-round-95",
    "front": {"colours": [{"ink": "black", "form": PLATE}]},
}
CARD = {
    "name": "Card",
    "size": "105 x 148 mm",
    "stock": "cotton-300",
    "front": {"colours": [{"ink": "black", "form": PLATE}]},
}


def job_of(item: dict[str, Any], change: dict[str, Any]) -> Any:
    changed = deepcopy(item)
    for path, value in change.items():
        place: Any = changed
        *keys, last = path.split("/")
        for key in keys:
            place = place[int(key)] if isinstance(place, list) else place[key]
        place[last] = value
    return read_job({"format": 1, "title": "T", "client": {"name": "C"}, "quantities": [100], "items": [changed]})


FORM = "front/colours/0/form"
CASES = [
    (COASTER, {f"{FORM}/bleed": True}, "bleeds off", "oversize sheet"),
    (COASTER, {"front/colours/0/register": "close"}, "close register on a round blank", "loose register"),
    (COASTER, {"size": "90 mm"}, "never meets the knife", "parent sheet"),
    (COASTER, {"stock": "cotton-600"}, "no guillotine cuts a round piece", "die-cutting"),
    (COASTER, {f"{FORM}/size": "120 x 60 mm"}, "larger than the piece", "larger piece"),
    (CARD, {"stock": "envelope-c6", "size": "162 x 114 mm"}, "across the seam", "kiss impression"),
    (
        CARD,
        {
            FORM: {"kind": "hand-set", "lines": [{"text": "Salt", "fount": "caslon-12"}]},
            "front/impression": "deep",
        },
        "would ruin it",
        "plate",
    ),
    (CARD, {"stock": "dark-350", "front/colours/0/ink": "opaque-white"}, "", ""),
    (CARD, {"stock": "dark-350", "front/colours/0/ink": "mist-grey"}, "in one hit", "print it twice"),
    (CARD, {"size": "20 x 15 mm", f"{FORM}/size": "10 x 10 mm"}, "", ""),
    (CARD, {"size": "500 x 400 mm", f"{FORM}/size": "300 x 200 mm"}, "over the greatest", "fewer up"),
    (CARD, {f"{FORM}/size": "104 x 147 mm", f"{FORM}/share_inked": "100 %", "front/impression": "deep"}, "", ""),
]


def reasons(item: dict[str, Any], change: dict[str, Any], card: RateCard) -> str:
    try:
        estimate_job(job_of(item, change), card, on=DAY)
    except NoPlanError as error:
        return str(error)
    return ""


@pytest.mark.parametrize(("item", "change", "said", "way_round"), CASES)
def test_a_limit_is_told_with_the_way_round(
    item: dict[str, Any], change: dict[str, Any], said: str, way_round: str, cards: dict[str, RateCard]
) -> None:
    card = cards["marrowby-lane"]
    founts = list(card.founts)
    if isinstance(change.get(FORM), dict):
        change = {**change, FORM: {"kind": "hand-set", "lines": [{"text": "Salt", "fount": founts[0]}]}}

    told = reasons(item, change, card)

    assert bool(said) == bool(told)
    assert said in told
    assert way_round in told


def test_a_solid_over_the_small_presss_force_goes_to_the_larger(cards: dict[str, RateCard]) -> None:
    heavy = {"stock": "cotton-600", f"{FORM}/size": "104 x 147 mm", f"{FORM}/share_inked": "100 %"}
    job = job_of(CARD, {**heavy, "front/impression": "deep"})

    option = estimate_job(job, cards["marrowby-lane"], on=DAY).options[0]

    small = cards["marrowby-lane"].presses["platen-8x12"]
    assert option.parts[0].plan.press == "platen-10x15"
    assert any("kN of impression" in reason for reason in option.refusals["Card"].values())
    assert option.parts[0].plan.passes[0].force_n > small.greatest_force


def test_die_cut_rounds_keep_a_web_between_them_and_meet_no_knife(cards: dict[str, RateCard]) -> None:
    job = job_of(COASTER, {"stock": "cotton-600", "finishing": [{"kind": "die-cutting"}]})

    plan = estimate_job(job, cards["marrowby-lane"], on=DAY).options[0].parts[0].plan

    web = cards["marrowby-lane"].limits.die_web
    assert plan.cuts_to_pieces == 0
    assert plan.sheet_width_mm >= plan.across * 95 + (plan.across - 1) * web
    assert plan.sheet_height_mm >= plan.down * 95 + (plan.down - 1) * web
