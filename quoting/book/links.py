"""
Private links: whoever has one may look at a quotation, take it or decline it.

What opens a link is made from the book's secret, which stands outside the book, and from a salt in it. The book
keeps its hash alone, and whoever sends mail later can make it once more.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re

from sqlalchemy import Connection, select

from quoting.book import tables
from quoting.book.papers import SALT_BYTES, Chance
from quoting.book.states import Link
from quoting.errors import BookError, QuoteNotFoundError

LEAST_SECRET_BYTES = 16
_TOKEN = re.compile(r"qv_[0-9a-f]{16}_[A-Za-z0-9_-]{43}")


def new_link(secret: bytes, chance: Chance) -> Link:
    """
    A link that no other is like.

    Raises:
        BookError: a book that was opened without a secret.
    """
    salt = chance(SALT_BYTES).hex()
    return Link(salt, _hash(token_of(Link(salt, ""), secret)))


def token_of(link: Link, secret: bytes) -> str:
    """
    What opens a link: letters that a URL takes as they are, 256 bits that nobody can guess.

    Raises:
        BookError: no secret, or one of under 16 bytes.
    """
    if len(secret) < LEAST_SECRET_BYTES:
        raise BookError(
            f"expected a book opened with a secret of {LEAST_SECRET_BYTES} bytes or more; found it without"
        )
    made = base64.urlsafe_b64encode(hmac.digest(secret, b"link " + link.salt.encode(), "sha256"))
    return f"qv_{link.salt[:16]}_{made.rstrip(b'=').decode()}"


def id_behind(connection: Connection, token: str) -> str:
    """
    The id of the quotation that a token opens.

    Raises:
        QuoteNotFoundError: it opens none.
    """
    quotes = tables.quotes.c
    found = None
    if _TOKEN.fullmatch(token):
        found = connection.execute(select(quotes.id).where(quotes.link == _hash(token))).scalar()
    if found is None:
        raise QuoteNotFoundError("a private link")
    return str(found)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
