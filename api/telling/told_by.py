"""From the settings to a sender: which relay, which webhooks, at which book."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from contextlib import contextmanager

from api.desk import Clock, system_clock
from api.settings import Settings
from api.telling.mail import relay_from
from api.telling.sender import Sender, Telling, endpoints_from
from api.telling.webhooks import check_address
from quoting.book import QuoteBook
from quoting.errors import Fault, InputError
from quoting.rate_card import RateCard, load_rate_card


def tells_anybody(settings: Settings) -> bool:
    """Whether anybody is to be told of anything."""
    return bool(settings.book and (settings.mail or settings.webhooks))


@contextmanager
def sender_from(settings: Settings, *, clock: Clock = system_clock) -> Iterator[Sender]:
    """A sender at the settings' book."""
    telling = telling_from(settings, load_rate_card(settings.card))
    with QuoteBook(settings.book, secret=settings.secret.encode()) as book:
        yield Sender(book, telling, clock)


def telling_from(settings: Settings, card: RateCard) -> Telling:
    """
    Who is told and how.

    Raises:
        InputError: a relay, a webhook, a secret or a network that is none.
    """
    letterhead = card.letterhead
    try:
        networks = tuple(ipaddress.ip_network(one) for one in settings.webhook_networks)
        for url in settings.webhooks:
            check_address(url, networks)
        return Telling(
            relay=relay_from(settings.mail) if settings.mail else None,
            sender=(letterhead.name, settings.mail_from or letterhead.email),
            shop_address=settings.mail_shop or letterhead.email,
            shop_locale=card.region.locale,
            endpoints=endpoints_from(settings.webhooks, settings.webhook_secrets),
            networks=networks,
            look=lambda token: f"{settings.base_url}/look/{token}",
            desk=lambda identity: f"{settings.base_url}/office/quotes/{identity}",
        )
    except ValueError as error:
        expected, _, found = str(error).removeprefix("expected ").partition("; found ")
        raise InputError([Fault("mail or webhooks", expected, found or "another")]) from error
