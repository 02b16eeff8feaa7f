"""What a shop owns and buys: people, machines, presses, stocks, inks, founts, plate suppliers."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from msgspec import Meta, Struct

from quoting.units import (
    TYPE_HEIGHT_MM,
    Amount,
    Area,
    Duration,
    Factor,
    Force,
    Grammage,
    Hours,
    Length,
    Mass,
    Pressure,
    Rise,
    Share,
    Size,
    Speed,
)

Name = Annotated[str, Meta(min_length=1, max_length=120)]
Text = Annotated[str, Meta(max_length=2000)]
Count = Annotated[int, Meta(ge=1, le=1_000_000)]
CountOrNone = Annotated[int, Meta(ge=0, le=1_000_000)]

Impression = Literal["kiss", "visible", "deep"]
Grain = Literal["long", "short", "none"]
FormKind = Literal["plate", "metal type", "wood type"]


class Person(Struct, frozen=True, forbid_unknown_fields=True):
    """Somebody whose hours are sold. A year's cost over a year's chargeable hours is the hour rate."""

    name: Name
    wage: Amount
    employer_charges: Amount
    holidays_and_sickness: Amount
    paid_hours: Hours
    chargeable: Share
    unpaid_because: Text = ""

    def __post_init__(self) -> None:
        if not self.wage and not self.unpaid_because:
            raise ValueError(
                "expected a wage (for the owner: what a hired hand would cost), or unpaid_because; found a wage of 0"
            )
        if not self.paid_hours or not self.chargeable:
            raise ValueError("expected paid_hours and chargeable over 0; found 0")

    @property
    def chargeable_hours(self) -> Decimal:
        """Hours a year that clients pay for. [h]"""
        return self.paid_hours * self.chargeable


class MachineYear(Struct, frozen=True, forbid_unknown_fields=True):
    """What a machine costs a year whether it runs or not, and the hours it runs."""

    depreciation: Amount
    rollers: Amount
    repairs: Amount
    power: Amount
    floor_space: Amount
    hours: Hours

    def __post_init__(self) -> None:
        if not self.hours:
            raise ValueError("expected hours over 0; found 0")

    @property
    def cost(self) -> Decimal:
        """All of it, a year."""
        return self.depreciation + self.rollers + self.repairs + self.power + self.floor_space


class Machine(Struct, frozen=True, forbid_unknown_fields=True):
    """A machine that is no press: a cutter, a creasing machine."""

    name: Name
    year: MachineYear


class Base(Struct, frozen=True, forbid_unknown_fields=True):
    """A metal base that plates are stuck to."""

    size: Size
    height: Length


class Press(Struct, frozen=True, forbid_unknown_fields=True):
    """
    A press: what it can feed and impress, how fast, and what ink it carries.

    ``speeds`` are by stock class, net of laying out and counting. Factors multiply the speed.
    """

    name: Name
    kind: Literal["hand-fed platen", "self-feeding platen", "flat bed, hand-inked"]
    least_sheet: Size
    greatest_sheet: Size
    chase: Size
    pin_clearance: Length
    gripper: Length
    greatest_caliper: Length
    greatest_force: Force
    speeds: Annotated[dict[str, Speed], Meta(min_length=1)]
    treadle_factor: Factor
    close_register_factor: Factor
    double_rolled_factor: Factor
    round_blank_factor: Factor
    long_run_over: CountOrNone
    long_run_factor: Factor
    ink_carried: Mass
    usable_ink: Share
    dressing_ink: Mass
    ink_up: Duration
    year: MachineYear
    bases: tuple[Base, ...] = ()

    def __post_init__(self) -> None:
        factors = {
            "treadle_factor": self.treadle_factor,
            "close_register_factor": self.close_register_factor,
            "double_rolled_factor": self.double_rolled_factor,
            "round_blank_factor": self.round_blank_factor,
            "long_run_factor": self.long_run_factor,
        }
        for name, factor in factors.items():
            if not 0 < factor <= 1:
                raise ValueError(f"expected {name} over 0 and up to 1; found {factor.written}")
        if not self.ink_carried or not self.usable_ink:
            raise ValueError("expected ink_carried and usable_ink over 0; found 0")


class SpoilageBand(Struct, frozen=True, forbid_unknown_fields=True):
    """A running spoilage for the good sheets above a mark; bands are marginal, as tax bands are."""

    above: CountOrNone
    rate: Share

    def __post_init__(self) -> None:
        if self.rate >= Decimal("0.9"):
            raise ValueError(f"expected a rate under 90 %; found {self.rate.written}")


class StockClass(Struct, frozen=True, forbid_unknown_fields=True):
    """How a kind of stock behaves: on the press, under the knife, under ink."""

    name: Name
    film_factor: Factor
    lift: Length
    running_spoilage: Annotated[tuple[SpoilageBand, ...], Meta(min_length=1)]
    wet_share: Share
    pressure: dict[Impression, Pressure]
    deep_make_ready: bool = False

    def __post_init__(self) -> None:
        marks = [band.above for band in self.running_spoilage]
        if marks[0] != 0 or sorted(set(marks)) != marks:
            raise ValueError(f"expected spoilage bands rising from above = 0; found {marks}")
        if not self.lift:
            raise ValueError("expected a lift over 0; found 0")


class PriceBand(Struct, frozen=True, forbid_unknown_fields=True):
    """A price that holds from a number of sheets or blanks bought together."""

    at_least: Count
    price: Amount


PriceUnit = Literal["each", "hundred", "thousand", "ream", "pack", "100 lb", "tonne", "kg"]


class StockBase(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What parent sheets and ready-cut blanks have in common."""

    name: Name
    stock_class: Name
    size: Size
    grammage: Grammage
    caliper: Length
    pack: Count
    price_unit: PriceUnit
    prices: Annotated[tuple[PriceBand, ...], Meta(min_length=1)]
    supply: Literal["house", "ordered"]
    usual_order: Count = 1
    least_order: Count = 1
    carriage_in: Amount
    prices_include_tax: bool = False
    dark: bool = False
    damped: bool = False

    def __post_init__(self) -> None:
        marks = [band.at_least for band in self.prices]
        if marks[0] != 1 or sorted(set(marks)) != marks:
            raise ValueError(f"expected price bands rising from at_least = 1; found {marks}")
        if not self.caliper or not self.grammage:
            raise ValueError("expected caliper and grammage over 0; found 0")


