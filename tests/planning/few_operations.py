"""Jobs of few operations as plain data: drawn by a seed, and written by hand for what chance seldom brings."""

from __future__ import annotations

import random
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from quoting.units import Size
from tests.strategies import Data, card_data_of, job_of, operation_data

MM_SIZES = ("105 x 148 mm", "127 x 178 mm", "148 x 105 mm", "170 x 120 mm")
TYPE_FORMS = ("hand-set", "standing type")
PLATE_FORMS = ("plate", "plate", "same as last time", "client's plate")


def drawn_jobs(shop: str, seeds: range) -> Iterator[tuple[str, Data]]:
    """One job a seed, of one to three items."""
    for seed in seeds:
        yield f"seed {seed}", _job(random.Random(seed), card_data_of(shop))


def _job(dice: random.Random, card: Data) -> Data:
    items = dice.choice([1, 1, 2, 3])
    job = job_of(
        *(_item(dice, card, place, items) for place in range(items)),
        quantities=[dice.choice([30, 75, 120, 260, 640])],
    )
    return job | {
        "order": next(iter(card["handling"].get("orders", {"plain": ""}))),
        "proofs": {"screen_rounds": dice.randint(0, 2), "press_proof": dice.random() < 0.3},
        "delivery": {"method": dice.choice(["collect", *card["delivery"]])},
    }


def _item(dice: random.Random, card: Data, place: int, items: int) -> Data:
    versions = dice.choice([1, 1, 2, 3])
    item: Data = {
        "name": f"Item {place + 1}",
        "per_set": dice.choice([1, 1, 2]),
        "extra": dice.choice([0, 7]),
        "kept": dice.choice([0, 2]),
        "versions": versions,
    }
    colours = 2 if items == 1 else 1
    if dice.random() < 0.8:
        return item | _part(dice, card, versions, colours=colours, sides=2)
    parts = [
        {"name": f"{name} sheet {place + 1}", **_part(dice, card, versions, colours=1, sides=1)}
        for name in ("Front", "Back")
    ]
    joining = [{"kind": "duplexing"}, *dice.choice([[], [operation_data("edge painting", 3)]])]
    return item | {"parts": parts, "joining": joining}


def _part(dice: random.Random, card: Data, versions: int, *, colours: int, sides: int) -> Data:
    fed = {name for press in card["presses"].values() if press.get("bases") for name in press["speeds"]}
    names = sorted(name for name, stock in card["stocks"].items() if stock["stock_class"] in fed)
    name = dice.choice([one for one in names if not card["stocks"][one].get("dark")])
    stock = card["stocks"][name]
    size = stock["size"] if stock["kind"] == "ready-cut" else dice.choice(MM_SIZES)
    finishing = [
        operation_data(kind, dice.randint(1, 3))
        for kind in dice.sample([rates["kind"] for rates in card["finishing"]], k=dice.choice([0, 1, 2]))
        if kind not in {"die-cutting", "duplexing"}
    ]
    part: Data = {"stock": name, "size": size, "shape": stock.get("shape", "rectangular"), "finishing": finishing}
    if dice.random() < 0.15:
        part["stock_from"] = "client"
    impression = "kiss" if stock.get("envelope_seam") else dice.choice(["kiss", "visible"])
    kinds = dice.choice([PLATE_FORMS, TYPE_FORMS])
    for side in ("front", "back")[: dice.randint(1, sides)]:
        part[side] = {
            "impression": impression,
            "colours": [
                _colour(dice, card, stock, size, kinds, versions, is_first=not number)
                for number in range(dice.randint(1, colours))
            ],
        }
    return part


def _colour(
    dice: random.Random,
    card: Data,
    stock: Data,
    size: str,
    kinds: tuple[str, ...],
    versions: int,
    *,
    is_first: bool,
) -> Data:
    close = "loose" if stock.get("shape") == "round" else "close"
    colour: Data = {
        "form": _form(dice, card, dice.choice(kinds), size),
        "register": "none" if is_first else dice.choice(["none", "loose", close]),
        "double_rolled": dice.random() < 0.2,
    }
    if dice.random() < 0.9:
        colour["ink"] = dice.choice(sorted(card["inks"]))
    if versions > 1 and colour["form"]["kind"] != "client's plate" and dice.random() < 0.6:
        colour["version_lines"] = 1
    return colour


