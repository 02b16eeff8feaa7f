"""Foil stamping, bought in."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import BoughtIn, FinishingBase

TAG = "foiling"


class Foiling(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Stamped in foil by an outside finisher."""

    operation: ClassVar = message("Foiling")

    def words_in(self, language: Language) -> str:
        return language.say("foil stamped")


class FoilingRates(BoughtIn, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """An outside finisher's charges."""
