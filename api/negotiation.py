"""Media types: what a request must be sent as, and what an answer can be."""

from __future__ import annotations

from typing import Any

from litestar import Request
from litestar.exceptions import ClientException, HTTPException

JSON = "application/json"
PDF = "application/pdf"
XML = "application/xml"


class NotAcceptable(HTTPException):
    """None of the types that the client accepts can be given."""

    status_code = 406


class UnsupportedMediaType(ClientException):
    """The body is sent as something else than JSON."""

    status_code = 415


def require_json(request: Request[Any, Any, Any]) -> None:
    """
    Hold that the body is sent as JSON.

    Raises:
        UnsupportedMediaType: it is sent as something else, or as nothing.
    """
    sent = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if sent != JSON:
        raise UnsupportedMediaType(detail=f"expected Content-Type {JSON}; found {sent or 'none'}")


def wanted_type(request: Request[Any, Any, Any], offered: tuple[str, ...]) -> str:
    """
    The offered type that the client wants most; the first where it does not say.

    Raises:
        NotAcceptable: it accepts none of them.
    """
    accept = request.headers.get("accept", "").strip() or "*/*"
    weights = {kind: _weight(kind, accept) for kind in offered}
    best = max(offered, key=lambda kind: weights[kind])
    if weights[best] <= 0:
        raise NotAcceptable(detail=f"expected Accept to take one of {', '.join(offered)}; found {accept[:80]}")
    return best


def _weight(kind: str, accept: str) -> float:
    """How much a type is wanted (RFC 9110, 12.5.1): the closest range decides."""
    ranges: dict[str, float] = {}
    for part in accept.split(","):
        name, *parameters = (piece.strip() for piece in part.split(";"))
        ranges[name.lower()] = _quality(parameters)
    for name in (kind, kind.partition("/")[0] + "/*", "*/*"):
        if name in ranges:
            return ranges[name]
    return 0.0


def _quality(parameters: list[str]) -> float:
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip().lower() == "q":
            try:
                return float(value)
            except ValueError:
                return 0.0
    return 1.0
