"""The comparison as a page and as PDF: for the owner, with costs and plots; never for a client."""

from __future__ import annotations

import re
from pathlib import Path

from quoting.compare import Comparison, answers, in_tables
from quoting.documents.formats import Formats
from quoting.documents.page import Page
from quoting.documents.render import render
from quoting.documents.templates import page_from
from quoting.languages import language
from quoting.plots import changed_words, make_up, margins, price_and_cost

PLOT_WIDTH = "150mm"


def comparison_page(
    comparison: Comparison, *, paper: str = "A4", locale: str | None = None, templates: Path | None = None
) -> Page:
    """
    HTML and style sheet of a comparison.

    Args:
        locale: Language and region of the owner; the shop's if left out.
        templates: The shop's own folder of templates, laid over ours.

    Raises:
        DocumentError: a template at fault, or a character that no font has.
    """
    words = language(locale or comparison.locale)
    formats = Formats(words.locale, comparison.currency)
    made = [variant for variant in comparison.variants if variant.cells]
    plots = {
        "margins": _fitted(margins(comparison, words)) if made else "",
        "by_variant": [
            (_fitted(price_and_cost(comparison, variant, words)), _fitted(make_up(comparison, variant, words)))
            for variant in made
        ],
    }
    return page_from(
        "comparison",
        {
            "comparison": comparison,
            "answers": [answers(comparison, variant, formats, words) for variant in comparison.variants],
            "changed": lambda cell: changed_words(cell, words),
            "locale": words.locale,
            "plots": plots,
            "tables": [in_tables(variant.cells) for variant in made],
            "paper": paper,
        },
        language=words,
        currency=comparison.currency,
        dated=comparison.on.isoformat(),
        overlay=templates,
    )


def _fitted(svg: str) -> str:
    """A plot at the width of the page: two of them and a table fill one."""
    return re.sub(
        r'(<svg [^>]*?)width="[^"]*"',
        rf'\1width="{PLOT_WIDTH}"',
        re.sub(r' height="[^"]*pt"', "", svg, count=1),
        count=1,
    )


def comparison_pdf(
    comparison: Comparison, *, paper: str = "A4", locale: str | None = None, templates: Path | None = None
) -> bytes:
    """
    A comparison as PDF/A-3a and PDF/UA-1, rendered in this process.

    Raises:
        DocumentError: Pango's libraries are not installed, or the page cannot be made; the message says why.
    """
    return render(comparison_page(comparison, paper=paper, locale=locale, templates=templates))
