"""Lining envelopes by hand."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "envelope lining"


class EnvelopeLining(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A lining in each envelope."""

    operation: ClassVar = message("Envelope lining")

    def words_in(self, language: Language) -> str:
        return language.say("lined")


class EnvelopeLiningRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and lining paper for each."""
