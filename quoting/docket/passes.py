"""The order of passes: what each prints, from which form, packed how, with how much ink, in what time."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct

from quoting.artwork.measured import FormArtwork
from quoting.docket.type_lines import TypeLine, type_lines
from quoting.estimate import Option, PartEstimate
from quoting.job import Colour, Form, HandSet, Job, MeasuredForm, Part
from quoting.languages import Language, message
from quoting.line_items import LineItem
from quoting.planning.settings import parted_forms
from quoting.presswork import Pass, PassCount
from quoting.rate_card import RateCard
from quoting.units import TYPE_HEIGHT_MM, as_told


class Timed(Struct, frozen=True):
    """One operation and the minutes that the estimate gives it."""

    operation: str
    what: str
    minutes: str


class PassArtwork(Struct, frozen=True, kw_only=True):
    """The artwork of a form, as it was measured: what to say of it, and a small picture as PNG."""

    name: str
    lines: tuple[str, ...]
    png: bytes


class DocketPass(Struct, frozen=True, kw_only=True):
    """One pass, in the order of the job: everything that its press and its form are set up by."""

    number: int
    sitting: int
    press: str
    part: str
    colour: str
    side: str
    form: str
    impression: str
    packing: str
    notes: tuple[str, ...]
    lines: tuple[TypeLine, ...]
    artwork: PassArtwork | None
    ink_grams: str
    sheets_in: str
    sheets_good: str
    set_up_pulls: str
    times: tuple[Timed, ...]

    @property
    def picture(self) -> str:
        """How a page names the picture of its artwork."""
        return f"pass-{self.number}.png"


class InkWanted(Struct, frozen=True, kw_only=True):
    """One ink, mixed once for the job: what stays on paper, what dresses rollers, both."""

    name: str
    printed_grams: str
    dressing_grams: str
    grams: str


_SIDES = {"front": message("front"), "back": message("back"), "both": message("both sides")}
_KINDS = {
    "plate": message("relief plate"),
    "metal type": message("metal type"),
    "wood type": message("wood type, or wood and metal"),
}
_IMPRESSIONS = {
    "kiss": message("kiss: it prints, it does not bite"),
    "visible": message("visible: a bite that is seen and just felt"),
    "deep": message("deep: a bite that is plainly felt"),
}
_PACKING = {
    "kiss": message("Hard packing: pressboard under a tight top sheet, no more than makes it print."),
    "visible": message("Firm packing: pressboard and a few hard sheets; add tissue until the bite is even."),
    "deep": message("Packing with some give under a hard top sheet; add sheet by sheet, and look at the back."),
}
_REGISTER = {
    "loose": message("Loose register: check the first ten sheets, then every fiftieth."),
    "close": message("Close register: check the first ten sheets, then every tenth."),
}
_AT_A_PASS = (
    message("Lock-up"),
    message("Pins and packing"),
    message("Make-ready"),
    message("Running"),
    message("Re-inking"),
    message("Interleaving"),
    message("Form washing"),
)


def docket_passes(job: Job, option: Option, card: RateCard, language: Language) -> tuple[DocketPass, ...]:
    """Every pass, sitting by sitting."""
    found: dict[str, list[tuple[PartEstimate, Pass, PassCount]]] = {}
    for part in option.parts:
        for work, count in zip(part.plan.passes, part.count.passes, strict=True):
            found.setdefault(work.label, []).append((part, work, count))
    passes: list[DocketPass] = []
    for sitting, at_press in enumerate(option.sittings, start=1):
        for label in at_press.passes:
            part, work, count = found[label].pop(0)
            passes.append(_pass(job, option, card, language, len(passes) + 1, sitting, part, work, count))
    return tuple(passes)


def _pass(
    job: Job,
    option: Option,
    card: RateCard,
    language: Language,
    number: int,
    sitting: int,
    part: PartEstimate,
    work: Pass,
    count: PassCount,
) -> DocketPass:
    asked = job.items[work.item].all_parts()[work.part]
    colour = _colour_of(asked, work)
    parted = parted_forms(job.items[work.item], asked, card, part.plan)
    form = parted.get(work.label.partition(", hit ")[0], colour.form)
    return DocketPass(
        number=number,
        sitting=sitting,
        press=card.presses[work.press].name,
        part=part.plan.label,
        colour=card.inks[work.ink].name if work.ink else language.say("blind, without ink"),
        side=language.say(_SIDES[work.side]),
        form=_form_words(work, part, language),
        impression=language.say(_IMPRESSIONS[work.impression]),
        packing=language.say(_PACKING[work.impression]),
        notes=tuple(_notes(work, card, part, language)),
        lines=type_lines(form, card, language) if isinstance(form, HandSet) else (),
        artwork=_artwork(form, language),
        ink_grams=_grams(_drawn(option.lines, work.label), language),
        sheets_in=language.number(count.sheets_in),
        sheets_good=language.number(count.sheets_out + part.count.least_extra),
        set_up_pulls=language.number(count.set_up_pulls),
        times=tuple(_times(option.lines, work.label, language)),
    )


def work_words(work: Pass, part: PartEstimate, card: RateCard, language: Language) -> str:
    """What a pass is called: its part, its side, its ink."""
    ink = card.inks[work.ink].name if work.ink else language.say("blind, without ink")
    return language.say(
        "{part}, {side}, {colour}", part=part.plan.label, side=language.say(_SIDES[work.side]), colour=ink
    )


def _colour_of(part: Part, work: Pass) -> Colour:
    """The colour that a pass prints: by side and ink, in the order they were asked for."""
    sides = [part.back] if work.side == "back" else [part.front, part.back]
    colours = [colour for side in sides if side for colour in side.colours if colour.ink == work.ink]
    return colours[0]


def _form_words(work: Pass, part: PartEstimate, language: Language) -> str:
    kind = language.say(_KINDS[work.form_kind])
    copies = part.plan.copies
    if copies == 1:
        return kind
    return language.say_many(
        "{kind}, {count} copy in the form", "{kind}, {count} copies in the form", copies, kind=kind
    )


def _notes(work: Pass, card: RateCard, part: PartEstimate, language: Language) -> Iterator[str]:
    say = language.say
    stock = card.stocks[part.plan.stock]
    if work.thick_board:
        yield say(
            "The stock is {caliper} thick: take out packing for it.",
            caliper=language.length(stock.caliper.in_base_unit),
        )
    if work.is_low:
        yield say(
            "The plate stands low on its base: underlay it to type height, {height}.",
            height=f"{language.number(as_told(TYPE_HEIGHT_MM, places=3))} mm",
        )
    if work.register != "none":
        yield say(_REGISTER[work.register])
    if work.double_rolled:
        yield say("Double-rolled: ink the form twice for each sheet.")
    if work.trips > 1:
        yield say("The sheet meets this form twice: turn the pile when the first side is dry.")
    if work.versions > 1:
        yield language.say_many(
            "{count} design: stop and change the form for each.",
            "{count} designs: stop and change the form for each.",
            work.versions,
        )
    if work.share_inked > card.packing.interleave_over:
        yield say("Heavy inking: interleave or rack the sheets.")
    if getattr(stock, "damped", False):
        yield say("The stock is printed damped: dry it under boards before it is packed.")


def _artwork(form: Form, language: Language) -> PassArtwork | None:
    found = form.measured if isinstance(form, MeasuredForm) else None
    if found is None:
        return None
    return PassArtwork(
        name=found.file, lines=tuple(artwork_words(found, language)), png=base64.b64decode(found.picture)
    )


def artwork_words(found: FormArtwork, language: Language) -> Iterator[str]:
    """What a form of a file measures, in a person's words."""
    say, page = language.say, language.number(found.page)
    if found.separation:
        yield say("{file}, page {page}, {ink}", file=found.file, page=page, ink=found.separation)
    else:
        yield say("{file}, page {page}", file=found.file, page=page)
    inked = language.number(as_told(found.share_inked * 100, places=1))
    yield say("{size}, {share} % of it inked", size=language.size(found.size), share=inked)
    if found.largest_solid_size is not None:
        yield say("Largest solid {size}", size=language.size(found.largest_solid_size))
    for told, width in (
        (message("Thinnest line {width} mm"), found.thinnest_positive),
        (message("Finest gap {width} mm"), found.thinnest_reversed),
    ):
        if width is not None:
            yield say(told, width=language.number(as_told(width, places=2)))


