"""
Webhooks against a receiver on this machine (A12, A58).

Signatures are held to two independent implementations: the reference library of Standard Webhooks, and
OpenSSL's own HMAC.
"""

from __future__ import annotations

import base64
import datetime
import ipaddress
import subprocess
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpcore
import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from api.telling.targets import TargetRefusedError
from api.telling.webhooks import MOST_TRIES, WAITS_S, Endpoint, headers_of, secret_bytes, send, wait_s

SECRET = "whsec_" + base64.b64encode(bytes(range(32))).decode()
NEWER = "whsec_" + base64.b64encode(bytes(range(32, 64))).decode()
BODY = '{"type":"quotation.accepted","data":{"number":"Q-00012","title":"Cartes € ünï"}}'.encode()
HERE = [ipaddress.ip_network("127.0.0.0/8")]


def _now() -> datetime.datetime:
    """The verifying library has a clock of its own."""
    return datetime.datetime.now(datetime.UTC)


def _headers(*secrets: str, at: datetime.datetime | None = None) -> dict[str, str]:
    at = at or _now()
    return headers_of(Endpoint(url="https://shop.example/", secrets=secrets), identity="evt-7", at=at, body=BODY)


def test_the_reference_library_takes_the_signature() -> None:
    assert Webhook(SECRET).verify(BODY, _headers(SECRET)) == {
        "type": "quotation.accepted",
        "data": {"number": "Q-00012", "title": "Cartes € ünï"},
    }


def test_openssl_makes_the_same_signature() -> None:
    headers = _headers(SECRET)
    signed = b"evt-7." + headers["webhook-timestamp"].encode() + b"." + BODY
    command = [
        "openssl",
        "dgst",
        "-sha256",
        "-mac",
        "HMAC",
        "-macopt",
        f"hexkey:{secret_bytes(SECRET).hex()}",
        "-binary",
    ]
    made = subprocess.run(command, input=signed, capture_output=True, check=True, timeout=20).stdout

    assert headers["webhook-signature"] == "v1," + base64.b64encode(made).decode()


@pytest.mark.parametrize("place", [0, len(BODY) // 2, len(BODY) - 1])
def test_one_flipped_byte_fails(place: int) -> None:
    flipped = BODY[:place] + bytes([BODY[place] ^ 1]) + BODY[place + 1 :]

    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(flipped, _headers(SECRET))


def test_another_id_fails() -> None:
    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(BODY, _headers(SECRET) | {"webhook-id": "evt-8"})


@pytest.mark.parametrize("minutes", [-6, 6])
def test_an_instant_six_minutes_off_fails(minutes: int) -> None:
    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(BODY, _headers(SECRET, at=_now() + datetime.timedelta(minutes=minutes)))


def test_while_a_secret_is_changed_both_sign() -> None:
    headers = _headers(NEWER, SECRET)

    assert len(headers["webhook-signature"].split(" ")) == 2
    for secret in (NEWER, SECRET):
        Webhook(secret).verify(BODY, headers)


@pytest.mark.parametrize("secret", ["", "whsec_", "whsec_AAAA", "c2VjcmV0", "whsec_!" + "A" * 40, SECRET.upper()])
def test_a_secret_that_is_none_is_refused_without_being_told(secret: str) -> None:
    with pytest.raises(ValueError, match="expected a webhook's secret") as told:
        secret_bytes(secret)
    assert len(secret) < 8 or secret not in str(told.value)


def test_ten_tries_over_three_days_then_given_up() -> None:
    assert MOST_TRIES == 10
    assert [wait_s(tries) for tries in range(1, 11)] == [*WAITS_S, None]
    assert list(WAITS_S) == sorted(WAITS_S)
    assert datetime.timedelta(days=3) < datetime.timedelta(seconds=sum(WAITS_S)) < datetime.timedelta(days=4)


class _Receiver(BaseHTTPRequestHandler):
    got: list[tuple[str, dict[str, str], bytes]]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["content-length"]))
        self.got.append((self.path, {name.lower(): value for name, value in self.headers.items()}, body))
        status = int(self.path.rpartition("/")[2] or 200)
        self.send_response(status)
        if status == 302:
            self.send_header("Location", "/204")
        endless = status == 201
        if not endless:
            self.send_header("Content-Length", "2")
        self.end_headers()
        try:
            for _ in range(3000 if endless else 1):
                self.wfile.write(b"x" * 1024 if endless else b"ok")
        except OSError:
            pass

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def receiver() -> Iterator[tuple[str, list[tuple[str, dict[str, str], bytes]]]]:
    got: list[tuple[str, dict[str, str], bytes]] = []
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("Receiver", (_Receiver,), {"got": got}))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", got
    server.shutdown()
    server.server_close()


def test_an_event_is_heard_and_verified(receiver: tuple[str, list[tuple[str, dict[str, str], bytes]]]) -> None:
    url, got = receiver
    answer = send(Endpoint(url=f"{url}/200", secrets=(SECRET,)), identity="evt-7", at=_now(), body=BODY, also=HERE)

    assert (answer.status, answer.read) == (200, 2)
    [(_, headers, body)] = got
    assert body == BODY
    Webhook(SECRET).verify(body, headers)


@pytest.mark.parametrize("status", [302, 410, 500])
def test_an_answer_is_told_and_a_redirect_not_followed(
    receiver: tuple[str, list[tuple[str, dict[str, str], bytes]]], status: int
) -> None:
    url, got = receiver
    endpoint = Endpoint(url=f"{url}/{status}", secrets=(SECRET,))

    assert send(endpoint, identity="evt-7", at=_now(), body=BODY, also=HERE).status == status
    assert len(got) == 1


def test_of_an_endless_answer_64_kib_are_read(receiver: tuple[str, list[tuple[str, dict[str, str], bytes]]]) -> None:
    url, _ = receiver

    endpoint = Endpoint(url=f"{url}/201", secrets=(SECRET,))

    assert send(endpoint, identity="evt-7", at=_now(), body=BODY, also=HERE).read == 65536


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "localhost", "2130706433", "0177.0.0.1", "[::1]", "[::ffff:127.0.0.1]"]
)
def test_nothing_is_sent_to_an_address_that_is_not_public(
    receiver: tuple[str, list[tuple[str, dict[str, str], bytes]]], host: str
) -> None:
    url, got = receiver
    endpoint = Endpoint(url=f"https://{host}:{url.rpartition(':')[2]}/200", secrets=(SECRET,))

    with pytest.raises(TargetRefusedError):
        send(endpoint, identity="evt-7", at=_now(), body=BODY)
    assert got == []


@pytest.mark.parametrize("url", ["http://shop.example/", "ftp://shop.example/", "shop.example"])
def test_only_encrypted_addresses_are_webhooks(url: str) -> None:
    with pytest.raises(ValueError, match="https://"):
        send(Endpoint(url=url, secrets=(SECRET,)), identity="evt-7", at=_now(), body=BODY)


def test_an_endpoint_that_does_not_answer_is_told() -> None:
    endpoint = Endpoint(url="http://127.0.0.1:9/", secrets=(SECRET,))

    with pytest.raises(httpcore.ConnectError):
        send(endpoint, identity="evt-7", at=_now(), body=BODY, also=HERE)
