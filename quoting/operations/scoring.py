"""Scoring: a pressed line that lets board fold without cracking."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "scoring"


class Scoring(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many scores across each piece."""

    operation: ClassVar = "Scoring"
    scores: Count = 1

    @property
    def times(self) -> int:
        return self.scores

    @property
    def words(self) -> str:
        return "scored once" if self.scores == 1 else f"scored {self.scores} times"


class ScoringRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then scores an hour."""
