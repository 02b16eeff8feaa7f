"""Wording: what a hand-set form holds, how large it is, how much of it prints."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from msgspec import Struct

from quoting.bench.composing import Setting
from quoting.job import HandSet, SetLine
from quoting.shop import Fount

__all__ = ["MeasuredType", "letters_in", "line_width_mm", "measure_type", "setting_of"]


class MeasuredType(Struct, frozen=True, kw_only=True):
    """A hand-set form as measured from its wording: size, share inked, what it is made of."""

    width_mm: Decimal
    height_mm: Decimal
    share_inked: Decimal
    has_wood: bool
    is_scarce: bool


def letters_in(text: str) -> int:
    """Characters that are set as type: spaces are not counted."""
    return sum(not character.isspace() for character in text)


def line_width_mm(line: SetLine, founts: Mapping[str, Fount]) -> Decimal:
    """Width of a line, its spaces as wide as a mean letter. [mm]"""
    fount = founts[line.fount]
    return len(line.text) * fount.body.in_base_unit * fount.average_set.in_base_unit


def setting_of(form: HandSet, founts: Mapping[str, Fount]) -> Setting:
    """What there is to set: letters of metal and of wood, lines, changes of fount, ems of text."""
    counted = {"metal": 0, "wood": 0}
    for line in form.lines:
        counted[founts[line.fount].material] += letters_in(line.text)
    changes = sum(one.fount != next_one.fount for one, next_one in zip(form.lines, form.lines[1:], strict=False))
    return Setting(
        metal_letters=counted["metal"],
        wood_letters=counted["wood"],
        lines=len(form.lines),
        fount_changes=changes,
        letterspaced_lines=sum(line.letterspaced for line in form.lines),
        borders=form.borders,
        ems=Decimal(form.text.ems) if form.text else Decimal(0),
        ems_an_hour=founts[form.text.fount].ems_an_hour.in_base_unit if form.text else Decimal(1),
        broken_out=form.broken_out,
    )


def measure_type(form: HandSet, founts: Mapping[str, Fount]) -> MeasuredType:
    """
    Size and share inked of a hand-set form.

    Its own ``size`` and ``share_inked`` rule where it has them. Else it is as wide as its widest
    line and as deep as the bodies of its lines, and what prints is the founts' share of the area
    of the letters' own bodies.
    """
    bodies = [founts[line.fount].body.in_base_unit for line in form.lines]
    width = max((line_width_mm(line, founts) for line in form.lines), default=Decimal(0))
    height = sum(bodies, Decimal(0))
    if form.size is not None:
        width, height = form.size.width_mm, form.size.height_mm
    used = [founts[line.fount] for line in form.lines]
    if form.text is not None:
        used.append(founts[form.text.fount])
    share = form.share_inked or min(Decimal(1), _inked_mm2(form, founts) / (width * height))
    return MeasuredType(
        width_mm=width,
        height_mm=height,
        share_inked=Decimal(share),
        has_wood=any(fount.material == "wood" for fount in used),
        is_scarce=any(fount.scarce for fount in used),
    )


def _inked_mm2(form: HandSet, founts: Mapping[str, Fount]) -> Decimal:
    area = Decimal(0)
    for line in form.lines:
        fount = founts[line.fount]
        body = fount.body.in_base_unit
        area += letters_in(line.text) * body * body * fount.average_set * fount.share_inked
    if form.text is not None:
        fount = founts[form.text.fount]
        area += form.text.ems * fount.body.in_base_unit**2 * fount.share_inked
    return area
