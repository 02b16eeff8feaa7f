"""A choice becomes a job: the same that the owner would have written for it."""

from __future__ import annotations

import datetime
from typing import Any

from quoting.artwork import FormArtwork
from quoting.job import (
    Client,
    ClientPlate,
    Colour,
    Delivery,
    Form,
    HandSet,
    Item,
    Job,
    ReliefPlate,
    SameAsLastTime,
    SetLine,
    Side,
)
from quoting.job_artwork import runs_off
from quoting.languages import language
from quoting.numbers import in_engine_context
from quoting.offer import Coverage, Offer
from quoting.offers.checking import check_choice
from quoting.offers.choice import Choice, Contact, EnvelopeChoice, LineChoice, SideChoice
from quoting.offers.chosen import NONE_MEASURED, Chosen, Measured, form_within, inks_of, opened_out, way_of
from quoting.offers.offered import founts_of, has_work, offer_by_key, offered_extra
from quoting.operations.addressing import Addressing
from quoting.operations.corner_rounding import CornerRounding
from quoting.operations.edge_painting import EdgePainting
from quoting.operations.envelope_lining import EnvelopeLining
from quoting.operations.folding import Folding
from quoting.operations.scoring import Scoring
from quoting.rate_card import RateCard
from quoting.shop import Impression, ReadyCut
from quoting.units import Size
from quoting.wording import in_settings, measure_type

# A price may be asked for before anybody says who asks.
NOBODY = Client(name="?")


@in_engine_context
def job_from_choice(choice: Choice, card: RateCard, *, on: datetime.date, artwork: Measured = NONE_MEASURED) -> Job:
    """
    The job that a choice asks for.

    Args:
        on: The day it is asked for.
        artwork: What the files measure that its sides name.

    Raises:
        NotOfferedError: the choice is outside the offer, with every fault and what is offered instead.
    """
    offer = offer_by_key(choice.product, card)
    check_choice(choice, offer, card, on=on, artwork=artwork)
    chosen = Chosen(choice, offer, card, artwork)
    return Job(
        format=1,
        title=choice.title or offer.name,
        client=_client(choice.contact),
        quantities=choice.quantities,
        items=_items(chosen),
        reference=choice.reference,
        order=offer.order,
        needed_by=choice.needed_by,
        rush=choice.rush,
        delivery=Delivery(method=choice.delivery.method, to=choice.delivery.to),
        notes=_notes(chosen),
    )


def _client(contact: Contact | None) -> Client:
    if contact is None:
        return NOBODY
    return Client(
        name=contact.name,
        company=contact.company,
        email=contact.email,
        address=contact.address,
        is_business=contact.is_business,
        locale=contact.locale,
    )


def _notes(chosen: Chosen) -> str:
    """What the visitor wrote; where the stock is left to the shop, that it is, in their language."""
    choice, card = chosen.choice, chosen.card
    if not chosen.is_advised:
        return choice.notes
    wanted = choice.contact.locale if choice.contact else ""
    words = language(wanted or card.region.locale)
    told = words.say("The stock is to be advised; priced on {stock}", stock=card.stocks[chosen.stock].name)
    return f"{told}\n{choice.notes}".rstrip()[:2000]


def _items(chosen: Chosen) -> tuple[Item, ...]:
    choice = chosen.choice
    envelope = choice.envelope
    return (
        _product(chosen),
        *(_further(chosen, one.piece, one.front) for one in choice.pieces),
        *((_envelope(chosen, envelope),) if envelope is not None else ()),
    )


def _product(chosen: Chosen) -> Item:
    choice, size = chosen.choice, chosen.size
    if size is None:
        raise ValueError("expected a choice that was checked; found one of no size")
    flat, fold = opened_out(size.size, chosen.folded)
    back = choice.back
    return Item(
        name=chosen.name,
        stock=chosen.stock,
        size=flat,
        shape=size.shape,
        fold=fold,
        front=_side(choice.front, size.size, chosen, chosen.impression),
        back=None if back is None else _side(chosen.like_front(back), size.size, chosen, chosen.impression),
        finishing=(*size.work, *_finishing(chosen, is_folded=fold is not None)),
    )


def _finishing(chosen: Chosen, *, is_folded: bool) -> tuple[Any, ...]:
    choice, offer = chosen.choice, chosen.offer
    asked: list[Any] = []
    if choice.corners == "rounded":
        asked.append(CornerRounding())
    if choice.edges is not None:
        asked.append(EdgePainting(colour=choice.edges))
    if is_folded:
        asked += [kind() for kind in (Scoring, Folding) if has_work(offer, kind)]
    for name in choice.extras:
        asked += offered_extra(offer, name)
    return tuple(asked)