class ParentSheets(
    StockBase, frozen=True, forbid_unknown_fields=True, tag="parent sheets", tag_field="kind", kw_only=True
):
    """Sheets bought large and cut down. ``grain`` runs along the long or the short side, or does not matter."""

    grain: Grain
    mill_edge_trim: Length
    deckle: bool = False
    torn_by_hand: bool = False


class ReadyCut(StockBase, frozen=True, forbid_unknown_fields=True, tag="ready-cut", tag_field="kind", kw_only=True):
    """Blanks fed as they come: coaster boards, cards, envelopes."""

    shape: Literal["rectangular", "round", "die-cut"] = "rectangular"
    envelope_seam: bool = False
    variance: Length


Stock = ParentSheets | ReadyCut


class Ink(Struct, frozen=True, forbid_unknown_fields=True):
    """
    An ink from the shelf or mixed. ``shade`` says what it asks of a wash-up.

    ``hits``: passes that it takes to cover, each dried before the next; metallics and opaques want two.
    """

    name: Name
    shade: Name
    price: Amount
    price_mass: Mass
    mixing: Name
    least_charge: Amount
    film_factor: Factor
    pale: bool = False
    opaque: bool = False
    hits: Annotated[int, Meta(ge=1, le=3)] = 1

    def __post_init__(self) -> None:
        if not self.price_mass or not self.film_factor:
            raise ValueError("expected price_mass and film_factor over 0; found 0")


