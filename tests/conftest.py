"""What every test may ask for: the demo shops, and a machine that can make PDFs."""

from __future__ import annotations

import datetime
import http.server
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from quoting import Job, RateCard, load_job, load_rate_card
from quoting.places import packaged

SHOPS = ("marrowby-lane", "pellam-hollow")
DAY = datetime.date(2026, 11, 25)

settings.register_profile("ours", deadline=None, derandomize=True)
settings.load_profile("ours")


def demo_jobs() -> list[tuple[str, str]]:
    """Shop and job of every demo job."""
    folder = packaged("rate_cards_demo")
    return [(shop, path.stem) for shop in SHOPS for path in sorted((folder / shop / "jobs").glob("*.toml"))]


def demo_card_path(shop: str) -> Path:
    """The folder of a demo card."""
    return packaged("rate_cards_demo") / shop / "card"


def demo_job_path(shop: str, job: str) -> Path:
    """The file of a demo job."""
    return packaged("rate_cards_demo") / shop / "jobs" / f"{job}.toml"


@pytest.fixture(scope="session")
def cards() -> dict[str, RateCard]:
    """Both demo cards, by shop."""
    return {shop: load_rate_card(demo_card_path(shop)) for shop in SHOPS}


@pytest.fixture(scope="session")
def jobs() -> dict[tuple[str, str], Job]:
    """Every demo job, by shop and name."""
    return {(shop, job): load_job(demo_job_path(shop, job)) for shop, job in demo_jobs()}


@pytest.fixture(scope="session")
def pango() -> None:
    """Fails, and says which package is missing, where PDFs cannot be made."""
    try:
        import weasyprint  # noqa: F401  # importing it is the check
    except OSError as error:
        pytest.fail(f"Debian packages libpango-1.0-0 and libpangoft2-1.0-0 are missing: {error}")


@pytest.fixture(scope="session")
def canary() -> Iterator[tuple[int, list[str]]]:
    """A port of this machine, and every path that somebody fetches of it."""
    hits: list[str] = []

    class Listening(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            hits.append(self.path)
            self.send_response(204)

    server = http.server.HTTPServer(("127.0.0.1", 0), Listening)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server.server_port, hits
    server.shutdown()
    server.server_close()
