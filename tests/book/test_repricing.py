"""A25: what was kept is worked out again to the byte, under the rules that priced it."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting import Estimate, Job, RateCard, estimate_job, load_job, load_rate_card
from quoting.book import QuoteBook, keep_documents
from quoting.book.repricing import ENGINES, Engine, price_json
from quoting.documents.quotation import quotation_page, quotation_pdf
from quoting.documents.render import render
from quoting.planning.pins import Pin
from quoting.quotation import Quotation
from quoting.reader import from_json
from quoting.rules import RULES
from tests.book.shop import LATER, NOW, card, issued, priced
from tests.conftest import DAY, SHOPS, demo_card_path, demo_job_path, demo_jobs

OTHER_RULES = RULES + 1


def estimate_by_other_rules(
    job: Job, rate_card: RateCard, *, on: datetime.date, pins: Sequence[Pin] = ()
) -> Estimate:
    """An engine whose rule of the least charge was changed: its number is another."""
    pricing = replace(rate_card.pricing, least_charge=type(rate_card.pricing.least_charge)("999.00"))
    dearer = estimate_job(job, replace(rate_card, pricing=pricing), on=on, pins=pins)
    return replace(dearer, rules=OTHER_RULES, card_hash=rate_card.content_hash)


BOTH: Mapping[int, Engine] = {**ENGINES, OTHER_RULES: estimate_by_other_rules}


def test_every_demo_job_is_worked_out_again_to_the_byte(book: QuoteBook) -> None:
    for shop in SHOPS:
        own = load_rate_card(demo_card_path(shop))
        for name in (job for of, job in demo_jobs() if of == shop):
            estimate = estimate_job(load_job(demo_job_path(shop, name)), own, on=DAY)
            book.draft_and_issue(estimate, own, at=NOW, by="owner")

    report = book.verify()

    assert (report.drift, report.tampering, report.not_recomputed) == ((), (), ())
    assert report.recomputed == len(demo_jobs())


def test_pins_are_kept_and_pinned_again(book: QuoteBook) -> None:
    pins = (Pin(number_up=1),)
    estimate = estimate_job(priced("cards").job, card(), on=DAY, pins=pins)

    book.draft_and_issue(estimate, card(), at=NOW, by="owner", pins=pins)

    assert book.verify().drift == ()
    assert price_json(estimate) != price_json(priced("cards"))


def test_a_changed_price_is_found_as_drift_and_other_rules_are_named(book: QuoteBook) -> None:
    entry = issued(book)

    def drifted(job: Job, rate_card: RateCard, *, on: datetime.date, pins: Sequence[Pin] = ()) -> Estimate:
        return replace(estimate_by_other_rules(job, rate_card, on=on, pins=pins), rules=RULES)

    assert book.verify().drift == ()
    found = book.verify(engines={RULES: drifted})
    assert len(found.drift) == 1
    assert found.drift[0].startswith(f"{entry.number} revision 1: expected the price that was kept")
    assert book.verify(engines={OTHER_RULES: drifted}).not_recomputed == (f"{entry.number} revision 1",)


@pytest.mark.parametrize(("cards", "each"), [(20, 4), pytest.param(20, 500, marks=pytest.mark.long)])
def test_quotations_of_twenty_cards_and_two_rules_are_worked_out_again(
    book: QuoteBook, cards: int, each: int
) -> None:
    before = {}
    for number in range(cards):
        version = f"2026-{number}"
        for of in range(each):
            asked = priced(quantities=(50 + 10 * of + number,), version=version).job
            rules = RULES if of % 2 else OTHER_RULES
            entry = book.draft_and_issue(BOTH[rules](asked, card(version), on=DAY), card(version), at=NOW, by="owner")
            before[entry.id] = hashlib.sha256(book.paper(entry.id, "estimate").content).hexdigest()

    book.publish_card(card("of tomorrow", valid_days=5), at=LATER, by="owner")
    report = book.verify(engines=BOTH)

    assert (report.recomputed, report.drift, report.tampering) == (cards * each, (), ())
    kept = {id: hashlib.sha256(book.paper(id, "estimate").content).hexdigest() for id in before}
    assert kept == before


@pytest.mark.parametrize("jobs", [2, pytest.param(len(demo_jobs()), marks=pytest.mark.long)])
def test_documents_are_kept_as_they_were_sent_and_rendered_again_alike(
    tmp_path: Path, pango: None, jobs: int
) -> None:
    with QuoteBook(str(tmp_path / "book.sqlite")) as book:
        for _, name in [one for one in demo_jobs() if one[0] == SHOPS[0]][:jobs]:
            entry = keep_documents(book, issued(book, priced(name)).id, at=NOW, by="owner")
            quotation = from_json(book.paper(entry.id, "quotation").content, Quotation)

            assert quotation.number == entry.number
            assert book.paper(entry.id, "pdf").content == render(quotation_page(quotation))
            assert book.paper(entry.id, "pdf").content == quotation_pdf(quotation)
            assert entry.number.encode() in book.paper(entry.id, "xml").content
            assert keep_documents(book, entry.id, at=LATER, by="owner") == entry