def _drawn(lines: tuple[LineItem, ...], label: str) -> Decimal:
    workings = (working for line in lines if line.operation == "Ink" for working in line.workings)
    return sum((working.amount for working in workings if working.what == label), Decimal(0))


def _times(lines: tuple[LineItem, ...], label: str, language: Language) -> Iterator[Timed]:
    for operation in _AT_A_PASS:
        workings = (working for line in lines if line.operation == operation for working in line.workings)
        minutes = sum((working.amount for working in workings if working.what == label), Decimal(0))
        if minutes:
            yield Timed(language.say(operation), label, minutes_told(minutes, language))


def inks_wanted(option: Option, card: RateCard, language: Language) -> tuple[InkWanted, ...]:
    """Every ink to mix."""
    labels = {work.label for part in option.parts for work in part.plan.passes}
    found = []
    for line in option.lines:
        if line.operation != "Ink":
            continue
        printed = sum((working.amount for working in line.workings if working.what in labels), Decimal(0))
        whole = sum((working.amount for working in line.workings), Decimal(0))
        found.append(
            InkWanted(
                name=line.what,
                printed_grams=_grams(printed, language),
                dressing_grams=_grams(whole - printed, language),
                grams=_grams(whole, language),
            )
        )
    return tuple(found)


def _grams(grams: Decimal, language: Language) -> str:
    return f"{language.number(as_told(grams, places=1))} g"


def minutes_told(minutes: Decimal, language: Language) -> str:
    """Minutes as the bench reads them: to one, under one to a tenth."""
    told = language.number(as_told(minutes, places=0 if minutes >= 1 else 1))
    return language.say("{minutes} min", minutes=told)
