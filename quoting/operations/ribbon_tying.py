"""Tying with ribbon."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "ribbon tying"


class RibbonTying(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A ribbon round each."""

    operation: ClassVar = "Ribbon tying"

    @property
    def words(self) -> str:
        return "tied with ribbon"


class RibbonTyingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and ribbon for each."""
