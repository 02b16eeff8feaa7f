"""The job docket as a page and as PDF: for the shop, not for the client."""

from __future__ import annotations

from pathlib import Path

from quoting.docket import Docket
from quoting.documents.page import Page
from quoting.documents.render import render
from quoting.documents.templates import page_from
from quoting.languages import language


def docket_page(docket: Docket, *, templates: Path | None = None) -> Page:
    """
    HTML and style sheet of a docket.

    Args:
        templates: The shop's own folder of templates, laid over ours.

    Raises:
        DocumentError: a template at fault, or a character that no font has.
    """
    return page_from(
        "docket",
        {"docket": docket},
        language=language(docket.locale),
        currency="XXX",  # ISO 4217: no currency; a docket holds no money
        dated=docket.dated.isoformat(),
        overlay=templates,
        pictures={one.picture: one.artwork.png for one in docket.passes if one.artwork},
    )


def docket_pdf(docket: Docket, *, templates: Path | None = None) -> bytes:
    """
    A docket as PDF/A-3a and PDF/UA-1, rendered in this process.

    Raises:
        DocumentError: Pango's libraries are not installed, or the page cannot be made; the message says why.
    """
    return render(docket_page(docket, templates=templates))
