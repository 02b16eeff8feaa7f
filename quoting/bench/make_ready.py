"""Make-ready: pins and position, packing, and building the impression."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.presswork import Pass
from quoting.requirements import Labour
from quoting.units import Duration, Factor, Length, Share


class MakeReadyRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a pass by kind of form, and what each difficulty adds to them."""

    plate: Duration
    metal_type: Duration
    scarce_or_wood: Duration
    second_side_factor: Factor
    loose_register: Duration
    close_register: Duration
    solid_over: Share
    solid: Duration
    deep: Duration
    large_form_over: Share
    large_form: Duration
    version_share: Share
    pins: Duration
    packing: Duration
    thick_board_over: Length
    thick_board: Duration
    underlay: Duration


@formula(
    unit="min",
    sentence="({base} min × {side_factor} side + {register} min register + {solid} min solid + {deep} min deep"
    " + {large} min large form) × (1 + {changes} changes × {version_share})",
)
def make_ready_minutes(
    *,
    base: Decimal,
    side_factor: Decimal,
    register: Decimal,
    solid: Decimal,
    deep: Decimal,
    large: Decimal,
    changes: int,
    version_share: Decimal,
) -> Decimal:
    """Minutes to bring one form to a good impression, and anew for each version. [min]"""
    return (base * side_factor + register + solid + deep + large) * (1 + changes * version_share)


@formula(
    unit="min",
    sentence="{pins} min pins and position + {packing} min packing + {board} min thick board"
    " + {underlay} min underlay",
)
def setting_minutes(*, pins: Decimal, packing: Decimal, board: Decimal, underlay: Decimal) -> Decimal:
    """Minutes to set pins and position, to change the packing, to bring a low form to height. [min]"""
    return pins + packing + board + underlay


def make_ready_of(do: Do, rates: MakeReadyRates, work: Pass, *, deep_class: bool) -> Decimal:
    """Minutes of make-ready for one pass. [min]"""
    zero = Decimal(0)
    register = {"loose": rates.loose_register, "close": rates.close_register}.get(work.register)
    base = {"plate": rates.plate, "metal type": rates.metal_type}.get(work.form_kind, rates.scarce_or_wood)
    minutes: Decimal = do(
        make_ready_minutes,
        base=(rates.scarce_or_wood if work.scarce else base).in_base_unit,
        side_factor=rates.second_side_factor.in_base_unit if work.second_side else Decimal(1),
        register=register.in_base_unit if register is not None else zero,
        solid=rates.solid.in_base_unit if work.share_inked > rates.solid_over else zero,
        deep=rates.deep.in_base_unit if work.impression == "deep" and deep_class else zero,
        large=rates.large_form.in_base_unit if work.large_form else zero,
        changes=work.versions - 1,
        version_share=rates.version_share.in_base_unit,
    )
    return minutes


def make_ready_labour(
    do: Do, rates: MakeReadyRates, work: Pass, *, deep_class: bool, person: str
) -> tuple[Labour, ...]:
    """Pins, packing and make-ready of one pass, at its press."""
    setting = do(
        setting_minutes,
        pins=rates.pins.in_base_unit,
        packing=rates.packing.in_base_unit if work.colours_before == 0 else Decimal(0),
        board=rates.thick_board.in_base_unit if work.thick_board and work.colours_before == 0 else Decimal(0),
        underlay=rates.underlay.in_base_unit if work.is_low else Decimal(0),
    )
    first = _labour("Pins and packing", work, setting, person, do)
    minutes = make_ready_of(do, rates, work, deep_class=deep_class)
    return first, _labour("Make-ready", work, minutes, person, do)


def _labour(operation: str, work: Pass, minutes: Decimal, person: str, do: Do) -> Labour:
    return Labour(
        operation=operation,
        what=work.label,
        item=work.item,
        driver=Decimal(work.versions),
        driver_unit="forms",
        person=person,
        machine=work.press,
        minutes=minutes,
        steps=do.taken(),
    )
