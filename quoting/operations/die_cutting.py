"""Cutting to a shape with a steel-rule die, at a press or machine of the shop's or of somebody else's."""

from __future__ import annotations

from typing import ClassVar, cast

from quoting.formulas import Do
from quoting.languages import Language, message
from quoting.operations.finishing import AtSpeed, FinishingBase, FinishingRates, FinishingWork, OutsideWork
from quoting.requirements import Requirement
from quoting.shop import Name
from quoting.units import Amount, Duration, Speed

TAG = "die-cutting"


class DieCutting(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """One hit a piece; ``die_in_store`` when the shop has the die already."""

    operation: ClassVar = message("Die-cutting")
    cautions: ClassVar = (message("A die cuts: keep hands out of the press, handle the die by its board."),)
    die_in_store: bool = False

    def words_in(self, language: Language) -> str:
        return language.say("die-cut")

    def requirements(self, do: Do, rates: DieCuttingRates, work: FinishingWork) -> tuple[Requirement, ...]:
        if rates.outside is not None:
            cutting: Requirement = self._bought_in(do, rates.outside, work)
        else:
            cutting = self._at_speed(do, cast(AtSpeed, rates), work)
        if self.die_in_store:
            return (cutting,)
        return cutting, self._charge(work, "bought-in", rates.die.in_base_unit, ())


class DieCuttingRates(
    FinishingRates, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind", kw_only=True
):
    """Set-up, then pieces an hour, or what an ``outside`` cutter asks; what a die costs to have made."""

    die: Amount
    set_up: Duration | None = None
    speed: Speed | None = None
    machine: Name | None = None
    outside: OutsideWork | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        own = [name for name in ("set_up", "speed") if getattr(self, name) is not None]
        if len(own) != (0 if self.outside else 2) or (self.machine and not own):
            found = [*own, *(["machine"] if self.machine else []), *(["outside"] if self.outside else [])]
            raise ValueError(f"expected set_up and speed, or outside; found {', '.join(found) or 'none'}")

    @property
    def working_days(self) -> int:
        """Days away, where it is cut outside."""
        return self.outside.working_days if self.outside else 0
