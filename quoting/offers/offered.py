"""An offer as visitors see it: what they may choose, each thing under the name that the shop gives it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

from quoting.errors import Fault, NotOfferedError
from quoting.job import ClientPlate, HandSet, ReliefPlate, SameAsLastTime
from quoting.offer import Artwork, FoldedAlong, Offer, OfferedSize, OwnSize, Shape
from quoting.offers.choice import PrintedFrom
from quoting.operations.addressing import Addressing
from quoting.operations.corner_rounding import CornerRounding
from quoting.operations.edge_painting import EdgePainting
from quoting.operations.envelope_lining import EnvelopeLining
from quoting.rate_card import RateCard
from quoting.shop import Impression, ReadyCut
from quoting.units import Size

_FORMS: dict[PrintedFrom, type[Struct]] = {
    "words to set": HandSet,
    "finished artwork": ReliefPlate,
    "same as last time": SameAsLastTime,
    "own plate": ClientPlate,
}


class Named(Struct, frozen=True):
    """One of the card's own, and what visitors read of it."""

    key: str
    name: str


class SizeOffered(Struct, frozen=True, kw_only=True):
    """A size, the stocks it is made on, how it may be folded and which envelopes it goes into."""

    name: str
    size: str
    shape: Shape
    stocks: tuple[str, ...]
    flat: bool
    folds: tuple[FoldedAlong, ...]
    envelopes: tuple[Named, ...]


class PieceOffered(Struct, frozen=True):
    """A piece that may go with the product in sets."""

    name: str
    size: str
    per_set: int


class PublicOffer(Struct, frozen=True, kw_only=True):
    """All that a visitor is told of an offer. The first of each list is the usual one."""

    key: str
    name: str
    issued: str
    least_quantity: int
    greatest_quantity: int
    quantities: tuple[int, ...]
    sizes: tuple[SizeOffered, ...]
    own_size: tuple[str, str] | None
    stocks: tuple[Named, ...]
    advise: bool
    inks: tuple[Named, ...]
    most_colours_a_side: int
    back: bool
    impressions: tuple[Impression, ...]
    printed_from: tuple[PrintedFrom, ...]
    artwork: tuple[Artwork, ...]
    coverages: tuple[str, ...]
    founts: tuple[Named, ...]
    corners: bool
    edge_colours: tuple[str, ...]
    extras: tuple[str, ...]
    pieces: tuple[PieceOffered, ...]
    lining: bool
    addressing: bool
    most_spare_envelopes: int
    delivery: tuple[Named, ...]
    rush: bool


def public_offers(card: RateCard) -> tuple[PublicOffer, ...]:
    """Every offer of a card that leaves a visitor something to choose, in the card's order."""
    return tuple(public_offer(offer, card) for offer in card.offers if sizes_of(offer, card) or offer.own_size)


def offer_by_key(key: str, card: RateCard) -> Offer:
    """
    The offer that goes by a key.

    Raises:
        NotOfferedError: none does.
    """
    keys = {offer.key: offer for offer in card.offers if sizes_of(offer, card) or offer.own_size}
    if key not in keys:
        raise NotOfferedError([Fault("product", f"one of {', '.join(keys) or 'none'}", repr(key)[:60])])
    return keys[key]


def public_offer(offer: Offer, card: RateCard) -> PublicOffer:
    """An offer as visitors see it."""
    ways = ways_to_print(offer)
    from_plate, to_set = "finished artwork" in ways, "words to set" in ways
    return PublicOffer(
        key=offer.key,
        name=offer.name,
        issued=offer.issued,
        least_quantity=offer.least_quantity,
        greatest_quantity=offer.greatest_quantity,
        quantities=offer.quantities,
        sizes=tuple(_size(one, offer, card) for one in sizes_of(offer, card)),
        own_size=_written(offer.own_size),
        stocks=_named(stocks_of(offer, card), card.stocks),
        advise=offer.advise,
        inks=_named(offer.inks, card.inks),
        most_colours_a_side=min(offer.most_colours_a_side, len(offer.inks)),
        back=offer.back,
        impressions=offer.impressions,
        printed_from=ways,
        artwork=offer.artwork if from_plate else (),
        coverages=tuple(one.name for one in offer.coverages) if set(ways) != {"words to set"} else (),
        founts=_named(founts_of(offer, card), card.founts) if to_set else (),
        corners=has_work(offer, CornerRounding),
        edge_colours=edge_colours(offer),
        extras=tuple(one.name for one in offer.extras),
        pieces=tuple(PieceOffered(one.name, one.size.written, one.per_set) for one in offer.pieces),
        lining=has_work(offer, EnvelopeLining),
        addressing=has_work(offer, Addressing),
        most_spare_envelopes=offer.most_spare_envelopes,
        delivery=_named(offer.delivery, card.delivery),
        rush=offer.rush,
    )