def _further(chosen: Chosen, name: str, front: SideChoice) -> Item:
    piece = next(one for one in chosen.offer.pieces if one.name == name)
    return Item(
        name=name,
        stock=piece.stock or chosen.stock,
        size=piece.size,
        per_set=piece.per_set,
        front=_side(chosen.like_front(front), piece.size, chosen, chosen.impression),
    )


def _envelope(chosen: Chosen, asked: EnvelopeChoice) -> Item:
    """One a piece and the spare ones; printed at a kiss, which a seam asks for."""
    stock = chosen.card.stocks[asked.stock]
    work = ((asked.lined, EnvelopeLining), (asked.addressed, Addressing))
    return Item(
        name=stock.name,
        stock=asked.stock,
        size=stock.size,
        shape=stock.shape if isinstance(stock, ReadyCut) else "rectangular",
        extra=asked.spare,
        front=None if asked.front is None else _side(chosen.like_front(asked.front), stock.size, chosen, "kiss"),
        finishing=tuple(kind() for wanted, kind in work if wanted),
    )


def _side(side: SideChoice, piece: Size, chosen: Chosen, impression: Impression) -> Side:
    offer, card = chosen.offer, chosen.card
    if way_of(side, offer) == "words to set":
        forms = _set_forms(side, piece, offer, card)
    elif side.artwork_file is not None:
        inks, found = inks_of(side, offer), chosen.artwork[side.artwork_file].forms
        forms = [(ink, _measured_plate(side, one, piece, offer, card)) for ink, one in zip(inks, found, strict=True)]
    else:
        forms = [(ink, _plate(side, piece, offer, card)) for ink in inks_of(side, offer)]
    return Side(
        impression=impression,
        colours=tuple(
            Colour(ink=ink, form=form, register=offer.register if place else "none")
            for place, (ink, form) in enumerate(forms)
        ),
    )


def _plate(side: SideChoice, piece: Size, offer: Offer, card: RateCard) -> Form:
    coverage = coverage_of(side, offer)
    size, way = form_within(piece, coverage.form_share.in_base_unit), way_of(side, offer)
    if way == "own plate" and side.plate is not None:
        return ClientPlate(size=side.plate.size, thickness=side.plate.thickness, share_inked=coverage.share_inked)
    if way == "same as last time":
        return SameAsLastTime(size=size, share_inked=coverage.share_inked, bleed=coverage.bleed)
    return ReliefPlate(
        supplier=_supplier(offer, card),
        size=size,
        share_inked=coverage.share_inked,
        bleed=coverage.bleed,
        artwork=side.artwork or offer.artwork[0],
    )


def _measured_plate(side: SideChoice, found: FormArtwork, piece: Size, offer: Offer, card: RateCard) -> ReliefPlate:
    """A plate as its artwork measures, in place of a coverage."""
    return ReliefPlate(
        supplier=_supplier(offer, card),
        size=found.size,
        share_inked=found.share_inked,
        bleed=runs_off(found, piece),
        artwork=side.artwork or offer.artwork[0],
        measured=found,
    )


def _supplier(offer: Offer, card: RateCard) -> str:
    return offer.plate_supplier or next(iter(card.plate_suppliers))


def coverage_of(side: SideChoice, offer: Offer) -> Coverage:
    """How much of a side prints: the usual where the visitor does not say."""
    return next((one for one in offer.coverages if one.name == side.coverage), offer.coverages[0])


def _set_forms(side: SideChoice, piece: Size, offer: Offer, card: RateCard) -> list[tuple[str, Form]]:
    """One form an ink, the later ones broken out of the first: their lines were set with it."""
    inks = inks_of(side, offer)
    lines = _lines_in_founts(side.lines, piece, offer, card)
    told = [(line.ink or inks[0], one) for line, one in zip(side.lines, lines, strict=True)]
    return [
        (ink, HandSet(lines=tuple(one for used, one in told if used == ink), broken_out=place > 0))
        for place, ink in enumerate(inks)
    ]


def _lines_in_founts(lines: tuple[LineChoice, ...], piece: Size, offer: Offer, card: RateCard) -> tuple[SetLine, ...]:
    """Every line in the fount that it names; the others in the first fount in which all of it fits."""
    founts = founts_of(offer, card)
    settings = [tuple(SetLine(text=one.text, fount=one.fount or fount) for one in lines) for fount in founts]
    return next((one for one in settings if _fits(one, piece, offer, card)), settings[-1])


def _fits(lines: tuple[SetLine, ...], piece: Size, offer: Offer, card: RateCard) -> bool:
    form = HandSet(lines=lines)
    share = next((one.form_share.in_base_unit for one in offer.coverages if not one.bleed), None)
    within = piece if share is None else form_within(piece, share)
    measured = measure_type(form, card.founts)
    if measured.width_mm > within.width_mm or measured.height_mm > within.height_mm:
        return False
    return in_settings(form, card.founts, copies=1) is not None
