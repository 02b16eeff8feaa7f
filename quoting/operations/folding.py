"""Folding by hand with a bone folder, or at a machine of the shop's."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "folding"


class Folding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many folds a piece."""

    operation: ClassVar = message("Folding")
    folds: Count = 1

    @property
    def times(self) -> int:
        return self.folds

    def words_in(self, language: Language) -> str:
        return language.say_many("folded once", "folded {count} times", self.folds)


class FoldingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then folds an hour."""
