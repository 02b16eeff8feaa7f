"""Composing: setting type by hand, display and text, correcting and distributing it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal

from msgspec import Struct, field

from quoting.formulas import Do, formula
from quoting.numbers import number
from quoting.requirements import Labour
from quoting.units import Amount, Duration, Factor, Length, Share, Speed

Copy = Literal["plain", "poor", "tabular"]


class ComposingRates(Struct, frozen=True, forbid_unknown_fields=True):
    """
    Minutes at the case; shares of the setting time for correcting and for distributing.

    ``standing_storage`` is charged for each form that has been kept standing; ``copy_factors`` are what
    poor or tabular copy makes of a fount's speed; ``leads`` are what lies in the rack.
    """

    form: Duration
    line: Duration
    letter: Duration
    fount_change: Duration
    letterspaced_line: Duration
    border: Duration
    wood_letter: Duration
    wood_underlay: Duration
    colour_break: Duration
    correcting: Share
    distributing: Share
    wonderful_ems_an_hour: Speed
    standing_storage: Amount = field(default_factory=lambda: Amount("0.00"))
    copy_factors: dict[Copy, Factor] = {}
    leads: tuple[Length, ...] = ()

    def __post_init__(self) -> None:
        for name, factor in self.copy_factors.items():
            if not 0 < factor <= 1:
                raise ValueError(f"expected copy_factors.{name} over 0 and up to 1; found {factor.written}")


class Setting(Struct, frozen=True, kw_only=True):
    """What there is to set in one form, counted from the wording."""

    metal_letters: int = 0
    wood_letters: int = 0
    lines: int = 0
    fount_changes: int = 0
    letterspaced_lines: int = 0
    borders: int = 0
    ems: Decimal = Decimal(0)
    ems_an_hour: Decimal = Decimal(1)
    broken_out: bool = False


@formula(
    unit="min",
    sentence="{form} min + {lines} lines × {line} min + {letters} letters × {letter} min"
    " + {fount_changes} changes × {fount_change} min + {letterspaced_lines} letterspaced × {letterspaced_line} min"
    " + {borders} borders × {border} min",
)
def display_minutes(
    *,
    form: Decimal,
    lines: int,
    line: Decimal,
    letters: int,
    letter: Decimal,
    fount_changes: int,
    fount_change: Decimal,
    letterspaced_lines: int,
    letterspaced_line: Decimal,
    borders: int,
    border: Decimal,
) -> Decimal:
    """Minutes to set display lines of metal type. [min]"""
    return (
        form
        + lines * line
        + letters * letter
        + fount_changes * fount_change
        + letterspaced_lines * letterspaced_line
        + borders * border
    )


@formula(unit="min", sentence="{letters} wood letters × ({set} min + {underlay} min)")
def wood_minutes(*, letters: int, set: Decimal, underlay: Decimal) -> Decimal:
    """Minutes to set wood letters and bring each to height. [min]"""
    return letters * (set + underlay)


@formula(unit="min", sentence="{ems} ems / {ems_an_hour} an hour × 60 min")
def text_minutes(*, ems: Decimal, ems_an_hour: Decimal) -> Decimal:
    """Minutes to set text by the em. [min]"""
    return ems / ems_an_hour * 60


@formula(
    unit="min",
    sentence="({display} + {wood} + {text}) min × {copies} settings"
    " × (1 + {correcting} correcting + {distributing} distributing)",
)
def all_in_minutes(
    *, display: Decimal, wood: Decimal, text: Decimal, copies: int, correcting: Decimal, distributing: Decimal
) -> Decimal:
    """Setting, correcting and distributing, for every copy of the form. [min]"""
    return (display + wood + text) * copies * (1 + correcting + distributing)


@formula(
    unit="min",
    sentence="({display} − {form} + {wood} + {text}) min × {changed_lines} / {lines} lines × {changes} changes"
    " × {copies} settings × (1 + {correcting} correcting + {distributing} distributing)",
)
def change_minutes(
    *,
    display: Decimal,
    form: Decimal,
    wood: Decimal,
    text: Decimal,
    changed_lines: int,
    lines: int,
    changes: int,
    copies: int,
    correcting: Decimal,
    distributing: Decimal,
) -> Decimal:
    """Minutes to set anew, for each further version, the lines that differ. [min]"""
    share: Decimal = number(changed_lines) / lines
    return (display - form + wood + text) * share * changes * copies * (1 + correcting + distributing)


def form_minutes(rates: ComposingRates, setting: Setting) -> Decimal:
    """What a form takes before its first line: as one of its own, or broken out of another. [min]"""
    return (rates.colour_break if setting.broken_out else rates.form).in_base_unit


def minutes_to_set(do: Do, rates: ComposingRates, setting: Setting) -> tuple[Any, Any, Any]:
    """Display, with the form itself, wood letters and text: once, neither corrected nor distributed. [min]"""
    display = do(
        display_minutes,
        form=form_minutes(rates, setting),
        lines=setting.lines,
        line=rates.line.in_base_unit,
        letters=setting.metal_letters,
        letter=rates.letter.in_base_unit,
        fount_changes=setting.fount_changes,
        fount_change=rates.fount_change.in_base_unit,
        letterspaced_lines=setting.letterspaced_lines,
        letterspaced_line=rates.letterspaced_line.in_base_unit,
        borders=setting.borders,
        border=rates.border.in_base_unit,
    )
    wood = do(
        wood_minutes,
        letters=setting.wood_letters,
        set=rates.wood_letter.in_base_unit,
        underlay=rates.wood_underlay.in_base_unit,
    )
    text = do(text_minutes, ems=setting.ems, ems_an_hour=setting.ems_an_hour)
    return display, wood, text


def composing_labour(
    do: Do,
    rates: ComposingRates,
    setting: Setting,
    *,
    item: int,
    label: str,
    copies: int,
    changes: int,
    changed_lines: int,
    person: str,
) -> Labour:
    """
    Composing of one form.

    Args:
        copies: Settings that stand together, one for each piece up.
        changes: Versions after the first.
        changed_lines: Lines set anew for each of them.
    """
    form = form_minutes(rates, setting)
    display, wood, text = minutes_to_set(do, rates, setting)
    shares = {"correcting": rates.correcting.in_base_unit, "distributing": rates.distributing.in_base_unit}
    minutes = do(all_in_minutes, display=display, wood=wood, text=text, copies=copies, **shares)
    if changes and changed_lines:
        minutes += do(
            change_minutes,
            display=display,
            form=form,
            wood=wood,
            text=text,
            changed_lines=changed_lines,
            lines=max(1, setting.lines),
            changes=changes,
            copies=copies,
            **shares,
        )
    return Labour(
        operation="Composing",
        what=label,
        item=item,
        driver=Decimal((setting.metal_letters + setting.wood_letters) * copies) + setting.ems * copies,
        driver_unit="letters and ems",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )
