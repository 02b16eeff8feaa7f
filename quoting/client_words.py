"""What a quotation says of a job: items, what the price holds, rests on and leaves out, each from the job."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from quoting.estimate import Estimate
from quoting.job import ClientPlate, Colour, HandSet, Item, Job, Part, ReliefPlate, Side, StandingType
from quoting.languages import Language, message
from quoting.numbers import plain
from quoting.operations.finishing import FinishingBase
from quoting.rate_card import RateCard

_COLOURS = (
    message("one colour"),
    message("two colours"),
    message("three colours"),
    message("four colours"),
    message("five colours"),
    message("six colours"),
)
_IMPRESSIONS = {
    "kiss": message("kiss impression"),
    "visible": message("visible impression"),
    "deep": message("deep impression"),
}
_FOLDS = {
    "long side": message("the fold along its long side"),
    "short side": message("the fold along its short side"),
}
_FORMS = {
    HandSet: message("from type set by hand"),
    ReliefPlate: message("from a relief plate"),
    StandingType: message("from standing type"),
    ClientPlate: message("from your own plate"),
}
_LAST_TIME = message("from last time's plate")
_HEAVY, _MEDIUM = Decimal("0.3"), Decimal("0.15")


def item_lines(item: Item, card: RateCard, language: Language) -> Iterator[str]:
    """One item in the client's words, a line each for stock, sides and finishing."""
    parts = item.all_parts()
    for part in parts:
        told = _size_and_stock(part, card, language)
        yield language.say("{part}: {what}", part=part.name, what=told) if len(parts) > 1 else told
        yield from _printing(part, card, language)
        yield from _finishing(part.finishing, part, language)
    yield from _finishing(item.joining, None, language)
    if item.versions > 1:
        yield language.say_many("In {count} design", "In {count} designs", item.versions)


def _size_and_stock(part: Part, card: RateCard, language: Language) -> str:
    stock = language.say("your own stock") if part.stock_from == "client" else card.stocks[part.stock].name
    return language.say("{size}, on {stock}", size=size_words(part, language), stock=stock)


def size_words(part: Part, language: Language) -> str:
    """A part's size and shape."""
    told = language.size(part.size)
    if part.shape == "round":
        return language.say("Round, {size}", size=told)
    return language.say("{size}, cut to shape", size=told) if part.shape == "die-cut" else told


def _printing(part: Part, card: RateCard, language: Language) -> Iterator[str]:
    if part.front and part.back:
        yield language.say("Front: {side}", side=_side(part.front, card, language))
        yield language.say("Back: {side}", side=_side(part.back, card, language))
    else:
        for side in (part.front, part.back):
            if side is not None:
                yield language.say("Printed on one side: {side}", side=_side(side, card, language))


def _side(side: Side, card: RateCard, language: Language) -> str:
    inks = [
        card.inks[colour.ink].name if colour.ink else language.say("blind, without ink") for colour in side.colours
    ]
    forms = dict.fromkeys(_FORMS.get(type(colour.form), _LAST_TIME) for colour in side.colours)
    return language.say(
        "{colours} ({inks}), {forms}, {impression}",
        colours=language.say(_COLOURS[len(inks) - 1]),
        inks=", ".join(inks),
        forms=_joined([language.say(form) for form in forms], language),
        impression=language.say(_IMPRESSIONS[side.impression]),
    )


def _joined(told: list[str], language: Language) -> str:
    first, *others = told
    for other in others:
        first = language.say("{one} and {other}", one=first, other=other)
    return first


def _finishing(operations: tuple[object, ...], part: Part | None, language: Language) -> Iterator[str]:
    words = [asked.words_in(language) for asked in operations if isinstance(asked, FinishingBase)]
    if part is not None and part.fold:
        words.append(language.say(_FOLDS[part.fold.along]))
    if words:
        told = ", ".join(words)
        yield told[0].upper() + told[1:]


def delivery_words(job: Job, card: RateCard, language: Language) -> str:
    """How the work leaves, and where to."""
    if job.delivery.method == "collect":
        return language.say("Collected from the shop")
    method = card.delivery[job.delivery.method].name
    if not job.delivery.to:
        return method
    return language.say("{method}, to {place}", method=method, place=job.delivery.to)


