"""Scoring: a pressed line that lets board fold without cracking."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "scoring"


class Scoring(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many scores across each piece."""

    operation: ClassVar = message("Scoring")
    scores: Count = 1

    @property
    def times(self) -> int:
        return self.scores

    def words_in(self, language: Language) -> str:
        return language.say_many("scored once", "scored {count} times", self.scores)


class ScoringRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then scores an hour."""
