"""A PostgreSQL server of our own: a private cluster in a temporary folder, on a loopback port, by nobody special."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg
import pytest

_FOLDERS = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)


class Server:
    """A running server; ``url`` is that of a database in it."""

    def __init__(self) -> None:
        if not _FOLDERS:
            pytest.fail("expected a PostgreSQL server; found none: install the Debian package postgresql")
        self.folder = Path(tempfile.mkdtemp(prefix="quote-book-pg-"))
        self.user = _unprivileged_user()
        if self.user:
            shutil.chown(self.folder, self.user)
        self._run("initdb", "-D", f"{self.folder}/data", "-A", "trust", "-U", "app", "-E", "UTF8", "--no-locale")
        self.port = _free_port()
        self.start()
        self._names = itertools.count()

    def start(self) -> None:
        """Start it and wait until it answers."""
        told = (
            f"-c listen_addresses=127.0.0.1 -c port={self.port} -c unix_socket_directories={self.folder}"
            " -c max_connections=300"
        )
        self._run("pg_ctl", "-D", f"{self.folder}/data", "-o", told, "-l", f"{self.folder}/log", "-w", "start")

    def stop(self, how: str = "fast") -> None:
        """Stop it: ``fast``, or ``immediate`` as if it crashed."""
        self._run("pg_ctl", "-D", f"{self.folder}/data", "-m", how, "-w", "stop")

    def crash(self) -> None:
        """Stop it as if it crashed, and start it again a moment later."""
        self.stop("immediate")
        time.sleep(0.5)
        self.start()

    def remove(self) -> None:
        """Stop it for good."""
        self.stop("immediate")
        shutil.rmtree(self.folder)

    def new_database(self) -> str:
        """The URL of a database of its own, empty."""
        name = f"book_{os.getpid()}_{next(self._names)}"
        with psycopg.connect(self._url("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return self._url(name)

    def _url(self, database: str) -> str:
        return f"postgresql://app@127.0.0.1:{self.port}/{database}"

    def _run(self, program: str, *words: str) -> None:
        as_other = ["runuser", "-u", self.user, "--"] if self.user else []
        command = [*as_other, str(_FOLDERS[0] / program), *words]
        done = (
            subprocess.run(
                command,
                cwd="/",
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                check=False,
            )
            if program == "initdb"
            else _run_to_file(command, self.folder)
        )
        if done.returncode:
            pytest.fail(f"{program} failed: {done.stdout!r}")


def _run_to_file(command: list[str], folder: Path) -> subprocess.CompletedProcess[bytes]:
    # The server inherits what pg_ctl writes to: with a pipe, waiting for its end would never end.
    with (folder / "pg_ctl.log").open("w+b") as log:
        done = subprocess.run(command, cwd="/", stdin=subprocess.DEVNULL, stdout=log, stderr=log, check=False)
        log.seek(0)
        done.stdout = log.read()
    return done


def _unprivileged_user() -> str:
    if os.getuid() != 0:
        return ""
    names = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in names else "nobody"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port
