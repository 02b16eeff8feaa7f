"""Sealing with wax."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "wax sealing"


class WaxSealing(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A seal on each."""

    operation: ClassVar = message("Wax sealing")

    def words_in(self, language: Language) -> str:
        return language.say("sealed with wax")


class WaxSealingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and wax for each."""
