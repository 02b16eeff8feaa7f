"""What every finishing operation has in common: what it is handed, and the two ways it is timed or bought."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar, cast

from msgspec import Struct

from quoting.formulas import Do, Step, formula
from quoting.languages import SOURCE, Language
from quoting.numbers import at_least, number
from quoting.presswork import StepCount
from quoting.requirements import Charge, Labour, Requirement
from quoting.shop import CountOrNone, Name
from quoting.units import Amount, Duration, Share, Speed


class FinishingWork(Struct, frozen=True, kw_only=True):
    """What an operation is handed: whose pieces, how many, how large, how thick, and who works them."""

    label: str
    item: int
    count: StepCount
    width_mm: Decimal
    height_mm: Decimal
    caliper_mm: Decimal
    person: str
    currency: str

    @property
    def pieces(self) -> int:
        """Pieces worked, those that set it up left out."""
        return self.count.pieces_in - self.count.set_up_pieces


class FinishingRates(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the card says of every finishing operation: what it spoils, and how long it keeps a job."""

    spoilage: Share
    set_up_pieces: CountOrNone = 0
    drying_days: CountOrNone = 0

    def __post_init__(self) -> None:
        if self.spoilage >= Decimal("0.9"):
            raise ValueError(f"expected a spoilage under 90 %; found {self.spoilage.written}")


class AtSpeed(FinishingRates, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Worked at so many an hour after a set-up, by hand or at a machine of the shop's."""

    set_up: Duration
    speed: Speed
    machine: Name | None = None


class EachTakes(FinishingRates, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Worked one by one, so long each, with what is used up on each."""

    set_up: Duration
    each: Duration
    materials_each: Amount


class OutsideWork(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What an outside finisher charges, and the days it takes; for work that other shops do themselves."""

    supplier: Name
    set_up_charge: Amount
    price_a_hundred: Amount
    least_charge: Amount
    working_days: CountOrNone


class BoughtIn(FinishingRates, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Done outside: a charge to set it up, a price a hundred, a least charge, days away."""

    supplier: Name
    set_up_charge: Amount
    price_a_hundred: Amount
    least_charge: Amount
    working_days: CountOrNone


@formula(unit="min", sentence="{set_up} min + {pieces} pieces × {times} / {speed} an hour × 60 min")
def minutes_at_speed(*, set_up: Decimal, pieces: int, times: int, speed: Decimal) -> Decimal:
    """Minutes to set up and to work every piece, ``times`` each. [min]"""
    return set_up + number(pieces) * times / speed * 60  # type: ignore[no-any-return]


@formula(unit="min", sentence="{set_up} min + {pieces} pieces × {times} × {each} min")
def minutes_one_by_one(*, set_up: Decimal, pieces: int, times: int, each: Decimal) -> Decimal:
    """Minutes to set up and to work every piece by hand. [min]"""
    return set_up + pieces * times * each


@formula(unit="money", sentence="{pieces} pieces × {times} × {each}")
def materials_used(*, pieces: int, times: int, each: Decimal) -> Decimal:
    """What is used up on the pieces. [money]"""
    return pieces * times * each


@formula(
    unit="money",
    sentence="the greater of {least_charge} and {set_up_charge} + {pieces} pieces × {price_a_hundred} / 100",
)
def bought_in_charge(
    *, pieces: int, price_a_hundred: Decimal, set_up_charge: Decimal, least_charge: Decimal
) -> Decimal:
    """What an outside finisher asks. [money]"""
    return at_least(least_charge, set_up_charge + pieces * price_a_hundred / 100)


class FinishingBase(Struct, frozen=True, forbid_unknown_fields=True):
    """What is asked of a finishing operation; each kind says how often a piece meets it, and in what words."""

    operation: ClassVar[str]
    cautions: ClassVar[tuple[str, ...]] = ()

    @property
    def times(self) -> int:
        """How often each piece meets the operation."""
        return 1

    @property
    def pieces_per_out(self) -> int:
        """Pieces that make one piece out."""
        return 1

    @property
    def words(self) -> str:
        """In the client's words, as the owner reads them."""
        return self.words_in(SOURCE)

    def words_in(self, language: Language) -> str:
        """In the client's words and language."""
        return language.say(self.operation)

    def requirements(self, do: Do, rates: Any, work: FinishingWork) -> tuple[Requirement, ...]:
        """What it asks of people, machines and suppliers, by how the card says it is done."""
        if isinstance(rates, BoughtIn):
            return (self._bought_in(do, rates, work),)
        if isinstance(rates, EachTakes):
            return self._one_by_one(do, rates, work)
        return (self._at_speed(do, cast(AtSpeed, rates), work),)

    def _labour(self, work: FinishingWork, minutes: Decimal, machine: str | None, steps: tuple[Step, ...]) -> Labour:
        return Labour(
            operation=self.operation,
            what=f"{work.label}: {self.words}",
            item=work.item,
            driver=number(work.pieces),
            driver_unit="pieces",
            person=work.person,
            machine=machine,
            minutes=minutes,
            steps=steps,
        )

    def _at_speed(self, do: Do, rates: AtSpeed, work: FinishingWork) -> Labour:
        minutes = do(minutes_at_speed, set_up=rates.set_up, pieces=work.pieces, times=self.times, speed=rates.speed)
        return self._labour(work, minutes, rates.machine, do.taken())

    def _one_by_one(self, do: Do, rates: EachTakes, work: FinishingWork) -> tuple[Requirement, ...]:
        minutes = do(minutes_one_by_one, set_up=rates.set_up, pieces=work.pieces, times=self.times, each=rates.each)
        labour = self._labour(work, minutes, None, do.taken())
        used = do(materials_used, pieces=work.pieces, times=self.times, each=rates.materials_each)
        return labour, self._charge(work, "materials", used, do.taken())

    def _bought_in(self, do: Do, rates: BoughtIn | OutsideWork, work: FinishingWork) -> Charge:
        cost = do(
            bought_in_charge,
            pieces=work.pieces,
            price_a_hundred=rates.price_a_hundred,
            set_up_charge=rates.set_up_charge,
            least_charge=rates.least_charge,
        )
        return self._charge(work, "bought-in", cost, do.taken())

    def _charge(self, work: FinishingWork, kind: str, cost: Decimal, steps: tuple[Step, ...]) -> Charge:
        return Charge(
            operation=self.operation,
            what=f"{work.label}: {self.words}",
            item=work.item,
            driver=number(work.pieces),
            driver_unit="pieces",
            cost=cost,
            cost_class="materials" if kind == "materials" else "bought-in",
            steps=steps,
        )
