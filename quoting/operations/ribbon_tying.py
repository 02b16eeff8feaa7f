"""Tying with ribbon."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "ribbon tying"


class RibbonTying(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A ribbon round each."""

    operation: ClassVar = message("Ribbon tying")

    def words_in(self, language: Language) -> str:
        return language.say("tied with ribbon")


class RibbonTyingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and ribbon for each."""
