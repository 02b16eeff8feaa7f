"""The quotation for machines: valid by the official UBL 2.1 schema, and its sums by our own checks."""

from __future__ import annotations

import json
import random
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest
from lxml import etree
from msgspec.structs import replace

from quoting import DocumentError, Quotation, estimate_job, load_job, quotation_for
from quoting.documents import quotation_json, quotation_pdf, quotation_xml
from quoting.documents.formats import Formats
from quoting.documents.ubl import quotation_id
from quoting.money import minor_units
from quoting.units import Share
from tests.conftest import DAY, demo_job_path, demo_jobs
from tests.documents.reading import CAC, CBC, CURRENCIES, LOCALES, card_in, folded, quotation_in, schema, text_of


def generated(seed: int) -> Quotation:
    """A demo job with quantities, currency, language, tax and deposit drawn by chance."""
    draw = random.Random(seed)
    shop, job = draw.choice(demo_jobs())
    card = card_in(shop, draw.choice(CURRENCIES))
    rate = draw.choice(["0 %", "5.5 %", "7 %", "20 %"])
    standing = "not registered" if rate == "0 %" else "input tax reclaimed"
    tax = replace(card.tax, rate=Share(rate), standing=standing, prices_include_tax=draw.random() < 0.5)
    deposit = Share(draw.choice(["0 %", "33 %", "50 %"]))
    card = replace(card, tax=tax, pricing=replace(card.pricing, deposit=deposit))
    quantities = tuple(draw.sample(range(50, 900), draw.randint(1, 3)))
    asked = replace(load_job(demo_job_path(shop, job)), quantities=quantities)
    return quotation_for(estimate_job(asked, card, on=DAY), card, locale=draw.choice(LOCALES))


def checked(quotation: Quotation) -> list[str]:
    """Our own checks on top of the schema's: identity, places, sums of lines, tax by rate, totals."""
    root = etree.fromstring(quotation_xml(quotation))
    faults = [str(error) for error in schema().error_log] if not schema().validate(root) else []
    places = minor_units(quotation.currency)
    for one in root.iter(f"{CBC}*"):
        told = one.get("currencyID")
        if told is not None and (told != quotation.currency or -_exponent(one.text) != places):
            faults.append(f"{one.tag}: {told} {one.text}")
    if not root.findtext(f"{CBC}ID"):
        faults.append("no ID")
    totals = root.find(f"{CAC}QuotedMonetaryTotal")
    first = quotation.options[0]
    taxed = sum((tax.tax for tax in first.taxes), Decimal(0))
    faults += _differences(
        totals,
        {"TaxExclusiveAmount": first.net, "TaxInclusiveAmount": first.net + taxed, "PayableAmount": first.total},
    )
    assert totals is not None
    rounding = Decimal(totals.findtext(f"{CBC}PayableRoundingAmount") or 0)
    if rounding != first.total - first.net - taxed or (rounding and not quotation.tax_included):
        faults.append(f"a rounding of {rounding}")
    if root.find(f".//{CBC}PrepaidAmount") is not None:
        faults.append("a deposit that is not paid yet")
    line = root.find(f"{CAC}QuotationLine")
    assert line is not None
    items = [*line.findall(f"{CAC}LineItem"), *line.findall(f"{CAC}AlternativeLineItem")]
    for item, option in zip(items, quotation.options, strict=True):
        taxed = sum((tax.tax for tax in option.taxes), Decimal(0))
        faults += _differences(item, {"LineExtensionAmount": option.net, "TotalTaxAmount": taxed})
        subs = [_amount(sub, "LineExtensionAmount") for sub in item.findall(f"{CAC}SubLineItem")]
        taxes = [_amount(sub, "TaxAmount") for sub in item.findall(f"{CAC}TaxTotal/{CAC}TaxSubtotal")]
        bases = [_amount(sub, "TaxableAmount") for sub in item.findall(f"{CAC}TaxTotal/{CAC}TaxSubtotal")]
        if (sum(subs), sum(taxes), sum(bases)) != (option.net, taxed, option.net):
            faults.append(f"option {option.quantity}: {subs} {taxes} {bases}")
        rates = [Decimal(node.text) for node in item.findall(f"{CAC}TaxTotal//{CBC}Percent")]
        for base, tax, rate in zip(bases, taxes, rates, strict=True):  # BR-CO-17
            if tax != (base * rate / 100).quantize(tax, ROUND_HALF_UP):
                faults.append(f"option {option.quantity}: {tax} is not {rate} % of {base}")
    return faults


