"""The rate card: what the shop has, how fast it works, what it charges. Read whole or refused whole."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from msgspec import Meta, Struct, field

from quoting import reader
from quoting.bench.composing import ComposingRates
from quoting.bench.cutting_paper import CuttingRates
from quoting.bench.handling import HandlingRates
from quoting.bench.inking import InkingRates
from quoting.bench.make_ready import MakeReadyRates
from quoting.bench.packing import DeliveryMethod, PackingRates
from quoting.bench.prepress import PrepressRates
from quoting.bench.running import RunningRates
from quoting.bench.stone import StoneRates
from quoting.bench.washing_up import CLEAN, WashingUpRates
from quoting.errors import Fault, InputError, RateCardError, shown
from quoting.money import round_amount, round_rate
from quoting.numbers import in_engine_context
from quoting.offer import Offer
from quoting.operations import OperationRates
from quoting.shop import (
    Count,
    CountOrNone,
    Fount,
    Ink,
    Machine,
    MachineYear,
    MarkUps,
    Name,
    Person,
    PlateSupplier,
    Press,
    Stock,
    StockClass,
    Text,
)
from quoting.units import Amount, Factor, Hours, Length, Rise, Share

FORMAT = 1
MINUTES_AN_HOUR = Decimal(60)


class CardHead(Struct, frozen=True, forbid_unknown_fields=True):
    """What the card is called, which version it is, and since when it holds."""

    name: Name
    version: Name
    holds_from: datetime.date


class Letterhead(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a client sees of the shop."""

    name: Name
    strapline: Text = ""
    address: Annotated[tuple[Name, ...], Meta(min_length=1, max_length=6)]
    email: Name
    telephone: Text = ""
    website: Text = ""
    tax_number: Text = ""
    payment: Annotated[tuple[Name, ...], Meta(max_length=6)] = ()
    terms: Annotated[tuple[Text, ...], Meta(max_length=12)] = ()


