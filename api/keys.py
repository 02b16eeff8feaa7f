"""Who asks: the roles, what a key looks like, and from a request's header to a credential."""

from __future__ import annotations

import re
from typing import Literal

from msgspec import Struct

from api.problems import ProblemError
from quoting.book.access_keys import AccessKey

Role = Literal["anon", "form", "visitor", "owner", "owner-ro"]

ANYBODY: tuple[Role, ...] = ("anon", "form", "visitor", "owner", "owner-ro")
FORM: tuple[Role, ...] = ("form",)
VISITOR: tuple[Role, ...] = ("visitor",)
OWNER: tuple[Role, ...] = ("owner",)
ROLES_OF_KEYS: tuple[Role, ...] = ("owner", "owner-ro", "form")
READERS: tuple[Role, ...] = ("owner", "owner-ro")

# What a secret of ours looks like, wherever it turns up: its kind, its id, and chance.
SECRET = re.compile(r"qk_[0-9a-f]{16}_[A-Za-z0-9_-]{43}")
KEEP_SECONDS = 0.5
OUTAGE_SECONDS = 60


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


def credential_of(key: AccessKey) -> Credential | None:
    """Who a key stands for; nobody where its scope is none of the roles."""
    role = next((one for one in ROLES_OF_KEYS if one in key.scopes), None)
    return Credential(role, key.id) if role else None


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


def goes_on(credential: Credential, seconds: float) -> bool:
    """
    Whether somebody goes on while the book does not answer.

    Whoever prices needs no book. What a form may ask for is for everybody, so its key goes on for as long as it
    lasts; an owner's, which shows costs and may have been ended meanwhile, for a minute.

    Args:
        seconds: How long ago the keys were read.
    """
    return credential.role == "form" or seconds < OUTAGE_SECONDS


def unauthorized() -> ProblemError:
    """No key, or none that is in force: the same words for every reason."""
    return ProblemError("unauthorized", headers={"WWW-Authenticate": 'Bearer realm="quoting"'})


def holds_secret(text: str) -> bool:
    """Whether a text, such as a query, has a secret of ours in it."""
    return SECRET.search(text) is not None
