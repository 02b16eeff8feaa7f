"""The sender as a process of its own: ``python -m api.telling``, beside the workers, until it is told to stop."""

from __future__ import annotations

import logging.config
import signal
import threading

from api.logs import configuration
from api.settings import settings_from_environment
from api.telling.told_by import sender_from


def main() -> None:
    """Tell what there is to tell."""
    logging.config.dictConfig(configuration())
    stop = threading.Event()
    for one in (signal.SIGTERM, signal.SIGINT):
        signal.signal(one, lambda *_: stop.set())
    with sender_from(settings_from_environment()) as sender:
        sender.run(stop)


main()
