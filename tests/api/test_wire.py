"""What is no HTTP, alone and after what is, on real servers: refused with a problem, nothing else is (A1)."""

from __future__ import annotations

import json
import socket
import time
from urllib.parse import urlsplit

import httpx
import pytest

from api.media_types import JSON
from tests.api.asking import BOOK, LOG_SECONDS, job, last_event, logged, once, raw
from tests.api.serving import Served

NO_HTTP = b"\x00\x01 no request\r\n\r\n"
BAD_CHUNK = b'5\r\n{"a":\r\nzz\r\n'


@pytest.mark.parametrize(
    "lines",
    [
        ("FROB /livez HTTP/1.1", "Host: {host}"),
        ("get /livez HTTP/1.1", "Host: {host}"),
        ("GET /li vez HTTP/1.1", "Host: {host}"),
        ("GET /livez HTTP/1.1", "Host: {host}", "no header"),
        ("GET /livez HTTP/1.1", "Host: {host}", "A: \x00"),
        ("GET /livez HTTP/1.1", "Host: {host}", "Content-Length: -1"),
        ("GET /livez HTTP/1.1", "Host: {host}", "Content-Length: 1", "Transfer-Encoding: chunked"),
        ("GET /livez HTTP/9.9", "Host: {host}"),
        ("\x16\x03\x01\x02\x00\x01",),
    ],
)
def test_what_is_no_http_is_refused_with_a_problem(running: Served, lines: tuple[str, ...]) -> None:
    """RFC 9112, 2.2 and 6.3; RFC 9110, 6.6.1: also what no route, and no code of ours, ever sees."""
    host = urlsplit(running.url).netloc
    status, answer = raw(running.url, *(line.format(host=host) for line in lines))
    head, _, body = answer.partition("\r\n\r\n")
    headers = dict(line.lower().split(": ", 1) for line in head.split("\r\n")[1:])
    told = json.loads(body)

    assert (status, told["type"], told["status"]) == (400, "urn:quoting:problem:invalid-request", 400)
    assert (headers["content-type"], headers["connection"]) == ("application/problem+json", "close")
    assert int(headers["content-length"]) == len(body.encode())
    assert headers["x-content-type-options"] == "nosniff"
    assert "date" in headers
    assert "uvicorn" not in answer.lower()
    assert told["instance"] == f"urn:quoting:request:{headers['request-id']}"
    line = logged(running, headers["request-id"])
    assert (line["method"], line["operation"], line["credential"], line["status"]) == ("another", "", "", 400)
    assert line["ms"] >= 0


def test_a_request_is_answered_whatever_comes_after_it(running: Served, asked: httpx.Client) -> None:
    """RFC 9112, 9.3.2: in order; the quotation is made, and its client is told so."""
    for pause_seconds in (0.0, 0.5):
        created = whole(running, asked, BOOK, {"job": job()})
        answers = answers_to(running, [created, NO_HTTP], pause_seconds)
        assert [status for status, _ in answers] == [201, 400]
        assert last_event(running).subject == answers[0][1]["id"]


def test_requests_of_one_connection_are_answered_up_to_the_one_that_cannot_be_read(
    running: Served, asked: httpx.Client
) -> None:
    price = whole(running, asked, "/v1/estimates", job())
    broken = head(running, asked, "/v1/estimates", "Transfer-Encoding: chunked") + BAD_CHUNK

    assert [status for status, _ in answers_to(running, [price + price + NO_HTTP])] == [200, 200, 400]
    assert [status for status, _ in answers_to(running, [price + broken])] == [200, 400]
    assert [status for status, _ in answers_to(running, [price + price + broken])] == [200, 200, 400]


def test_a_body_that_cannot_be_read_or_ends_too_early_is_no_failure_of_ours(
    running: Served, asked: httpx.Client
) -> None:
    """A41: one who breaks off leaves no error in the log."""
    before = len(running.log.read_text().splitlines())
    broken = head(running, asked, "/v1/estimates", "Transfer-Encoding: chunked") + BAD_CHUNK
    assert [status for status, _ in answers_to(running, [broken])] == [400]
    with connected(running) as connection:
        connection.sendall(head(running, asked, "/v1/estimates", "Content-Length: 100") + b"{")
        time.sleep(0.2)

    until = time.monotonic() + LOG_SECONDS
    told: list[dict[str, object]] = []
    while len(told) < 3 and time.monotonic() < until:
        lines = [json.loads(line) for line in running.log.read_text().splitlines()[before:]]
        told = [line for line in lines if line["from"] == "api.requests"]
        time.sleep(0.02)
    assert [(line["status"], line["level"]) for line in told] == [(400, "info")] * 3


def connected(running: Served) -> socket.socket:
    """A bare connection."""
    at = urlsplit(running.url)
    return socket.create_connection((str(at.hostname), int(at.port or 0)), timeout=30)


def head(running: Served, asked: httpx.Client, path: str, *headers: str) -> bytes:
    """The head of a request of the owner's that sends JSON."""
    told = {"Host": urlsplit(running.url).netloc, "Content-Type": JSON,
            "Authorization": asked.headers["authorization"], **once()}  # fmt: skip
    lines = [f"POST {path} HTTP/1.1", *(f"{name}: {value}" for name, value in told.items()), *headers]
    return "\r\n".join([*lines, "", ""]).encode()


def whole(running: Served, asked: httpx.Client, path: str, body: object) -> bytes:
    """A request of the owner's that sends JSON."""
    content = json.dumps(body).encode()
    return head(running, asked, path, f"Content-Length: {len(content)}") + content


def answers_to(
    running: Served, parts: list[bytes], pause_seconds: float = 0.0
) -> list[tuple[int, dict[str, object]]]:
    """What is answered on one connection until the server closes it: statuses and bodies."""
    with connected(running) as connection:
        for part in parts:
            connection.sendall(part)
            time.sleep(pause_seconds)
        told = b"".join(iter(lambda: connection.recv(65_536), b""))
    answers = []
    while told:
        start, _, rest = told.partition(b"\r\n\r\n")
        headers = dict(line.lower().split(b": ", 1) for line in start.split(b"\r\n")[1:])
        length = int(headers[b"content-length"])
        answers.append((int(start.split()[1]), json.loads(rest[:length])))
        told = rest[length:]
    return answers
