"""Rounding the four corners of a piece."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import AtSpeed, FinishingBase

TAG = "corner rounding"


class CornerRounding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """All four corners."""

    operation: ClassVar = "Corner rounding"

    @property
    def words(self) -> str:
        return "four corners rounded"


class CornerRoundingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, then pieces an hour, four corners each."""
