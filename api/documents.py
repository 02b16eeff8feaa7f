"""Documents: PDFs are rendered in a child, so that a worker never holds the renderer."""

from __future__ import annotations

from api.desk import Desk
from api.media_types import PDF, XML
from quoting import Quotation
from quoting.documents.page import Page

RENDER_SECONDS = 15
ENDINGS = {PDF: "pdf", XML: "xml"}


async def document(desk: Desk, quotation: Quotation, media_type: str) -> bytes:
    """
    A quotation as PDF/A-3 or UBL 2.1.

    Raises:
        DocumentError: it cannot be made.
    """
    if media_type == XML:
        from quoting.documents.ubl import quotation_xml

        return await desk.engine(lambda: quotation_xml(quotation))
    from quoting.documents.quotation import quotation_page

    return await rendered(desk, quotation_page(quotation))


async def rendered(desk: Desk, page: Page) -> bytes:
    """
    A page as PDF.

    Raises:
        DocumentError: it cannot be rendered.
    """
    from quoting.documents.children import render_in_child

    return await desk.document(lambda: render_in_child(page, seconds=RENDER_SECONDS))
