"""The explanation as the owner's PDF: every number of the tree and how it is worked, archival and accessible."""

from __future__ import annotations

import pytest

from quoting.documents.explanation import explanation_page, explanation_pdf
from quoting.explain import amount_text, explained, told
from tests.conftest import SHOPS
from tests.documents.reading import card_in, estimate_in, faults_of, folded, text_of

PAPERS = {"marrowby-lane": "A4", "pellam-hollow": "Letter"}


@pytest.mark.parametrize("shop", SHOPS)
def test_every_number_of_the_tree_stands_in_the_pdf_and_the_pdf_is_archival(shop: str, pango: None) -> None:
    estimate, card = estimate_in(shop, "cards", "GBP"), card_in(shop, "GBP")
    option = estimate.options[0]
    tree = explained(option, estimate, card)
    pdf = explanation_pdf(tree, option, estimate, paper=PAPERS[shop])
    text = text_of(pdf).replace(" ", "")
    wanting = [
        one.label
        for _, one, _ in told(tree)
        for words in (one.label, f"{amount_text(one, 'GBP')} {one.unit}", one.sentence)
        if folded(words).replace(" ", "") not in text
    ]

    assert wanting == []
    assert faults_of(pdf) == []


def test_it_says_whom_it_is_for_and_what_stands_above_what() -> None:
    estimate, card = estimate_in("marrowby-lane", "cards", "GBP"), card_in("marrowby-lane", "GBP")
    option = estimate.options[0]
    html = explanation_page(explained(option, estimate, card), option, estimate).html

    assert html.count("For the owner, not for the client") == 2
    for depth, label in (("d0", "Total"), ("d1", "Net price"), ("d2", "Cost"), ("d2", "Mark-up")):
        assert f'<tr class="{depth}"><th scope="row">{label}</th>' in html
