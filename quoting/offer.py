"""What a shop lets visitors ask for by themselves: its products, and what may be chosen of each."""

from __future__ import annotations

import re
import unicodedata
from typing import Annotated, Literal

from msgspec import Meta, Struct

from quoting.operations import Operation
from quoting.presswork import Register
from quoting.shop import Count, CountOrNone, Impression, Name
from quoting.units import Share, Size

FoldedAlong = Literal["long edge", "short edge"]
Artwork = Literal["to be made ready", "ready", "to be designed"]
Shape = Literal["rectangular", "round", "die-cut"]


class OfferedSize(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """
    A size of a product, as the client holds it: of a folded piece, folded.

    ``stocks`` are those of the offer that it is made on, all where none are named; ``folds`` the
    edges that a fold may lie along, ``flat`` whether it may also stay flat. ``work`` is what making
    it entails: a die for a shape.
    """

    name: Name
    size: Size
    shape: Shape = "rectangular"
    stocks: tuple[Name, ...] = ()
    folds: tuple[FoldedAlong, ...] = ()
    flat: bool = True
    envelopes: tuple[Name, ...] = ()
    work: tuple[Operation, ...] = ()

    def __post_init__(self) -> None:
        if not self.flat and not self.folds:
            raise ValueError("expected folds where it is not offered flat; found none")
        if self.folds and self.shape != "rectangular":
            raise ValueError(f"expected folds of a rectangular piece only; found them on {self.shape}")


class OwnSize(Struct, frozen=True, forbid_unknown_fields=True):
    """Bounds of a rectangular size that visitors name themselves; either way round."""

    least: Size
    greatest: Size


class Coverage(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """
    How much of a piece prints, as a visitor would say it.

    ``form_share``: of the piece's width, and of its height, that the form takes; ``share_inked`` of the form.
    """

    name: Name
    form_share: Share
    share_inked: Share
    bleed: bool = False

    def __post_init__(self) -> None:
        if not self.share_inked or not self.form_share:
            raise ValueError("expected form_share and share_inked over 0 %; found 0 %")
        if self.bleed and self.form_share != 1:
            raise ValueError(f"expected a form_share of 100 % of what bleeds; found {self.form_share.written}")


class ExtraWork(Struct, frozen=True, forbid_unknown_fields=True):
    """Something more that may be done to the product, under a name that visitors understand."""

    name: Name
    work: Annotated[tuple[Operation, ...], Meta(min_length=1, max_length=6)]


class FurtherPiece(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """A piece that goes with the product in sets: a reply card. Without ``stock`` it is on the product's own."""

    name: Name
    size: Size
    stock: Name | None = None
    per_set: Count = 1


class Offer(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What the public form may ask for, and who issues the quotation.

    The first of each list is what is taken where a visitor does not say. Without ``sizes`` the
    product is its ready-cut stocks, each in its own size. ``quantities`` are usual ones, priced
    beside what is asked; ``most_spare_envelopes`` go beyond one a piece. Where ``advise`` is set, a
    visitor may leave the stock to the shop. ``delivery`` names ways of the card's; collecting is
    always offered.
    """

    name: Name
    stocks: Annotated[tuple[Name, ...], Meta(min_length=1)]
    inks: Annotated[tuple[Name, ...], Meta(min_length=1)]
    impressions: Annotated[tuple[Impression, ...], Meta(min_length=1)]
    forms: Annotated[tuple[Name, ...], Meta(min_length=1)]
    finishing: tuple[Name, ...] = ()
    most_colours_a_side: Count
    least_quantity: Count
    greatest_quantity: Count
    issued: Literal["at once", "by the owner"]
    sizes: Annotated[tuple[OfferedSize, ...], Meta(max_length=60)] = ()
    own_size: OwnSize | None = None
    quantities: Annotated[tuple[Count, ...], Meta(max_length=20)] = ()
    coverages: Annotated[tuple[Coverage, ...], Meta(max_length=12)] = ()
    artwork: Annotated[tuple[Artwork, ...], Meta(min_length=1)] = ("to be made ready",)
    founts: tuple[Name, ...] = ()
    plate_supplier: Name | None = None
    back: bool = True
    register: Register = "loose"
    edge_colours: Annotated[tuple[Name, ...], Meta(max_length=40)] = ()
    extras: Annotated[tuple[ExtraWork, ...], Meta(max_length=20)] = ()
    pieces: Annotated[tuple[FurtherPiece, ...], Meta(max_length=10)] = ()
    most_spare_envelopes: CountOrNone = 0
    advise: bool = False
    rush: bool = False
    delivery: tuple[Name, ...] = ()
    order: Name = "plain"

    def __post_init__(self) -> None:
        if self.least_quantity > self.greatest_quantity:
            raise ValueError(
                f"expected least_quantity up to greatest_quantity; found {self.least_quantity}"
                f" over {self.greatest_quantity}"
            )
        outside = [one for one in self.quantities if not self.least_quantity <= one <= self.greatest_quantity]
        if outside or sorted(set(self.quantities)) != list(self.quantities):
            raise ValueError(f"expected rising quantities within the offer's bounds; found {list(self.quantities)}")
        for what in ("sizes", "coverages", "extras", "pieces"):
            names = [one.name for one in getattr(self, what)]
            if len(set(names)) != len(names):
                raise ValueError(f"expected {what} of different names; found {names}")

    @property
    def key(self) -> str:
        """What it goes by in an address: its name in small letters, digits and hyphens."""
        plain = unicodedata.normalize("NFKD", self.name).encode("ascii", "ignore").decode().lower()
        return re.sub("[^a-z0-9]+", "-", plain).strip("-")
