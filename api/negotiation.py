"""Media types: what a request must be sent as, and what an answer can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from api.problems import ProblemError


def require_type(headers: Mapping[str, str], taken: Sequence[str]) -> str:
    """
    The type that the body is sent as, if it is taken, in UTF-8 and not packed.

    Raises:
        ProblemError: it is sent as something else, or as nothing.
    """
    sent, *parameters = (part.strip() for part in headers.get("content-type", "").lower().split(";"))
    charset = next((one.partition("=")[2].strip('" ') for one in parameters if one.startswith("charset")), "utf-8")
    if sent not in taken or charset not in {"utf-8", "utf8"}:
        expected = " or ".join(taken)
        raise ProblemError("unsupported-media-type", f"expected Content-Type {expected}; found {sent[:80] or 'none'}")
    if headers.get("content-encoding", "identity").strip().lower() not in {"", "identity"}:
        raise ProblemError("unsupported-media-type", "expected a body that is not packed; found a Content-Encoding")
    return sent


def wanted_type(headers: Mapping[str, str], offered: Sequence[str]) -> str:
    """
    The offered type that the client wants most; the first where it does not say.

    Raises:
        ProblemError: it accepts none of them.
    """
    accept = headers.get("accept", "").strip() or "*/*"
    weights = {kind: _weight(kind, accept) for kind in offered}
    best = max(offered, key=lambda kind: weights[kind])
    if weights[best] <= 0:
        raise ProblemError(
            "not-acceptable", f"expected Accept to take one of {', '.join(offered)}", offered=tuple(offered)
        )
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
