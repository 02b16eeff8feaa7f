"""
Every template, language, paper and currency: PDF/A-3a and PDF/UA-1 by a validator, every figure in the text.

The validator is PyPI's page-validation, its profiles 3a and ua1.
"""

from __future__ import annotations

from io import BytesIO

import pikepdf
import pypdfium2
import pytest
from msgspec.structs import replace

from quoting.docket import docket_for
from quoting.documents import docket_pdf, quotation_pdf, quotation_xml
from quoting.documents.comparison_pdf import comparison_pdf
from quoting.documents.formats import Formats
from quoting.languages import language
from tests.conftest import demo_jobs
from tests.documents.reading import (
    CURRENCIES,
    LOCALES,
    PAPER_POINTS,
    PAPERS,
    attached_to,
    card_in,
    comparison_in,
    estimate_in,
    faults_of,
    figures_of,
    folded,
    picked,
    quotation_in,
    text_of,
)

pytestmark = pytest.mark.usefixtures("pango")
SHOP, JOB = "marrowby-lane", "invitation"


@pytest.mark.parametrize("currency", CURRENCIES)
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("locale", LOCALES)
def test_a_quotation_is_archival_accessible_and_complete(locale: str, paper: str, currency: str) -> None:
    quotation = quotation_in(SHOP, JOB, locale, currency, paper)

    pdf = quotation_pdf(quotation)

    assert faults_of(pdf) == []
    text = text_of(pdf)
    assert {figure for figure in figures_of(quotation) if figure not in text} == set()
    assert _paper_of(pdf) == PAPER_POINTS[paper]
    body, (relationship, subtype) = attached_to(pdf)
    assert body == quotation_xml(quotation)
    assert (relationship, subtype) == ("/Alternative", "/application/xml")


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("locale", LOCALES)
def test_a_docket_is_archival_and_accessible_on_every_paper(locale: str, paper: str) -> None:
    made = docket_for(estimate_in(SHOP, JOB, "GBP"), card_in(SHOP, "GBP"), locale=locale)

    pdf = docket_pdf(replace(made, paper=paper))

    assert faults_of(pdf) == []
    assert _paper_of(pdf) == PAPER_POINTS[paper]


def _compared(locale: str, paper: str, currency: str) -> None:
    comparison = comparison_in(SHOP, "coasters", currency)

    pdf = comparison_pdf(comparison, paper=paper, locale=locale)

    assert faults_of(pdf) == []
    assert _paper_of(pdf) == PAPER_POINTS[paper]
    text, formats = text_of(pdf), Formats(locale, currency)
    figures = [amount for cell in comparison.variants[0].cells for amount in (cell.cost, cell.net, cell.labour)]
    assert [told for told in map(formats.money, figures) if folded(told) not in text] == []
    assert folded(language(locale).say("For the owner, not for the client")) in text


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("locale", LOCALES)
def test_a_comparison_is_archival_and_accessible_in_every_language_on_every_paper(locale: str, paper: str) -> None:
    _compared(locale, paper, picked(locale + paper, CURRENCIES))


@pytest.mark.long
@pytest.mark.parametrize("currency", CURRENCIES)
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("locale", LOCALES)
def test_a_comparison_is_so_in_every_currency_too(locale: str, paper: str, currency: str) -> None:
    _compared(locale, paper, currency)


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_every_demo_job_is_quoted_and_docketed_in_some_language(shop: str, job: str) -> None:
    locale = picked(f"{shop} {job}", LOCALES)
    quotation = quotation_in(shop, job, locale, "EUR", picked(job, PAPERS))
    made = docket_for(estimate_in(shop, job, "EUR"), card_in(shop, "EUR"), locale=locale)

    quoted, docketed = quotation_pdf(quotation), docket_pdf(made)

    assert faults_of(quoted) + faults_of(docketed) == []
    text = text_of(quoted)
    assert {figure for figure in figures_of(quotation) if figure not in text} == set()
    assert folded(made.all_minutes) in text_of(docketed)


def test_a_pdf_says_its_language_its_title_and_its_table_headers() -> None:
    pdf = pikepdf.open(BytesIO(quotation_pdf(quotation_in(SHOP, JOB, "fr-FR", "EUR", "A4"))))

    assert str(pdf.Root.Lang) == "fr-FR"
    assert bool(pdf.Root.MarkInfo.Marked)
    assert "devis" in str(pdf.docinfo["/Title"])
    tags = [str(one.S) for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and "/S" in one and "/P" in one]
    assert {"/Table", "/TH", "/TD", "/H1", "/L", "/LI"} <= set(tags)


def test_a_long_document_has_bookmarks() -> None:
    made = docket_for(estimate_in(SHOP, JOB, "GBP"), card_in(SHOP, "GBP"))

    marks = [one.get_title() for one in pypdfium2.PdfDocument(docket_pdf(made)).get_toc()]

    assert {"Folded card", "Order of passes", "Packing and delivery", "Cautions"} <= set(marks)


def test_every_drawing_has_an_alternative_text() -> None:
    made = docket_for(estimate_in(SHOP, JOB, "GBP"), card_in(SHOP, "GBP"))
    pdf = pikepdf.open(BytesIO(docket_pdf(made)))

    told = [str(one.Alt) for one in pdf.objects if isinstance(one, pikepdf.Dictionary) and one.get("/S") == "/Figure"]
    drawn = [each.title for part in made.parts for each in (*part.sheets.drawings, *part.sheets.forms)]
    assert sorted(told) == sorted(drawn)


def test_no_cost_is_in_what_a_client_gets() -> None:
    estimate = estimate_in(SHOP, JOB, "GBP")
    quotation = quotation_in(SHOP, JOB, "en-GB", "GBP", "A4")

    pdf = quotation_pdf(quotation)

    document = pikepdf.open(BytesIO(pdf))
    facts = " ".join(str(value) for value in document.docinfo.values())
    everything = text_of(pdf) + quotation_xml(quotation).decode() + facts
    for option in estimate.options:
        for line in option.lines:
            if line.minutes:
                assert line.sentence not in everything
        assert f"{option.price.cost}" not in everything
    for word in ("margin", "mark-up", "hour rate", estimate.card_hash[:12], "Make-ready", "spoil"):
        assert word.lower() not in everything.lower()


def _paper_of(pdf: bytes) -> tuple[int, int]:
    width, height = pypdfium2.PdfDocument(pdf)[0].get_size()
    return round(width), round(height)
