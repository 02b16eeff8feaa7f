"""What is worked out before a page is written: a priced job as the papers, sums and words that the book keeps."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from quoting.book.papers import (
    JSON,
    Chance,
    Packed,
    Paper,
    Sealed,
    pack,
    packed,
    seal,
    shown_name,
    storable,
    words_of,
)
from quoting.book.states import Days, Terms, day_over, terms_of
from quoting.errors import BookError
from quoting.estimate import Estimate
from quoting.job import Client
from quoting.planning.pins import Pin
from quoting.quotation import Quotation, quotation_for
from quoting.rate_card import RateCard
from quoting.reader import canonical_json, from_json, to_json


class PublishedCard(Struct, frozen=True):
    """A version of a rate card as the book keeps it."""

    hash: str
    name: str
    version: str
    body: bytes


class Prepared(Struct, frozen=True, kw_only=True):
    """
    A priced job, ready to be kept: its papers, the client, and the quotation without number and days.

    ``told`` tells a request for it from another: the job, the pins, the language; not the day or the card.
    """

    client: Client
    terms: Terms
    quotation: Quotation
    papers: tuple[Packed, ...]
    time_zone: str
    told: tuple[str, ...] = ()
    card: PublishedCard | None = None

    @property
    def title(self) -> str:
        """The job's title as a list shows it."""
        return storable(self.quotation.title)

    @property
    def client_name(self) -> str:
        """The client as a list shows them."""
        return shown_name(self.quotation)

    @property
    def words(self) -> tuple[str, ...]:
        """The words it is found by."""
        return words_of(self.quotation)

    def dated(self, at: datetime.datetime) -> Days:
        """The days of a quotation that is sent at an instant, by the shop's own calendar."""
        day = at.astimezone(ZoneInfo(self.time_zone)).date()
        until = day + (self.quotation.valid_until - self.quotation.dated)
        return Days(dated=day, valid_until=until, lapses_at=day_over(until, self.time_zone))

    def sealed(self, revision: int, chance: Chance, *, number: str = "", days: Days | None = None) -> list[Sealed]:
        """Its papers, sealed for one revision; the quotation with the number and days it is sent with."""
        quotation = self.quotation
        if days is not None:
            quotation = replace(quotation, number=number, dated=days.dated, valid_until=days.valid_until)
        papers = (*self.papers, pack(Paper("quotation", JSON, to_json(quotation))))
        return [seal(paper, revision, chance) for paper in papers]


def prepare(estimate: Estimate, card: RateCard, *, pins: Sequence[Pin] = (), locale: str | None = None) -> Prepared:
    """
    A priced job made ready for the book.

    Raises:
        BookError: the card is not the one that priced it.
    """
    kept = published(card)
    if kept.hash != estimate.card_hash:
        raise BookError("expected the rate card that made the estimate; found one of other content")
    job, pinned = to_json(estimate.job), to_json(tuple(pins))
    papers = [Paper("job", JSON, job), Paper("estimate", JSON, to_json(estimate))]
    papers += [Paper("pins", JSON, pinned)] if pins else []
    quotation = quotation_for(estimate, card, locale=locale)
    return Prepared(
        client=estimate.job.client,
        terms=terms_of(estimate),
        quotation=quotation,
        papers=tuple(pack(paper) for paper in papers),
        told=(job.decode(), pinned.decode(), quotation.locale),
        time_zone=card.region.time_zone,
        card=kept,
    )


class _Latest:
    """The card that was made ready last: most quotations of a day come from one."""

    found: tuple[RateCard, PublishedCard] | None = None


def published(card: RateCard) -> PublishedCard:
    """A card as the book keeps it."""
    latest = _Latest.found
    if latest is None or latest[0] is not card:
        name, version = storable(card.card.name), storable(card.card.version)
        made = PublishedCard(card.content_hash, name, version, packed(canonical_json(card)))
        latest = _Latest.found = (card, made)
    return latest[1]


def prepared_again(papers: Mapping[str, Sealed], terms: Terms, card: bytes) -> Prepared:
    """A draft made ready once more, from what the book keeps of it."""
    quotation = from_json(papers["quotation"].paper.content, Quotation)
    region = msgspec.json.decode(card, type=_CardClock).region
    others = tuple(
        Packed(kind, paper.media_type, paper.body) for kind, paper in papers.items() if kind != "quotation"
    )
    return Prepared(
        client=quotation.client, terms=terms, quotation=quotation, papers=others, time_zone=region.time_zone
    )


class _Region(Struct):
    time_zone: str


class _CardClock(Struct):
    region: _Region
