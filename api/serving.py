"""Running the app: workers, a graceful stop, logs. ``quoting serve`` comes here by name."""

from __future__ import annotations

import os

from api.logs import configuration
from api.settings import LOOPBACK, Settings, environment_of, settings_from_environment, shown_settings
from quoting.errors import Fault, InputError
from quoting.rate_card import load_rate_card

APP = "api.app:create_app"
DRAIN_SECONDS = 25
WAITING_CONNECTIONS = 2048


def serve(*, host: str, port: int) -> None:
    """
    Serve until told to stop; what is under way is finished first.

    Raises:
        InputError: a setting does not fit.
        RateCardError: the card is refused.
    """
    settings = settings_from_environment()
    check(settings, host=host)
    os.environ.update(environment_of(settings))
    import uvicorn

    uvicorn.run(
        APP,
        factory=True,
        host=host,
        port=port,
        workers=settings.workers,
        log_config=configuration(),
        access_log=False,
        server_header=False,
        proxy_headers=False,
        backlog=WAITING_CONNECTIONS,
        timeout_graceful_shutdown=DRAIN_SECONDS,
    )


def check(settings: Settings, *, host: str) -> None:
    """
    Hold that a server may be started so, before any worker is.

    Raises:
        InputError: a server that asks for no key would listen to others than this machine.
        RateCardError: the card is refused.
    """
    if settings.demo and host not in LOOPBACK:
        raise InputError([Fault("demo", f"a host of this machine alone, of {', '.join(LOOPBACK)}", host)])
    load_rate_card(settings.card)


def print_settings() -> str:
    """The settings in force, a line each, secrets masked."""
    return shown_settings(settings_from_environment())
