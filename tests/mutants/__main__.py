"""
How many mutants of the money and of the authorisation modules are killed (A60).

    .venv/bin/python -m tests.mutants                       # all
    .venv/bin/python -m tests.mutants quoting/money.py      # one module
    .venv/bin/python -m tests.mutants --processes 2

Every mutant is a process of its own, forked where the libraries, and as a rule the tests, are loaded already; the
module is changed in its memory, never on the disk. The tests of its room run until one fails. Less than nine in ten
killed of those that do another thing than the code, and the command fails.
"""

from __future__ import annotations

import argparse
import importlib
import math
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from mmap import mmap
from pathlib import Path
from typing import Literal

import pytest
from hypothesis import Phase, settings
from msgspec import Struct

from tests.mutants.changing import Finder, functions_changed, put_in_place
from tests.mutants.equivalent import EQUIVALENT
from tests.mutants.making import Mutant, mutants
from tests.mutants.rooms import ROOMS, Room

LEAST_KILLED = 0.9
ROOT = Path(__file__).parents[2]
LIBRARIES: tuple[str, ...] = (
    "hypothesis.strategies",
    "sqlalchemy",
    "psycopg",
    "alembic.command",
    "litestar.testing",
    "httpx",
)
LIBRARIES += ("babel.numbers", "jsonschema_rs", "numpy")
OPTIONS = ("-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "-W", "ignore")
BROKEN = 99
MOST_SECONDS = 600
Fate = Literal["killed", "out of time", "survived", "equivalent"]


class Hurried:
    """A plugin: a law that is broken is not worked down to its smallest case."""

    def pytest_sessionstart(self) -> None:
        """Once the tests' own profile is loaded."""
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutants", settings(), phases=phases, database=None)
        settings.load_profile("mutants")


class Instead(Hurried):
    """A plugin: once the tests are collected, something else is done with them than to run them."""

    def __init__(self, work: Callable[[list[pytest.Item]], None]) -> None:
        self._work = work

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In the place of running them."""
        if session.testsfailed:
            sys.exit("expected tests that can be collected; found some that cannot")
        self._work(session.items)
        return True


def tests_pass(tests: tuple[str, ...]) -> int:
    """The exit code of tests, in this process."""
    return int(pytest.main([*OPTIONS, *tests], plugins=[Hurried()]))


def first_to_fail(items: list[pytest.Item]) -> int:
    """The place of the first test that fails; one past the last where none does."""
    for place, item in enumerate(items):
        following = items[place + 1] if place + 1 < len(items) else None
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if item.session.testsfailed:
            return place
    return len(items)


class Outcome(Struct, frozen=True):
    """How work in a child process ended, and the time of a processor that it took. [s]"""

    code: int
    seconds: float


def outcome(work: Callable[[], int], *, seconds: int) -> Outcome:
    """
    What becomes of work in a child process that may have so much of a processor, however busy the machine is.

    What waits for nothing has five times as long.
    """
    child = os.fork()
    if not child:
        _work(work, seconds)
    ends = time.monotonic() + 5 * seconds
    while True:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            return Outcome(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime)
        if time.monotonic() > ends:
            os.killpg(child, signal.SIGXCPU)
        time.sleep(0.02)


def _work(work: Callable[[], int], seconds: int) -> None:
    """In the child: what ends it, without a word."""
    try:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in range(3):
            os.dup2(nowhere, stream)
        sys.dont_write_bytecode = True
        code = work()
    except BaseException:
        code = BROKEN
    os._exit(code)


class Judge:
    """Judges the mutants of one room, in a process that has loaded nothing of ours yet."""

    def __init__(self, room: Room, tell: Callable[[Fate, Mutant], None]) -> None:
        self.room = room
        self.whole = (ROOT / room.path).read_text(encoding="utf-8")
        self._tell = tell
        self._seconds = MOST_SECONDS
        self._failed = mmap(-1, 4)  # which test failed, told by a child

    def all(self, *, processes: int) -> None:
        """Judge every mutant: first those that reach what runs at import, each from nothing."""
        made = mutants(ROOT / self.room.path, self.room.parts)
        cold = [one for one in made if self._asks_for_import(one)]
        warm = [one for one in made if one not in cold]
        self._time(lambda: tests_pass(self.room.tests))
        with ThreadPoolExecutor(processes) as pool:
            for done in [pool.submit(self._judge, one, self._anew(one)) for one in cold]:
                done.result()

        def judge(items: list[pytest.Item]) -> None:
            for name in (self.room.module, *self.room.used):
                importlib.import_module(name)
            self._time(lambda: int(first_to_fail(items) < len(items)))
            with ThreadPoolExecutor(processes) as pool:
                for done in [pool.submit(self._judge, one, self._in_place(one, items), items) for one in warm]:
                    done.result()
            self._time(lambda: int(first_to_fail(items) < len(items)))  # in the order that they have come to, too

        pytest.main([*OPTIONS, *self.room.tests], plugins=[Instead(judge)])

    def _asks_for_import(self, mutant: Mutant) -> bool:
        changed = functions_changed(self.whole, mutant.text)
        return changed is None or not changed.keys().isdisjoint(self.room.at_import)

    def _time(self, work: Callable[[], int]) -> None:
        """Hold that the tests pass, and see how long they take: mutants have twice as long."""
        found = outcome(work, seconds=MOST_SECONDS)
        if found.code != 0:
            sys.exit(f"expected the tests of {self.room.path} to pass; found one that fails: {self.room.tests}")
        self._seconds = 2 + math.ceil(2 * found.seconds)

    def _anew(self, mutant: Mutant) -> Callable[[], int]:
        def work() -> int:
            sys.meta_path.insert(0, Finder(self.room.module, str(ROOT / self.room.path), mutant.text))
            return tests_pass(self.room.tests)

        return work

    def _in_place(self, mutant: Mutant, items: list[pytest.Item]) -> Callable[[], int]:
        def work() -> int:
            put_in_place(self.room.module, functions_changed(self.whole, mutant.text) or {})
            place = first_to_fail(items)
            self._failed[:4] = place.to_bytes(4, "little")
            return int(place < len(items))

        return work

    def _judge(self, mutant: Mutant, work: Callable[[], int], items: list[pytest.Item] | None = None) -> None:
        code = outcome(work, seconds=self._seconds).code
        if code == BROKEN:
            sys.exit(f"expected to change {self.room.path}; could not: {mutant.told}")
        if code == 0:
            known = (self.room.path, mutant.before, mutant.after) in EQUIVALENT
            self._tell("equivalent" if known else "survived", mutant)
        elif code in {-signal.SIGXCPU, -signal.SIGKILL}:
            self._tell("out of time", mutant)
        else:
            self._tell("killed", mutant)
            if items:  # what noticed one of a function notices the next one, as a rule
                items.insert(0, items.pop(int.from_bytes(self._failed[:4], "little") % len(items)))


class Count(Struct):
    """So many mutants."""

    killed: int = 0
    survived: int = 0
    equivalent: int = 0

    @property
    def score(self) -> float:
        """The share killed of those that a test can tell from the code."""
        return self.killed / max(1, self.killed + self.survived)

    def row(self, name: str, seconds: float) -> str:
        """As a line of the table."""
        made = self.killed + self.survived + self.equivalent
        counts = f"{made:6}{self.killed:8}{self.survived:10}{self.equivalent:12}"
        return f"{name:32}{counts}{self.score:9.1%}{seconds:9.0f}"


def main() -> None:
    """Judge the rooms that are named, or all."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("paths", nargs="*", help="modules; all where none is named")
    parser.add_argument("--processes", type=int, default=1)
    told = parser.parse_args()
    rooms = [room for room in ROOMS if not told.paths or room.path in told.paths]
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    for name in LIBRARIES:
        importlib.import_module(name)
    whole, begun = Count(), time.monotonic()
    print(f"{'module':32}{'made':>6}{'killed':>8}{'survived':>10}{'equivalent':>12}{'killed':>9}{'seconds':>9}")
    for room in rooms:
        mine, started = Count(), time.monotonic()
        for line in _apart(room, told.processes):
            fate, _, change = line.partition("\t")
            mine.killed += fate in {"killed", "out of time"}
            mine.survived += fate == "survived"
            mine.equivalent += fate == "equivalent"
            if fate in {"survived", "out of time"}:
                print(f"    {fate}: {change}", flush=True)
        print(mine.row(room.path, time.monotonic() - started), flush=True)
        whole = Count(whole.killed + mine.killed, whole.survived + mine.survived, whole.equivalent + mine.equivalent)
    print(whole.row("all", time.monotonic() - begun))
    sys.exit(0 if whole.score >= LEAST_KILLED else 1)


def _apart(room: Room, processes: int) -> Iterator[str]:
    """What a process of its own finds of a room, a line for each mutant: nothing of ours is loaded in this one."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        with os.fdopen(writing, "w") as lines:
            judge = Judge(room, lambda fate, mutant: print(fate, mutant.told, sep="\t", file=lines, flush=True))
            judge.all(processes=processes)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as lines:
        yield from (line.rstrip("\n") for line in lines)
    if os.waitpid(child, 0)[1]:
        sys.exit(1)


if __name__ == "__main__":
    main()
