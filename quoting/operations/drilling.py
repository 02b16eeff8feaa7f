"""Drilling or punching holes."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "drilling"


class Drilling(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many holes in each piece."""

    operation: ClassVar = message("Drilling")
    holes: Count = 1

    @property
    def times(self) -> int:
        return self.holes

    def words_in(self, language: Language) -> str:
        return language.say_many("one hole drilled", "{count} holes drilled", self.holes)


class DrillingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then holes an hour."""
