"""
Which web pages may ask the public face (the Fetch standard's CORS): those of origins that are named, exactly.

Nothing is allowed with a cookie. Nothing changes anything without a preflight, since a body must be JSON or a file of
artwork; the order form alone is sent as a page sends it, and holds a signed token that no other page can read.
"""

from __future__ import annotations

from collections.abc import Collection

PUBLIC = ("/v1/public/", "/order/")
METHODS = "GET, HEAD, POST"
SENT = "authorization, content-type, idempotency-key, if-none-match"
SHOWN = "ETag, Location, Retry-After, RateLimit, RateLimit-Policy, Request-Id, Content-Disposition"
PREFLIGHT_SECONDS = 600


def cors_headers(path: str, origin: str | None, allowed: Collection[str]) -> list[tuple[bytes, bytes]]:
    """
    What an answer tells a browser of who may read it; nothing of what is not public.

    Args:
        path: The raw path of the request.
        origin: What Origin says.
        allowed: Origins that are named, each as a browser writes it: ``https://shop.example``.
    """
    if not path.startswith(PUBLIC):
        return []
    headers = [(b"vary", b"Origin")]
    if origin is not None and origin in allowed:
        headers += [
            (b"access-control-allow-origin", origin.encode()),
            (b"access-control-expose-headers", SHOWN.encode()),
        ]
    return headers


def preflight_headers() -> list[tuple[bytes, bytes]]:
    """What an allowed preflight is answered with besides."""
    return [
        (b"access-control-allow-methods", METHODS.encode()),
        (b"access-control-allow-headers", SENT.encode()),
        (b"access-control-max-age", str(PREFLIGHT_SECONDS).encode()),
    ]
