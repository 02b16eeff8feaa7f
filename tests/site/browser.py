"""A real browser: Debian's Chromium, with nothing reached but this machine."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Request, sync_playwright

CHROMIUM = ("/usr/bin/chromium", "/usr/bin/chromium-browser")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# WCAG 2.2, levels A and AA, as axe-core tags its rules.
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
    "resultTypes": ["violations"],
}


@contextmanager
def started() -> Iterator[Browser]:
    """A browser, until it is left."""
    path = next((one for one in CHROMIUM if Path(one).exists()), None)
    if path is None:
        pytest.fail(f"expected Debian's package chromium at {CHROMIUM[0]}; found none")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, headless=True, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


class Visit:
    """A visit to one server: a page, what it asked for elsewhere, and what went wrong on it."""

    def __init__(self, browser: Browser, url: str, *, width: int = 1280, scripts: bool = True, locale: str = "en-GB"):
        self.url = url
        self.elsewhere: list[str] = []
        self.wrong: list[str] = []
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": 900}, java_script_enabled=scripts, locale=locale
        )
        self.page: Page = self.context.new_page()
        self.page.on("request", self._asked)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))
        self.page.on("console", lambda said: self.wrong.append(said.text) if said.type == "error" else None)

    def _asked(self, request: Request) -> None:
        if urlsplit(request.url).scheme != "data" and not request.url.startswith(f"{self.url}/"):
            self.elsewhere.append(request.url)

    def open(self, path: str) -> Page:
        """Go to a page and let its price come."""
        self.page.goto(self.url + path)
        return self.page

    def close(self) -> None:
        """End it; nothing was asked elsewhere, nothing went wrong."""
        self.context.close()
        assert self.elsewhere == []
        assert self.wrong == []

    def violations(self) -> list[str]:
        """What axe-core finds on the page as it stands."""
        found = Axe().run(self.page, options=RULES).response["violations"]
        return [f"{one['id']}: {[node['html'][:120] for node in one['nodes']]}" for one in found]

    def overflow_px(self) -> int:
        """How far the page is wider than the window."""
        return int(self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
