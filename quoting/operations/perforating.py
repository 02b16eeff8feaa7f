"""Perforating: a line that tears."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count

TAG = "perforating"


class Perforating(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many perforated lines across each piece."""

    operation: ClassVar = message("Perforating")
    lines: Count = 1

    @property
    def times(self) -> int:
        return self.lines

    def words_in(self, language: Language) -> str:
        return language.say_many("perforated once", "perforated {count} times", self.lines)


class PerforatingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then lines an hour."""
