"""Visitors of a shop's pages: what they choose and send, each from an address of their own."""

from __future__ import annotations

import copy
import itertools
from typing import Any

import httpx

COASTERS: dict[str, Any] = {
    "product": "coasters",
    "quantities": [100, 200],
    "front": {"inks": ["harbour-blue"], "lines": [{"text": "THE LANTERN & EEL"}, {"text": "Quay Street"}]},
}
CONTACT: dict[str, Any] = {"name": "Wilmot Dace", "email": "wilmot@lantern-and-eel.example"}
STATIONERY: dict[str, Any] = {"product": "wedding-and-party-stationery", "quantities": [100]}
# A line of 200 capitals goes on no coaster.
UNPRICED: dict[str, Any] = {**COASTERS, "front": {"lines": [{"text": "W" * 200}]}}
ACCEPT = {"revision": 1, "quantity": 200, "name": "Wilmot Dace"}
ORIGIN = "https://pages.marrowby.example"

_addresses = itertools.count(1)
_keys = itertools.count()


def new_address() -> str:
    """An address that no visitor had before, of the network for documentation (RFC 3849)."""
    return f"2001:db8:{next(_addresses):x}::1"


def new_key() -> str:
    """A key of a request that nobody sent before."""
    return f"key-of-a-visitor-{next(_keys):08}"


def choice(told: dict[str, Any] | None = None, **changed: Any) -> dict[str, Any]:
    """A body with a choice in it."""
    return {"choice": copy.deepcopy(told or COASTERS) | changed}


class Visitor:
    """One visitor: a key of the form, an address."""

    def __init__(self, client: httpx.Client, secret: str, *, address: str = "") -> None:
        self._client = client
        self.headers = {"Authorization": f"Bearer {secret}"} if secret else {}
        self.headers["X-Forwarded-For"] = address or new_address()

    def get(self, path: str, **headers: str) -> httpx.Response:
        """Look at something."""
        return self._client.get(path, headers={**self.headers, **_named(headers)})

    def post(self, path: str, body: Any, *, key: str = "", **headers: str) -> httpx.Response:
        """Send something; with a key of its own where none is told."""
        own = {"Idempotency-Key": key or new_key()}
        return self._client.post(path, json=body, headers={**self.headers, **own, **_named(headers)})

    def upload(self, content: bytes, name: str, kind: str) -> httpx.Response:
        """Send a file of artwork."""
        headers = {**self.headers, "Content-Type": kind}
        return self._client.post("/v1/public/artwork", params={"name": name}, content=content, headers=headers)

    def price(self, told: dict[str, Any] | None = None, **changed: Any) -> httpx.Response:
        """Ask what a choice costs."""
        return self.post("/v1/public/prices", choice(told, **changed))

    def send(self, told: dict[str, Any] | None = None, *, key: str = "", **changed: Any) -> httpx.Response:
        """Send a choice."""
        return self.post("/v1/public/requests", choice(told, **{"contact": CONTACT, **changed}), key=key)

    def ask(self, method: str, path: str, content: bytes | str = b"", **headers: str) -> httpx.Response:
        """Ask with what may be no JSON, and without a key unless one is told."""
        return self._client.request(method, path, content=content, headers={**self.headers, **_named(headers)})

    def link(self, told: dict[str, Any] | None = None, **changed: Any) -> str:
        """Send a choice; the path of its private link."""
        answer = self.send(told, **changed)
        assert answer.status_code == 201, answer.text
        return path_of(answer)


def path_of(answer: httpx.Response) -> str:
    """The path of the private link that a request is answered with."""
    path: str = "/" + answer.json()["link"].split("/", 3)[3]
    return path


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}
