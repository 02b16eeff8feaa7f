"""How much visitors may ask for: by client address, by key, by e-mail address; see ``api.limits``."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from api.calls import Call
from api.limits import Limit

MINUTE, HOUR, DAY = 60, 3600, 86_400


class Allowance(Struct, frozen=True):
    """So much in so many seconds: a setting says how much for one client address; a key has several clients'."""

    name: str
    setting: str
    seconds: int


LOOKS = Allowance("looks", "most_looks_a_minute", MINUTE)  # offers, schemas, private links
PRICES = Allowance("prices", "most_prices_a_minute", MINUTE)
REQUESTS = Allowance("requests", "most_requests_an_hour", HOUR)  # what is kept
UPLOADS = Allowance("artwork", "most_artwork_an_hour", HOUR)
EMAILS = Allowance("requests-by-email", "most_requests_an_email_a_day", DAY)


async def spend(call: Call[Any, Any], allowance: Allowance) -> dict[str, str]:
    """
    Count one request; the fields that tell its sender what is left.

    Raises:
        ProblemError: too much was asked for.
    """
    limits, settings = call.desk.limits, call.desk.settings
    most: int = getattr(settings, allowance.setting)
    of_address = Limit(allowance.name, most, allowance.seconds)
    limits.check(of_address, call.client_address)  # one client's many requests use nothing of the key's
    if call.credential.id:
        of_key = Limit(f"{allowance.name}-by-key", most * settings.clients_a_key, allowance.seconds)
        await limits.spend(of_key, call.credential.id)
    return (await limits.spend(of_address, call.client_address)).headers


async def spend_by_email(call: Call[Any, Any], email: str) -> None:
    """
    Count one request that is kept of an e-mail address.

    Raises:
        ProblemError: too many came.
    """
    most = call.desk.settings.most_requests_an_email_a_day
    await call.desk.limits.spend(Limit(EMAILS.name, most, EMAILS.seconds), email.strip().lower())
