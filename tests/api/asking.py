"""Short ways to ask the API: keys of requests, keys of the owner's, small jobs."""

from __future__ import annotations

import copy
import itertools
import json
import socket
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar
from urllib.parse import urlsplit

import httpx

from api.app import create_app
from api.examples import JOB
from api.operations import Operation
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.serving import Served
from tests.book.shop import NOW
from tests.conftest import demo_card_path

CARD = demo_card_path("marrowby-lane")
_T = TypeVar("_T")
BOOK = "/v1/book/quotations"
OPERATIONS: tuple[Operation, ...] = create_app(Settings(card=CARD)).state.desk.operations
OWNERS = tuple(one for one in OPERATIONS if one.face == "owner")
DOCUMENTED = tuple(one for one in OPERATIONS if one.face != "site")
LOG_SECONDS = 10  # a guard: a line is written when its answer has been sent
_numbers = itertools.count()


def once(key: str = "") -> dict[str, str]:
    """A header with an Idempotency-Key, a new one where none is told."""
    return {"Idempotency-Key": key or f"request-of-the-tests-{next(_numbers):06}"}


def job(**told: Any) -> dict[str, Any]:
    """A small job."""
    return copy.deepcopy(JOB) | told


def larger(**told: Any) -> dict[str, Any]:
    """A job that no press can print: it is larger than any."""
    asked = job(**told)
    asked["items"][0]["size"] = "400 x 500 mm"
    return asked


def made_key(address: str, role: str = "owner") -> dict[str, str]:
    """A key to a book, as the header that it is sent in."""
    with QuoteBook(address) as book:
        made = book.keys.make(f"tests, {role}", scopes=(role,), at=NOW, by="owner")
    return {"Authorization": f"Bearer {made.secret}"}


def issued(client: httpx.Client, /, **told: Any) -> dict[str, Any]:
    """A quotation that is created."""
    answer = client.post(BOOK, json={"job": job(**told)}, headers=once())
    assert answer.status_code == 201, answer.text
    kept: dict[str, Any] = answer.json() | {"etag": answer.headers["etag"]}
    return kept


def together(works: Sequence[Callable[[], _T]], *, threads: int = 50) -> list[_T]:
    """Have works done at the same time; what each gave."""
    with ThreadPoolExecutor(threads) as pool:
        return [done.result() for done in [pool.submit(work) for work in works]]


def problem(answer: httpx.Response) -> str:
    """The type of a problem, by its name."""
    return str(answer.json()["type"]).removeprefix("urn:quoting:problem:")


def resolve(data: Any, pointer: str) -> Any:
    """What a JSON pointer (RFC 6901) leads to; an error where it leads nowhere."""
    for key in pointer.split("/")[1:]:
        data = data[int(key)] if isinstance(data, list) else data[key.replace("~1", "/").replace("~0", "~")]
    return data


def pointers(answer: httpx.Response) -> list[str]:
    """Where an answer says that a body does not fit."""
    return [one["pointer"] for one in answer.json().get("invalid", ())]


def logged(served: Served, request: str) -> dict[str, Any]:
    """The line that a server's log has of a request, by its id."""
    until = time.monotonic() + LOG_SECONDS
    while time.monotonic() < until:
        for line in reversed(served.log.read_text().splitlines()):
            if f'"{request}"' in line:
                told: dict[str, Any] = json.loads(line)
                return told
        time.sleep(0.02)
    raise AssertionError(f"expected a line of the request {request}; found none")


def raw(url: str, *lines: str) -> tuple[int, str]:
    """What a server answers to lines as they are: the status, and the whole of it."""
    at = urlsplit(url)
    with socket.create_connection((str(at.hostname), int(at.port or 0)), timeout=30) as connection:
        connection.sendall("\r\n".join([*lines, "Connection: close", "", ""]).encode("latin-1"))
        with connection.makefile("rb") as answer:
            told = answer.read().decode()
    return int(told.split(" ", 2)[1]), told


def last_event(served: Served) -> Any:
    """What befell a server's book last."""
    with QuoteBook(served.settings.book) as book:
        return book.head()
