"""
Rate cards and jobs for the laws.

Cards are a demo card's plain data with rates, bands and rules varied within plausible bounds; jobs are made
for such a card out of every kind of form, stock, side and finishing. ``extra_jobs`` are written by hand: small
jobs that reach what no demo job does.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from copy import deepcopy
from decimal import Decimal
from functools import cache
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

from quoting.units import Size
from tests.conftest import SHOPS, demo_card_path, demo_job_path, demo_jobs

Data = dict[str, Any]
SHADES = ("light", "middle", "dark", "metallic", "white")


@cache
def _demo_card(shop: str) -> Data:
    tables: Data = {}
    for path in sorted(demo_card_path(shop).glob("*.toml")):
        tables |= tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    return tables


def card_data_of(shop: str) -> Data:
    """A demo card as plain data, for the test to change as it likes."""
    return deepcopy(_demo_card(shop))


def job_data_of(shop: str, job: str) -> Data:
    """A demo job as plain data, for the test to change as it likes."""
    return tomllib.loads(demo_job_path(shop, job).read_text(encoding="utf-8"), parse_float=Decimal)


# Measures as text


def money(least: int, greatest: int) -> SearchStrategy[str]:
    """An amount, by the penny."""
    return st.integers(least * 100, greatest * 100).map(lambda pence: f"{pence // 100}.{pence % 100:02}")


def tenths(least: int, greatest: int, unit: str) -> SearchStrategy[str]:
    """A measure, by the tenth of its unit."""
    return st.integers(least * 10, greatest * 10).map(lambda some: f"{some // 10}.{some % 10} {unit}".rstrip())


def whole(least: int, greatest: int, unit: str) -> SearchStrategy[str]:
    """A measure in whole units."""
    return st.integers(least, greatest).map(lambda some: f"{some} {unit}")


def factor() -> SearchStrategy[str]:
    """A factor from a half to one."""
    return st.integers(50, 100).map(lambda some: f"{Decimal(some) / 100}")


def roundings() -> SearchStrategy[Data]:
    """Ways to round a price."""
    return st.fixed_dictionaries(
        {
            "step": st.sampled_from(["0.01", "0.05", "0.50", "1.00", "5.00"]),
            "way": st.sampled_from(["nearest", "up"]),
            "of": st.sampled_from(["total", "unit price"]),
        }
    )


# Rate cards


def _vary_people(draw: DrawFn, card: Data) -> None:
    card["general_expense"] = draw(money(0, 30_000))
    for person in card["people"].values():
        person["wage"] = draw(money(5_000, 60_000))
        person["chargeable"] = draw(whole(30, 90, "%"))


def _vary_presses(draw: DrawFn, card: Data) -> None:
    for press in card["presses"].values():
        for stock_class in press["speeds"]:
            press["speeds"][stock_class] = draw(whole(40, 2500, "an hour"))
        press["year"]["depreciation"] = draw(money(0, 6_000))
        press["ink_up"] = draw(tenths(0, 20, "min"))
        press["dressing_ink"] = draw(tenths(0, 25, "g"))
        press["long_run_over"] = draw(st.integers(0, 3000))
        press["long_run_factor"] = draw(factor())
        press["close_register_factor"] = draw(factor())
    card["working_days"]["press_hours"] = draw(tenths(1, 7, "h"))


def _vary_spoilage(draw: DrawFn, card: Data) -> None:
    for stock_class in card["stock_classes"].values():
        marks = [0, *sorted(draw(st.sets(st.integers(1, 1500), max_size=3)))]
        stock_class["running_spoilage"] = [{"above": mark, "rate": draw(tenths(0, 12, "%"))} for mark in marks]
        stock_class["wet_share"] = draw(whole(5, 60, "%"))
    card["spoilage"] = {
        "set_up_plate": draw(st.integers(0, 15)),
        "set_up_metal": draw(st.integers(0, 15)),
        "set_up_wood": draw(st.integers(0, 15)),
        "set_up_register": draw(st.integers(0, 15)),
        "set_up_again": draw(st.sampled_from(["spoiled sheets used again", "fresh sheets each pass"])),
        "register_colour": draw(tenths(0, 4, "%")),
        "rule": draw(st.sampled_from(["backwards", "backwards", "additive"])),
        "least_pieces": draw(st.integers(0, 30)),
        "least_share": draw(whole(0, 10, "%")),
    }
    card["cutting"]["spoilage"] = draw(tenths(0, 3, "%"))


def _vary_stocks(draw: DrawFn, card: Data) -> None:
    for stock in card["stocks"].values():
        stock["price_unit"] = "each"
        ready_cut = stock["kind"] == "ready-cut"
        marks = [1, *sorted(draw(st.sets(st.integers(2, 2000), max_size=3)))]
        price = draw(st.integers(2, 60 if ready_cut else 900))
        stock["prices"] = []
        for mark in marks:
            stock["prices"].append({"at_least": mark, "price": f"{Decimal(price) / 100}"})
            price = draw(st.integers(max(1, price // 2), price))
        stock["pack"] = draw(st.sampled_from([1, 10, 25, 50, 100, 250, 500]))
        stock["supply"] = draw(st.sampled_from(["house", "ordered"]))
        stock["usual_order"] = draw(st.integers(1, 1000))
        stock["least_order"] = draw(st.sampled_from([1, 1, 10, 200]))
        stock["carriage_in"] = draw(money(0, 25))
        stock["prices_include_tax"] = draw(st.booleans())


def _vary_inks_and_plates(draw: DrawFn, card: Data) -> None:
    for ink in card["inks"].values():
        ink["price"] = draw(money(5, 90))
        ink["least_charge"] = draw(money(0, 8))
        ink["film_factor"] = draw(factor())
    for supplier in card["plate_suppliers"].values():
        supplier["price"] = draw(money(0, 2))
        supplier["base_charge"] = draw(money(0, 20))
        supplier["least_charge"] = draw(money(0, 60))
        supplier["carriage"] = draw(money(0, 20))
        supplier["margin"] = draw(whole(0, 12, "mm"))


def _vary_benches(draw: DrawFn, card: Data) -> None:
    for bench in ("prepress", "composing", "stone", "make_ready", "running", "cutting", "packing"):
        for name, written in card[bench].items():
            if isinstance(written, str) and written.endswith(" min"):
                card[bench][name] = draw(tenths(0, 40, "min"))
    card["stone"]["mounting"] = draw(tenths(0, 5, "min"))
    for row in card["washing_up"]["minutes"].values():
        for after in row:
            row[after] = draw(tenths(0, 45, "min"))


def _vary_finishing(draw: DrawFn, card: Data) -> None:
    for rates in card["finishing"]:
        rates["spoilage"] = draw(tenths(0, 8, "%"))
        rates["set_up_pieces"] = draw(st.integers(0, 8))
        if "speed" in rates:
            rates["speed"] = draw(whole(50, 3000, "an hour"))


def _vary_delivery(draw: DrawFn, card: Data) -> None:
    card["packing"]["parcel_mass"] = draw(whole(1, 15, "kg"))
    for method in card["delivery"].values():
        price = draw(st.integers(300, 2000))
        method["bands"] = []
        for mass in (1, 2, 5, 10, 20):
            method["bands"].append({"up_to": f"{mass} kg", "price": f"{Decimal(price) / 100}"})
            price += draw(st.integers(0, price * 2 // 5))


def _vary_pricing(draw: DrawFn, card: Data) -> None:
    pricing = card["pricing"]
    pricing.pop("mark_ups", None)
    pricing.pop("target_margin", None)
    way = draw(st.sampled_from(["mark_ups", "target_margin", "hour_target"]))
    if way == "hour_target":
        pricing["hour_target"] = draw(money(0, 150))
    elif way == "mark_ups":
        classes = ("labour", "materials", "bought_in")
        pricing["mark_ups"] = {name: draw(whole(0, 150, "%")) for name in classes}
    else:
        pricing["target_margin"] = draw(tenths(0, 60, "%"))
    pricing["least_charge"] = draw(money(0, 400))
    pricing.pop("least_charge_item", None)
    if draw(st.booleans()):
        pricing["least_charge_item"] = draw(money(0, 200))
    pricing["least_margin"] = draw(tenths(0, 40, "%"))
    pricing["rush"] = draw(whole(0, 60, "%"))
    pricing["discounts"] = {name: draw(whole(0, 60, "%")) for name in pricing["discounts"]}
    pricing["payment_fee_share"] = draw(tenths(0, 5, "%"))
    pricing["payment_fee_fixed"] = draw(money(0, 1))
    pricing["commission"] = draw(tenths(0, 15, "%"))
    pricing["deposit"] = draw(whole(0, 100, "%"))
    pricing["rounding"] = draw(roundings())


def _vary_tax(draw: DrawFn, card: Data) -> None:
    standing = draw(st.sampled_from(["input tax reclaimed", "input tax is a cost", "not registered"]))
    rate = "0 %" if standing == "not registered" else draw(tenths(0, 27, "%"))
    card["tax"] = {
        "name": "Tax",
        "standing": standing,
        "rate": rate,
        "input_rate": draw(tenths(0, 27, "%")),
        "prices_include_tax": draw(st.booleans()),
    }
    if draw(st.booleans()):
        card["tax"] |= {"delivery": "own rate", "delivery_rate": draw(tenths(0, 27, "%"))}


def _vary_currency(draw: DrawFn, card: Data) -> None:
    card["region"]["currency"] = draw(st.sampled_from(["EUR", "KWD", "CHF"]))


_VARIATIONS: tuple[Callable[[DrawFn, Data], None], ...] = (
    _vary_people,
    _vary_presses,
    _vary_spoilage,
    _vary_stocks,
    _vary_inks_and_plates,
    _vary_benches,
    _vary_finishing,
    _vary_delivery,
    _vary_pricing,
    _vary_tax,
    _vary_currency,
)


@st.composite
def card_data(draw: DrawFn) -> Data:
    """A rate card as plain data: a demo card, up to four of its rooms varied."""
    card = card_data_of(draw(st.sampled_from(SHOPS)))
    for place in sorted(draw(st.sets(st.integers(0, len(_VARIATIONS) - 1), max_size=4))):
        _VARIATIONS[place](draw, card)
    return card


# Jobs

_LETTERS = "ETAOINSHR"


def _set_lines(draw: DrawFn, card: Data) -> list[Data]:
    """A few short lines; a scarce fount is left out, as it may be short of their letters."""
    founts = [name for name, fount in card["founts"].items() if "scheme" not in fount]
    return [
        {
            "text": draw(st.text(_LETTERS + " ", min_size=1, max_size=12).map(lambda text: f"A{text}")),
            "fount": draw(st.sampled_from(founts)),
            "letterspaced": draw(st.booleans()),
        }
        for _ in range(draw(st.integers(1, 3)))
    ]


def _form(draw: DrawFn, card: Data, kind: str, width: Decimal, height: Decimal) -> Data:
    """A form that lies on a piece of this size. [mm]"""
    share = draw(st.integers(20, 95))
    size = f"{width * share / 100:.1f} x {height * share / 100:.1f} mm"
    inked = draw(whole(1, 60, "%"))
    if kind == "hand-set":
        form: Data = {"kind": kind, "size": size, "lines": _set_lines(draw, card)}
        if draw(st.booleans()):
            form["share_inked"] = inked
        if draw(st.booleans()):
            plain = [name for name, fount in card["founts"].items() if fount["material"] == "metal"]
            form["text"] = {"fount": draw(st.sampled_from(plain)), "ems": draw(st.integers(1, 600))}
        form["borders"] = draw(st.integers(0, 2))
        form["broken_out"] = draw(st.booleans())
        return form
    form = {"kind": kind, "size": size, "share_inked": inked}
    if kind == "plate":
        form["supplier"] = draw(st.sampled_from(sorted(card["plate_suppliers"])))
        form["artwork"] = draw(st.sampled_from(["to be made ready", "ready", "to be designed"]))
    elif kind == "standing type":
        form["made_of"] = draw(st.sampled_from(["metal type", "wood type"]))
    elif kind == "client's plate":
        form["thickness"] = draw(st.sampled_from(["1.5 mm", "1.0 mm"]))
    return form


PLATES = ("plate", "same as last time", "client's plate")
FORMS = (*PLATES, "hand-set", "standing type")


def _side(
    draw: DrawFn, card: Data, stock: Data, kinds: tuple[str, ...], width: Decimal, height: Decimal, versions: int
) -> Data:
    inks = [
        name
        for name, ink in card["inks"].items()
        if not (stock.get("dark") and ink.get("pale") and not ink.get("opaque"))
    ]
    closeness = ["none", "loose"] if stock.get("shape") == "round" else ["none", "loose", "close"]
    colours = []
    for _ in range(draw(st.sampled_from([1, 1, 2, 3]))):
        form = _form(draw, card, draw(st.sampled_from(kinds)), width, height)
        colour: Data = {
            "form": form,
            "register": draw(st.sampled_from(closeness)),
            "double_rolled": draw(st.sampled_from([False, False, True])),
        }
        if draw(st.integers(0, 7)):
            colour["ink"] = draw(st.sampled_from(inks))
        if versions > 1 and form["kind"] != "client's plate":
            colour["version_lines"] = draw(st.integers(0, 1))
        colours.append(colour)
    impressions = ["kiss"] if stock.get("envelope_seam") else ["kiss", "visible"]
    if kinds == PLATES and not stock.get("envelope_seam"):
        impressions.append("deep")
    return {"colours": colours, "impression": draw(st.sampled_from(impressions))}


def operation_data(kind: str, times: int) -> Data:
    """One finishing operation, asked for so many ``times`` a piece where it counts them."""
    counted = {
        "scoring": "scores",
        "folding": "folds",
        "perforating": "lines",
        "drilling": "holes",
        "edge painting": "edges",
        "numbering": "places",
    }
    return {"kind": kind, counted[kind]: times} if kind in counted else {"kind": kind}


def _finishing(draw: DrawFn, card: Data) -> list[Data]:
    kinds = [rates["kind"] for rates in card["finishing"]]
    chosen = draw(st.lists(st.sampled_from(kinds), max_size=2))
    return [operation_data(kind, draw(st.integers(1, 4))) for kind in chosen]


def _part(draw: DrawFn, card: Data, *, least_mm: int, versions: int) -> Data:
    """One sheet with what is printed on it; ``least_mm`` bounds its sides, and so how many stand on a sheet."""
    name = draw(st.sampled_from(sorted(card["stocks"])))
    stock = card["stocks"][name]
    part: Data = {"stock": name, "finishing": _finishing(draw, card)}
    if stock["kind"] == "ready-cut":
        size = Size(stock["size"])
        width, height = size.width_mm, size.height_mm
        part |= {"size": stock["size"], "shape": stock.get("shape", "rectangular")}
    else:
        width, height = Decimal(draw(st.integers(least_mm, 200))), Decimal(draw(st.integers(least_mm, 240)))
        part["size"] = f"{width} x {height} mm"
        if draw(st.integers(0, 3)) == 0:
            part["fold"] = {"along": draw(st.sampled_from(["long side", "short side"]))}
    if draw(st.integers(0, 7)) == 0:
        part["stock_from"] = "client"
    kinds = draw(st.sampled_from([PLATES, FORMS]))
    sides = draw(st.sampled_from([("front",), ("front", "back"), ("back",)]))
    for side in sides:
        part[side] = _side(draw, card, stock, kinds, width, height, versions)
    return part


def _item(draw: DrawFn, card: Data, place: int, *, least_mm: int) -> Data:
    versions = draw(st.sampled_from([1, 1, 1, 2, 4]))
    item: Data = {
        "name": f"Item {place}",
        "per_set": draw(st.sampled_from([1, 1, 2])),
        "extra": draw(st.sampled_from([0, 0, 10])),
        "kept": draw(st.sampled_from([0, 0, 2])),
        "versions": versions,
    }
    if draw(st.integers(0, 5)):
        return item | _part(draw, card, least_mm=least_mm, versions=versions)
    item["parts"] = [
        {"name": name, **_part(draw, card, least_mm=140, versions=versions)} for name in ("Front sheet", "Back sheet")
    ]
    item["joining"] = [{"kind": "duplexing"}, *_finishing(draw, card)]
    return item


@st.composite
def job_data(draw: DrawFn, card: Data) -> Data:
    """A job as plain data that asks a card for what it holds."""
    items = draw(st.sampled_from([1, 1, 1, 2, 3]))
    job = job_of(
        *(_item(draw, card, place, least_mm=50 if items == 1 else 130) for place in range(items)),
        quantities=[draw(st.integers(1, 900))],
    )
    orders = sorted(card["handling"].get("orders", {"plain": ""}))
    job |= {
        "order": draw(st.sampled_from(orders)),
        "rush": draw(st.booleans()),
        "count": draw(st.sampled_from(["exact", "trade overs and unders"])),
        "proofs": {"screen_rounds": draw(st.integers(0, 3)), "press_proof": draw(st.booleans())},
        "delivery": {"method": draw(st.sampled_from(["collect", *sorted(card["delivery"])]))},
    }
    if draw(st.booleans()):
        job["discount"] = draw(st.sampled_from(sorted(card["pricing"]["discounts"])))
    return job


@st.composite
def card_and_job_data(draw: DrawFn) -> tuple[Data, Data]:
    """A card and a job for it."""
    card = draw(card_data())
    return card, draw(job_data(card))


# Jobs written by hand


def job_of(*items: Data, quantities: list[int] | None = None) -> Data:
    """A job of these items."""
    return {
        "format": 1,
        "title": "A job for a test",
        "client": {"name": "Wilhelmina Tarn"},
        "quantities": quantities or [100],
        "items": list(items),
    }


def colour_of(form: Data, ink: str | None = "black", **more: Any) -> Data:
    """One colour; without ``ink`` it is blind."""
    return {"form": form, **({"ink": ink} if ink else {}), **more}


def plate_of(shop: str, size: str = "60 x 40 mm", inked: str = "10 %", **more: Any) -> Data:
    """A relief plate of a shop's own supplier."""
    supplier = next(iter(_demo_card(shop)["plate_suppliers"]))
    return {"kind": "plate", "supplier": supplier, "size": size, "share_inked": inked, **more}