class SetWidth(Struct, frozen=True, forbid_unknown_fields=True):
    """Characters, and ligatures, that are cast to one width."""

    width: Length
    characters: Annotated[str, Meta(max_length=500)] = ""
    ligatures: tuple[Annotated[str, Meta(min_length=2, max_length=8)], ...] = ()

    def __post_init__(self) -> None:
        if not self.width:
            raise ValueError("expected a width over 0; found 0")

    @property
    def sorts(self) -> tuple[str, ...]:
        """Each of them."""
        return (*self.characters, *self.ligatures)


class WordsASquareInch(Struct, frozen=True, forbid_unknown_fields=True):
    """Words that fill a square inch, set solid and leaded two points: a handbook's table."""

    solid: Factor
    leaded: Factor


class Fount(Struct, frozen=True, forbid_unknown_fields=True):
    """
    A fount of metal or wood type.

    ``average_set`` is the mean width of its characters as a share of the body; ``share_inked``
    is what prints of the letters' own bodies. ``set_widths`` are what its characters measure, and
    ``characters_a_pica`` how many go to a pica where they are not listed. ``face`` names what its
    sizes have in common. ``scheme`` counts what the case holds, ``damaged`` what of it is unfit;
    ``alternates`` name what may stand in for a sort; ``spaces`` what its spaces measure, where they
    are not cast to the nearest half point.
    """

    name: Name
    material: Literal["metal", "wood"]
    body: Length
    average_set: Share
    share_inked: Share
    ems_an_hour: Speed
    height: Length | None = None
    scarce: bool = False
    scheme: dict[str, CountOrNone] = {}
    face: Text = ""
    set_widths: tuple[SetWidth, ...] = ()
    characters_a_pica: Factor | None = None
    words_a_square_inch: WordsASquareInch | None = None
    ligatures: tuple[Annotated[str, Meta(min_length=2, max_length=8)], ...] = ()
    damaged: dict[str, CountOrNone] = {}
    alternates: dict[str, tuple[Name, ...]] = {}
    spaces: dict[str, Length] = {}

    def __post_init__(self) -> None:
        listed = [sort for row in self.set_widths for sort in row.sorts]
        twice = sorted({sort for sort in listed if listed.count(sort) > 1})
        if twice:
            raise ValueError(f"expected each character in set_widths once; found {', '.join(twice)} again")
        unowned = sorted(sort for sort, count in self.damaged.items() if count > self.scheme.get(sort, 0))
        if unowned:
            raise ValueError(f"expected at most the scheme's own count damaged; found more of {', '.join(unowned)}")
        named = {sort for sorts in self.alternates.values() for sort in sorts}
        unknown = sorted(named - self.scheme.keys())
        if unknown:
            raise ValueError(f"expected alternates that the scheme counts; found {', '.join(unknown)}")
        if self.characters_a_pica is not None and not self.characters_a_pica:
            raise ValueError("expected characters_a_pica over 0; found 0")

    @property
    def height_mm(self) -> Decimal:
        """Height to paper; .918 in unless the fount says otherwise. [mm]"""
        return TYPE_HEIGHT_MM if self.height is None else self.height.in_base_unit


class PlateSupplier(Struct, frozen=True, forbid_unknown_fields=True):
    """Who makes relief plates, and what an order costs whatever is in it."""

    name: Name
    price: Amount
    price_area: Area
    margin: Length
    base_charge: Amount
    least_charge: Amount
    carriage: Amount
    thickness: Length
    working_days: CountOrNone

    def __post_init__(self) -> None:
        if not self.price_area:
            raise ValueError("expected price_area over 0; found 0")


class MarkUps(Struct, frozen=True, forbid_unknown_fields=True):
    """What is put on each class of cost."""

    labour: Rise
    materials: Rise
    bought_in: Rise