def _exponent(text: str | None) -> int:
    exponent = Decimal(text or "x").as_tuple().exponent
    assert isinstance(exponent, int)
    return exponent


def _amount(node: Any, name: str) -> Decimal:
    return Decimal(node.findtext(f"{CBC}{name}"))


def _differences(node: Any, expected: dict[str, Decimal]) -> list[str]:
    found = {name: _amount(node, name) for name in expected}
    return [] if found == expected else [f"{found} not {expected}"]


def _agree(seed: int) -> None:
    quotation = generated(seed)
    formats = Formats(quotation.locale, quotation.currency)

    assert checked(quotation) == []
    text = text_of(quotation_pdf(quotation))
    plain = json.loads(quotation_json(quotation))
    for option, told in zip(quotation.options, plain["options"], strict=True):
        assert Decimal(told["total"]) == option.total
        assert folded(formats.money(option.total)) in text
        assert -_exponent(told["total"]) == minor_units(quotation.currency)


@pytest.mark.parametrize("tens", range(10))
def test_a_hundred_generated_quotations_agree_in_json_pdf_and_xml(tens: int, pango: None) -> None:
    for seed in range(tens * 10, tens * 10 + 10):
        _agree(seed)


@pytest.mark.long
@pytest.mark.parametrize("hundreds", range(1, 10))
def test_a_thousand_generated_quotations_agree(hundreds: int, pango: None) -> None:
    for seed in range(hundreds * 100, hundreds * 100 + 100):
        _agree(seed)


def test_the_schema_refuses_what_ubl_does_not_know() -> None:
    root = etree.fromstring(quotation_xml(generated(1)))
    etree.SubElement(root, f"{CBC}Castle").text = "moat"

    assert not schema().validate(root)


def test_the_first_option_is_the_line_and_the_others_its_alternatives() -> None:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")

    line = etree.fromstring(quotation_xml(quotation)).find(f"{CAC}QuotationLine")
    assert line is not None
    quantities = [line.findtext(f"{CAC}LineItem/{CBC}Quantity")]
    quantities += [item.findtext(f"{CBC}Quantity") for item in line.findall(f"{CAC}AlternativeLineItem")]
    assert quantities == [str(option.quantity) for option in quotation.options]


def test_deposit_and_terms_have_their_place() -> None:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")

    root = etree.fromstring(quotation_xml(quotation))

    terms = [node.text for node in root.findall(f"{CAC}TransactionConditions/{CBC}Description")]
    kept = root.findall(f"{CAC}QuotationLine/{CAC}LineItem/{CAC}Item/{CAC}TransactionConditions")
    assert terms == list(quotation.terms)
    assert {node.findtext(f"{CBC}ID"): node.findtext(f"{CBC}Description") for node in kept} == {
        "deposit": f"{quotation.options[0].deposit} GBP",
        "balance": f"{quotation.options[0].balance} GBP",
    }


def test_a_number_is_the_id_and_without_one_the_content_is() -> None:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")

    assert quotation_id(replace(quotation, number="2026-0042")) == "2026-0042"
    assert quotation_id(quotation) == quotation_id(replace(quotation))
    assert quotation_id(quotation) != quotation_id(replace(quotation, title="Another"))


def test_hostile_text_is_escaped_in_xml() -> None:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")
    hostile = "</cbc:Note><x a='\"'>&#0;]]><!-- {{7*7}}"

    root = etree.fromstring(quotation_xml(replace(quotation, notes=hostile)))

    assert hostile in [node.text for node in root.findall(f"{CBC}Note")]


@pytest.mark.parametrize("unfit", ["\x00", "\x0b", "\x1f", "\ufffe"])
def test_what_xml_cannot_take_is_refused_by_name(unfit: str) -> None:
    quotation = quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")

    with pytest.raises(DocumentError, match=f"U\\+{ord(unfit):04X}"):
        quotation_xml(replace(quotation, notes=f"a{unfit}b"))
