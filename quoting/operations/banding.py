"""Wrapping with a paper band."""

from __future__ import annotations

from typing import ClassVar

from quoting.operations.finishing import EachTakes, FinishingBase

TAG = "banding"


class Banding(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """A band round each."""

    operation: ClassVar = "Banding"

    @property
    def words(self) -> str:
        return "with a paper band"


class BandingRates(EachTakes, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up, minutes and paper for each."""
