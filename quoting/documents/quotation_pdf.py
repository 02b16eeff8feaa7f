"""The quotation as a page: it is made from a Quotation, which holds no cost, and from nothing else."""

from __future__ import annotations

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from quoting.documents.formats import Formats
from quoting.documents.render import Page, render
from quoting.places import packaged
from quoting.quotation import Quotation


def quotation_page(quotation: Quotation) -> Page:
    """HTML and style sheet of a quotation."""
    folder = packaged("pdf_templates") / "quotation"
    environment = Environment(
        loader=FileSystemLoader(folder), undefined=StrictUndefined, autoescape=True, trim_blocks=True
    )
    formats = Formats(quotation.locale, quotation.currency)
    environment.filters.update(formats.filters())
    html = environment.get_template("page.html").render(
        quotation=quotation, language=quotation.locale.partition("-")[0]
    )
    return Page(html=html, css=(folder / "page.css").read_text(encoding="utf-8"))


def quotation_pdf(quotation: Quotation) -> bytes:
    """
    A quotation as PDF, rendered in this process.

    Raises:
        DocumentError: Pango's libraries are not installed; the message says what to install.
    """
    return render(quotation_page(quotation))
