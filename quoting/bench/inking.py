"""Inking: the film on the paper, what dresses the rollers, and mixing."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.shop import Ink, Name, StockClass
from quoting.units import Duration, Grammage


class InkingRates(Struct, frozen=True, forbid_unknown_fields=True):
    """The film on a solid of the reference paper, and minutes of mixing by how an ink is come by."""

    reference_film: Grammage
    mixing: dict[Name, Duration]


@formula(
    unit="g/m2",
    sentence="{reference_film} g/m2 × {stock_factor} stock × {ink_factor} ink",
    source="2.3 to 3.4 g/m2 on coated and uncoated paper: practitioners' forum, see tests.",
)
def film_weight(*, reference_film: Decimal, stock_factor: Decimal, ink_factor: Decimal) -> Decimal:
    """Ink on a solid of this stock. [g/m2]"""
    return reference_film * stock_factor * ink_factor


@formula(
    unit="g",
    sentence="{pulls} pulls × {area_mm2} mm2 / 1000000 × {share_inked} inked × {film} g/m2",
    source="Mass balance.",
)
def ink_grams(*, pulls: int, area_mm2: Decimal, share_inked: Decimal, film: Decimal) -> Decimal:
    """
    Ink that stays on the paper in one pass.

    What dresses the rollers and is lost at wash-up is not in it: see ``dressing_grams``.

    Args:
        pulls: Sheets through the press, make-ready pulls included.
        area_mm2: Area of the form's bounding box, every copy up. [mm2]
        share_inked: Share of that area that prints, 0 to 1.
        film: Ink on a solid of this stock. [g/m2]

    Returns:
        Mass of ink. [g]

    Source:
        Mass balance.
    """
    return pulls * area_mm2 / 1_000_000 * share_inked * film


@formula(unit="g", sentence="{inkings} inkings × {dressing} g")
def dressing_grams(*, inkings: int, dressing: Decimal) -> Decimal:
    """Ink that dresses the rollers and is washed off again. [g]"""
    return inkings * dressing


def film_of(do: Do, rates: InkingRates, stock_class: StockClass, ink: Ink) -> Decimal:
    """Ink on a solid for one ink on one class of stock. [g/m2]"""
    film: Decimal = do(
        film_weight,
        reference_film=rates.reference_film.in_base_unit,
        stock_factor=stock_class.film_factor.in_base_unit,
        ink_factor=ink.film_factor.in_base_unit,
    )
    return film
