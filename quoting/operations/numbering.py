"""Numbering: a numbering head that counts on at each stroke, at a press or by hand."""

from __future__ import annotations

from typing import ClassVar

from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase
from quoting.shop import Count, CountOrNone

TAG = "numbering"


class Numbering(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Each piece gets the next number from ``first`` on, in so many ``places``: stub and ticket are two."""

    operation: ClassVar = message("Numbering")
    cautions: ClassVar = (message("Numbers run on: set a spoiled piece's number again and print it anew."),)
    first: CountOrNone = 1
    places: Count = 1

    @property
    def times(self) -> int:
        return self.places

    def words_in(self, language: Language) -> str:
        return language.say_many(
            "numbered from {first}", "numbered from {first} in {count} places", self.places, first=str(self.first)
        )


class NumberingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """Set-up with the head at its first number, then numbers an hour."""
