"""Looks that many share: how often the book is asked, and whose answer who goes by."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from anyio import Event, create_task_group, lowlevel

from api.desk import Desk
from api.looks import SharedLook
from api.settings import Settings
from quoting.book.access_keys import KeyRing, KeysInForce
from quoting.errors import StorageError
from tests.api.asking import CARD, made_key

pytestmark = pytest.mark.anyio
ASKING = 32


class Book:
    """Answers when it is let; ``looks`` counts how often it was asked, ``fails`` says whether it refuses."""

    def __init__(self) -> None:
        self.looks = 0
        self.fails = False
        self.let = Event()

    async def look(self) -> None:
        self.looks += 1
        await self.let.wait()
        if self.fails:
            raise StorageError("expected the book to answer; found that it is away")


async def test_many_who_ask_during_a_look_share_the_next() -> None:
    """Not the one that is under way: it may have begun before what they ask for was there."""
    book = Book()
    shared = SharedLook(book.look)
    async with create_task_group() as tasks:
        tasks.start_soon(shared.look)
        await _all_wait()
        for _ in range(ASKING):
            tasks.start_soon(shared.look)
        await _all_wait()
        assert book.looks == 1
        book.let.set()
    assert book.looks == 2


async def test_who_asks_later_has_a_look_of_their_own() -> None:
    """What was found before somebody asked may have changed since: a key that was just made is in none of it."""
    book = Book()
    book.let.set()
    shared = SharedLook(book.look)
    for asked in (1, 2, 3):
        await shared.look()
        assert book.looks == asked


async def test_all_who_share_a_look_that_fails_are_told() -> None:
    """Also those who did not look themselves; whoever asks later has a look again."""
    book = Book()
    book.fails = True
    shared = SharedLook(book.look)
    told: list[str] = []

    async def asked() -> None:
        try:
            await shared.look()
        except StorageError as error:
            told.append(str(error))

    async with create_task_group() as tasks:
        for _ in range(ASKING):
            tasks.start_soon(asked)
        await _all_wait()
        book.let.set()
    assert told == ["expected the book to answer; found that it is away"] * ASKING
    assert book.looks == 1
    book.fails = False
    await shared.look()
    assert book.looks == 2


async def test_a_look_that_is_given_up_stands_for_nobody() -> None:
    """Who waited behind one that was cancelled looks instead."""
    book = Book()
    shared = SharedLook(book.look)
    async with create_task_group() as waiting:
        async with create_task_group() as first:
            first.start_soon(shared.look)
            await _all_wait()
            waiting.start_soon(shared.look)
            await _all_wait()
            first.cancel_scope.cancel()
        book.let.set()
    assert book.looks == 2


async def test_keys_are_read_once_for_all_who_ask_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When what is known of them is too old, every request under way finds that out."""
    settings = Settings(card=CARD, book=str(tmp_path / "book.sqlite"), base_url="http://127.0.0.1:8000")
    header = made_key(settings.book)["Authorization"]
    desk = Desk(settings)
    looks: list[datetime.datetime] = []
    roles: list[str] = []
    in_force = KeyRing.in_force

    def counted(ring: KeyRing, *, at: datetime.datetime) -> KeysInForce:
        looks.append(at)
        return in_force(ring, at=at)

    monkeypatch.setattr(KeyRing, "in_force", counted)

    async def asked() -> None:
        roles.append((await desk.credential(header)).role)

    try:
        async with create_task_group() as tasks:
            for _ in range(ASKING):
                tasks.start_soon(asked)
    finally:
        desk.close()
    assert roles == ["owner"] * ASKING
    assert len(looks) == 1


async def _all_wait() -> None:
    for _ in range(5):
        await lowlevel.checkpoint()