def ways_to_print(offer: Offer) -> tuple[PrintedFrom, ...]:
    """What a side may print from, in the offer's order."""
    by_tag = {tag_of_kind(kind): way for way, kind in _FORMS.items()}
    measured = bool(offer.coverages)
    ways = [by_tag[form] for form in offer.forms if form in by_tag]
    return tuple(way for way in ways if measured or way == "words to set")


def tag_of_kind(kind: type[Struct]) -> str:
    """What a kind is called in the card and in a job."""
    return str(kind.__struct_config__.tag)


def has_work(offer: Offer, kind: type[Struct]) -> bool:
    """Whether a kind of finishing is offered."""
    return tag_of_kind(kind) in offer.finishing


def edge_colours(offer: Offer) -> tuple[str, ...]:
    """The colours that edges may be painted."""
    return offer.edge_colours if has_work(offer, EdgePainting) else ()


def founts_of(offer: Offer, card: RateCard) -> tuple[str, ...]:
    """The founts that words may be set in: those of the offer, or all of the card."""
    return offer.founts or tuple(card.founts)


def sizes_of(offer: Offer, card: RateCard) -> tuple[OfferedSize, ...]:
    """The sizes of an offer: those that it lists, or its ready-cut stocks as they come."""
    if offer.sizes:
        return offer.sizes
    ready = {name: card.stocks[name] for name in offer.stocks}
    return tuple(
        OfferedSize(name=stock.name, size=stock.size, shape=stock.shape, stocks=(name,))
        for name, stock in ready.items()
        if isinstance(stock, ReadyCut) and not stock.envelope_seam
    )


def stocks_of(offer: Offer, card: RateCard) -> tuple[str, ...]:
    """The stocks that a visitor may choose: those that a size of the offer is made on."""
    named = {name for size in sizes_of(offer, card) for name in stocks_for(size, offer, card)}
    return tuple(name for name in offer.stocks if name in named or (offer.own_size and fits_own_size(name, card)))


def stocks_for(size: OfferedSize, offer: Offer, card: RateCard) -> tuple[str, ...]:
    """The stocks that one size is made on: those it names, or each of the offer's that it can be."""
    if size.stocks:
        return size.stocks
    return tuple(name for name in offer.stocks if _can_be_made(size, card.stocks[name]))


def fits_own_size(name: str, card: RateCard) -> bool:
    """Whether a stock is cut to any size that a visitor names."""
    return not isinstance(card.stocks[name], ReadyCut)


def _can_be_made(size: OfferedSize, stock: Any) -> bool:
    if not isinstance(stock, ReadyCut):
        return True
    return not stock.envelope_seam and _sides(size.size) == _sides(stock.size) and size.shape == stock.shape


def _sides(size: Size) -> tuple[Any, Any]:
    return size.width_mm, size.height_mm


def _size(size: OfferedSize, offer: Offer, card: RateCard) -> SizeOffered:
    return SizeOffered(
        name=size.name,
        size=size.size.written,
        shape=size.shape,
        stocks=stocks_for(size, offer, card),
        flat=size.flat,
        folds=size.folds,
        envelopes=_named(size.envelopes, card.stocks),
    )


def _named(keys: Iterable[str], known: Mapping[str, Any]) -> tuple[Named, ...]:
    return tuple(Named(key, known[key].name) for key in keys)


def _written(bounds: OwnSize | None) -> tuple[str, str] | None:
    return None if bounds is None else (bounds.least.written, bounds.greatest.written)


def offered_extra(offer: Offer, name: str) -> tuple[Any, ...]:
    """The work behind the name of an extra."""
    return next(one.work for one in offer.extras if one.name == name)