class Region(Struct, frozen=True, forbid_unknown_fields=True):
    """Money, language, paper and time of the shop."""

    currency: Annotated[str, Meta(pattern=r"^[A-Z]{3}\Z")]
    locale: Annotated[str, Meta(pattern=r"^[a-z]{2}-[A-Z]{2}\Z")]
    lengths: Literal["mm", "in"]
    paper: Literal["A4", "Letter"]
    time_zone: Name

    def __post_init__(self) -> None:
        try:
            ZoneInfo(self.time_zone)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError(f"expected a time zone such as 'Europe/London'; found {self.time_zone!r}") from error


Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class WorkingDays(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """
    Hours of a day at the bench and at a press, days the shop is closed, days before a job is begun.

    ``rush_lead_days`` are the days before a rush is begun; as many as of any job where left out.
    """

    bench_hours: Hours
    press_hours: Hours
    closed: tuple[Weekday, ...]
    closed_on: tuple[datetime.date, ...]
    lead_days: CountOrNone
    rush_lead_days: CountOrNone | None = None

    def __post_init__(self) -> None:
        if self.rush_lead_days is not None and self.rush_lead_days > self.lead_days:
            raise ValueError(f"expected rush_lead_days up to lead_days; found {self.rush_lead_days}")
        if not 0 < self.press_hours <= self.bench_hours <= 24:
            raise ValueError("expected 0 < press_hours <= bench_hours <= 24 h; found otherwise")
        if len(set(self.closed)) > 6:
            raise ValueError("expected a day of the week that is open; found none")


class WorkedBy(Struct, frozen=True, forbid_unknown_fields=True):
    """Who works at each bench: names of people in the card."""

    handling: Name
    prepress: Name
    composing: Name
    stone: Name
    presswork: Name
    cutting: Name
    finishing: Name
    packing: Name


class SpoilageRates(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    Set-up sheets of a pass by kind of form, what a register colour adds, and the least for a job.

    ``rule``: counts are worked backwards through every step, or, as the handbooks' additive rule has
    it, the shares of all steps are added up and taken of the number wanted.
    """

    set_up_plate: CountOrNone
    set_up_metal: CountOrNone
    set_up_wood: CountOrNone
    set_up_register: CountOrNone
    set_up_again: Literal["spoiled sheets used again", "fresh sheets each pass"]
    register_colour: Share
    rule: Literal["backwards", "additive"] = "backwards"
    least_pieces: CountOrNone
    least_share: Share

    def __post_init__(self) -> None:
        if self.register_colour >= Decimal("0.1"):
            raise ValueError(f"expected register_colour under 10 %; found {self.register_colour.written}")


class Limits(Struct, frozen=True, forbid_unknown_fields=True):
    """
    Bounds of good practice that the shop holds to.

    ``die_web``: board left between two pieces that a die cuts out of one sheet. ``thinnest_turned``:
    thinner sheets are not turned to print both sides from one form.
    """

    bleed: Length
    type_height_tolerance: Length
    large_form_warning: Share
    force_warning: Share
    thin_stock: Length
    die_web: Length = field(default_factory=lambda: Length("3 mm"))
    thinnest_turned: Length = field(default_factory=lambda: Length("0 mm"))


class Rounding(Struct, frozen=True, forbid_unknown_fields=True):
    """To what step, which way, and of what a price is rounded."""

    step: Amount
    way: Literal["nearest", "up"]
    of: Literal["total", "unit price"]

    def __post_init__(self) -> None:
        if not self.step:
            raise ValueError("expected a step over 0; found 0")


class RushBand(Struct, frozen=True, forbid_unknown_fields=True):
    """What a rush puts on the shop's own work where at most so many working days are left."""

    days_left: CountOrNone
    rise: Rise


class Pricing(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    What is put on the cost: exactly one of ``mark_ups``, ``target_margin`` and ``hour_target``.

    ``hour_target`` is what an hour at a press must earn: price less everything paid to others.
    ``rush_by_days`` says more of a rush than ``rush`` does, which holds past its last band.
    """

    mark_ups: MarkUps | None = None
    target_margin: Share | None = None
    hour_target: Amount | None = None
    rush_by_days: tuple[RushBand, ...] = ()
    least_charge: Amount
    least_charge_item: Amount | None = None
    least_margin: Share
    rush: Share
    discounts: dict[Name, Share] = {}
    payment_fee_share: Share
    payment_fee_fixed: Amount
    commission: Share
    rounding: Rounding
    deposit: Share
    valid_days: Count
    overs_and_unders: Share

    def __post_init__(self) -> None:
        ways = [name for name in _WAYS_TO_PRICE if getattr(self, name) is not None]
        if len(ways) != 1:
            raise ValueError(
                f"expected exactly one of {', '.join(_WAYS_TO_PRICE)}; found {' and '.join(ways) or 'none'}"
            )
        marks = [band.days_left for band in self.rush_by_days]
        if sorted(set(marks)) != marks:
            raise ValueError(f"expected rush_by_days of rising days_left; found {marks}")
        for name, share in (("target_margin", self.target_margin), ("least_margin", self.least_margin)):
            if share is not None and share > Decimal("0.9"):
                raise ValueError(f"expected {name} up to 90 %; found {share.written}")
        if self.commission + 2 * self.payment_fee_share > Decimal("0.5"):
            raise ValueError("expected commission and payment fee under half the price; found more")


_WAYS_TO_PRICE = ("mark_ups", "target_margin", "hour_target")


class TaxKind(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    A tax other than the card's usual one, which an item or a job may ask for by name.

    ``reason`` is printed: why there is none on what is exempt, or that the client accounts for it.
    """

    category: Literal["standard", "zero", "exempt", "reverse charge", "outside scope"]
    rate: Share = field(default_factory=lambda: Share("0 %"))
    reason: Text = ""

    def __post_init__(self) -> None:
        if (self.category == "standard") != bool(self.rate):
            raise ValueError(f"expected a rate over 0 % just where the category is standard; found {self.rate}")
        if self.category in {"exempt", "reverse charge", "outside scope"} and not self.reason:
            raise ValueError(f"expected a reason for {self.category} (EN 16931, BR-E-10, BR-AE-10); found none")


class Tax(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    The shop's standing and rates. Local rules and an accountant come first.

    ``input_rate`` is what suppliers add to what the shop buys; ``kinds`` other taxes by name.
    """

    name: Name
    standing: Literal["input tax reclaimed", "input tax is a cost", "not registered"]
    rate: Share
    input_rate: Share
    prices_include_tax: bool = False
    delivery: Literal["with the goods", "own rate"] = "with the goods"
    delivery_rate: Share | None = None
    kinds: dict[Name, TaxKind] = {}

    def __post_init__(self) -> None:
        if (self.delivery == "own rate") != (self.delivery_rate is not None):
            raise ValueError("expected delivery_rate just where delivery has its own rate; found otherwise")
        if self.standing == "not registered" and self.rate:
            raise ValueError(f"expected a rate of 0 % of a shop that is not registered; found {self.rate.written}")
        if self.standing == "not registered" and any(kind.rate for kind in self.kinds.values()):
            raise ValueError("expected kinds without a rate of a shop that is not registered; found one")

    def cost_of(self, paid: Decimal, *, includes_tax: bool = False) -> Decimal:
        """What a purchase costs the shop, from a price with or without tax in it."""
        net = paid / (1 + self.input_rate) if includes_tax else paid
        return net if self.standing == "input tax reclaimed" else net * (1 + self.input_rate)


class RateCard(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Everything that a shop prices with."""

    format: Literal[1]
    card: CardHead
    letterhead: Letterhead
    region: Region
    working_days: WorkingDays
    general_expense: Amount
    people: Annotated[dict[Name, Person], Meta(min_length=1)]
    worked_by: WorkedBy
    machines: dict[Name, Machine]
    presses: Annotated[dict[Name, Press], Meta(min_length=1)]
    stock_classes: Annotated[dict[Name, StockClass], Meta(min_length=1)]
    stocks: Annotated[dict[Name, Stock], Meta(min_length=1)]
    inks: dict[Name, Ink]
    founts: dict[Name, Fount]
    plate_suppliers: dict[Name, PlateSupplier]
    handling: HandlingRates
    prepress: PrepressRates
    composing: ComposingRates
    stone: StoneRates
    make_ready: MakeReadyRates
    running: RunningRates
    inking: InkingRates
    washing_up: WashingUpRates
    cutting: CuttingRates
    finishing: tuple[OperationRates, ...]
    packing: PackingRates
    delivery: dict[Name, DeliveryMethod]
    spoilage: SpoilageRates
    limits: Limits
    pricing: Pricing
    tax: Tax
    offers: tuple[Offer, ...] = ()
    risk_common_factor: Factor
    risk_stock_prices: Factor = field(default_factory=lambda: Factor("1"))

    @property
    def content_hash(self) -> str:
        """SHA-256 of the card's content, comments and layout left out."""
        import hashlib

        return hashlib.sha256(reader.canonical_json(self)).hexdigest()

    def rates_of(self, kind: str) -> OperationRates | None:
        """What the card says of one finishing operation."""
        return next((rates for rates in self.finishing if tag_of(rates) == kind), None)

    def person_rate(self, person: str) -> Decimal:
        """
        An hour of somebody's: a year's cost over a year's chargeable hours, to 0.0001.

        General expense is shared over everybody by chargeable hours. No profit is in it.
        """
        someone = self.people[person]
        hours = sum((each.chargeable_hours for each in self.people.values()), Decimal(0))
        own = someone.wage + someone.employer_charges + someone.holidays_and_sickness
        return round_rate(own / someone.chargeable_hours + self.general_expense / hours)

    def machine_year(self, machine: str) -> MachineYear:
        """A year of a press or of another machine."""
        return (self.presses.get(machine) or self.machines[machine]).year

    def machine_rate(self, machine: str | None) -> Decimal:
        """An hour of a machine's: a year's cost over the hours it runs, to 0.0001; 0 for none."""
        if machine is None:
            return Decimal(0)
        year = self.machine_year(machine)
        return round_rate(year.cost / year.hours)

    def year_reconciled(self) -> tuple[Decimal, Decimal]:
        """
        Hours sold at their rates over a year, and the year's cost; they differ by rounding alone.

        Everybody's hours are counted once, at however many benches they are worked.
        """
        sold = sum(
            (person.chargeable_hours * self.person_rate(name) for name, person in self.people.items()),
            Decimal(0),
        )
        spent = self.general_expense + sum(
            (person.wage + person.employer_charges + person.holidays_and_sickness for person in self.people.values()),
            Decimal(0),
        )
        for name in (*self.presses, *self.machines):
            year = self.machine_year(name)
            sold += year.hours * self.machine_rate(name)
            spent += year.cost
        return sold, spent


def tag_of(value: Any) -> str:
    """The kind that a tagged struct is written as."""
    return str(type(value).__struct_config__.tag)


@in_engine_context
def load_rate_card(path: Path | str) -> RateCard:
    """
    Read a rate card: one TOML file, or a folder of them that together make one.

    Raises:
        RateCardError: with every fault of it, each by file and key.
    """
    tables, files = _tables(Path(path))
    return _card_from(tables, files)


@in_engine_context
def rate_card_from(data: Mapping[str, Any]) -> RateCard:
    """
    A rate card from plain data.

    Raises:
        RateCardError: with every fault of it.
    """
    return _card_from(dict(data), {})


def _card_from(tables: dict[str, Any], files: dict[str, str]) -> RateCard:
    if tables.get("format") != FORMAT:
        found = shown(tables.get("format"))
        raise RateCardError([Fault("format", f"format = {FORMAT}", found, files.get("format", ""))])
    try:
        card = reader.convert(tables, RateCard)
    except InputError as error:
        raise RateCardError(_placed(fault, files) for fault in error.faults) from error
    faults = tuple(_placed(fault, files) for fault in card_faults(card))
    if faults:
        raise RateCardError(faults)
    return card


def _tables(path: Path) -> tuple[dict[str, Any], dict[str, str]]:
    """Every table of the card, and the file each came from; a key in two files is a fault."""
    names = sorted(path.glob("*.toml")) if path.is_dir() else [path]
    if not names:
        raise RateCardError([Fault(str(path), "TOML files in the folder", "none")])
    tables: dict[str, Any] = {}
    files: dict[str, str] = {}
    faults: list[Fault] = []
    for name in names:
        for key, value in _read(name, faults).items():
            if key in tables:
                faults.append(Fault(key, f"it in one file ({files[key]})", f"it in {name.name} too", name.name))
            tables[key], files[key] = value, name.name
    if faults:
        raise RateCardError(faults)
    return tables, files


def _read(name: Path, faults: list[Fault]) -> dict[str, Any]:
    try:
        return reader.toml_data(name.read_text(encoding="utf-8"), file=name.name)
    except InputError as error:
        faults.extend(error.faults)
    except (OSError, UnicodeDecodeError) as error:
        faults.append(Fault(str(name), "a readable TOML file", str(error), name.name))
    return {}


def _placed(fault: Fault, files: Mapping[str, str]) -> Fault:
    where = fault.where.removeprefix("$.")
    key = where.partition(".")[0].partition("[")[0]
    return Fault(where, fault.expected, fault.found, files.get(key, ""))


def card_faults(card: RateCard) -> Iterator[Fault]:
    """What the tables of a card say of each other that does not hold."""
    yield from _people_faults(card)
    yield from _stock_faults(card)
    yield from _ink_faults(card)
    yield from _finishing_faults(card)
    yield from _offer_faults(card)
    yield from _money_faults(card)


def _money_faults(card: RateCard) -> Iterator[Fault]:
    """Amounts that a client is charged are whole coins of the currency (ISO 4217)."""
    pricing, currency = card.pricing, card.region.currency
    charged = {"least_charge": pricing.least_charge, "least_charge_item": pricing.least_charge_item}
    charged["payment_fee_fixed"] = pricing.payment_fee_fixed
    if pricing.rounding.of == "total":
        charged["rounding.step"] = pricing.rounding.step
    for name, amount in charged.items():
        if amount is not None and amount != round_amount(amount.in_base_unit, currency):
            yield Fault(f"pricing.{name}", f"whole coins of {currency}", repr(amount.written))


def _known(where: str, names: Mapping[str, Any], name: str) -> Iterator[Fault]:
    if name not in names:
        yield Fault(where, f"one of {', '.join(names) or 'none'}", repr(name))


def _people_faults(card: RateCard) -> Iterator[Fault]:
    for bench in card.worked_by.__struct_fields__:
        yield from _known(f"worked_by.{bench}", card.people, getattr(card.worked_by, bench))
    yield from _known("cutting.cutter", card.machines, card.cutting.cutter)
    for name in card.machines.keys() & card.presses.keys():
        yield Fault(f"machines.{name}", "a name that no press has", repr(name))


def _stock_faults(card: RateCard) -> Iterator[Fault]:
    for name, stock in card.stocks.items():
        yield from _known(f"stocks.{name}.stock_class", card.stock_classes, stock.stock_class)
        if stock.price_unit == "pack" and stock.pack == 1:
            yield Fault(f"stocks.{name}.pack", "sheets in a pack over 1, as it is priced by the pack", "1")
    for name, press in card.presses.items():
        for stock_class in press.speeds:
            yield from _known(f"presses.{name}.speeds.{stock_class}", card.stock_classes, stock_class)


def _ink_faults(card: RateCard) -> Iterator[Fault]:
    shades = {ink.shade for ink in card.inks.values()}
    for name, ink in card.inks.items():
        yield from _known(f"inks.{name}.mixing", card.inking.mixing, ink.mixing)
    for before in sorted(shades):
        for after in [*sorted(shades), CLEAN]:
            if after not in card.washing_up.minutes.get(before, {}):
                yield Fault(f"washing_up.minutes.{before}.{after}", "minutes to wash up", "nothing")


def _finishing_faults(card: RateCard) -> Iterator[Fault]:
    kinds = [tag_of(rates) for rates in card.finishing]
    for place, rates in enumerate(card.finishing):
        if kinds.index(kinds[place]) != place:
            yield Fault(f"finishing[{place}].kind", "each kind once", repr(kinds[place]))
        machine = getattr(rates, "machine", None)
        if machine is not None:
            yield from _known(f"finishing[{place}].machine", {**card.machines, **card.presses}, machine)


def _offer_faults(card: RateCard) -> Iterator[Fault]:
    keys = [offer.key for offer in card.offers]
    for place, offer in enumerate(card.offers):
        where = f"offers[{place}]"
        if not keys[place] or keys.index(keys[place]) != place:
            yield Fault(f"{where}.name", "a name of its own, in letters or digits", repr(offer.name))
        for key, known in _names_of_offers(card).items():
            for name in getattr(offer, key):
                yield from _known(f"{where}.{key}", known, name)
        if offer.plate_supplier is not None:
            yield from _known(f"{where}.plate_supplier", card.plate_suppliers, offer.plate_supplier)
        if "plate" in offer.forms and not card.plate_suppliers:
            yield Fault(f"{where}.forms", "forms that the card can make: it has no plate supplier", "'plate'")
        if card.handling.orders:
            yield from _known(f"{where}.order", card.handling.orders, offer.order)
        yield from _piece_faults(where, offer, card)


def _names_of_offers(card: RateCard) -> dict[str, Mapping[str, Any]]:
    return {
        "stocks": card.stocks,
        "inks": card.inks,
        "founts": card.founts,
        "delivery": card.delivery,
        "finishing": dict.fromkeys(tag_of(rates) for rates in card.finishing),
    }


def _piece_faults(where: str, offer: Offer, card: RateCard) -> Iterator[Fault]:
    kinds = dict.fromkeys(tag_of(rates) for rates in card.finishing)
    for place, size in enumerate(offer.sizes):
        here = f"{where}.sizes[{place}]"
        for name in size.stocks:
            yield from _known(f"{here}.stocks", dict.fromkeys(offer.stocks), name)
        for name in size.envelopes:
            yield from _known(f"{here}.envelopes", card.stocks, name)
        yield from _work_faults(f"{here}.work", size.work, kinds)
        if size.folds:
            yield from _known(f"{here}.folds", dict.fromkeys(offer.finishing), "folding")
    for place, extra in enumerate(offer.extras):
        yield from _work_faults(f"{where}.extras[{place}].work", extra.work, kinds)
    for place, piece in enumerate(offer.pieces):
        if piece.stock is not None:
            yield from _known(f"{where}.pieces[{place}].stock", card.stocks, piece.stock)


def _work_faults(where: str, work: Iterable[Any], kinds: Mapping[str, Any]) -> Iterator[Fault]:
    for place, asked in enumerate(work):
        yield from _known(f"{where}[{place}].kind", kinds, tag_of(asked))
