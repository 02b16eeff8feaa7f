"""The JSON Schema of a choice of one offer: what a form is drawn from, and what a request is held to."""

from __future__ import annotations

from typing import Any

from quoting.offer import Offer
from quoting.offers.choice import ADVISE_ME, COLLECT, MOST_LINES, MOST_QUANTITIES, Choice
from quoting.offers.offered import PublicOffer, SizeOffered, public_offer
from quoting.rate_card import RateCard
from quoting.reader import json_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Schema = dict[str, Any]


def choice_schema(offer: Offer, card: RateCard) -> Schema:
    """
    The JSON Schema (2020-12) of a choice of one offer.

    A property is there only where its answer changes something. ``default`` is what is taken where a
    visitor does not say; ``oneOf`` with ``const`` and ``title`` tells a key and its name.
    """
    seen = public_offer(offer, card)
    properties = {name: told for name, told in _properties(seen).items() if told is not None}
    return {
        "$schema": DIALECT,
        "title": seen.name,
        "type": "object",
        "additionalProperties": False,
        "required": ["product", "quantities", *([] if seen.sizes else ["own_size"])],
        "properties": properties,
        "allOf": _sizes_rule(seen),
        "$defs": _definitions(seen),
    }


def _properties(seen: PublicOffer) -> dict[str, Schema | None]:
    whole = json_schema(Choice)["$defs"]
    plain: dict[str, Schema] = whole["Choice"]["properties"]
    sizes = {one.name: one for one in seen.sizes}
    folds = [*(fold for one in seen.sizes for fold in _folds(one)), *(["flat"] if seen.own_size else [])]
    return {
        "product": {"const": seen.key},
        "quantities": _quantities(seen),
        "size": _choice({name: f"{name}, {one.size}" for name, one in sizes.items()}),
        "own_size": plain["own_size"] if seen.own_size else None,
        "stock": _choice(_names(seen.stocks) | ({ADVISE_ME: ADVISE_ME} if seen.advise else {})),
        "front": {"$ref": "#/$defs/side"},
        "back": {"$ref": "#/$defs/further_side"} if seen.back else None,
        "impression": _choice({one: one for one in seen.impressions}),
        "folded": _choice({one: one for one in folds}) if set(folds) - {"flat"} else {"const": "flat"},
        "corners": {"enum": ["square", "rounded"], "default": "square"} if seen.corners else {"const": "square"},
        "edges": {"enum": [*seen.edge_colours, None], "default": None} if seen.edge_colours else None,
        "extras": _list({"enum": list(seen.extras)}, len(seen.extras)) if seen.extras else None,
        "pieces": _list({"$ref": "#/$defs/piece"}, len(seen.pieces)) if seen.pieces else None,
        "envelope": {"oneOf": [{"type": "null"}, {"$ref": "#/$defs/envelope"}]} if _envelopes(seen) else None,
        "needed_by": plain["needed_by"],
        "rush": {"type": "boolean", "default": False} if seen.rush else {"const": False},
        "delivery": {"$ref": "#/$defs/delivery"},
        "contact": {"$ref": "#/$defs/contact"},
        "title": plain["title"],
        "reference": plain["reference"],
        "notes": plain["notes"],
    }


def _quantities(seen: PublicOffer) -> Schema:
    return {
        "type": "array",
        "minItems": 1,
        "maxItems": MOST_QUANTITIES,
        "uniqueItems": True,
        "items": {"type": "integer", "minimum": seen.least_quantity, "maximum": seen.greatest_quantity},
        "examples": [[one] for one in seen.quantities],
    }


def _choice(named: dict[str, str]) -> Schema | None:
    """One of several, told by key and name; nothing where there is nothing to choose from."""
    if not named:
        return None
    return {"oneOf": [{"const": key, "title": name} for key, name in named.items()], "default": next(iter(named))}


def _names(named: Any) -> dict[str, str]:
    return {one.key: one.name for one in named}


def _list(items: Schema, most: int) -> Schema:
    return {"type": "array", "items": items, "maxItems": most, "uniqueItems": True, "default": []}


def _folds(size: SizeOffered) -> list[str]:
    return [*(["flat"] if size.flat else []), *size.folds]


def _envelopes(seen: PublicOffer) -> dict[str, str]:
    return {one.key: one.name for size in seen.sizes for one in size.envelopes}


def _sizes_rule(seen: PublicOffer) -> list[Schema]:
    """What a size allows: its stocks, folds and envelopes; of the usual one where none is named."""
    rules: list[Schema] = []
    for place, size in enumerate(seen.sizes):
        named: Schema = {"properties": {"size": {"const": size.name}, "own_size": False}}
        if place:
            named["required"] = ["size"]
        stocks = [*size.stocks, *([ADVISE_ME] if seen.advise else [])]
        allowed: Schema = {"stock": {"enum": stocks}, "folded": {"enum": _folds(size)}}
        keys = [one.key for one in size.envelopes]
        if _envelopes(seen):
            chosen = {"type": "object", "properties": {"stock": {"enum": keys}}}
            allowed["envelope"] = {"oneOf": [{"type": "null"}, chosen]} if keys else {"type": "null"}
        if size.shape != "rectangular":
            allowed["corners"] = {"const": "square"}
        rules.append({"if": named, "then": {"properties": allowed}})
    if seen.own_size:
        own: Schema = {"properties": {"size": False, "folded": {"enum": ["flat"]}, "envelope": {"type": "null"}}}
        rules.append({"if": {"required": ["own_size"]}, "then": own})
    return rules