def ink_by_shade(shop: str) -> dict[str, list[str]]:
    """Inks of a demo card by their shade."""
    inks = _demo_card(shop)["inks"]
    return {shade: [name for name, ink in inks.items() if ink["shade"] == shade] for shade in SHADES}


def with_two_inks_a_shade(card: Data) -> Data:
    """The card with a second ink where it has one of a shade, so that every wash may be wanted."""
    for name, ink in list(card["inks"].items()):
        if sum(other["shade"] == ink["shade"] for other in card["inks"].values()) == 1:
            card["inks"][f"other {name}"] = ink | {"name": f"Other {ink['name']}"}
    return card


def _wash_jobs(shop: str) -> Iterator[tuple[str, Data]]:
    """For every two shades a card that is printed in both, one on each side."""
    inks = {
        shade: names if len(names) > 1 else [*names, f"other {names[0]}"]
        for shade, names in ink_by_shade(shop).items()
    }
    for place, shade in enumerate(SHADES):
        for other in SHADES[place:]:
            pair = (inks[shade][0], inks[other][1 if shade == other else 0])
            sides = {
                side: {"colours": [colour_of(plate_of(shop), ink)]}
                for side, ink in zip(("front", "back"), pair, strict=True)
            }
            yield f"washes {shade} {other}", job_of(_card(shop) | sides)


