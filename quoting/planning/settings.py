"""
Settings: a part's hand-set forms where the case cannot hold them all at once.

What is parted is set, printed and distributed before the rest is set; each setting is a pass of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from quoting.job import Colour, HandSet, Item, Part, Side
from quoting.planning.forms import FormPlan, form_plan
from quoting.planning.part_plan import PartPlan
from quoting.planning.sittings import MOST_EXACT
from quoting.presswork import Imposition, Pass
from quoting.rate_card import RateCard
from quoting.shop import Fount
from quoting.wording import Short, Sorts, added, in_settings, settings_of, short_of, sorts_kept, standing_sorts

Copies = tuple[int, bool]
"""Copies that stand at once, and whether they are of all versions together."""


class SettingOf(Struct, frozen=True):
    """A colour as it is set: whole, or one setting of several."""

    colour: Colour
    told: str = ""


Sides = tuple[tuple[SettingOf, ...], tuple[SettingOf, ...]]


class SetPart(Struct, frozen=True, kw_only=True):
    """
    A part as it is set. Parted, it is so for the numbers of ``copies``; whole, for all others.

    A form that prints both sides of a turned sheet is never parted.
    """

    part: Part
    front: tuple[FormPlan, ...]
    back: tuple[FormPlan, ...]
    is_parted: bool = False
    copies: tuple[Copies, ...] = ()

    def serves(self, imposition: Imposition, copies: int) -> bool:
        """Whether an imposition with so many copies is set in this way."""
        if imposition in {"work-and-turn", "work-and-tumble"}:
            return not self.is_parted
        return ((copies, imposition == "ganged") in self.copies) == self.is_parted


def ways_to_set(item: Item, part: Part, card: RateCard, *, most_up: int) -> tuple[SetPart, ...]:
    """The part whole, then each way to part it that some number of copies asks for."""
    whole = (_listed(part.front), _listed(part.back))
    found = _set_part(item, part, card, whole)
    if not any(sorts for plan in (*found.front, *found.back) for sorts in plan.sorts):
        return (found,)
    parted: list[tuple[Sides, list[Copies]]] = []
    too_many: set[bool] = set()
    for copies in _numbers(item, most_up):
        if copies[1] in too_many:  # what so many cannot stand, more cannot
            continue
        sides = _parted(item, part, card, copies)
        if sides is None:
            too_many.add(copies[1])
        elif sides != whole:
            _keep(parted, sides, copies)
    taken = tuple(copies for _, numbers in parted for copies in numbers)
    others = (
        replace(_set_part(item, part, card, sides), is_parted=True, copies=tuple(numbers))
        for sides, numbers in parted
    )
    return (replace(found, copies=taken), *others)


def parted_forms(item: Item, part: Part, card: RateCard, plan: PartPlan) -> dict[str, HandSet]:
    """The hand-set forms of a plan by their labels, where the case parted them; else nothing."""
    ways = ways_to_set(item, part, card, most_up=plan.copies)
    as_set = next(way for way in ways if way.serves(plan.imposition, plan.copies))
    if not as_set.is_parted:
        return {}
    sides = (as_set.part.front, as_set.part.back)
    colours = [colour for side in sides if side for colour in side.colours]
    return {
        work.label: colour.form
        for work, colour in zip(plan.forms, colours, strict=True)
        if isinstance(colour.form, HandSet)
    }


def _keep(parted: list[tuple[Sides, list[Copies]]], sides: Sides, copies: Copies) -> None:
    for known, numbers in parted:
        if known == sides:
            numbers.append(copies)
            return
    parted.append((sides, [copies]))


def _numbers(item: Item, most_up: int) -> Iterator[Copies]:
    for copies in range(1, most_up + 1):
        yield copies, False
        if item.versions > 1 and copies % item.versions == 0:
            yield copies, True


def _listed(side: Side | None) -> tuple[SettingOf, ...]:
    return tuple(SettingOf(colour) for colour in side.colours) if side else ()


def _set_part(item: Item, part: Part, card: RateCard, sides: Sides) -> SetPart:
    front, back = (
        tuple(replace(form_plan(one.colour, card, versions=item.versions), told=one.told) for one in side)
        for side in sides
    )
    return SetPart(part=_with_sides(part, sides), front=front, back=back)


def _with_sides(part: Part, sides: Sides) -> Part:
    front, back = (tuple(one.colour for one in side) for side in sides)
    return replace(
        part,
        front=replace(part.front, colours=front) if part.front else None,
        back=replace(part.back, colours=back) if part.back else None,
    )


def _parted(item: Item, part: Part, card: RateCard, copies: Copies) -> Sides | None:
    """Both sides with every form that the cases cannot hold parted; None where a line alone is too much."""
    sides = []
    for side in (part.front, part.back):
        parted = _side(item, side.colours, card.founts, copies) if side else ()
        if parted is None:
            return None
        sides.append(parted)
    return (sides[0], sides[1]) if sum(map(len, sides)) <= MOST_EXACT else None


def _side(
    item: Item, colours: Sequence[Colour], founts: Mapping[str, Fount], copies: Copies
) -> tuple[SettingOf, ...] | None:
    found: list[SettingOf] = []
    for together in _set_together(colours):
        kept = added(_stands(item, colour, founts, copies) for colour in together)
        if not short_of(kept, founts, stand_ins=_may_stand_in(together)):
            found.extend(map(SettingOf, together))
            continue
        for colour in together:
            settings = _colour(item, colour, founts, copies)
            if settings is None:
                return None
            found.extend(settings)
    return tuple(found)


def _set_together(colours: Sequence[Colour]) -> list[list[Colour]]:
    """Colours of a side with those that are broken out of their setting."""
    found: list[list[Colour]] = []
    for colour in colours:
        if found and isinstance(colour.form, HandSet) and colour.form.broken_out:
            found[-1].append(colour)
        else:
            found.append([colour])
    return found


def _may_stand_in(colours: Sequence[Colour]) -> bool:
    return all(colour.form.stand_ins for colour in colours if isinstance(colour.form, HandSet))


def _stands(item: Item, colour: Colour, founts: Mapping[str, Fount], copies: Copies) -> Sorts:
    if not isinstance(colour.form, HandSet):
        return ()
    versions = item.versions if colour.version_lines else 1
    by_version = [sorts_kept(colour.form, founts, version=version) for version in range(versions)]
    return standing_sorts(by_version, copies=copies[0], together=copies[1])


def _colour(item: Item, colour: Colour, founts: Mapping[str, Fount], copies: Copies) -> tuple[SettingOf, ...] | None:
    """A colour set by itself, in as many settings as it takes; later ones are laid to the first."""
    form = colour.form
    if not isinstance(form, HandSet):
        return (SettingOf(colour),)
    alone = replace(colour, form=replace(form, broken_out=False))
    versions = item.versions if colour.version_lines else 1
    parts = in_settings(form, founts, copies=copies[0], versions=versions, together=copies[1])
    if parts is None or (len(parts) > 1 and not _says_what_changes(colour)):
        return None
    if len(parts) == 1:
        return (SettingOf(alone),)
    later = colour.register if colour.register != "none" else "loose"
    return tuple(
        SettingOf(
            replace(
                colour,
                form=one,
                register=later if place else colour.register,
                version_lines=_changing(one) if colour.version_lines else 0,
            ),
            f", setting {place + 1} of {len(parts)}",
        )
        for place, one in enumerate(parts)
    )


def _changing(form: HandSet) -> int:
    """Lines of a form that say what they read in further versions."""
    return sum(bool(line.further) for line in form.lines)


def _says_what_changes(colour: Colour) -> bool:
    """Whether each line that changes by version says what it reads, so that it goes with its setting."""
    changes = _changing(colour.form) if isinstance(colour.form, HandSet) else 0
    return colour.version_lines in {0, changes}


def case_refusal(passes: Sequence[Pass], card: RateCard, *, copies: int) -> str:
    """Which letters the cases lack for what must stand at once, and the way round it; empty where none."""
    for unit in set_at_once(passes):
        kept = added(work.sorts for work in unit)
        short = short_of(kept, card.founts, stand_ins=all(work.stand_ins for work in unit))
        if short:
            ways = "fewer up, another fount, other words, or a plate" if copies > 1 else WAYS_ROUND
            return f"{told_short(short)}, {copies} standing at once: {ways}"
    return ""


WAYS_ROUND = "another fount, other words, or a plate"


def told_short(short: Sequence[Short]) -> str:
    """What one fount is short of, as a sentence begins."""
    fount = short[0].fount
    return f"{fount} is short of " + ", ".join(str(one) for one in short if one.fount == fount)


def set_at_once(passes: Sequence[Pass]) -> list[list[Pass]]:
    """Passes in the order of their sides, each with those that are broken out of its setting."""
    found: list[list[Pass]] = []
    for work in passes:
        if found and work.set_with_last and found[-1][-1].side == work.side:
            found[-1].append(work)
        else:
            found.append([work])
    return found


def settings_of_the_case(passes: Sequence[Pass], founts: Mapping[str, Fount]) -> tuple[tuple[Pass, ...], ...]:
    """
    Passes of the whole job in groups whose forms stand at once; all in one where the cases hold them.

    All forms that stand share one case. In their order, a form that no longer goes in waits until what
    stands is printed and distributed.
    """
    stand_ins = all(work.stand_ins for work in passes if work.sorts)
    units = set_at_once(passes)
    kept = [added(work.sorts for work in unit) for unit in units]
    groups = settings_of(kept, founts, stand_ins=stand_ins)
    if groups is None or len(groups) <= 1:
        return (tuple(passes),)
    return tuple(tuple(work for place in group for work in units[place]) for group in groups)
