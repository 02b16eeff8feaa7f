"""Where a webhook may go: public addresses, and networks that the shop itself names."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable, Sequence
from typing import Any

import httpcore

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")  # RFC 6052, 2.1: an IPv4 address in its last 32 bits


class TargetRefusedError(Exception):
    """A name leads to an address that nothing is sent to."""


def is_public(address: Address) -> bool:
    """Whether an address is one of the public internet; what holds another address is as public as that."""
    if isinstance(address, ipaddress.IPv6Address):
        if address in _NAT64:
            return is_public(ipaddress.IPv4Address(int(address) & 0xFFFFFFFF))
        held = [address.ipv4_mapped, address.sixtofour, *(address.teredo or ())]
        if address.is_site_local or any(inner is not None and not is_public(inner) for inner in held):
            return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def addresses_of(host: str, port: int) -> tuple[Address, ...]:
    """
    Every address that a name leads to, however the name is written.

    Raises:
        OSError: it leads nowhere.
    """
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    return tuple(dict.fromkeys(ipaddress.ip_address(str(entry[4][0]).partition("%")[0]) for entry in found))


class CheckedBackend(httpcore.NetworkBackend):
    """
    Connects to the very address that was checked, so that a name cannot lead elsewhere a moment later.

    A name is refused whole where any of its addresses is.
    """

    def __init__(self, also: Sequence[Network] = ()) -> None:
        self._also, self._inner = also, httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        """
        A connection to a checked address.

        Raises:
            TargetRefusedError: an address of the name is not public.
            httpcore.ConnectError: nothing answers.
        """
        try:
            addresses = addresses_of(host, port)
        except OSError as error:
            raise httpcore.ConnectError(f"{host} leads to no address") from error
        for address in addresses:
            if not is_public(address) and not any(address in network for network in self._also):
                raise TargetRefusedError(f"expected {host} to lead to public addresses; found {address}")
        return self._inner.connect_tcp(str(addresses[0]), port, timeout, local_address, socket_options)
