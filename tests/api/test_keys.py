"""Keys: made by chance, kept as hashes, told once, ended at once, never in a log or an address (A53)."""

from __future__ import annotations

import datetime
import re
import sqlite3
import subprocess
import threading
import time
from functools import partial
from pathlib import Path

import httpx
import pytest

from quoting.book import QuoteBook
from quoting.cli import commands
from tests.api.asking import BOOK, issued, logged, made_key, once, problem, together
from tests.api.conftest import SECRET as SECRET_OF_LINKS
from tests.api.serving import Served
from tests.book.postgresql import _FOLDERS
from tests.book.shop import NOW

ENDED_WITHIN_SECONDS = 1
SECRET = re.compile(r"qk_[0-9a-f]{16}_[A-Za-z0-9_-]{43}")


def test_a_secret_has_256_bits_of_chance_and_is_told_once(asked: httpx.Client) -> None:
    """A53."""
    headers = once()
    wanted = {"name": "the website's form", "role": "form", "origins": ["https://shop.example"], "days": 30}
    first, again = (asked.post("/v1/keys", json=wanted, headers=headers).json() for _ in range(2))
    listed = asked.get("/v1/keys").text

    assert SECRET.fullmatch(first["secret"])
    assert again == {**first, "secret": ""}
    assert first["key"]["id"] in listed
    assert first["secret"] not in listed
    assert first["secret"][20:] not in listed
    assert (first["key"]["scopes"], first["key"]["origins"]) == (["form"], ["https://shop.example"])


def test_secrets_do_not_repeat(asked: httpx.Client) -> None:
    """A53."""
    made = [
        asked.post("/v1/keys", json={"name": "many", "role": "owner-ro"}, headers=once()).json()["secret"]
        for _ in range(50)
    ]

    assert len({secret[20:] for secret in made}) == 50


def opened(running: Served, key: dict[str, str]) -> set[int]:
    """What a key is answered over new connections, which reach every worker."""
    new_ones = httpx.Limits(max_keepalive_connections=0)
    with httpx.Client(base_url=running.url, headers=key, timeout=30, limits=new_ones) as client:
        return {answer.status_code for answer in together([partial(client.get, BOOK)] * 24, threads=8)}


def test_a_key_that_is_ended_opens_nothing_in_any_worker(running: Served, asked: httpx.Client) -> None:
    """A53, on both engines."""
    key = made_key(running.settings.book)
    before = opened(running, key)
    assert asked.delete(f"/v1/keys/{key['Authorization'].split('_')[1]}").status_code == 200
    time.sleep(ENDED_WITHIN_SECONDS)

    assert (before, opened(running, key)) == ({200}, {401})


def test_a_key_that_ends_by_itself_opens_nothing_in_any_worker(running: Served) -> None:
    """A53, on both engines, by the clock of the system."""
    now = datetime.datetime.now(datetime.UTC)
    ends_at = now + datetime.timedelta(seconds=2)
    with QuoteBook(running.settings.book) as book:
        made = book.keys.make("short-lived", scopes=("owner",), at=now, by="owner", ends_at=ends_at)
    key = {"Authorization": f"Bearer {made.secret}"}
    before = opened(running, key)
    time.sleep(max(0.0, (ends_at - datetime.datetime.now(datetime.UTC)).total_seconds()) + ENDED_WITHIN_SECONDS)

    assert 200 in before  # on a busy machine some come late
    assert opened(running, key) == {401}


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
    """A53, on both engines: keys, those that they are rotated to, and what a private link ends in."""
    made = [
        asked.post("/v1/keys", json={"name": "searched for", "role": role}, headers=once()).json()
        for role in ("owner", "form")
    ]
    rotated = asked.post(f"/v1/keys/{made[0]['key']['id']}/rotation", json={}, headers=once()).json()
    secrets = [asked.headers["authorization"].removeprefix("Bearer "), rotated["secret"]]
    secrets += [one["secret"] for one in made]
    backup = tmp_path / "backup.sqlite"
    with QuoteBook(running.settings.book, secret=SECRET_OF_LINKS.encode()) as book:
        token = book.link_token(book.make_link(issued(asked)["id"], at=NOW, by="owner"))
        told = [httpx.get(f"{running.url}/v1/keys", headers={"Authorization": f"Bearer {one}x"}) for one in secrets]
        told += [httpx.get(f"{running.url}/v1/keys", params={"key": one}) for one in [*secrets, token]]
        told += [httpx.get(f"{running.url}/v1/keys/{one}") for one in secrets]
        told += [httpx.get(f"{running.url}/v1/public/quotations/{token}x")]
        opened = [httpx.get(f"{running.url}/{at}/{token}") for at in ("v1/public/quotations", "look")]
        book.back_up(backup)
    logged(running, opened[-1].headers["request-id"])
    places = [
        running.log.read_bytes(),
        backup.read_bytes(),
        _dump(running.settings.book),
        *(answer.content for answer in told),
        *(str(answer.headers).encode() for answer in told),
    ]

    assert [answer.status_code for answer in opened] == [200, 200]
    assert {answer.status_code for answer in told} == {400, 401, 404}
    for secret in [*secrets, *(secret[20:] for secret in secrets), token]:
        for place in places:
            assert secret.encode() not in place


def _dump(address: str) -> bytes:
    """Everything that a book's database holds, as text or as its file."""
    if address.startswith("postgresql"):
        done = subprocess.run([str(_FOLDERS[0] / "pg_dump"), address], capture_output=True, check=True)
        return done.stdout
    with sqlite3.connect(address) as connection:
        return "\n".join(connection.iterdump()).encode() + Path(address).read_bytes()


@pytest.mark.parametrize("name", ["key", "api_key", "token", "access_token", "Authorization", "X"])
def test_a_key_in_an_address_is_refused(running: Served, asked: httpx.Client, name: str) -> None:
    """A53; it is refused also where the request would be answered without, and the log does not tell it."""
    secret = asked.headers["authorization"].removeprefix("Bearer ")

    answer = asked.get("/livez", params={name: secret})

    assert (answer.status_code, problem(answer)) == (400, "credentials-in-url")
    assert secret not in str(logged(running, answer.headers["request-id"]))


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
