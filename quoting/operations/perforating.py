"""Perforating: a line that tears."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "perforating"


class Perforating(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many perforated lines across each piece."""

    operation: ClassVar = "Perforating"
    lines: Count = 1

    @property
    def times(self) -> int:
        return self.lines

    @property
    def words(self) -> str:
        return "perforated once" if self.lines == 1 else f"perforated {self.lines} times"


class PerforatingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then lines an hour."""
