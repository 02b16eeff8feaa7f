"""A real server: uvicorn in processes of its own, on the loopback interface, as ``quoting serve`` starts it."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

import httpx
import pytest

from api.settings import Settings, environment_of

SERVE = ("quoting.cli", "serve")
READY_SECONDS = 120  # a guard: a machine with other work takes its time
STOP_SECONDS = 35


class Served:
    """A server that runs until it is left; ``url`` is where."""

    def __init__(
        self,
        settings: Settings,
        log: Path,
        *,
        command: Sequence[str] = SERVE,
        environment: Mapping[str, str] | None = None,
        url: str = "",
    ) -> None:
        """
        One that is not started yet.

        Args:
            url: Where it listens, if not where it says that it is found.
        """
        self.settings = settings
        self.log = log
        self._command = command
        self._environment = environment or {}
        self.url = url or settings.base_url
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        """Start it and wait until it answers."""
        told = {name: value for name, value in environment_of(self.settings).items() if value}
        clean = {name: value for name, value in os.environ.items() if not name.startswith("QUOTING_")}
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", *self._command, "--port", self.url.rpartition(":")[2]],
                env={**clean, **told, **self._environment},
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self._wait_until_it_answers()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop it."""
        self.stop()

    @property
    def pid(self) -> int:
        """The process that was started; workers are its children."""
        if self._process is None:
            raise RuntimeError("expected a server that runs; found none")
        return self._process.pid

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        """Tell it to stop; how it ended."""
        if self._process is None:
            return 0
        os.killpg(self._process.pid, how) if how == signal.SIGKILL else self._process.send_signal(how)
        try:
            return self._process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            os.killpg(self._process.pid, signal.SIGKILL)
            return self._process.wait(5)

    def _wait_until_it_answers(self) -> None:
        until = time.monotonic() + READY_SECONDS
        while time.monotonic() < until:
            try:
                if httpx.get(f"{self.url}/livez", verify=False).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
            if self._process is not None and self._process.poll() is not None:
                break
        self.stop(signal.SIGKILL)
        pytest.fail(f"expected a server at {self.url}; found none: {self.log.read_text()[-2000:]}")


def run_serve(settings: Settings, *words: str) -> subprocess.CompletedProcess[str]:
    """What ``quoting serve`` says where it ends by itself."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith("QUOTING_")}
    told = {name: value for name, value in environment_of(settings).items() if value}
    command = [sys.executable, "-m", *SERVE, *words]
    return subprocess.run(command, env={**clean, **told}, capture_output=True, text=True, timeout=60, check=False)


def family(pid: int) -> list[int]:
    """A process and everything that it started, in whatever thread."""
    told = [thread.read_text() for thread in Path(f"/proc/{pid}/task").glob("*/children")]
    return [pid, *(found for child in " ".join(told).split() for found in family(int(child)))]


def rss_bytes(pid: int) -> int:
    """What a process holds of memory."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0]) * 1024


def free_url() -> str:
    """An address on the loopback interface that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{probe.getsockname()[1]}"
