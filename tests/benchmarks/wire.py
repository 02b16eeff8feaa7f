"""Requests as bytes over connections that are kept: what a client takes of the processor must not tell."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from itertools import count as count_up
from typing import Self
from urllib.parse import urlsplit

from msgspec import Struct

_KEYS = count_up()


def post_bytes(path: str, body: bytes, headers: Mapping[str, str], *, once: bool = False) -> bytes:
    """A request that sends JSON; with a key of its own where it creates something."""
    own = {"Content-Type": "application/json", "Content-Length": str(len(body)), **headers}
    if once:
        own["Idempotency-Key"] = f"benchmark-{next(_KEYS):08}"
    return _head("POST", path, own) + body


def get_bytes(path: str, headers: Mapping[str, str]) -> bytes:
    """A request that only looks."""
    return _head("GET", path, headers)


def _head(method: str, path: str, headers: Mapping[str, str]) -> bytes:
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in headers.items())]
    return "\r\n".join([*lines, "", ""]).encode()


class Answered(Struct, frozen=True):
    """How a request was answered, and when."""

    status: int
    body: bytes
    seconds: float


class Wire:
    """One connection to a server."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer

    @classmethod
    async def to(cls, url: str) -> Self:
        """A new one."""
        host = urlsplit(url)
        return cls(*await asyncio.open_connection(host.hostname, host.port))

    async def ask(self, request: bytes) -> Answered:
        """Send a request and read its answer to the end."""
        began = time.perf_counter()
        self._writer.write(request)
        head = await self._reader.readuntil(b"\r\n\r\n")
        body = await self._reader.readexactly(_length(head))
        return Answered(int(head.split(b" ", 2)[1]), body, time.perf_counter() - began)

    def close(self) -> None:
        """Close it."""
        self._writer.close()


def _length(head: bytes) -> int:
    lines = head.lower().split(b"\r\n")
    return next(int(line.partition(b":")[2]) for line in lines if line.startswith(b"content-length:"))