def _card(shop: str) -> Data:
    """A piece of smooth card, so large that two of them fill a press sheet."""
    stock = {"marrowby-lane": "card-300", "pellam-hollow": "smooth-cover"}[shop]
    return {"name": "Card", "stock": stock, "size": "150 x 200 mm"}


def _founts(shop: str) -> tuple[str, str, str]:
    """A text fount, a display fount, a wood fount."""
    return {
        "marrowby-lane": ("wharf-12", "tollhouse-24", "customs-12-line"),
        "pellam-hollow": ("roman-12", "gothic-24", "wood-6-line"),
    }[shop]


@cache
def _extra_jobs(shop: str) -> dict[str, Data]:
    text, display, wood = _founts(shop)
    piece = _card(shop)
    matched = next(name for name, ink in _demo_card(shop)["inks"].items() if "match" in ink["mixing"])
    kinds = [rates["kind"] for rates in _demo_card(shop)["finishing"]]
    board = {"marrowby-lane": "coaster-square-95", "pellam-hollow": "coaster-square"}[shop]
    cotton = {"marrowby-lane": "cotton-600", "pellam-hollow": "cotton-220"}[shop]
    composed = {
        "kind": "hand-set",
        "size": "100 x 150 mm",
        "lines": [
            {"text": "ALL SORTS", "fount": display, "letterspaced": True},
            {"text": "of type set here", "fount": text},
            {"text": "IN WOOD", "fount": wood},
        ],
        "text": {"fount": text, "ems": 200},
        "borders": 2,
    }
    jobs = {
        "everything finished": job_of(
            piece
            | {
                "front": {"colours": [colour_of(plate_of(shop))]},
                "finishing": [operation_data(kind, 1) for kind in kinds],
            }
        ),
        "composed": job_of(piece | {"front": {"colours": [colour_of(composed)]}}),
        "composed in versions": job_of(
            piece | {"front": {"colours": [colour_of(composed, version_lines=2)]}, "versions": 3}
        ),
        "broken out": job_of(
            piece
            | {
                "front": {
                    "colours": [
                        colour_of(composed),
                        colour_of(composed | {"broken_out": True}, matched, register="loose"),
                    ]
                }
            }
        ),
        "heavy and proofed": job_of(
            piece
            | {
                "stock": cotton,
                "front": {
                    "colours": [
                        colour_of(plate_of(shop, "140 x 190 mm", "60 %", artwork="to be designed")),
                        colour_of(plate_of(shop), matched, register="close", double_rolled=True),
                    ],
                    "impression": "deep",
                },
            }
        )
        | {"proofs": {"screen_rounds": 2, "press_proof": True}, "rush": True},
        "underlaid": job_of(
            piece
            | {
                "front": {
                    "colours": [
                        colour_of(
                            {
                                "kind": "client's plate",
                                "size": "60 x 40 mm",
                                "share_inked": "10 %",
                                "thickness": "0.5 mm",
                            }
                        )
                    ]
                },
                "stock_from": "client",
            }
        ),
        "thick board": job_of(
            {
                "name": "Coaster",
                "stock": board,
                "size": _demo_card(shop)["stocks"][board]["size"],
                "front": {"colours": [colour_of(plate_of(shop))]},
                "back": {"colours": [colour_of(plate_of(shop), register="loose")]},
            }
        ),
        "wood alone": job_of(
            piece
            | {"front": {"colours": [colour_of({"kind": "hand-set", "lines": [{"text": "TO", "fount": wood}]})]}}
        ),
        "large": job_of(
            piece
            | {
                "size": "350 x 280 mm",
                "front": {"colours": [colour_of(plate_of(shop, "300 x 220 mm"))]},
            }
        ),
        "many days": job_of(piece | {"front": {"colours": [colour_of(plate_of(shop))]}}, quantities=[9000]),
        "sent, dear and late": job_of(
            piece | {"front": {"colours": [colour_of(plate_of(shop))]}, "per_set": 2},
            {**piece, "name": "Blind card", "front": {"colours": [colour_of(plate_of(shop), None)]}},
            quantities=[30],
        )
        | {
            "order": "bespoke" if shop == "marrowby-lane" else "plain",
            "delivery": {"method": next(iter(_demo_card(shop)["delivery"]))},
            "discount": "trade",
            "rush": True,
            "proofs": {"screen_rounds": 0},
        },
    }
    return jobs | dict(_wash_jobs(shop))


def extra_jobs(shop: str) -> dict[str, Data]:
    """Small jobs for one shop, by name, which reach what its demo jobs leave out."""
    return deepcopy(_extra_jobs(shop))


def all_jobs(shop: str) -> dict[str, Data]:
    """The demo jobs of a shop and the extra ones, as plain data by name."""
    return {job: job_data_of(shop, job) for of, job in demo_jobs() if of == shop} | extra_jobs(shop)
