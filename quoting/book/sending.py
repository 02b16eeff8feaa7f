"""What a client is sent, made from the quotation that was issued, and kept byte for byte."""

from __future__ import annotations

import datetime
from pathlib import Path

from quoting.book.quote_book import QuoteBook
from quoting.book.states import Entry
from quoting.quotation import Quotation
from quoting.reader import from_json

PDF, XML = "application/pdf", "application/xml"


def keep_documents(
    book: QuoteBook, which: str, *, at: datetime.datetime, by: str, templates: Path | None = None
) -> Entry:
    """
    Make the PDF and the XML of the newest revision, unless they are kept already, and keep them.

    They are made outside every transaction: where that fails, the quotation is issued all the same, and
    this may be asked for again.

    Raises:
        DocumentError: a document cannot be made; the message says why.
    """
    from quoting.documents.quotation import quotation_page
    from quoting.documents.render import render
    from quoting.documents.ubl import quotation_xml

    entry = book.get(which)
    kept = {label for label in entry.commitments if label.startswith(f"{entry.revision}/")}
    if kept >= {f"{entry.revision}/pdf", f"{entry.revision}/xml"}:
        return entry
    quotation = from_json(book.paper(which, "quotation").content, Quotation)
    if f"{entry.revision}/xml" not in kept:
        book.keep_document(which, "xml", quotation_xml(quotation), media_type=XML, at=at, by=by)
    if f"{entry.revision}/pdf" not in kept:
        pdf = render(quotation_page(quotation, templates=templates))
        book.keep_document(which, "pdf", pdf, media_type=PDF, at=at, by=by)
    return book.get(which)