def _form(dice: random.Random, card: Data, kind: str, size: str) -> Data:
    width, height = Size(size).width_mm, Size(size).height_mm
    told = f"{width * 6 / 10:.1f} x {height * 6 / 10:.1f} mm"
    if kind == "hand-set":
        small = [
            name
            for name, fount in sorted(card["founts"].items())
            if fount["body"] in {"12 pt", "18 pt"}
            and not {"scheme", "set_widths", "characters_a_pica"} & fount.keys()
        ]
        lines = [
            {"text": dice.choice(["SALT", "Tide and tar", "the quay"]), "fount": dice.choice(small)}
            for _ in range(dice.randint(1, 2))
        ]
        form: Data = {"kind": kind, "lines": lines}
        if dice.random() < 0.3:
            metal = [name for name in small if card["founts"][name]["material"] == "metal"]
            form |= {"size": told, "text": {"fount": dice.choice(metal), "ems": dice.randint(20, 150)}}
        return form
    form = {"kind": kind, "size": told, "share_inked": f"{dice.choice([4, 11, 33])} %"}
    if kind == "plate":
        form["supplier"] = next(iter(card["plate_suppliers"]))
        form["artwork"] = dice.choice(["to be made ready", "ready"])
        form["bleed"] = stock_bleeds(card, size) and dice.random() < 0.3
    elif kind == "client's plate":
        form["thickness"] = dice.choice(["1.52 mm", "1.0 mm"])
    elif kind == "standing type":
        form["made_of"] = dice.choice(["metal type", "wood type"])
    return form


def stock_bleeds(card: Data, size: str) -> bool:
    """Whether a piece of this size is cut from a sheet, so that a form may bleed off it."""
    return size in MM_SIZES and all(stock["size"] != size for stock in card["stocks"].values())


# Written by hand


def plate(shop: str, size: str = "60 x 40 mm", inked: str = "10 %", **more: Any) -> Data:
    """A relief plate from the shop's first supplier."""
    supplier = next(iter(card_data_of(shop)["plate_suppliers"]))
    return {"kind": "plate", "supplier": supplier, "size": size, "share_inked": inked, **more}


def colour(form: Data, ink: str | None = "black", **more: Any) -> Data:
    """One colour; blind without an ink."""
    return {"form": form, **({"ink": ink} if ink else {}), **more}


def sides(front: list[Data], back: list[Data] | None = None, impression: str = "visible") -> Data:
    """Two sides of a part, or one."""
    given = {"front": front, "back": back or []}
    return {name: {"colours": colours, "impression": impression} for name, colours in given.items() if colours}


SMOOTH = {"marrowby-lane": "card-300", "pellam-hollow": "smooth-cover"}
COTTON = {"marrowby-lane": "cotton-300", "pellam-hollow": "cotton-110"}
ROUND = {"marrowby-lane": "coaster-round-95", "pellam-hollow": "coaster-round"}
ENVELOPE = {"marrowby-lane": "envelope-c6", "pellam-hollow": "envelope-a7"}
RED = {"marrowby-lane": "brick-red", "pellam-hollow": "barn-red"}
TEXT = {"marrowby-lane": "wharf-12", "pellam-hollow": "roman-12"}
DISPLAY = {"marrowby-lane": "tollhouse-24", "pellam-hollow": "gothic-24"}
WOOD = {"marrowby-lane": "customs-12-line", "pellam-hollow": "wood-6-line"}
SCARCE = {"marrowby-lane": "ferry-36", "pellam-hollow": "antique-30"}


