"""Drilling or punching holes."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "drilling"


class Drilling(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many holes in each piece."""

    operation: ClassVar = "Drilling"
    holes: Count = 1

    @property
    def times(self) -> int:
        return self.holes

    @property
    def words(self) -> str:
        return "one hole drilled" if self.holes == 1 else f"{self.holes} holes drilled"


class DrillingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then holes an hour."""
