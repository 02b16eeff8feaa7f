"""Why a price is what it is, as a page and as PDF: for the owner, with every cost; never for a client."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from msgspec import Struct

from quoting.documents.page import Page
from quoting.documents.render import render
from quoting.documents.templates import page_from
from quoting.estimate import Estimate, Option
from quoting.explain import Node, amount_text, told
from quoting.languages import SOURCE_LOCALE, language

DEEPEST = 8


class _Row(Struct, frozen=True):
    depth: str
    label: str
    amount: str
    worked: str


def explanation_page(
    node: Node, option: Option, estimate: Estimate, *, paper: str = "A4", templates: Path | None = None
) -> Page:
    """
    HTML and style sheet of an explanation, as ``explained`` gives it.

    Args:
        templates: The shop's own folder of templates, laid over ours.

    Raises:
        DocumentError: a template at fault, or a character that no font has.
    """
    return page_from(
        "explanation",
        {
            "rows": list(_rows(node, estimate.currency)),
            "title": estimate.job.title,
            "client": estimate.job.client.name,
            "quantity": option.quantity,
            "estimate": estimate,
            "locale": SOURCE_LOCALE,
            "paper": paper,
        },
        language=language(SOURCE_LOCALE),
        currency=estimate.currency,
        dated=estimate.on.isoformat(),
        overlay=templates,
    )


def explanation_pdf(
    node: Node, option: Option, estimate: Estimate, *, paper: str = "A4", templates: Path | None = None
) -> bytes:
    """
    An explanation as PDF/A-3a and PDF/UA-1, rendered in this process.

    Raises:
        DocumentError: Pango's libraries are not installed, or the page cannot be made; the message says why.
    """
    return render(explanation_page(node, option, estimate, paper=paper, templates=templates))


def _rows(node: Node, currency: str) -> Iterator[_Row]:
    for depth, one, again in told(node):
        worked = [one.sentence] if one.sentence else []
        if again:
            worked.append("as above")
        elif one.is_sum:
            worked.append("the sum of what follows")
        amount = f"{amount_text(one, currency)} {one.unit}".rstrip()
        yield _Row(f"d{min(depth, DEEPEST)}", one.label, amount, "; ".join(worked))
