"""Who asks: the roles, what a key looks like, and from a request's header to a credential."""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from typing import Literal

from msgspec import Struct

from api.problems import ProblemError

Role = Literal["anon", "form", "visitor", "owner", "owner-ro"]

ANYBODY: tuple[Role, ...] = ("anon", "form", "visitor", "owner", "owner-ro")
FORM: tuple[Role, ...] = ("form",)
VISITOR: tuple[Role, ...] = ("visitor",)
OWNER: tuple[Role, ...] = ("owner",)
READERS: tuple[Role, ...] = ("owner", "owner-ro")

# What a secret of ours looks like, wherever it turns up: a word for its kind, its id, 43 characters of chance.
SECRET = re.compile(r"(?P<kind>qk|qv)_(?P<id>[0-9a-f]{16})_(?P<chance>[A-Za-z0-9_-]{43})")


class Credential(Struct, frozen=True):
    """Who asks: a role, and the id of the key, for the log and the history."""

    role: Role
    id: str = ""

    @property
    def by(self) -> str:
        """The part somebody plays, as the history keeps it."""
        return f"{self.role} {self.id}".strip()


ANON = Credential("anon")
DEMO = Credential("owner", "demo")


def new_secret(kind: str, id: str) -> str:
    """A new secret: 256 bits of chance behind the id that it is found by."""
    return f"{kind}_{id}_{secrets.token_urlsafe(32)}"


def hash_of(secret: str) -> str:
    """What is kept of a secret; it has so much chance in it that a plain hash cannot be turned back."""
    return hashlib.sha256(secret.encode()).hexdigest()


def is_same(secret: str, kept: str) -> bool:
    """Whether a secret is the one that a hash was kept of, in constant time."""
    return hmac.compare_digest(hash_of(secret), kept)


def sent_secret(authorization: str | None) -> str | None:
    """
    The secret that a request brings; None where it brings none.

    Raises:
        ProblemError: a header that is no key of ours.
    """
    if authorization is None:
        return None
    scheme, _, secret = authorization.partition(" ")
    if scheme.lower() != "bearer" or not SECRET.fullmatch(secret.strip()):
        raise unauthorized()
    return secret.strip()


def unauthorized() -> ProblemError:
    """No key, or none that is in force: the same words for every reason."""
    return ProblemError("unauthorized", headers={"WWW-Authenticate": 'Bearer realm="quoting"'})


def holds_secret(text: str) -> bool:
    """Whether a text, such as a query, has a secret of ours in it."""
    return SECRET.search(text) is not None
