"""Which client a request comes from: the peer, or what the shop's own proxies say of it."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable

_Address = ipaddress.IPv4Address | ipaddress.IPv6Address
IPV6_PREFIX = 64  # one household, one network: RFC 4291, 2.5.4


def client_address(peer: str, forwarded_for: Iterable[str], *, trusted_proxies: int) -> str:
    """
    The address that limits count by: an IPv4 address, or the /64 of an IPv6 one.

    What a header says is believed only of as many proxies as are trusted, counted from the nearest, and
    only where the peer is of a private network: a proxy of the shop's own.

    Args:
        peer: Who is connected.
        forwarded_for: Every X-Forwarded-For of the request, in order.
    """
    near = _read(peer)  # none of a socket in the file system, which is of this machine
    hops = [hop.strip() for header in forwarded_for for hop in header.split(",")]
    believed = trusted_proxies and len(hops) >= trusted_proxies and not (near and near.is_global)
    told = _read(hops[-trusted_proxies]) if believed else None
    return _counted(told or near)


def _read(written: str) -> _Address | None:
    try:
        address: _Address = ipaddress.ip_address(written.strip("[]").partition("%")[0])
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address


def _counted(address: _Address | None) -> str:
    if address is None:
        return "unknown"
    if isinstance(address, ipaddress.IPv4Address):
        return str(address)
    return str(ipaddress.ip_network((address, IPV6_PREFIX), strict=False))
