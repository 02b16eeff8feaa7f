"""Choices as a visitor would make them: any that an offer allows, and the same with something spoilt."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

from quoting.offers import PublicOffer
from quoting.offers.choice import ADVISE_ME

WORDS = ("THE LANTERN", "Quay Street", "half a pint", "At six", "Mussels & ale", "No. 7")
Data = dict[str, Any]


def any_choice(seen: PublicOffer, chance: random.Random, *, may_be_unpriced: bool = True) -> Data:
    """A choice that the offer allows, as JSON data."""
    size = chance.choice(seen.sizes)
    told: Data = {"product": seen.key, "quantities": _quantities(seen, chance), "size": size.name}
    told["front"] = _side(seen, chance)
    if seen.back and chance.random() < 0.3:
        told["back"] = _side(seen, chance)
    _sometimes(told, "stock", [*size.stocks, *([ADVISE_ME] if seen.advise else [])], chance)
    if may_be_unpriced:
        _sometimes(told, "impression", seen.impressions, chance)
    folds = [*(["flat"] if size.flat else []), *size.folds]
    _sometimes(told, "folded", folds, chance)
    if seen.corners and size.shape == "rectangular":
        _sometimes(told, "corners", ["square", "rounded"], chance)
    _sometimes(told, "edges", seen.edge_colours, chance, often=0.3)
    if seen.extras and chance.random() < 0.3:
        told["extras"] = chance.sample(seen.extras, chance.randint(1, len(seen.extras)))
    if seen.pieces and chance.random() < 0.3:
        told["pieces"] = [{"piece": chance.choice(seen.pieces).name, "front": _side(seen, chance)}]
    if size.envelopes and chance.random() < 0.4:
        told["envelope"] = _envelope(seen, size.envelopes[0].key, chance)
    if seen.delivery and chance.random() < 0.4:
        told["delivery"] = {"method": chance.choice(seen.delivery).key, "to": "4 Tide Row"}
    if seen.rush and chance.random() < 0.2:
        told["rush"] = True
    return told


def _quantities(seen: PublicOffer, chance: random.Random) -> list[int]:
    return chance.sample(range(seen.least_quantity, seen.greatest_quantity + 1), chance.randint(1, 3))


def _sometimes(told: Data, key: str, offered: Any, chance: random.Random, often: float = 0.6) -> None:
    if offered and chance.random() < often:
        told[key] = chance.choice(list(offered))


def _envelope(seen: PublicOffer, stock: str, chance: random.Random) -> Data:
    told: Data = {"stock": stock, "spare": chance.randint(0, seen.most_spare_envelopes)}
    if seen.lining:
        told["lined"] = chance.random() < 0.5
    if seen.addressing:
        told["addressed"] = chance.random() < 0.5
    return told


def _side(seen: PublicOffer, chance: random.Random) -> Data:
    way = chance.choice(seen.printed_from)
    most = 1 if way == "own plate" else seen.most_colours_a_side
    inks = [one.key for one in chance.sample(seen.inks, chance.randint(1, most))]
    told: Data = {"printed_from": way, "inks": inks}
    if way == "words to set":
        told["lines"] = [{"text": chance.choice(WORDS), "ink": ink} for ink in inks]
        return told
    if way == "own plate":
        told["plate"] = {"size": "40 x 30 mm", "thickness": "1.52 mm"}
    if way == "finished artwork":
        _sometimes(told, "artwork", seen.artwork, chance)
    _sometimes(told, "coverage", seen.coverages, chance)
    return told


def _put(key: str, value: Any) -> Callable[[Data], None]:
    return lambda told: told.update({key: value})


SPOILS: dict[str, Callable[[Data], None]] = {
    "/product": _put("product", "spaceships"),
    "/quantities/0": lambda told: told["quantities"].__setitem__(0, 999_999),
    "/size": _put("size", "A barn door"),
    "/stock": _put("stock", "papyrus"),
    "/front/inks/0": lambda told: told["front"]["inks"].__setitem__(0, "ultraviolet"),
    "/impression": _put("impression", "hard"),
    "/corners": _put("corners", "scalloped"),
    "/edges": _put("edges", "plaid"),
    "/extras/0": _put("extras", ["Tied to a goose"]),
    "/pieces/0/piece": _put("pieces", [{"piece": "Kite"}]),
    "/envelope/stock": _put("envelope", {"stock": "sack"}),
    "/delivery/method": _put("delivery", {"method": "balloon", "to": "the moon"}),
    "/delivery/to": lambda told: told.update(delivery={"method": "parcel", "to": " "}),
    "/unit_price": _put("unit_price", "0.01"),
    "/front/lines/0/text": lambda told: told["front"].update(
        printed_from="words to set", lines=[{"text": "a\nb"}, {"text": "c"}], inks=told["front"]["inks"][:1]
    ),
}
