"""
The job docket: what a printer who never saw the job makes it from. For the shop, not for the client.

It is drawn from an Estimate, holds no money, and its words are said already, in the shop's language.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct

from quoting.client_words import delivery_words, item_lines
from quoting.docket.cautions import FIRST, Caution, cautions
from quoting.docket.counts import Counted, counts_of
from quoting.docket.passes import (
    DocketPass,
    InkWanted,
    Timed,
    artwork_words,
    docket_passes,
    inks_wanted,
    minutes_told,
    work_words,
)
from quoting.docket.stock_sheets import DocketSheets, docket_sheets
from quoting.errors import Fault, JobError
from quoting.estimate import Estimate, Option
from quoting.job import Client
from quoting.languages import Language, check_locale, language, message
from quoting.numbers import in_engine_context
from quoting.rate_card import RateCard
from quoting.units import as_told

__all__ = [
    "Caution",
    "Counted",
    "Docket",
    "DocketPart",
    "DocketPass",
    "DocketSheets",
    "InkWanted",
    "Timed",
    "artwork_words",
    "docket_for",
]


class DocketPart(Struct, frozen=True, kw_only=True):
    """One part: what it is, its sheets, its counts at every step."""

    name: str
    item: str
    lines: tuple[str, ...]
    sheets: DocketSheets
    counts: tuple[Counted, ...]
    warnings: tuple[str, ...]


class Docket(Struct, frozen=True, kw_only=True):
    """Everything that the bench needs for one quantity of a job."""

    shop: str
    locale: str
    paper: str
    title: str
    reference: str
    number: str
    client: Client
    quantity: int
    dated: datetime.date
    needed_by: datetime.date | None
    ready_on: datetime.date
    proofs: tuple[str, ...]
    parts: tuple[DocketPart, ...]
    passes: tuple[DocketPass, ...]
    inks: tuple[InkWanted, ...]
    times: tuple[Timed, ...]
    all_minutes: str
    packing: tuple[str, ...]
    notes: str
    first: str
    cautions: tuple[Caution, ...]


_OPERATIONS = (
    message("Handling"),
    message("Prepress"),
    message("Screen proofs"),
    message("Press proof"),
    message("Composing"),
    message("Mixing"),
    message("Cutting"),
    message("Ink-up"),
    message("Wash-up"),
    message("Counting and banding"),
    message("Collating"),
    message("Packing"),
)


_WARNINGS = (  # of a plan, which tells them in the source language
    message("{work}: a large form for {press}; build the impression with care"),
    message("{work}: asks {share} % of the impression that {press} can give"),
    message("{part}: the case is short, so it is set in several settings: print, distribute, set again"),
    message("{part}: deep impression on both sides of {stock}, thin enough to show it"),
    message("{part}: {ems} ems an hour in {fount}, over the {wonderful} that the card calls wonderful"),
    message("{part}: {stock} is printed damped: dry it before it is packed"),
    message("{part}: {stock} keeps its deckle: lay it to an edge that is straight"),
    message("{part}: {stock} is torn to size by hand: its pieces are not all of one size"),
    message(
        "{part}: blanks of {stock} vary by {variance} mm, more than the {border} mm round the form:"
        " its border will be seen to"
    ),
)


@in_engine_context
def docket_for(
    estimate: Estimate,
    rate_card: RateCard,
    *,
    quantity: int | None = None,
    locale: str | None = None,
    number: str = "",
) -> Docket:
    """
    The docket of one quantity of an estimate.

    Args:
        rate_card: The card that priced it.
        quantity: The option to make; the first if left out.
        locale: Language and region of the bench; the shop's if left out.
        number: The number of the quotation that was accepted.

    Raises:
        JobError: the estimate has no option of that quantity.
        InputError: a language that documents cannot be written in.
    """
    check_locale(locale)
    option = _option(estimate, quantity)
    region, job = rate_card.region, estimate.job
    words = language(locale or region.locale)
    return Docket(
        shop=rate_card.letterhead.name,
        locale=words.locale,
        paper=region.paper if words.locale == region.locale else words.paper,
        title=job.title,
        reference=job.reference,
        number=number,
        client=job.client,
        quantity=option.quantity,
        dated=estimate.on,
        needed_by=job.needed_by,
        ready_on=option.ready_on,
        proofs=tuple(_proofs(estimate, words)),
        parts=tuple(_parts(estimate, option, rate_card, words)),
        passes=docket_passes(job, option, rate_card, words),
        inks=inks_wanted(option, rate_card, words),
        times=tuple(_times(estimate, option, words)),
        all_minutes=minutes_told(option.hours.labour * 60, words),
        packing=tuple(_packing(estimate, option, rate_card, words)),
        notes=job.notes,
        first=words.say(FIRST),
        cautions=cautions(job, option, rate_card, words),
    )


def _option(estimate: Estimate, quantity: int | None) -> Option:
    if quantity is None:
        return estimate.options[0]
    found = next((option for option in estimate.options if option.quantity == quantity), None)
    if found is None:
        offered = ", ".join(str(option.quantity) for option in estimate.options)
        raise JobError([Fault("quantity", f"one of {offered}", str(quantity))])
    return found


def _proofs(estimate: Estimate, words: Language) -> Iterator[str]:
    proofs = estimate.job.proofs
    if proofs.screen_rounds:
        yield words.say_many(
            "One round of proofs on screen", "{count} rounds of proofs on screen", proofs.screen_rounds
        )
    if proofs.press_proof:
        yield words.say("A proof pulled on the press")


def _parts(estimate: Estimate, option: Option, card: RateCard, words: Language) -> Iterator[DocketPart]:
    works = {work.label: work_words(work, part, card, words) for part in option.parts for work in part.plan.passes}
    for part in option.parts:
        item = estimate.job.items[part.plan.item]
        asked = item.all_parts()[part.plan.part]
        yield DocketPart(
            name=part.plan.label,
            item=item.name,
            lines=tuple(item_lines(item, card, words)),
            sheets=docket_sheets(item, asked, part, card, words),
            counts=counts_of(item, part, card, words),
            warnings=tuple(words.say_again(told, _WARNINGS, works) for told in part.plan.warnings),
        )


def _times(estimate: Estimate, option: Option, words: Language) -> Iterator[Timed]:
    """Every operation of every item, in the order of work."""
    summed: dict[tuple[str, int | None], Decimal] = {}
    for line in option.lines:
        if line.minutes:
            key = (line.operation, line.item)
            summed[key] = summed.get(key, Decimal(0)) + line.minutes
    for (operation, item), minutes in summed.items():
        what = estimate.job.items[item].name if item is not None else words.say("the whole job")
        yield Timed(words.say(operation), what, minutes_told(minutes, words))


def _packing(estimate: Estimate, option: Option, card: RateCard, words: Language) -> Iterator[str]:
    job = estimate.job
    for item in job.items:
        pieces = (option.quantity * item.per_set + item.extra) * item.versions
        yield words.say_many(
            "{item}: {count} piece for the client", "{item}: {count} pieces for the client", pieces, item=item.name
        )
        if item.kept:
            yield words.say_many(
                "{item}: {count} piece kept", "{item}: {count} pieces kept", item.kept * item.versions, item=item.name
            )
    if len(job.items) > 1:
        yield words.say_many("Collate {count} set", "Collate {count} sets", option.quantity)
    grams = words.number(as_told(option.grams, places=0))
    yield words.say_many(
        "{count} parcel, {grams} g in all", "{count} parcels, {grams} g in all", option.parcels, grams=grams
    )
    yield delivery_words(job, card, words)
