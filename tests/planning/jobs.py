"""Jobs of many kinds for the planner, drawn by a seed: invented, within what the demo cards hold."""

from __future__ import annotations

import random
from typing import Any

from quoting import Job, RateCard, read_job
from quoting.shop import ParentSheets

MM_SIZES = ("85 x 55 mm", "105 x 148 mm", "127 x 178 mm", "60 x 90 mm", "148 x 105 mm", "50 x 50 mm")


def drawn_job(seed: int, card: RateCard, *, most_items: int = 3) -> Job:
    """A job of one to three items from parent sheets and blanks, with plates, one or two sides, versions."""
    dice = random.Random(seed)
    items = [_item(dice, card, place) for place in range(dice.randint(1, most_items))]
    return read_job(
        {
            "format": 1,
            "title": f"Drawn job {seed}",
            "client": {"name": "Nobody"},
            "order": next(iter(card.handling.orders), "plain"),
            "quantities": [dice.choice([25, 60, 100, 250, 700, 1500])],
            "items": items,
        }
    )


def _item(dice: random.Random, card: RateCard, place: int) -> dict[str, Any]:
    fed = {name for press in card.presses.values() if press.bases for name in press.speeds}
    stocks = [
        name
        for name, stock in card.stocks.items()
        if isinstance(stock, ParentSheets) and not stock.dark and stock.stock_class in fed
    ]
    size = dice.choice(MM_SIZES)
    versions = dice.choice([1, 1, 1, 2, 4])
    item: dict[str, Any] = {
        "name": f"Item {place + 1}",
        "size": size,
        "stock": dice.choice(stocks),
        "per_set": dice.choice([1, 1, 2]),
        "extra": dice.choice([0, 5]),
        "versions": versions,
    }
    sides = ["front", "back"] if dice.random() < 0.5 else ["front"]
    inks = dice.sample(sorted(name for name, ink in card.inks.items() if not ink.pale), k=2)
    impression = dice.choice(["kiss", "visible"])
    for side in sides:
        colours = [_colour(dice, card, size, inks[number], number, versions) for number in range(dice.randint(1, 2))]
        item[side] = {"impression": impression, "colours": colours}
    if dice.random() < 0.3:
        item["finishing"] = [{"kind": dice.choice(["scoring", "corner rounding"])}]
    return item


def _colour(dice: random.Random, card: RateCard, size: str, ink: str, number: int, versions: int) -> dict[str, Any]:
    width, height = (int(side) for side in size.removesuffix(" mm").split(" x "))
    share = dice.choice([5, 12, 40])
    return {
        "ink": ink,
        "register": "none" if number == 0 else dice.choice(["loose", "close"]),
        "version_lines": 1 if versions > 1 and number == 0 else 0,
        "form": {
            "kind": "plate",
            "size": f"{width - 24} x {height - 24} mm",
            "share_inked": f"{share} %",
            "supplier": next(iter(card.plate_suppliers)),
        },
    }
