"""What operations ask for: time of a person and a machine, or a draw on something bought."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.formulas import Step

CostClass = Literal["labour", "materials", "bought-in"]
PotKind = Literal["stock", "ink", "plates"]


class Labour(Struct, frozen=True, kw_only=True):
    """
    Minutes at the bench. ``item`` is None where the job does it once for all its items.

    ``weights`` say how such a line is shared over the items.
    """

    operation: str
    what: str
    item: int | None
    driver: Decimal
    driver_unit: str
    person: str
    minutes: Decimal
    machine: str | None = None
    steps: tuple[Step, ...] = ()
    weights: tuple[Decimal, ...] = ()


class Draw(Struct, frozen=True, kw_only=True):
    """A draw on a pot that the whole job fills once: a stock, an ink, a plate order."""

    pot: PotKind
    key: str
    what: str
    item: int
    amount: Decimal
    unit: str
    steps: tuple[Step, ...] = ()


class Charge(Struct, frozen=True, kw_only=True):
    """A sum paid to somebody else, known already; ``item`` as for labour."""

    operation: str
    what: str
    item: int | None
    driver: Decimal
    driver_unit: str
    cost: Decimal
    cost_class: CostClass
    steps: tuple[Step, ...] = ()
    weights: tuple[Decimal, ...] = ()
    before_printing: bool = False
    is_delivery: bool = False


Requirement = Labour | Draw | Charge
