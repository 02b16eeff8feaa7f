"""Money, per cents, counts and days in the formats of their regions; values from the Unicode locale data (A)."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from quoting.documents.formats import Formats


def told(text: str) -> str:
    """Text with every space an ordinary one: U+00A0 and U+202F are the regions' own."""
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.parametrize(
    ("locale", "currency", "amount", "expected"),
    [
        ("en-US", "USD", "1234567.90", "$1,234,567.90"),
        ("en-GB", "GBP", "1234567.90", "£1,234,567.90"),
        ("de-DE", "EUR", "1234567.90", "1.234.567,90 €"),
        ("fr-FR", "EUR", "1234567.90", "1 234 567,90 €"),
        ("it-IT", "EUR", "1234567.90", "1.234.567,90 €"),
        ("ja-JP", "JPY", "1234568", "￥1,234,568"),
    ],
)
def test_money_stands_as_its_region_writes_it(locale: str, currency: str, amount: str, expected: str) -> None:
    assert told(Formats(locale, currency).money(Decimal(amount))) == expected


@pytest.mark.parametrize("locale", ["en-US", "en-GB", "de-DE", "fr-FR", "it-IT", "ja-JP"])
def test_minus_zero_never_shows(locale: str) -> None:
    formats = Formats(locale, "JPY" if locale == "ja-JP" else "EUR")

    shown = [
        formats.money(Decimal("-0.00")),
        formats.rounded_money(Decimal("-0.001")),
        formats.unit_money(Decimal("-0.0000")),
        formats.share(Decimal("-0.000")),
        formats.rounded_share(Decimal("-0.0004")),
        formats.amount(Decimal("-0.001")),
        formats.number(Decimal("-0.00")),
    ]

    assert not any("-" in text or "−" in text for text in shown)


@pytest.mark.parametrize(
    ("locale", "share", "expected"),
    [
        ("en-GB", "0.0825", "8.25%"),
        ("de-DE", "0.0825", "8,25 %"),
        ("fr-FR", "0.0825", "8,25 %"),
        ("en-US", "0.2", "20%"),
    ],
)
def test_a_share_keeps_its_places_and_its_regions_space(locale: str, share: str, expected: str) -> None:
    assert told(Formats(locale, "EUR").share(Decimal(share))) == expected


@pytest.mark.parametrize(
    ("locale", "expected"), [("en-GB", "22.0%"), ("de-DE", "22,0 %"), ("fr-FR", "22,0 %"), ("ja-JP", "22.0%")]
)
def test_a_margin_has_one_place_and_is_rounded_before_it_is_written(locale: str, expected: str) -> None:
    assert told(Formats(locale, "EUR").rounded_share(Decimal("0.21995"))) == expected


def test_a_unit_price_keeps_the_places_that_add_up() -> None:
    assert Formats("en-US", "USD").unit_money(Decimal("0.0375")) == "$0.0375"


def test_a_day_in_full_and_in_short() -> None:
    day = datetime.date(2026, 11, 25)

    assert (Formats("en-GB", "GBP").day(day), Formats("de-DE", "EUR").day(day)) == (
        "25 November 2026",
        "25. November 2026",
    )
