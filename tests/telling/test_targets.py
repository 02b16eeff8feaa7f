"""Where a webhook may go (A58). Sources: RFC 6890 and the registries that it founded; RFC 4291; RFC 6052."""

from __future__ import annotations

import ipaddress
import socket
from typing import Any

import httpcore
import pytest

from api.telling.targets import CheckedBackend, TargetRefusedError, addresses_of, is_public

REFUSED = [
    "127.0.0.1", "127.255.255.254", "0.0.0.0", "10.1.2.3", "172.16.0.1", "172.31.255.255", "192.168.1.1",
    "169.254.169.254", "100.64.0.1", "192.0.0.1", "192.0.2.1", "198.18.0.1", "198.51.100.7", "203.0.113.9",
    "224.0.0.1", "240.0.0.1", "255.255.255.255", "::", "::1", "fe80::1", "fc00::1", "fd12:3456::1", "ff02::1",
    "2001:db8::1", "fec0::1", "::ffff:127.0.0.1", "::ffff:10.0.0.1", "64:ff9b::7f00:1", "64:ff9b::a00:1",
    "2002:7f00:1::", "2002:a00:1::1",
]  # fmt: skip
PUBLIC = ["1.1.1.1", "93.184.215.14", "2606:4700:4700::1111", "64:ff9b::101:101"]


@pytest.mark.parametrize("written", REFUSED)
def test_what_is_not_public_is_refused(written: str) -> None:
    assert not is_public(ipaddress.ip_address(written))


@pytest.mark.parametrize("written", PUBLIC)
def test_what_is_public_is_not(written: str) -> None:
    assert is_public(ipaddress.ip_address(written))


@pytest.mark.parametrize("written", ["127.0.0.1", "2130706433", "0x7f000001", "0177.0.0.1", "127.1", "localhost"])
def test_a_loopback_address_is_known_however_it_is_written(written: str) -> None:
    with pytest.raises(TargetRefusedError, match=r"expected .* to lead to public addresses; found"):
        CheckedBackend().connect_tcp(written, 9, timeout=1)


def test_a_name_is_refused_where_any_of_its_addresses_is(monkeypatch: pytest.MonkeyPatch) -> None:
    _lead(monkeypatch, ["1.1.1.1", "10.0.0.1"])

    with pytest.raises(TargetRefusedError, match=r"found 10\.0\.0\.1"):
        CheckedBackend().connect_tcp("both.example", 443, timeout=1)


def test_it_connects_to_the_address_that_was_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    class Inner:
        def connect_tcp(self, host: str, *_: object) -> None:
            asked.append(host)

    _lead(monkeypatch, ["1.1.1.1"])
    backend = CheckedBackend()
    monkeypatch.setattr(backend, "_inner", Inner())
    backend.connect_tcp("once.example", 443)

    assert asked == ["1.1.1.1"]


def test_a_network_of_the_shops_own_is_let_through() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        stream = CheckedBackend([ipaddress.ip_network("127.0.0.0/8")]).connect_tcp("127.0.0.1", port, timeout=5)
        stream.close()


def test_a_name_that_leads_nowhere_is_told() -> None:
    with pytest.raises(httpcore.ConnectError, match="leads to no address"):
        CheckedBackend().connect_tcp("nowhere.invalid", 443, timeout=1)  # RFC 6761, 6.4: never resolves


def test_addresses_are_told_once() -> None:
    assert addresses_of("127.0.0.1", 80) == (ipaddress.ip_address("127.0.0.1"),)


def _lead(monkeypatch: pytest.MonkeyPatch, addresses: list[str]) -> None:
    def found(*_: object, **__: object) -> list[Any]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, 443)) for address in addresses]

    monkeypatch.setattr(socket, "getaddrinfo", found)
