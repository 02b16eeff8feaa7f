"""
The owner's session: a cookie that names a key, never its secret, signed, good for a working day.

It is HttpOnly and SameSite=Strict, and Secure where the server is found by https. What changes anything takes a
token of the session besides (the OWASP cheat sheet on cross-site request forgery: a signed, session-bound token).
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
import re
import secrets
from http.cookies import CookieError, SimpleCookie

from msgspec import Struct

NAME = "office"
LASTS = datetime.timedelta(hours=12)
_VALUE = re.compile(r"([A-Za-z0-9]{1,64})\.([0-9a-f]{8,12})\.([0-9a-f]{32})\.([A-Za-z0-9_-]{43})")
_OF_DEMO = "demo"


class Session(Struct, frozen=True):
    """Who is signed in, by the id of a key, what its forms carry, and whether it may change anything."""

    key_id: str
    csrf: str
    may_write: bool = False

    @property
    def is_demo(self) -> bool:
        """Whether nobody signed in, because nobody must."""
        return self.key_id == _OF_DEMO


def demo_session(secret: str) -> Session:
    """The session of a server that asks for no key."""
    return Session(_OF_DEMO, _signed(secret, "demo form"), may_write=True)


def new_cookie(secret: str, key_id: str, at: datetime.datetime, *, is_secure: bool) -> str:
    """The Set-Cookie of a session that begins now."""
    told = f"{key_id}.{int((at + LASTS).timestamp()):08x}.{secrets.token_hex(16)}"
    seconds = int(LASTS.total_seconds())
    return _cookie(f"{told}.{_signed(secret, told)}", seconds, is_secure=is_secure)


def ended_cookie(*, is_secure: bool) -> str:
    """The Set-Cookie that ends a session."""
    return _cookie("", 0, is_secure=is_secure)


def session_of(cookies: str, secret: str, at: datetime.datetime) -> Session | None:
    """The session that a Cookie header names; None where there is none, or it is over."""
    try:
        found = SimpleCookie(cookies).get(NAME)
    except CookieError:
        return None
    parts = _VALUE.fullmatch(found.value) if found else None
    if parts is None:
        return None
    key_id, until, nonce, signed = parts.groups()
    told = f"{key_id}.{until}.{nonce}"
    if not hmac.compare_digest(signed, _signed(secret, told)) or int(until, 16) <= at.timestamp():
        return None
    return Session(key_id, _signed(secret, f"form {told}"))


def _cookie(value: str, seconds: int, *, is_secure: bool) -> str:
    secure = "; Secure" if is_secure else ""
    return f"{NAME}={value}; Path=/office; HttpOnly; SameSite=Strict; Max-Age={seconds}{secure}"


def _signed(secret: str, told: str) -> str:
    made = hmac.digest(secret.encode(), b"office " + told.encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(made).rstrip(b"=").decode()
