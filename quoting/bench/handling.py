"""Handling an order: answering, quoting, buying, invoicing."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.requirements import Labour
from quoting.shop import Name
from quoting.units import Duration


class HandlingRates(Struct, frozen=True, forbid_unknown_fields=True):
    """
    Minutes a job by kind of order, or none where the hour rate carries them already.

    Never both: the same minutes would be charged twice.
    """

    charged: Literal["by the job", "in the hour rate"]
    orders: dict[Name, Duration] = {}

    def __post_init__(self) -> None:
        if bool(self.orders) != (self.charged == "by the job"):
            raise ValueError(
                "expected minutes in orders where handling is charged by the job, and none where "
                f"the hour rate carries it; found {len(self.orders)} and {self.charged!r}"
            )


def handling_labour(rates: HandlingRates, *, order: str, person: str) -> tuple[Labour, ...]:
    """Handling of one order; nothing where the hour rate carries it."""
    if rates.charged == "in the hour rate":
        return ()
    return (
        Labour(
            operation="Handling",
            what=f"Handling the order: {order}",
            item=None,
            driver=Decimal(1),
            driver_unit="order",
            person=person,
            minutes=rates.orders[order].in_base_unit,
        ),
    )
