"""A sender killed between the commit and the sending, and between the sending and its record (A58)."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from standardwebhooks.webhooks import Webhook

from quoting.book import QuoteBook
from tests.book.shop import NOW, SECRET, issued
from tests.telling.killed_sender import HOOK_SECRET

SECONDS = 60


class _Hook(BaseHTTPRequestHandler):
    got: Counter[str]
    heard: threading.Event
    silent: threading.Event

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["content-length"]))
        headers = {name.lower(): value for name, value in self.headers.items()}
        Webhook(HOOK_SECRET).verify(body, headers)
        self.got[headers["webhook-id"]] += 1
        self.heard.set()
        if self.silent.is_set():  # the sender is killed before it hears an answer
            time.sleep(0.3)
            return
        self.send_response(204)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def hook() -> Iterator[tuple[type[_Hook], str]]:
    told = {"got": Counter(), "heard": threading.Event(), "silent": threading.Event()}
    kind: type[_Hook] = type("Hook", (_Hook,), told)
    server = ThreadingHTTPServer(("127.0.0.1", 0), kind)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield kind, f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize("kills", [6, pytest.param(50, marks=pytest.mark.long)])
def test_every_event_is_told_at_least_once_under_one_identity(
    tmp_path: Path, hook: tuple[type[_Hook], str], kills: int
) -> None:
    kind, url = hook
    address = str(tmp_path / "book.sqlite")
    rng = random.Random(kills)
    with QuoteBook(address, secret=SECRET) as book:
        for number in range(kills):
            issued(book)
            kind.heard.clear()
            if number % 2:
                kind.silent.set()
            with _sender(address, url) as sender:
                if number % 2:
                    assert kind.heard.wait(SECONDS)  # sent, and not recorded
                else:
                    time.sleep(rng.uniform(0, 0.8))  # somewhere between the commit and the sending
                sender.kill()
                sender.wait()
            kind.silent.clear()
        with _sender(address, url) as sender:
            until = time.monotonic() + SECONDS
            while len(kind.got) < kills and time.monotonic() < until:
                time.sleep(0.05)
            _wait_until_recorded(book, until)
            sender.kill()
            sender.wait()
        events = [event for event in book.events(most=1000) if event.kind == "issued"]

        assert len(events) == kills
        assert len(kind.got) == kills  # each under one identity, however often it came
        assert max(kind.got.values()) > 1
        assert book.outbox.undeliverable() == ()


def _sender(address: str, url: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", "tests.telling.killed_sender", address, url])


def _wait_until_recorded(book: QuoteBook, until: float) -> None:
    """Until no event waits and every delivery is over."""
    while time.monotonic() < until:
        waiting = book.outbox.waiting()
        told = [one for entry in book.list(at=NOW).quotations for one in book.outbox.of(entry.id)]
        if not waiting and all(one.delivered_at for one in told):
            return
        time.sleep(0.05)
    pytest.fail("expected every event told; found some that were not")
