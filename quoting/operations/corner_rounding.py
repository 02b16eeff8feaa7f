"""Rounding the four corners of a piece."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase

TAG = "corner rounding"


class CornerRounding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """All four corners."""

    operation: ClassVar = message("Corner rounding")

    def words_in(self, language: Language) -> str:
        return language.say("four corners rounded")


class CornerRoundingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then pieces an hour, four corners each."""
