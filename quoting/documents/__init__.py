"""Documents: a quotation as a page and a PDF. The only home of Jinja, Babel and WeasyPrint."""

from quoting.documents.quotation_pdf import quotation_pdf

__all__ = ["quotation_pdf"]
