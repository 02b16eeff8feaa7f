"""A hand-set form from its wording: size, share inked, what there is to set."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from msgspec import Struct

from quoting.bench.composing import Copy, Setting
from quoting.job import HandSet, SetLine, TextBlock
from quoting.shop import Fount
from quoting.wording.copyfitting import Fitted, fit
from quoting.wording.widths import FountWidths, characters_in, letters_in, letters_width


class MeasuredType(Struct, frozen=True, kw_only=True):
    """A hand-set form as measured from its wording: size, share inked, what it is made of."""

    width_mm: Decimal
    height_mm: Decimal
    share_inked: Decimal
    has_wood: bool
    is_scarce: bool


def line_width_mm(line: SetLine, founts: Mapping[str, Fount]) -> Decimal:
    """Width of a line by its set widths; else its spaces are as wide as a mean letter. [mm]"""
    fount = founts[line.fount]
    if is_measured(fount):
        widths = FountWidths(fount)
        return widths.mm(widths.width(line.text, letterspaced=line.letterspaced))
    return characters_in(line.text) * fount.body.in_base_unit * fount.average_set.in_base_unit


def is_measured(fount: Fount) -> bool:
    """Whether the card says more of its widths than their mean."""
    return bool(fount.set_widths) or fount.characters_a_pica is not None


def text_fitted(text: TextBlock, founts: Mapping[str, Fount]) -> Fitted | None:
    """A text block's wording fitted to its measure; None where only its ems are told."""
    if text.measure is None:
        return None
    leading = text.leading.in_base_unit if text.leading else Decimal(0)
    return fit(text.wording, founts[text.fount], measure_mm=text.measure.in_base_unit, leading_mm=leading)


def setting_of(
    form: HandSet, founts: Mapping[str, Fount], *, copy_factors: Mapping[Copy, Decimal] | None = None
) -> Setting:
    """
    What there is to set: letters of metal and of wood, lines, changes of fount, ems of text.

    Args:
        copy_factors: What kinds of copy make of the fount's speed.
    """
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
        ems=_ems(form.text, founts),
        ems_an_hour=_ems_an_hour(form.text, founts, copy_factors or {}),
        broken_out=form.broken_out,
    )


def _ems(text: TextBlock | None, founts: Mapping[str, Fount]) -> Decimal:
    if text is None:
        return Decimal(0)
    fitted = text_fitted(text, founts)
    return Decimal(text.ems or 0) if fitted is None else fitted.ems


def _ems_an_hour(text: TextBlock | None, founts: Mapping[str, Fount], factors: Mapping[Copy, Decimal]) -> Decimal:
    if text is None:
        return Decimal(1)
    speed = founts[text.fount].ems_an_hour.in_base_unit
    return speed * factors[text.copy] if text.copy in factors else speed


def measure_type(form: HandSet, founts: Mapping[str, Fount]) -> MeasuredType:
    """
    Size and share inked of a hand-set form.

    Its own ``size`` and ``share_inked`` rule where it has them. Else it is as wide as its widest
    line and as deep as the bodies of its lines, and what prints is the founts' share of the area
    of the letters' own bodies.
    """
    fitted = text_fitted(form.text, founts) if form.text else None
    width, height = _natural_size(form, founts, fitted)
    if form.size is not None:
        width, height = form.size.width_mm, form.size.height_mm
    used = [founts[line.fount] for line in form.lines]
    if form.text is not None:
        used.append(founts[form.text.fount])
    share = form.share_inked or min(Decimal(1), _inked_mm2(form, founts, fitted) / (width * height))
    return MeasuredType(
        width_mm=width,
        height_mm=height,
        share_inked=Decimal(share),
        has_wood=any(fount.material == "wood" for fount in used),
        is_scarce=any(fount.scarce for fount in used),
    )


def _natural_size(form: HandSet, founts: Mapping[str, Fount], fitted: Fitted | None) -> tuple[Decimal, Decimal]:
    width = max((line_width_mm(line, founts) for line in form.lines), default=Decimal(0))
    height = sum((founts[line.fount].body.in_base_unit for line in form.lines), Decimal(0))
    if fitted is None:
        return width, height
    return max(width, fitted.width_mm), height + fitted.depth_mm


def _inked_mm2(form: HandSet, founts: Mapping[str, Fount], fitted: Fitted | None) -> Decimal:
    area = sum((inked_line_mm2(line, founts[line.fount]) for line in form.lines), Decimal(0))
    if form.text is not None:
        fount = founts[form.text.fount]
        told = (form.text.ems or 0) * fount.body.in_base_unit**2 * fount.share_inked
        area += told if fitted is None else inked_mm2(fitted, fount)
    return area


def inked_line_mm2(line: SetLine, fount: Fount) -> Decimal:
    """What prints of a display line. [mm2]"""
    body = fount.body.in_base_unit
    if is_measured(fount):
        widths = FountWidths(fount)
        letters = letters_width(line.text, widths, letterspaced=line.letterspaced)
        return widths.mm(letters) * body * fount.share_inked
    return letters_in(line.text) * body * body * fount.average_set * fount.share_inked


def inked_mm2(fitted: Fitted, fount: Fount) -> Decimal:
    """What prints of fitted wording: the letters' own widths x body x the fount's share. [mm2]"""
    widths = FountWidths(fount)
    return fitted.set_points * widths.point_mm * fount.body.in_base_unit * fount.share_inked
