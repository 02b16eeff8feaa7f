"""A demo shop at work: its card, priced jobs, a moment, and short ways to write them into a book."""

from __future__ import annotations

import datetime
from functools import cache
from typing import Any

from msgspec.structs import replace

from quoting import Estimate, RateCard, estimate_job, load_job, load_rate_card
from quoting.book import Entry, QuoteBook
from quoting.job import Client
from tests.conftest import DAY, demo_card_path, demo_job_path

NOW = datetime.datetime(2026, 11, 25, 10, tzinfo=datetime.UTC)
LATER = NOW + datetime.timedelta(days=2)
SHOP = "marrowby-lane"
SECRET = b"thirty-two bytes of the tests' own"


@cache
def card(version: str = "2026-1", zone: str = "Europe/London", valid_days: int = 30) -> RateCard:
    """The demo card, or another version of it."""
    demo = load_rate_card(demo_card_path(SHOP))
    return replace(
        demo,
        card=replace(demo.card, version=version),
        region=replace(demo.region, time_zone=zone),
        pricing=replace(demo.pricing, valid_days=valid_days),
    )


@cache
def priced(
    job: str = "reprint",
    version: str = "2026-1",
    client: str = "",
    quantities: tuple[int, ...] = (),
) -> Estimate:
    """An estimate of a demo job, for another client or other quantities where told."""
    asked = load_job(demo_job_path(SHOP, job))
    if client:
        asked = replace(asked, client=Client(name=client, email=f"{client.partition(' ')[0].lower()}@post.example"))
    if quantities:
        asked = replace(asked, quantities=quantities)
    return estimate_job(asked, card(version), on=DAY)


def drafted(book: QuoteBook, estimate: Estimate | None = None, **told: Any) -> Entry:
    """A draft of a demo job."""
    return book.draft(estimate or priced(), card(), **{"at": NOW, "by": "owner", **told})


def issued(book: QuoteBook, estimate: Estimate | None = None, **told: Any) -> Entry:
    """A quotation of a demo job, issued."""
    return book.draft_and_issue(estimate or priced(), card(), **{"at": NOW, "by": "owner", **told})
