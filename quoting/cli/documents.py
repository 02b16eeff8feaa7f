"""Documents from the command line: which form, and to a file whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from quoting.errors import DocumentError

if TYPE_CHECKING:
    from quoting.quotation import Quotation


def quotation_as(kind: str, quotation: Quotation, templates: Path | None) -> bytes:
    """
    A quotation as ``pdf``, ``json`` or ``xml``.

    Raises:
        DocumentError: it cannot be made; the message says why.
    """
    from quoting import documents

    if kind == "json":
        return documents.quotation_json(quotation)
    if kind == "xml":
        return documents.quotation_xml(quotation)
    return documents.quotation_pdf(quotation, templates=templates)


def write_file(body: bytes, out: Path) -> None:
    """
    Write a file, whole or not at all.

    Raises:
        DocumentError: it cannot be written.
    """
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        half_written = out.with_name(out.name + ".part")
        half_written.write_bytes(body)
        half_written.replace(out)
    except OSError as error:
        raise DocumentError(f"expected to write {out}; found {error.strerror}") from error
