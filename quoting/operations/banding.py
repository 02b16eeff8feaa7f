"""Wrapping with a paper band."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "banding"


class Banding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A band round each."""

    operation: ClassVar = message("Banding")

    def words_in(self, language: Language) -> str:
        return language.say("with a paper band")


class BandingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and paper for each."""
