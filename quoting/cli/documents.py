"""Documents from the command line: which form, and to a file whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from quoting.documents.children import Children
from quoting.errors import DocumentError

if TYPE_CHECKING:
    from quoting.docket import Docket
    from quoting.quotation import Quotation


MOST_WAITED_SECONDS = 60


@contextmanager
def rendering_ahead(*, at_once: bool = True) -> Iterator[Children]:
    """A rendering child that loads WeasyPrint while the job is still being estimated: it is half of a cold start."""
    children = Children()
    if at_once:
        children.start()
    try:
        yield children
    finally:
        children.end()


def quotation_as(kind: str, quotation: Quotation, templates: Path | None, children: Children) -> bytes:
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
    from quoting.documents.quotation import quotation_page

    return children.render(quotation_page(quotation, templates=templates), seconds=MOST_WAITED_SECONDS)


def docket_as_pdf(docket: Docket, templates: Path | None, children: Children) -> bytes:
    """
    A docket as PDF.

    Raises:
        DocumentError: it cannot be made; the message says why.
    """
    from quoting.documents.docket import docket_page

    return children.render(docket_page(docket, templates=templates), seconds=MOST_WAITED_SECONDS)


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