def jobs_by_hand(shop: str) -> dict[str, Data]:
    """Small jobs by name; each says in its name what it brings."""
    card: Data = {"name": "Card", "stock": SMOOTH[shop], "size": "105 x 148 mm"}
    blank: Data = {
        "name": "Coaster",
        "stock": ROUND[shop],
        "shape": "round",
        "size": card_data_of(shop)["stocks"][ROUND[shop]]["size"],
    }
    envelope: Data = {
        "name": "Envelope",
        "stock": ENVELOPE[shop],
        "size": card_data_of(shop)["stocks"][ENVELOPE[shop]]["size"],
        "extra": 10,
        **sides([colour(plate(shop, "50 x 20 mm"))], impression="kiss"),
    }
    solid = colour(plate(shop, "90 x 130 mm", "55 %"))
    red = RED[shop]
    setting = {
        "kind": "hand-set",
        "lines": [
            {"text": "The Anchor", "fount": DISPLAY[shop], "letterspaced": True},
            {"text": "by the fish quay", "fount": TEXT[shop]},
        ],
    }
    wood = {"kind": "hand-set", "lines": [{"text": "TO", "fount": WOOD[shop]}], "borders": 1}
    scarce = {"kind": "hand-set", "lines": [{"text": "SALT", "fount": SCARCE[shop]}]}
    same = [colour(plate(shop, "80 x 120 mm"))]
    jobs = {
        "one colour, one side": job_of(card | sides([colour(plate(shop))])),
        "both sides in one ink": job_of(card | sides(same, deepcopy(same))),
        "both sides in one ink, the back rolled twice": job_of(
            card | sides(same, [colour(plate(shop, "80 x 120 mm"), double_rolled=True)])
        ),
        "two colours in close register": job_of(
            card | sides([colour(plate(shop)), colour(plate(shop), red, register="close", double_rolled=True)])
        ),
        "a blind pass after ink": job_of(card | sides([colour(plate(shop)), colour(plate(shop), None)])),
        "a wet solid under a second colour: two sittings": job_of(
            card | sides([solid, colour(plate(shop), red, register="loose")])
        ),
        "one wet solid on both sides": job_of(card | sides([solid], [deepcopy(solid)])),
        "an ink a side": job_of(card | sides(same, [colour(plate(shop), red)])),
        "wet solids on both sides: two sittings": job_of(card | sides([solid], [colour(solid["form"], red)])),
        "a bleed": job_of(card | sides([colour(plate(shop, "111 x 154 mm", "12 %", bleed=True))])),
        "round blanks, two sides, type": job_of(
            blank | sides([colour(setting), colour(scarce, red, register="loose")], [colour(setting)])
        ),
        "a poster of wood": job_of(card | {"size": "250 x 340 mm"} | sides([colour(wood)])),
        "versions apart or ganged": job_of(
            card | {"versions": 4} | sides([colour(setting, version_lines=1)]), quantities=[60]
        ),
        "versions of plates": job_of(
            card
            | {"versions": 2, "kept": 1}
            | sides([colour(plate(shop), version_lines=1), colour(plate(shop), red)])
        ),
        "a suite of three items in sets": job_of(
            card | {"finishing": [operation_data("scoring", 1), operation_data("folding", 1)]} | sides(same),
            card
            | {"name": "Reply", "size": "120 x 88 mm", "per_set": 2, "stock": COTTON[shop]}
            | sides([colour(plate(shop), red)]),
            envelope,
            quantities=[80],
        ),
        "three items, one of two pasted sheets": job_of(
            {
                "name": "Pasted card",
                "parts": [
                    {
                        "name": "Upper",
                        "stock": COTTON[shop],
                        "size": "88 x 120 mm",
                        **sides([colour(plate(shop), red)]),
                    },
                    {"name": "Lower", "stock": SMOOTH[shop], "size": "88 x 120 mm", **sides([solid_of(shop)])},
                ],
                "joining": [operation_data("duplexing", 1), operation_data("edge painting", 4)],
                "kept": 3,
            },
            blank | sides([colour(setting)]),
            envelope,
            quantities=[45],
        ),
        "days on end": job_of(card | sides([colour(plate(shop)), colour(plate(shop), red)]), quantities=[9000]),
        "proofed on the press and sent": job_of(card | sides([colour(setting)], [colour(setting)]))
        | {
            "proofs": {"screen_rounds": 3, "press_proof": True},
            "delivery": {"method": next(iter(card_data_of(shop)["delivery"]))},
        },
    }
    orders = card_data_of(shop)["handling"].get("orders", {"plain": ""})
    return {name: {"order": next(iter(orders)), **job} for name, job in jobs.items()}


def solid_of(shop: str) -> Data:
    """Much ink on a small card."""
    return colour(plate(shop, "70 x 100 mm", "45 %"))
