"""A child process started as ``python -m ...`` and spoken to over pipes: what it does can end nothing but itself."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import IO

LENGTH_BYTES = 8


class OverdueError(Exception):
    """The child took longer than it may, and was ended."""


class EndedError(Exception):
    """The child ended before it answered."""


class PipedChild:
    """
    One process, asked one thing at a time.

    Args:
        module: What it runs, with its ``arguments``.
        folder, environment: Where it works and what it is told, if not as this process. A child that is given
            an environment leads a group of processes of its own, and is ended with all that it started; what it
            says besides its answers is not listened to.
        most_bytes: Of an answer; one that is longer counts as none.
    """

    def __init__(
        self,
        module: str,
        *arguments: str,
        folder: Path | None = None,
        environment: Mapping[str, str] | None = None,
        most_bytes: int | None = None,
    ) -> None:
        self._most_bytes = most_bytes
        self._leads = environment is not None
        self._process = subprocess.Popen(
            [sys.executable, "-m", module, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=folder,
            env=environment,
            start_new_session=self._leads,
            stderr=subprocess.DEVNULL if self._leads else None,
        )

    def ask(self, body: bytes, *, seconds: float) -> bytes:
        """
        Its answer.

        Raises:
            OverdueError, EndedError: there is none; the child is ended.
        """
        overdue = threading.Event()
        timer = threading.Timer(seconds, self._end_as_overdue, [overdue])
        timer.start()
        try:
            answer = self._answer_to(body)
        finally:
            timer.cancel()
        if overdue.is_set():
            self.end()
            raise OverdueError
        if answer is None:
            self.end()
            raise EndedError
        return answer

    @property
    def is_running(self) -> bool:
        """Whether it has not ended."""
        return self._process.poll() is None

    def end(self) -> None:
        """End it, whatever it is doing."""
        self._kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()

    def _kill(self) -> None:
        if self._leads and hasattr(os, "killpg"):
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGKILL)
        self._process.kill()

    def _end_as_overdue(self, overdue: threading.Event) -> None:
        overdue.set()
        self._kill()

    def _answer_to(self, body: bytes) -> bytes | None:
        asked, answered = self._process.stdin, self._process.stdout
        if asked is None or answered is None:
            return None
        try:
            write_one(asked, body)
        except OSError:
            return None
        return read_one(answered, most_bytes=self._most_bytes)


def write_one(pipe: IO[bytes], body: bytes) -> None:
    """One message down a pipe, its length before it."""
    pipe.write(len(body).to_bytes(LENGTH_BYTES, "big"))
    pipe.write(body)
    pipe.flush()


def read_one(pipe: IO[bytes], *, most_bytes: int | None = None) -> bytes | None:
    """The next message of a pipe; None where it has ended, or where the message is too long."""
    head = pipe.read(LENGTH_BYTES)
    if len(head) < LENGTH_BYTES:
        return None
    length = int.from_bytes(head, "big")
    if most_bytes is not None and length > most_bytes:
        return None
    body = pipe.read(length)
    return body if len(body) == length else None
