"""
Form tokens: each shown form gets one, signed, good once and for a while; it is the request's Idempotency-Key.

A request that comes sooner than a person can fill a form, or long after, is taken for a machine's.
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
import re
import secrets

SOONEST = datetime.timedelta(seconds=3)
LATEST = datetime.timedelta(hours=2)
_TOKEN = re.compile(r"of_([0-9a-f]{24})_([0-9a-f]{8,12})_([A-Za-z0-9_-]{22})")


def new_token(secret: str, at: datetime.datetime) -> str:
    """A token of a form that is shown now."""
    told = f"{secrets.token_hex(12)}_{int(at.timestamp()):08x}"
    return f"of_{told}_{_signature(secret, told)}"


def is_human(token: str, secret: str, at: datetime.datetime) -> bool:
    """Whether a token is ours, and its form was open as long as people take."""
    shown = _shown_at(token, secret)
    return shown is not None and SOONEST <= at - shown <= LATEST


def is_ours(token: str, secret: str) -> bool:
    """Whether a token is of a form that we showed, whenever that was."""
    return _shown_at(token, secret) is not None


def _shown_at(token: str, secret: str) -> datetime.datetime | None:
    found = _TOKEN.fullmatch(token)
    if found is None:
        return None
    nonce, seconds, signed = found.groups()
    if not hmac.compare_digest(signed, _signature(secret, f"{nonce}_{seconds}")):
        return None
    return datetime.datetime.fromtimestamp(int(seconds, 16), datetime.UTC)


def _signature(secret: str, told: str) -> str:
    made = hmac.digest(secret.encode(), b"order form " + told.encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(made[:16]).rstrip(b"=").decode()