def _definitions(seen: PublicOffer) -> dict[str, Schema]:
    whole = json_schema(Choice)["$defs"]
    told: dict[str, Schema] = {"side": _side(seen, whole), "delivery": _delivery(seen, whole)}
    told["further_side"] = _side(seen, whole, like_front=True)
    told["contact"] = whole["Contact"]
    told["line"] = _line(seen, whole)
    if "own plate" in seen.printed_from:
        told["plate"] = whole["OwnPlate"]
    if seen.pieces:
        piece = _choice({one.name: f"{one.name}, {one.size}" for one in seen.pieces})
        told["piece"] = _object({"piece": piece, "front": {"$ref": "#/$defs/further_side"}}, ["piece"])
    if _envelopes(seen):
        told["envelope"] = _envelope(seen)
    return told


def _object(properties: dict[str, Schema | None], required: list[str]) -> Schema:
    kept = {name: told for name, told in properties.items() if told is not None}
    return {"type": "object", "additionalProperties": False, "required": required, "properties": kept}


def _side(seen: PublicOffer, whole: dict[str, Schema], *, like_front: bool = False) -> Schema:
    """A printed side; any but the product's front is, where nothing is said, in the front's first ink."""
    ways = seen.printed_from
    inks = {"type": "array", "items": _choice(_names(seen.inks)), "maxItems": seen.most_colours_a_side}
    side = _object(
        {
            "inks": {**inks, "uniqueItems": True, **({} if like_front else {"default": [seen.inks[0].key]})},
            "printed_from": _choice({one: one for one in ways}),
            "lines": {"type": "array", "items": {"$ref": "#/$defs/line"}, "maxItems": MOST_LINES},
            "artwork": _choice({one: one for one in seen.artwork}),
            "coverage": _choice({one: one for one in seen.coverages}),
            "plate": {"$ref": "#/$defs/plate"} if "own plate" in ways else None,
            "artwork_file": _told(whole, "artwork_file") if "finished artwork" in ways else None,
        },
        [],
    )
    side["allOf"] = [_way_rule(way, usual=way == ways[0]) for way in ways]
    return side


def _told(whole: dict[str, Schema], name: str) -> Schema:
    """What a side may be told under a name, where it is told anything."""
    told: list[Schema] = whole["SideChoice"]["properties"][name]["anyOf"]
    return next(one for one in told if one != {"type": "null"})


def _way_rule(way: str, *, usual: bool) -> Schema:
    """What goes with what a side prints from; lines alone mean words to set."""
    named: Schema = {"properties": {"printed_from": {"const": way}}}
    if not usual:
        named["required"] = ["printed_from"]
    needs = {"words to set": ["lines"], "own plate": ["plate"]}.get(way, [])
    unfit = [
        *(["lines"] if way != "words to set" else ["coverage"]),
        *(["artwork", "artwork_file"] if way != "finished artwork" else []),
        *(["plate"] if way != "own plate" else []),
    ]
    then: Schema = {"required": needs, "properties": dict.fromkeys(unfit, False)}
    if way == "words to set":
        then["properties"]["lines"] = {"minItems": 1}
    if way == "own plate":
        then["properties"]["inks"] = {"maxItems": 1}
    return {"if": named, "then": then}


def _line(seen: PublicOffer, whole: dict[str, Schema]) -> Schema:
    text = whole["LineChoice"]["properties"]["text"]
    founts, inks = _choice(_names(seen.founts)), _choice(_names(seen.inks))
    for told in (founts, inks):
        if told is not None:
            told.pop("default")
    return _object({"text": text, "fount": founts, "ink": inks}, ["text"])


def _envelope(seen: PublicOffer) -> Schema:
    flag: Schema = {"type": "boolean", "default": False}
    spare = {"type": "integer", "minimum": 0, "maximum": seen.most_spare_envelopes, "default": 0}
    return _object(
        {
            "stock": _choice(_envelopes(seen)),
            "lined": flag if seen.lining else None,
            "addressed": flag if seen.addressing else None,
            "spare": spare if seen.most_spare_envelopes else None,
            "front": {"oneOf": [{"type": "null"}, {"$ref": "#/$defs/further_side"}]},
        },
        ["stock"],
    )


def _delivery(seen: PublicOffer, whole: dict[str, Schema]) -> Schema:
    to = whole["DeliveryChoice"]["properties"]["to"]
    told = _object({"method": _choice({COLLECT: COLLECT} | _names(seen.delivery)), "to": to}, [])
    sent: Schema = {"properties": {"method": {"not": {"const": COLLECT}}}, "required": ["method"]}
    told["allOf"] = [{"if": sent, "then": {"required": ["to"], "properties": {"to": {"pattern": r"\S"}}}}]
    return told
