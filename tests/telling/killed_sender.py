"""A sender in a process of its own, to be killed: ``python -m tests.telling.killed_sender BOOK WEBHOOK``."""

from __future__ import annotations

import datetime
import ipaddress
import sys
import threading

from api.desk import system_clock
from api.telling.sender import Sender, Telling, endpoints_from
from quoting.book import QuoteBook
from tests.book.shop import SECRET

HOOK_SECRET = "whsec_" + "QUJDREVGR0hJSktMTU5PUFFSU1RVVldY"
LEASE = datetime.timedelta(seconds=0.2)


def main() -> None:
    """Tell until killed."""
    _, book, url = sys.argv
    telling = Telling(
        relay=None,
        sender=("Shop", "shop@press.example"),
        shop_address="",
        shop_locale="en-GB",
        endpoints=endpoints_from([url], [HOOK_SECRET]),
        networks=(ipaddress.ip_network("127.0.0.0/8"),),
        look=str,
        desk=str,
    )
    with QuoteBook(book, secret=SECRET) as opened:
        Sender(opened, telling, system_clock, lease=LEASE).run(threading.Event(), idle_s=0.02)


if __name__ == "__main__":
    main()
