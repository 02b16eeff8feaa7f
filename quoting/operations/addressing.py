"""Addressing envelopes by hand, name by name."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "addressing"


class Addressing(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A name and address on each."""

    operation: ClassVar = message("Addressing")

    def words_in(self, language: Language) -> str:
        return language.say("addressed")


class AddressingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes for each."""
