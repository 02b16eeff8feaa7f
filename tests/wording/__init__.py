"""Wording: what its tests share."""

from __future__ import annotations

from typing import Any

from quoting.reader import convert
from quoting.shop import Fount


def fount_of(**told: Any) -> Fount:
    """A fount of 12 pt, with what a test says of it."""
    plain = {
        "name": "Test",
        "material": "metal",
        "body": "12 pt",
        "average_set": "50 %",
        "share_inked": "20 %",
        "ems_an_hour": "450 an hour",
    }
    return convert(plain | told, Fount)
