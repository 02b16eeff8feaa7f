"""
Documents: what leaves the shop, as pages, PDFs and data. The only home of Jinja and WeasyPrint.

Its names are loaded when they are first asked for, so that a rendering child can start before them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from quoting.documents.docket import docket_pdf
    from quoting.documents.quotation import quotation_json, quotation_pdf
    from quoting.documents.ubl import quotation_xml

__all__ = ["docket_pdf", "quotation_json", "quotation_pdf", "quotation_xml"]

_HOMES = {
    "docket_pdf": "docket",
    "quotation_json": "quotation",
    "quotation_pdf": "quotation",
    "quotation_xml": "ubl",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
