"""Duplexing: sheets pasted into one thicker board, by hand, and left overnight."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase
from quoting.shop import Count

TAG = "duplexing"


class Duplexing(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """
    ``plies`` pieces of one part make one piece; for an item of several parts leave it at 1.

    The parts of an item are then the sheets that are pasted together.
    """

    operation: ClassVar = message("Duplexing")
    plies: Count = 1

    @property
    def pieces_per_out(self) -> int:
        return self.plies

    def words_in(self, language: Language) -> str:
        return language.say("duplexed")


class DuplexingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes a piece in, paste for each."""
