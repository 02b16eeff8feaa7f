"""
Webhooks as Standard Webhooks 1.0 has them: three headers, HMAC-SHA256 over id, instant and body.

Source: Standard Webhooks 1.0.0, its sections on signatures and on delivery; from memory, and held to its
own reference library in the tests.
"""

from __future__ import annotations

import base64
import binascii
import datetime
import hmac
import ssl
from collections.abc import Sequence
from hashlib import sha256

import httpcore
from msgspec import Struct

from api.telling.targets import CheckedBackend, Network

SECRET_PREFIX = "whsec_"
LEAST_SECRET, GREATEST_SECRET = 24, 64  # bytes
MOST_ANSWER = 64 * 1024  # bytes that are read of an answer
SECONDS_TO_ANSWER = 15.0

_SECOND, _MINUTE, _HOUR = 1, 60, 3600
WAITS_S = (
    5 * _SECOND,
    5 * _MINUTE,
    30 * _MINUTE,
    2 * _HOUR,
    5 * _HOUR,
    10 * _HOUR,
    14 * _HOUR,
    20 * _HOUR,
    24 * _HOUR,
)
MOST_TRIES = len(WAITS_S) + 1


class Endpoint(Struct, frozen=True, kw_only=True):
    """Where a shop hears of its events; while a secret is changed, both the new and the old sign."""

    url: str
    secrets: tuple[str, ...]


class Answer(Struct, frozen=True):
    """What an endpoint answered: its status, and how much of its body was read. [bytes]"""

    status: int
    read: int


def secret_bytes(secret: str) -> bytes:
    """
    The key in a secret.

    Raises:
        ValueError: it is not ``whsec_`` and 24 to 64 bytes in base64.
    """
    try:
        key = base64.b64decode(secret.removeprefix(SECRET_PREFIX), validate=True)
    except binascii.Error:
        key = b""
    if not secret.startswith(SECRET_PREFIX) or not LEAST_SECRET <= len(key) <= GREATEST_SECRET:
        raise ValueError(
            f"expected a webhook's secret as {SECRET_PREFIX} and {LEAST_SECRET} to {GREATEST_SECRET} bytes in base64"
        )
    return key


def signature(secret: str, *, identity: str, at: datetime.datetime, body: bytes) -> str:
    """The signature of one sending, ``v1,`` and base64."""
    signed = b".".join([identity.encode(), str(int(at.timestamp())).encode(), body])
    return "v1," + base64.b64encode(hmac.digest(secret_bytes(secret), signed, sha256)).decode()


def headers_of(endpoint: Endpoint, *, identity: str, at: datetime.datetime, body: bytes) -> dict[str, str]:
    """What a sending carries; ``identity`` is the event's, and stays the same however often it is sent."""
    return {
        "content-type": "application/json",
        "user-agent": "quoting-webhooks",
        "webhook-id": identity,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(
            signature(secret, identity=identity, at=at, body=body) for secret in endpoint.secrets
        ),
    }


def send(
    endpoint: Endpoint, *, identity: str, at: datetime.datetime, body: bytes, also: Sequence[Network] = ()
) -> Answer:
    """
    Send an event to an endpoint. A redirect is an answer, not followed; of a body 64 KiB are read at most.

    Args:
        also: Networks that it may go to though they are not public; there it need not be encrypted.

    Raises:
        TargetRefusedError: its name leads where nothing is sent.
        ValueError: its address is no web address.
        httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError: it cannot be reached.
    """
    url = check_address(endpoint.url, also)
    timeouts = dict.fromkeys(("connect", "read", "write", "pool"), SECONDS_TO_ANSWER)
    with httpcore.ConnectionPool(
        ssl_context=ssl.create_default_context(), network_backend=CheckedBackend(also)
    ) as pool:
        headers = headers_of(endpoint, identity=identity, at=at, body=body)
        asked = [(name.encode(), value.encode()) for name, value in headers.items()]
        with pool.stream("POST", url, headers=asked, content=body, extensions={"timeout": timeouts}) as response:
            read = 0
            for chunk in response.iter_stream():
                read += len(chunk)
                if read >= MOST_ANSWER:
                    break
            return Answer(response.status, min(read, MOST_ANSWER))


def check_address(written: str, also: Sequence[Network] = ()) -> httpcore.URL:
    """
    The address of a webhook.

    Raises:
        ValueError: it is no web address, or not encrypted though it goes to the world.
    """
    url = httpcore.URL(written)
    if not url.host or url.scheme not in {b"https", b"http"} or (url.scheme == b"http" and not also):
        raise ValueError("expected a webhook's address to start with https:// and name a host; found another")
    return url


def wait_s(tries: int) -> int | None:
    """How long to wait after so many tries; None where it is given up. [s]"""
    return WAITS_S[tries - 1] if tries <= len(WAITS_S) else None
