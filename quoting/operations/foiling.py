"""Foil stamping, bought in."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import BoughtIn, FinishingBase

TAG = "foiling"


class Foiling(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Stamped in foil by an outside finisher."""

    operation: ClassVar = "Foiling"

    @property
    def words(self) -> str:
        return "foil stamped"


class FoilingRates(BoughtIn, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """An outside finisher's charges."""
