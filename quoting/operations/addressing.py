"""Addressing envelopes by hand, name by name."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "addressing"


class Addressing(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A name and address on each."""

    operation: ClassVar = "Addressing"

    @property
    def words(self) -> str:
        return "addressed"


class AddressingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes for each."""
