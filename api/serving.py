"""Running the app: workers, the sender beside them, a graceful stop, logs. ``quoting serve`` comes here by name."""

from __future__ import annotations

import gc
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from logging.config import dictConfig
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from api.demo import where_to_look, with_demo
from api.desk import Desk
from api.logs import configuration
from api.settings import LOOPBACK, Settings, environment_of, settings_from_environment, shown_settings
from api.telling.told_by import telling_from, tells_anybody
from quoting.errors import Fault, InputError
from quoting.rate_card import load_rate_card

if TYPE_CHECKING:
    from litestar import Litestar

LOG = logging.getLogger("api.serving")
APP, WIRE = "api.serving:worker_app", "api.wire:Wire"
DRAIN_SECONDS = 25
KEEP_ALIVE_SECONDS = 75  # more than a proxy keeps an idle connection for, or it would send into one that is closed
WAITING_CONNECTIONS = 2048
SECONDS_TO_NEXT_SENDER = 2.0


def worker_app() -> Litestar:
    """The app of one worker. What is loaded by now stays: the collector of garbage need not look through it again."""
    from api.app import create_app

    app = create_app()
    gc.collect()
    gc.freeze()
    return app


def serve(*, host: str, port: int) -> None:
    """
    Serve until told to stop; what is under way is finished first.

    Raises:
        InputError: a setting does not fit.
        RateCardError: the card is refused.
        BookError: the book is not as it must be, or does not take the card.
    """
    settings = settings_from_environment()
    check(settings, host=host)
    if settings.demo:
        settings = with_demo(settings)
        print(where_to_look(settings), flush=True)
    os.environ.update(environment_of(settings))
    dictConfig(configuration())
    check_book(settings)
    if not settings.secret:
        LOG.warning("QUOTING_SECRET is not set: no request of a visitor, no artwork and no sign-in can be taken")
    import uvicorn

    with sender_beside(settings):
        uvicorn.run(
            APP,
            factory=True,
            host=host,
            port=port,
            workers=settings.workers,
            http=WIRE,
            log_config=configuration(),
            access_log=False,
            server_header=False,
            proxy_headers=False,
            backlog=WAITING_CONNECTIONS,
            timeout_keep_alive=KEEP_ALIVE_SECONDS,
            timeout_graceful_shutdown=DRAIN_SECONDS,
        )


def check(settings: Settings, *, host: str) -> None:
    """
    Hold that a server may be started so, before any worker is.

    Raises:
        InputError: a server that asks for no key would listen to others than this machine; one that visitors reach
            has no secret to make their links with.
        RateCardError: the card is refused.
    """
    if settings.demo and host not in LOOPBACK:
        raise InputError([Fault("demo", f"a host of this machine alone, of {', '.join(LOOPBACK)}", host)])
    card = load_rate_card(settings.card)
    telling_from(settings, card)
    if card.offers and not settings.secret and not settings.demo and _is_for_visitors(settings):
        found = "nothing, while the card has offers and visitors can reach them"
        raise InputError([Fault("QUOTING_SECRET", "32 characters or more, which private links are made with", found)])


def _is_for_visitors(settings: Settings) -> bool:
    return bool(settings.origins) or urlsplit(settings.base_url).hostname not in LOOPBACK


def check_book(settings: Settings) -> None:
    """
    Hold that the book, where it answers, is as it must be and takes the card: workers that find out would each end.

    Raises:
        BookNotReadyError: it is not as it must be.
        PublishedCardError: the card's version was published with other content.
    """
    desk = Desk(settings)
    try:
        desk.open_book()
    finally:
        desk.close()


@contextmanager
def sender_beside(settings: Settings) -> Iterator[None]:
    """One sender process beside the workers, where anybody is to be told; one that dies is started anew."""
    if not tells_anybody(settings):
        yield
        return
    stop = threading.Event()
    running: list[subprocess.Popen[bytes]] = []

    def watch() -> None:
        while not stop.is_set():
            running[:] = [subprocess.Popen([sys.executable, "-m", "api.telling"])]
            running[0].wait()
            stop.wait(SECONDS_TO_NEXT_SENDER)

    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    try:
        yield
    finally:
        stop.set()
        for process in running:
            process.terminate()
        watching.join(DRAIN_SECONDS)


def print_settings() -> str:
    """The settings in force, a line each, secrets masked."""
    return shown_settings(settings_from_environment())
