"""The quotation as a page: what it says, what it must not say, what it may reach."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
from msgspec.structs import replace

from quoting import DocumentError, Job, Quotation, RateCard, estimate_job, quotation_for
from quoting.documents import quotation_pdf
from quoting.documents.formats import Formats
from quoting.documents.quotation import quotation_page
from quoting.documents.render import Page, render, render_in_child
from quoting.estimate import Estimate
from tests.conftest import DAY, demo_jobs

pytestmark = pytest.mark.usefixtures("pango")


def text_of(pdf: bytes) -> str:
    """All text of a PDF, its spaces folded."""
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    return re.sub(r"\s+", " ", text.replace("\u00a0", " ").replace("\u202f", " "))


def estimated(shop: str, job: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]) -> Estimate:
    return estimate_job(jobs[shop, job], cards[shop], on=DAY)


@pytest.fixture(scope="module")
def quotation(cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]) -> Quotation:
    return quotation_for(estimated("marrowby-lane", "coasters", cards, jobs), cards["marrowby-lane"])


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_every_figure_of_the_quotation_stands_on_the_page_and_no_cost_does(
    shop: str, job: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    estimate = estimated(shop, job, cards, jobs)
    quoted = quotation_for(estimate, cards[shop])
    formats = Formats(quoted.locale, quoted.currency)

    text = text_of(quotation_pdf(quoted))

    for option in quoted.options:
        figures = [option.net, option.total, option.deposit, option.balance, option.run_on]
        figures += [price.price for price in option.prices] + [tax.tax for tax in option.taxes if tax.rate]
        for figure in figures:
            assert re.sub(r"\s", " ", formats.money(figure)) in text
    shown = {figure for option in quoted.options for figure in amounts_in(option)}
    costs = {option.price.cost for option in estimate.options}
    for cost in costs - shown:
        assert formats.money(cost) not in text
    for word in ("margin", "mark-up", "hour rate", estimate.card_hash[:12]):
        assert word not in text.lower()


def amounts_in(value: Any) -> set[Decimal]:
    """Every amount inside a quoted option."""
    if isinstance(value, Decimal):
        return {value}
    if isinstance(value, tuple):
        return {amount for one in value for amount in amounts_in(one)}
    if hasattr(value, "__struct_fields__"):
        return {amount for name in value.__struct_fields__ for amount in amounts_in(getattr(value, name))}
    return set()


def test_the_same_quotation_gives_the_same_bytes(quotation: Quotation) -> None:
    assert quotation_pdf(quotation) == quotation_pdf(quotation)


def test_a_child_process_gives_the_bytes_that_this_one_gives(quotation: Quotation) -> None:
    page = quotation_page(quotation)

    assert render_in_child(page) == render(page)


@pytest.mark.parametrize(
    "hostile",
    [
        "<script>alert(1)</script>",
        "{{ 7*7 }} {% if x %} ${7*7} {0.__class__} %s",
        "<img src=http://127.0.0.1:9/x><link rel=attachment href=file:///etc/hostname>",
        "</p><h1>Free</h1>",
        "a" * 120,
        "'; DROP TABLE quotes; --",
    ],
)
def test_hostile_text_stays_literal(quotation: Quotation, hostile: str) -> None:
    client = replace(quotation.client, name=hostile, company=hostile)

    pdf = quotation_pdf(replace(quotation, client=client, notes=hostile, title=hostile))

    squeezed = re.sub(r"[\s\ufffe\u00ad-]", "", text_of(pdf))
    assert re.sub(r"[\s\u00ad-]", "", hostile) in squeezed
    assert b"/URI" not in pdf
    assert pdf.count(b"/Type /EmbeddedFile") == 1


@pytest.mark.parametrize(
    "html",
    [
        "<img src='file:///etc/hostname'>",
        "<img src='http://127.0.0.1:9/'>",
        "<link rel=stylesheet href='file:///etc/x.css'>",
        "<img src='asset:../../../etc/hostname'>",
    ],
)
def test_a_page_reaches_nothing_but_packaged_assets(html: str) -> None:
    with pytest.raises(DocumentError, match="packaged assets only"):
        render(Page(html=html, css=""))


def test_a_page_that_takes_too_long_is_ended_and_the_next_one_works(quotation: Quotation) -> None:
    endless = Page(html="<p>" + "<table><td>x" * 3000, css="")

    with pytest.raises(DocumentError):
        render_in_child(endless, seconds=0.5)

    assert render_in_child(quotation_page(quotation)).startswith(b"%PDF-")


def test_nothing_but_a_quotation_becomes_a_quotation_page(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    estimate: Any = estimated("marrowby-lane", "coasters", cards, jobs)

    with pytest.raises(AttributeError):
        quotation_page(estimate)


def test_minus_nothing_never_shows() -> None:
    assert Formats("en-GB", "GBP").money(Decimal("-0.00")) == "£0.00"


@pytest.mark.parametrize(
    ("locale", "currency", "amount", "expected"),
    [
        ("en-GB", "GBP", "1234567.89", "£1,234,567.89"),
        ("en-US", "USD", "1234567.89", "$1,234,567.89"),
        ("en-US", "JPY", "1234", "¥1,234"),
        ("en-US", "KWD", "1.234", "KWD1.234"),
    ],
)
def test_money_has_its_currencys_places(locale: str, currency: str, amount: str, expected: str) -> None:
    shown = Formats(locale, currency).money(Decimal(amount))

    assert shown.replace("\u00a0", " ") == expected


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_work_stands_under_client_and_facts_not_on_them(quotation: Quotation, paper: Any) -> None:
    told = replace(quotation, paper=paper)

    page = pypdfium2.PdfDocument(quotation_pdf(told))[0].get_textpage()

    feet = [_box(page, text)[1] for text in (told.client.address[-1], "Dated", told.delivery.split()[0])]
    assert _box(page, told.title)[3] < min(feet)


def _box(page: Any, text: str) -> tuple[float, float, float, float]:
    """Left, foot, right and head of a text's first letter on a page. [pt]"""
    found = page.search(text).get_next()
    assert found is not None
    left, foot, right, head = page.get_charbox(found[0])
    return left, foot, right, head
