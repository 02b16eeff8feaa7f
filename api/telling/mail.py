"""Mail through a relay: where it is, how it is reached, and what its refusals mean."""

from __future__ import annotations

import smtplib
import ssl
from email.message import EmailMessage
from urllib.parse import unquote, urlsplit

from msgspec import Struct

SECONDS_TO_ANSWER = 20.0


class RefusedForGoodError(Exception):
    """Trying again would change nothing."""


class Relay(Struct, frozen=True, kw_only=True):
    """A mail relay. ``security``: encrypted from the start, from STARTTLS on, or not at all."""

    host: str
    port: int
    security: str
    user: str = ""
    password: str = ""


_PORTS = {"smtps": (465, "from the start"), "smtp": (587, "STARTTLS"), "smtp+plain": (25, "none")}


def relay_from(written: str) -> Relay:
    """
    A relay as it is written: ``smtps://``, ``smtp://`` (STARTTLS) or ``smtp+plain://``, ``USER:PASSWORD@HOST:PORT``.

    Raises:
        ValueError: it is none of these.
    """
    parts = urlsplit(written)
    if parts.scheme not in _PORTS or not parts.hostname:
        raise ValueError(
            f"expected a mail relay as {'://, '.join(_PORTS)}:// and a host; found {parts.scheme or 'none'}"
        )
    port, security = _PORTS[parts.scheme]
    return Relay(
        host=parts.hostname,
        port=parts.port or port,
        security=security,
        user=unquote(parts.username or ""),
        password=unquote(parts.password or ""),
    )


def send(message: EmailMessage, relay: Relay) -> None:
    """
    Hand a message to the relay.

    Raises:
        RefusedForGoodError: the relay will never take it, or its recipient.
        OSError, smtplib.SMTPException: it cannot be handed over now.
    """
    try:
        with _connected(relay) as server:
            if relay.user:
                server.login(relay.user, relay.password)
            server.send_message(message)
    except smtplib.SMTPRecipientsRefused as error:
        _raise_if_for_good([code for code, _ in error.recipients.values()], error)
        raise
    except (smtplib.SMTPDataError, smtplib.SMTPSenderRefused) as error:
        _raise_if_for_good([error.smtp_code], error)
        raise


def _connected(relay: Relay) -> smtplib.SMTP:
    context = ssl.create_default_context()
    if relay.security == "from the start":
        return smtplib.SMTP_SSL(relay.host, relay.port, timeout=SECONDS_TO_ANSWER, context=context)
    server = smtplib.SMTP(relay.host, relay.port, timeout=SECONDS_TO_ANSWER)
    if relay.security == "STARTTLS":
        server.starttls(context=context)
    return server


def _raise_if_for_good(codes: list[int], error: smtplib.SMTPException) -> None:
    """RFC 5321, 4.2.1: 4yz may pass another time, 5yz will not."""
    if codes and all(code >= 500 for code in codes):
        raise RefusedForGoodError(f"the relay refused it for good, {codes[0]}") from error
