"""Forms as the planner sees them: size, share inked, kind, and what it takes to make them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting.bench.composing import Setting
from quoting.job import ClientPlate, Colour, HandSet, MeasuredForm, ReliefPlate, StandingType
from quoting.numbers import plain
from quoting.rate_card import RateCard
from quoting.shop import FormKind
from quoting.wording import Sorts, measure_type, setting_of, sorts_kept


class FormPlan(Struct, frozen=True, kw_only=True):
    """
    One form of one piece, before it is repeated.

    ``thickness_mm`` is a client's plate's; ``number_up`` is over 1 where a client's plate
    holds several pieces already, and its size is then the whole plate's. ``sorts`` are what each
    version keeps out of the cases; ``told`` says which setting of several it is. ``solid`` tells the largest
    solid that its artwork measures.
    """

    width_mm: Decimal
    height_mm: Decimal
    share_inked: Decimal
    kind: FormKind
    scarce: bool = False
    bleeds: bool = False
    setting: Setting | None = None
    supplier: str | None = None
    artwork: str = ""
    thickness_mm: Decimal | None = None
    stands: bool = False
    number_up: int = 1
    sorts: tuple[Sorts, ...] = ((),)
    stand_ins: bool = False
    set_with_last: bool = False
    told: str = ""
    solid: str = ""

    @property
    def area_mm2(self) -> Decimal:
        """Of the form's rectangle. [mm2]"""
        return self.width_mm * self.height_mm


def form_plan(colour: Colour, card: RateCard, *, versions: int = 1) -> FormPlan:
    """The form that one colour prints from, of so many versions."""
    form = colour.form
    if isinstance(form, HandSet):
        return _hand_set(form, card, versions=versions if colour.version_lines else 1)
    kind: FormKind = form.made_of if isinstance(form, StandingType) else "plate"
    return FormPlan(
        width_mm=form.size.width_mm,
        height_mm=form.size.height_mm,
        share_inked=form.share_inked.in_base_unit,
        kind=kind,
        bleeds=form.bleed,
        solid=_largest_solid(form),
        **_plate_facts(form),
    )


def _largest_solid(form: MeasuredForm) -> str:
    """The largest solid of its artwork, in words; empty where none was measured, or it has none."""
    found = form.measured
    if found is None or found.largest_solid_size is None:
        return ""
    area = plain(found.largest_solid / 100, places=1)
    return f"{area} cm2 in {found.largest_solid_size}, by {found.file}"


def _hand_set(form: HandSet, card: RateCard, *, versions: int) -> FormPlan:
    measured = measure_type(form, card.founts)
    sorts = tuple(sorts_kept(form, card.founts, version=version) for version in range(versions))
    return FormPlan(
        width_mm=measured.width_mm,
        height_mm=measured.height_mm,
        share_inked=measured.share_inked,
        kind="wood type" if measured.has_wood else "metal type",
        scarce=measured.is_scarce,
        setting=setting_of(form, card.founts, copy_factors=card.composing.copy_factors),
        sorts=sorts,
        stand_ins=form.stand_ins,
        set_with_last=form.broken_out,
    )


def _plate_facts(form: MeasuredForm) -> dict[str, Any]:
    if isinstance(form, ReliefPlate):
        return {"supplier": form.supplier, "artwork": form.artwork}
    if isinstance(form, StandingType):
        return {"stands": True}
    if isinstance(form, ClientPlate):
        return {"thickness_mm": form.thickness.in_base_unit, "number_up": form.number_up}
    return {}
