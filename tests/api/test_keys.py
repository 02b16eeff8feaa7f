"""Keys: made by chance, kept as hashes, told once, ended at once, never in a log or an address (A53)."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import threading
import time
from functools import partial
from pathlib import Path

import httpx
import pytest
from litestar.testing import TestClient

from api.app import create_app
from api.settings import Settings
from quoting.book import QuoteBook
from quoting.cli import commands
from tests.api.asking import BOOK, made_key, once, problem, together
from tests.api.conftest import Client
from tests.api.serving import Served
from tests.book.postgresql import _FOLDERS

ENDED_WITHIN_SECONDS = 1
SECRET = re.compile(r"qk_[0-9a-f]{16}_[A-Za-z0-9_-]{43}")


def test_a_secret_has_256_bits_of_chance_and_is_told_once(demo: Client) -> None:
    headers = once()
    asked = {"name": "the website's form", "role": "form", "origins": ["https://shop.example"], "days": 30}
    first, again = (demo.post("/v1/keys", json=asked, headers=headers).json() for _ in range(2))
    listed = demo.get("/v1/keys").text

    assert SECRET.fullmatch(first["secret"])
    assert again == {**first, "secret": ""}
    assert first["key"]["id"] in listed
    assert first["secret"] not in listed
    assert first["secret"][20:] not in listed
    assert (first["key"]["scopes"], first["key"]["origins"]) == (["form"], ["https://shop.example"])


def test_secrets_do_not_repeat(demo: Client) -> None:
    made = [
        demo.post("/v1/keys", json={"name": "many", "role": "owner-ro"}, headers=once()).json()["secret"]
        for _ in range(50)
    ]

    assert len({secret[20:] for secret in made}) == 50


def test_a_key_that_is_ended_opens_nothing_in_any_worker(running: Served, asked: httpx.Client) -> None:
    """A53, on both engines: over new connections, which reach every worker."""
    key = made_key(running.settings.book)
    id = key["Authorization"].split("_")[1]

    def get() -> int:
        return httpx.get(running.url + BOOK, headers=key, timeout=30).status_code

    before = set(together([get] * 24, threads=8))
    assert asked.delete(f"/v1/keys/{id}").status_code == 200
    time.sleep(ENDED_WITHIN_SECONDS)
    after = set(together([get] * 24, threads=8))

    assert (before, after) == ({200}, {401})


def test_a_key_is_rotated_without_a_request_that_fails(running: Served, asked: httpx.Client) -> None:
    """A53, on both engines: the old one and the new one are good side by side."""
    old = made_key(running.settings.book)
    statuses: list[int] = []
    stop = threading.Event()

    def use(key: dict[str, str]) -> None:
        with httpx.Client(base_url=running.url, headers=key, timeout=30) as client:
            while not stop.is_set():
                statuses.append(client.get(BOOK).status_code)

    users = [threading.Thread(target=use, args=(old,)) for _ in range(3)]
    for user in users:
        user.start()
    id = old["Authorization"].split("_")[1]
    made = asked.post(f"/v1/keys/{id}/rotation", json={"overlap_minutes": 5}, headers=once())
    new = {"Authorization": f"Bearer {made.json()['secret']}"}
    answers = together([partial(httpx.get, running.url + BOOK, headers=new, timeout=30)] * 12, threads=4)
    stop.set()
    for user in users:
        user.join()

    assert made.status_code == 201
    assert set(statuses) | {answer.status_code for answer in answers} == {200}


def test_no_secret_stands_in_logs_errors_the_book_or_a_backup(
    running: Served, asked: httpx.Client, tmp_path: Path
) -> None:
    """A53, on both engines."""
    secrets = [asked.headers["authorization"].removeprefix("Bearer ")]
    secrets += [
        asked.post("/v1/keys", json={"name": "searched for", "role": role}, headers=once()).json()["secret"]
        for role in ("owner", "form")
    ]
    told = [httpx.get(f"{running.url}/v1/keys", headers={"Authorization": f"Bearer {secret}x"}) for secret in secrets]
    told += [httpx.get(f"{running.url}/v1/keys", params={"key": secret}) for secret in secrets]
    told += [httpx.get(f"{running.url}/v1/keys/{secret}") for secret in secrets]
    backup = tmp_path / "backup.sqlite"
    with QuoteBook(running.settings.book) as book:
        book.back_up(backup)
    places = [
        Path(running.log).read_bytes(),
        backup.read_bytes(),
        _dump(running.settings.book),
        *(answer.content for answer in told),
        *(str(answer.headers).encode() for answer in told),
    ]

    for secret in secrets:
        for place in places:
            assert secret.encode() not in place
            assert secret[20:].encode() not in place


def _dump(address: str) -> bytes:
    """Everything that a book's database holds, as text or as its file."""
    if address.startswith("postgresql"):
        done = subprocess.run([str(_FOLDERS[0] / "pg_dump"), address], capture_output=True, check=True)
        return done.stdout
    with sqlite3.connect(address) as connection:
        return "\n".join(connection.iterdump()).encode() + Path(address).read_bytes()


@pytest.mark.parametrize("name", ["key", "api_key", "token", "access_token", "Authorization", "X"])
def test_a_key_in_an_address_is_refused(client: Client, name: str, caplog: pytest.LogCaptureFixture) -> None:
    """A53; it is refused also where the request would be answered without."""
    secret = client.headers["authorization"].removeprefix("Bearer ")
    with caplog.at_level("INFO"):
        answer = client.get("/livez", params={name: secret})

    assert (answer.status_code, problem(answer)) == (400, "credentials-in-url")
    assert not [
        record for record in caplog.records if record.name.startswith("api") and secret in str(record.__dict__)
    ]


def test_a_good_key_goes_on_pricing_while_the_book_does_not_answer(settings: Settings, tmp_path: Path) -> None:
    """A34: prices need no book; what does is told that it cannot be reached, and when to ask again."""
    from msgspec.structs import replace

    from tests.api.asking import job

    gone = tmp_path / "book.sqlite"
    told = replace(settings, book=str(gone))
    with TestClient(create_app(told), raise_server_exceptions=False) as client:
        client.headers.update(made_key(told.book))
        before = client.post("/v1/estimates", json=job())
        gone.rename(tmp_path / "elsewhere.sqlite")
        time.sleep(ENDED_WITHIN_SECONDS)
        price, listed = client.post("/v1/estimates", json=job()), client.get(BOOK)
        (tmp_path / "elsewhere.sqlite").rename(gone)
        back = client.get(BOOK)

    assert (before.status_code, price.status_code, back.status_code) == (200, 200, 200)
    assert (listed.status_code, problem(listed)) == (503, "storage-unavailable")
    assert int(listed.headers["retry-after"]) > 0


def test_keys_are_made_listed_rotated_and_ended_on_the_command_line(tmp_path: Path) -> None:
    from click.testing import CliRunner

    book = str(tmp_path / "book.sqlite")

    def run(*words: str) -> str:
        done = CliRunner().invoke(commands, ["access", *words, "--book", book])
        assert done.exit_code == 0, done.output
        return done.stdout

    secret = run("make", "the website", "--role", "form", "--origin", "https://shop.example", "--days", "30").strip()
    id = secret.split("_")[1]
    assert SECRET.fullmatch(secret)
    assert id in run("list")
    assert secret not in run("list")
    rotated = run("rotate", id, "--overlap-minutes", "0").strip()
    assert SECRET.fullmatch(rotated)
    assert rotated != secret
    run("end", rotated.split("_")[1])
    assert run("list").count("ended") == 2
