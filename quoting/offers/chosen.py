"""A choice with everything filled in that the visitor left to the offer."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Literal

from msgspec.structs import replace

from quoting.artwork import Artwork
from quoting.job import Fold
from quoting.offer import FoldedAlong, Offer, OfferedSize
from quoting.offers.choice import ADVISE_ME, Choice, PrintedFrom, SideChoice
from quoting.offers.offered import fits_own_size, sizes_of, stocks_for, ways_to_print
from quoting.rate_card import RateCard
from quoting.shop import Impression
from quoting.units import MM_PER_INCH, Size, as_told, in_millimetres

Measured = Mapping[str, Artwork]
"""What each ``artwork_file`` of a choice measures."""
NONE_MEASURED: Measured = {}


class Chosen:
    """What a choice comes to; each answer supposes that those before it are offered."""

    def __init__(self, choice: Choice, offer: Offer, card: RateCard, artwork: Measured = NONE_MEASURED) -> None:
        self.choice, self.offer, self.card, self.artwork = choice, offer, card, artwork

    @property
    def size(self) -> OfferedSize | None:
        """The size it is made in: the one named, of one's own, or the usual; None where that is not offered."""
        choice, listed = self.choice, sizes_of(self.offer, self.card)
        if choice.own_size is not None:
            return OfferedSize(name=choice.own_size.written, size=choice.own_size)
        if choice.size is None:
            return listed[0] if listed else None
        return next((one for one in listed if one.name == choice.size), None)

    @property
    def stocks(self) -> tuple[str, ...]:
        """The stocks that its size is made on."""
        size = self.size
        if size is None:
            return self.offer.stocks
        if self.choice.own_size is not None:
            return tuple(name for name in self.offer.stocks if fits_own_size(name, self.card))
        return stocks_for(size, self.offer, self.card)

    @property
    def is_advised(self) -> bool:
        """Whether the stock is left to the shop."""
        return self.choice.stock == ADVISE_ME

    @property
    def stock(self) -> str:
        """The stock it is priced on: the first of its size where the visitor does not say."""
        named = self.choice.stock
        return self.stocks[0] if named is None or self.is_advised else named

    @property
    def name(self) -> str:
        """What the product is called: by the size that was named for it, else by the offer."""
        size = self.size
        named = size is not None and self.choice.own_size is None and self.offer.sizes
        return size.name if size and named else self.offer.name

    def like_front(self, side: SideChoice) -> SideChoice:
        """Another side than the product's front: where it names no ink, it is printed in the front's first."""
        ink = inks_of(self.choice.front, self.offer)[0]
        return side if side.inks or ink not in self.offer.inks else replace(side, inks=(ink,))

    @property
    def impression(self) -> Impression:
        """How deep it bites."""
        return self.choice.impression or self.offer.impressions[0]

    @property
    def folded(self) -> FoldedAlong | Literal["flat"]:
        """How it is folded: flat where that is offered and nothing else is said."""
        size = self.size
        return self.choice.folded or ("flat" if size is None or size.flat else size.folds[0])


def inks_of(side: SideChoice, offer: Offer) -> tuple[str, ...]:
    """The inks of a side: the usual one where none is named."""
    return side.inks or offer.inks[:1]


def way_of(side: SideChoice, offer: Offer) -> PrintedFrom | None:
    """What a side prints from: words where lines are told, else the offer's usual; None where it has none."""
    ways = ways_to_print(offer)
    if side.printed_from is not None:
        return side.printed_from
    if side.lines and "words to set" in ways:
        return "words to set"
    return ways[0] if ways else None


def opened_out(piece: Size, folded: FoldedAlong | Literal["flat"]) -> tuple[Size, Fold | None]:
    """The flat sheet of a piece that is folded once along one of its edges, and the fold as a job tells it."""
    if folded == "flat":
        return piece, None
    wide, high = piece.width_mm, piece.height_mm
    along_width = (wide >= high) == (folded == "long edge")
    flat = (wide, 2 * high) if along_width else (2 * wide, high)
    edge = wide if along_width else high
    return _size(*flat, like=piece), Fold(along="short side" if edge == min(flat) else "long side")


def form_within(piece: Size, share: Decimal) -> Size:
    """The form that takes a share of a piece's width and of its height, to a tenth of a millimetre."""
    if share == 1:
        return piece
    return Size(f"{in_millimetres(piece.width_mm * share)} x {in_millimetres(piece.height_mm * share)} mm")


def _size(width_mm: Decimal, height_mm: Decimal, *, like: Size) -> Size:
    """A size in the unit of another; a 64th of an inch has six places."""
    if like.is_in_inches:
        wide, high = (as_told(one / MM_PER_INCH, places=6) for one in (width_mm, height_mm))
        return Size(f"{wide} x {high} in")
    return Size(f"{as_told(width_mm, places=7)} x {as_told(height_mm, places=7)} mm")
