"""
From a page to PDF: WeasyPrint with a fetcher that knows the packaged fonts and nothing else.

The command line renders in its own process; a server renders in a child, started as
``python -m quoting.documents.child`` over pipes, so that a page that runs away can be ended.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from msgspec import Struct, json

from quoting.errors import DocumentError

PANGO_LINE = "apt-get install -y --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
MOST_SECONDS = 15
MOST_MEMORY_BYTES = 768 * 1024 * 1024


class Page(Struct, frozen=True):
    """A page to render: its HTML and its style sheet."""

    html: str
    css: str


def fonts_folder() -> Path:
    """Where the text face lies: the package that carries it."""
    from importlib.util import find_spec

    found = find_spec("font_source_serif_pro")
    if found is None or found.origin is None:
        raise DocumentError("expected the package font-source-serif-pro; found none: pip install it")
    return Path(found.origin).parent / "files"


def render(page: Page) -> bytes:
    """
    A page as PDF.

    Raises:
        DocumentError: Pango's libraries are not there, or the page asks for something outside.
    """
    os.environ.setdefault("SOURCE_DATE_EPOCH", "0")  # dates come from the page: same page, same bytes
    weasyprint = _weasyprint()
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import FatalURLFetchingError

    fetcher = _packaged_assets()
    fonts = FontConfiguration()
    try:
        style = weasyprint.CSS(string=page.css, url_fetcher=fetcher, font_config=fonts)
        html = weasyprint.HTML(string=page.html, url_fetcher=fetcher)
        pdf: bytes = html.write_pdf(stylesheets=[style], font_config=fonts, pdf_variant="pdf/ua-1")
    except FatalURLFetchingError as error:  # a BaseException in WeasyPrint 70
        raise DocumentError(f"expected packaged assets only; found {error}") from error
    return pdf


def _weasyprint() -> Any:
    try:
        import weasyprint
    except OSError as error:
        raise DocumentError(
            f"PDF needs Pango's libraries, which are not here. On Debian or Ubuntu: {PANGO_LINE}"
        ) from error
    return weasyprint


def _packaged_assets() -> Any:
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    folder = fonts_folder()

    class PackagedAssets(URLFetcher):  # type: ignore[misc]  # WeasyPrint is not typed
        """Serves ``asset:NAME`` from the font package; refuses every other address."""

        def __init__(self) -> None:
            super().__init__(allowed_protocols={"asset"}, allow_redirects=False, fail_on_errors=True)

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            name = url.removeprefix("asset:").lstrip("/")
            if not url.startswith("asset:") or name not in {path.name for path in folder.iterdir()}:
                return super().fetch(url, headers)
            return URLFetcherResponse(url, (folder / name).read_bytes(), {"Content-Type": "font/ttf"})

    return PackagedAssets()


def render_in_child(page: Page, *, seconds: float = MOST_SECONDS) -> bytes:
    """
    A page as PDF, rendered in a child process with limits on time and memory.

    Raises:
        DocumentError: the child ran over its limits, or says why it cannot.
    """
    command = [sys.executable, "-m", "quoting.documents.child"]
    try:
        done = subprocess.run(command, input=json.encode(page), capture_output=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired as error:
        raise DocumentError(f"expected the page in {seconds:g} s; it took longer and was ended") from error
    if done.returncode != 0:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise DocumentError(said[-1] if said else f"the page's process ended with {done.returncode}")
    return done.stdout
