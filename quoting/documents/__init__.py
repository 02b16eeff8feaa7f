"""Documents: what leaves the shop, as pages, PDFs and data. The only home of Jinja and WeasyPrint."""

from quoting.documents.docket_pdf import docket_pdf
from quoting.documents.quotation_pdf import quotation_json, quotation_pdf
from quoting.documents.ubl import quotation_xml

__all__ = ["docket_pdf", "quotation_json", "quotation_pdf", "quotation_xml"]