def included(job: Job, language: Language) -> Iterator[str]:
    """What the price holds."""
    say = language.say
    rounds = job.proofs.screen_rounds
    if rounds:
        yield language.say_many("One round of proofs on screen", "{count} rounds of proofs on screen", rounds)
    if job.proofs.press_proof:
        yield say("A proof pulled on the press")
    if any(isinstance(colour.form, ReliefPlate) for colour in _colours(job)):
        yield say("Making the plates")
    if any(isinstance(colour.form, HandSet) for colour in _colours(job)):
        yield say("Setting the type, and putting it back in its cases")
    if len(job.items) > 1:
        yield say("Assembling the sets")
    if job.rush:
        yield say("Rush working")
    yield say("Counting, banding and packing")


def assumed(job: Job, card: RateCard, language: Language) -> Iterator[str]:
    """What the price rests on."""
    say = language.say
    yield _count(job, card, language)
    yield say(_artwork(job))
    yield say("Printing runs over the edge and is trimmed") if _bleeds(job) else say("Nothing prints over the edge")
    yield say(_coverage(job))
    if any(isinstance(colour.form, ClientPlate) for colour in _colours(job)):
        yield say("Your plate reaches us clean, flat and at the thickness you gave")


def _count(job: Job, card: RateCard, language: Language) -> str:
    if job.count == "exact":
        return language.say("The exact count is delivered")
    share = language.number(Decimal(plain(card.pricing.overs_and_unders * 100)))
    return language.say(
        "Up to {share} % over or under may be delivered, and what is delivered is charged", share=share
    )


def _artwork(job: Job) -> str:
    forms = (colour.form for colour in _colours(job))
    to_see = any(
        isinstance(form, ReliefPlate) and form.artwork != "ready" and form.measured is None for form in forms
    )
    if to_see:
        return message("The price is subject to sight of artwork")
    return message("The price is firm for what is described")


def _bleeds(job: Job) -> bool:
    return any(getattr(colour.form, "bleed", False) for colour in _colours(job))


def _coverage(job: Job) -> str:
    """The heaviest form decides: what it may print of its own rectangle."""
    told = [colour.form.share_inked for colour in _colours(job) if getattr(colour.form, "share_inked", None)]
    heaviest = max((Decimal(share) for share in told if share is not None), default=Decimal(0))
    if heaviest > _HEAVY:
        return message("Heavy coverage, with solids, as described")
    if heaviest > _MEDIUM:
        return message("Medium coverage, without large solids")
    return message("Light coverage: type and line, without solids")


def not_included(job: Job, language: Language) -> Iterator[str]:
    """What the price leaves out."""
    if not job.proofs.press_proof:
        yield language.say("A proof pulled on the press")
    yield language.say("Changes after a proof is passed")
    if job.delivery.method == "collect":
        yield language.say("Delivery")


def days_told(estimate: Estimate, language: Language) -> Iterator[str]:
    """Where the day it is needed cannot be met: the day that can be, and what a rush that is sooner costs."""
    for option in estimate.options:
        late = option.late
        if late is None:
            continue
        told = {
            "quantity": language.number(option.quantity),
            "needed": late.needed_by.isoformat(),
            "ready": late.ready_on.isoformat(),
        }
        if late.rush_costs is None or late.rush_ready_on is None or late.rush_ready_on >= late.ready_on:
            yield language.say("Needed by {needed}: {quantity} can be ready on {ready}", **told)
            continue
        yield language.say(
            "Needed by {needed}: {quantity} can be ready on {ready}, or as a rush on {rush} for {amount} more",
            **told,
            rush=late.rush_ready_on.isoformat(),
            amount=_money(late.rush_costs, estimate.currency, language),
        )


def _money(amount: Decimal, currency: str, language: Language) -> str:
    from babel.numbers import format_currency

    return format_currency(amount, currency, locale=language.locale.replace("-", "_"))


def please_send(estimate: Estimate, language: Language) -> Iterator[str]:
    """Stock of the client's own that must reach the shop, by quantity."""
    parts = [part for item in estimate.job.items for part in item.all_parts()]
    for place, part in enumerate(parts):
        if part.stock_from == "client":
            for option in estimate.options:
                sheets = option.parts[place].sheets_from_stock
                yield language.say_many(
                    "{part}: {count} sheet for {quantity}",
                    "{part}: {count} sheets for {quantity}",
                    sheets,
                    part=part.name,
                    quantity=language.number(option.quantity),
                )


def _colours(job: Job) -> list[Colour]:
    parts = [part for item in job.items for part in item.all_parts()]
    return [colour for part in parts for side in (part.front, part.back) if side for colour in side.colours]
