"""The quotation as a page, as PDF and as data: made from a Quotation, which holds no cost, and from nothing else."""

from __future__ import annotations

from pathlib import Path

from quoting.documents.page import Attached, Page
from quoting.documents.render import render
from quoting.documents.templates import page_from
from quoting.documents.ubl import quotation_xml
from quoting.languages import language
from quoting.quotation import Quotation
from quoting.reader import to_json

XML_NAME = "quotation.xml"


def quotation_page(quotation: Quotation, *, templates: Path | None = None) -> Page:
    """
    HTML and style sheet of a quotation, with its machine-readable copy.

    Args:
        templates: The shop's own folder of templates, laid over ours.

    Raises:
        DocumentError: a template at fault, or a character that no font or no XML takes.
    """
    words = language(quotation.locale)
    return page_from(
        "quotation",
        {"quotation": quotation},
        language=words,
        currency=quotation.currency,
        dated=quotation.dated.isoformat(),
        attached=(
            Attached(
                name=XML_NAME,
                media_type="application/xml",
                description=words.say("This quotation for machines: OASIS UBL 2.1"),
                relationship="Alternative",
                body=quotation_xml(quotation),
            ),
        ),
        overlay=templates,
    )


def quotation_pdf(quotation: Quotation, *, templates: Path | None = None) -> bytes:
    """
    A quotation as PDF/A-3a and PDF/UA-1, its UBL beside it, rendered in this process.

    Args:
        templates: The shop's own folder of templates, laid over ours.

    Raises:
        DocumentError: Pango's libraries are not installed, or the page cannot be made; the message says why.
    """
    return render(quotation_page(quotation, templates=templates))


def quotation_json(quotation: Quotation) -> bytes:
    """A quotation as JSON."""
    return to_json(quotation, indent=2)
