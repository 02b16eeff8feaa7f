"""Folding by hand with a bone folder, or at a machine of the shop's."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "folding"


class Folding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many folds a piece."""

    operation: ClassVar = "Folding"
    folds: Count = 1

    @property
    def times(self) -> int:
        return self.folds

    @property
    def words(self) -> str:
        return "folded once" if self.folds == 1 else f"folded {self.folds} times"


class FoldingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then folds an hour."""
