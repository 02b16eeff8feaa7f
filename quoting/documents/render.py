"""
From a page to PDF/A-3a and PDF/UA-1: WeasyPrint with a fetcher that knows fonts, a shop's own folder, nothing else.

The command line renders in its own process; a server renders in children (``children.py``).
"""

from __future__ import annotations

import atexit
import datetime
import os
import threading
import warnings
from typing import Any

from quoting.documents.archival import ends_clear, finish
from quoting.documents.children import render_in_child
from quoting.documents.fonts import JAPANESE, SERIF
from quoting.documents.page import Page
from quoting.errors import DocumentError

__all__ = ["Page", "render", "render_in_child"]

PANGO_LINE = "apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
VARIANT = "pdf/a-3a"
MOST_TRIES = 8
_LAST_STYLE = threading.local()  # WeasyPrint's fonts are not to be shared between threads
atexit.register(lambda: vars(_LAST_STYLE).clear())  # while WeasyPrint can still take its folder of fonts away
_MEDIA_TYPES = {".css": "text/css", ".png": "image/png", ".jpg": "image/jpeg", ".svg": "image/svg+xml"}


def render(page: Page, *, variant: str | None = VARIANT) -> bytes:
    """
    A page as PDF.

    Args:
        variant: None gives a plain PDF, without tags: for the benchmarks.

    Raises:
        DocumentError: Pango's libraries are not there, or the page asks for something outside.
    """
    os.environ.setdefault("SOURCE_DATE_EPOCH", "0")  # dates come from the page: same page, same bytes
    weasyprint = load_weasyprint()
    from weasyprint.urls import FatalURLFetchingError

    fetcher = _own_assets(page)
    try:
        style, fonts = _style_of(page, fetcher)
        html = weasyprint.HTML(string=page.html, url_fetcher=fetcher)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)  # WeasyPrint 70 leaves its colour profile open
            document = html.render(stylesheets=[style], font_config=fonts, pdf_variant=variant)
            return _written(document, page, variant)
    except FatalURLFetchingError as error:  # a BaseException in WeasyPrint 70
        raise DocumentError(f"expected packaged assets only; found {error}") from error


def _style_of(page: Page, fetcher: Any) -> tuple[Any, Any]:
    """A page's style sheet with its fonts: read once in a row for pages of ours, anew where a shop's folder is."""
    kept = getattr(_LAST_STYLE, "kept", None)
    if kept is not None and kept[0] == page.css and not page.folder:
        return kept[1], kept[2]
    from weasyprint import CSS
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    style = CSS(string=page.css, url_fetcher=fetcher, font_config=fonts)
    _LAST_STYLE.kept = None if page.folder else (page.css, style, fonts)
    return style, fonts


def _written(document: Any, page: Page, variant: str | None) -> bytes:
    """The bytes of a laid-out page; written anew, a little otherwise, until no stream ends in a line end."""
    if variant is None:
        plain: bytes = document.write_pdf()
        return plain
    pdf = b""
    for spare in range(MOST_TRIES):
        document.metadata.attachments.clear()
        finisher = finish(page.attached, spare=spare)
        pdf = document.write_pdf(pdf_variant=variant, attachments=_attachments(page), finisher=finisher)
        if ends_clear(pdf):
            break
    return pdf


def load_weasyprint() -> Any:
    """
    WeasyPrint, which is loaded when it is first wanted: it is half of a cold start.

    Raises:
        DocumentError: Pango's libraries are not there.
    """
    try:
        import weasyprint
    except OSError as error:
        raise DocumentError(
            f"PDF needs Pango's libraries, which are not here. On Debian or Ubuntu: {PANGO_LINE}"
        ) from error
    return weasyprint


def _attachments(page: Page) -> list[Any]:
    from weasyprint import Attachment

    day = datetime.datetime.fromisoformat(page.dated)
    return [
        Attachment(
            string=file.body,
            name=file.name,
            description=file.description,
            relationship=file.relationship,
            created=day,
            modified=day,
        )
        for file in page.attached
    ]


def _own_assets(page: Page) -> Any:
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class OwnAssets(URLFetcher):  # type: ignore[misc]  # WeasyPrint is not typed
        """Serves ``asset:FONT``, ``shop:FILE`` of a shop's folder, ``picture:NAME`` of the page; nothing else."""

        def __init__(self) -> None:
            super().__init__(
                allowed_protocols={"asset", "shop", "picture"}, allow_redirects=False, fail_on_errors=True
            )

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            found = _own_file(url, page)
            if found is None:
                return super().fetch(url, headers)
            body, media_type = found
            return URLFetcherResponse(url, body, {"Content-Type": media_type})

    return OwnAssets()


def _own_file(url: str, page: Page) -> tuple[bytes, str] | None:
    from pathlib import Path
    from urllib.parse import unquote

    scheme, _, name = url.partition(":")
    name = unquote(name.lstrip("/"))
    if scheme == "asset":
        face = next((face for face in (*SERIF, JAPANESE) if face.file == name), None)
        return (face.path().read_bytes(), "font/ttf") if face else None
    if scheme == "picture" and name in page.pictures:
        return page.pictures[name], "image/png"
    if scheme == "shop" and page.folder:
        from quoting.documents.templates import inside

        path = inside(Path(page.folder), name)
        return path.read_bytes(), _MEDIA_TYPES.get(path.suffix, "application/octet-stream")
    return None
