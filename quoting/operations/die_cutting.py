"""Cutting to a shape with a steel-rule die, at a press or machine of the shop's."""

from __future__ import annotations

from typing import ClassVar

from quoting.formulas import Do
from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase, FinishingWork
from quoting.requirements import Requirement
from quoting.units import Amount

TAG = "die-cutting"


class DieCutting(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """One hit a piece; ``die_in_store`` when the shop has the die already."""

    operation: ClassVar = message("Die-cutting")
    cautions: ClassVar = (message("A die cuts: keep hands out of the press, handle the die by its board."),)
    die_in_store: bool = False

    def words_in(self, language: Language) -> str:
        return language.say("die-cut")

    def requirements(self, do: Do, rates: DieCuttingRates, work: FinishingWork) -> tuple[Requirement, ...]:
        cutting = self._at_speed(do, rates, work)
        if self.die_in_store:
            return (cutting,)
        return cutting, self._charge(work, "bought-in", rates.die.in_base_unit, ())


class DieCuttingRates(AtSpeed, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind", kw_only=True):
    """Set-up, then pieces an hour; what a die costs to have made."""

    die: Amount
