"""Every error the library raises, one tree; each says what was expected, what was found and where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import msgspec


class Fault(msgspec.Struct, frozen=True):
    """One thing wrong with what was read: where it stands, what was expected, what was found."""

    where: str
    expected: str
    found: str
    file: str = ""

    def __str__(self) -> str:
        place = f"{self.file}: {self.where}" if self.file else self.where
        return f"{place}: expected {self.expected}; found {self.found}"


class QuotingError(Exception):
    """Anything this library refuses to do."""


class InputError(QuotingError):
    """What was read does not fit; ``faults`` lists everything that was wrong with it."""

    what = "input"

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{self.what}: {count} fault{'' if count == 1 else 's'}"
        super().__init__("\n".join([head, *(f"  {fault}" for fault in self.faults)]))


class MeasureError(InputError):
    """A measure given to a function is not one that it can work with."""

    what = "measure"


class RateCardError(InputError):
    """A rate card is refused whole."""

    what = "rate card"


class JobError(InputError):
    """A job is refused whole."""

    what = "job"


class NotOfferedError(JobError):
    """A job asks the rate card for something that it does not hold."""

    what = "not offered"


class NoPlanError(QuotingError):
    """No press can make a part; ``refusals`` gives each press's reason and the way round."""

    def __init__(self, part: str, refusals: Mapping[str, str]) -> None:
        self.part = part
        self.refusals = dict(refusals)
        reasons = "\n".join(f"  {way}: {reason}" for way, reason in self.refusals.items())
        super().__init__(f"{part}: expected a way to print it; found none\n{reasons}")


class DocumentError(QuotingError):
    """A document cannot be made; the message says what is missing and how to install it."""
