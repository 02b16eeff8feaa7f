"""Catalogues: nothing missing, nothing left over, placeholders kept, and locales as regions write them."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from quoting.languages import SOURCE, is_known, language, languages
from quoting.units import Size
from tests.languages import messages, names, read, template

WANTED = {message.id for message in messages(template())}


def test_the_six_languages_are_here() -> None:
    assert languages() == ("en", "de", "es", "fr", "it", "ja")


@pytest.mark.parametrize("name", names())
def test_a_catalogue_has_every_message_of_code_and_templates_and_no_other(name: str) -> None:
    assert {message.id for message in messages(read(name))} == WANTED


@pytest.mark.parametrize("name", names())
def test_no_message_is_empty_or_fuzzy(name: str) -> None:
    wanting = [message.id for message in messages(read(name)) if message.fuzzy or not _strings(message.string)]

    assert wanting == []


@pytest.mark.parametrize("name", names())
def test_a_translation_keeps_every_placeholder(name: str) -> None:
    for message in messages(read(name)):
        asked = {place for text in _strings(message.id) for place in re.findall(r"\{\w+\}", text)}
        for text in _strings(message.string):
            assert set(re.findall(r"\{\w+\}", text)) <= asked, message.id
            assert asked - set(re.findall(r"\{\w+\}", text)) <= {"{count}"}, message.id


@pytest.mark.parametrize("name", names())
def test_plurals_have_as_many_forms_as_the_language(name: str) -> None:
    catalogue = read(name)

    for message in messages(catalogue):
        if isinstance(message.id, tuple):
            assert len(tuple(message.string or ())) == catalogue.num_plurals


@pytest.mark.parametrize("name", sorted(set(names()) - {"en-US"}))
def test_hardly_a_message_is_left_in_english(name: str) -> None:
    same = [message.id for message in messages(read(name)) if message.string == message.id]

    assert len(same) <= 12


def test_trade_words_are_the_languages_own() -> None:
    words = {locale: language(locale).say("Make-ready") for locale in ("fr-FR", "de-DE", "es-ES", "it-IT", "ja-JP")}

    assert words == {
        "fr-FR": "Mise en train",
        "de-DE": "Zurichtung",
        "es-ES": "Arreglo",
        "it-IT": "Avviamento",
        "ja-JP": "ムラ取り",
    }


def test_a_sentence_of_the_engine_is_said_again_with_its_figures_as_the_region_writes_them() -> None:
    warning = "{part}: {ems} ems an hour in {fount}, over the {wonderful} that the card calls wonderful"

    said = language("de-DE").say_again(
        "Leaf: 2,700.5 ems an hour in Serif 12, over the 1,850 that the card calls wonderful", (warning,)
    )

    assert said.startswith("Leaf: 2.700,5 Gevierte je Stunde in Serif 12, mehr als die 1.850, die")
    assert language("de-DE").say_again("another sentence", (warning,)) == "another sentence"


def test_an_unknown_language_is_told_and_speaks_english() -> None:
    assert not is_known("nl-NL")
    assert language("nl-NL").say("Total") == "Total"


def test_a_region_without_a_catalogue_of_its_own_takes_its_languages() -> None:
    assert language("fr-BE").say("Quotation") == "Devis"
    assert language("en-US").say("two colours") == "two colors"


@pytest.mark.parametrize(
    ("locale", "written", "expected"),
    [
        ("de-DE", "3 1/2 x 2 in", "88,9 × 50,8 mm (3 1/2 × 2 in)"),
        ("en-US", "127 x 177.8 mm", "5 × 7 in (127 × 177.8 mm)"),
        ("en-GB", "127 x 178 mm", "127 × 178 mm"),
        ("fr-FR", "88.9 x 50.8 mm", "88,9 × 50,8 mm"),
        ("ja-JP", "95 mm", "95 mm"),
    ],
)
def test_a_size_is_told_as_the_region_measures(locale: str, written: str, expected: str) -> None:
    assert language(locale).size(Size(written)) == expected


@pytest.mark.parametrize(
    ("locale", "paper"), [("en-US", "Letter"), ("es-MX", "Letter"), ("fr-FR", "A4"), ("ja-JP", "A4")]
)
def test_a_region_has_its_paper(locale: str, paper: str) -> None:
    assert language(locale).paper == paper


def test_a_number_keeps_every_place() -> None:
    assert language("de-DE").number(Decimal("1234.5678")) == "1.234,5678"
    assert SOURCE.number(7) == "7"


def _strings(told: object) -> list[str]:
    found = list(told) if isinstance(told, (list, tuple)) else [told]
    return [text for text in found if isinstance(text, str) and text]
