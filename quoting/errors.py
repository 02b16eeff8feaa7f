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


def shown(data: object, *, most: int = 60) -> str:
    """What was found, in at most ``most`` characters: a number too long, or nesting too deep, is only named."""
    try:
        text = "nothing" if data is None else repr(data)
    except (ValueError, RecursionError):
        text = f"{type(data).__name__}, too long or too deep to show"
    return text if len(text) <= most else f"{text[: most - 3]}..."


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


class NotPricedError(QuotingError):
    """What is chosen is offered, but no price can be worked out; ``reasons`` name nothing of the shop's own."""

    def __init__(self, reasons: Iterable[str]) -> None:
        self.reasons = tuple(reasons)
        super().__init__("\n".join(["expected a choice that can be priced here; found none", *self.reasons]))


class DocumentError(QuotingError):
    """A document cannot be made; the message says what is missing and how to install it."""


class UnfitTextError(DocumentError):
    """A text holds characters that a document cannot show: no font has them, or XML does not take them."""


class ArtworkError(QuotingError):
    """A file of artwork is refused; the message says what was expected, what was found and where."""


class UnfitArtworkError(ArtworkError):
    """The file is not what it says, or cannot be read, or prints nothing."""


class ArtworkTooLargeError(ArtworkError):
    """The file is over a limit: ``limit`` names it (bytes, pages, pixels, seconds, memory)."""

    def __init__(self, limit: str, expected: str, found: str) -> None:
        self.limit = limit
        super().__init__(f"expected artwork of {expected}; found {found}")


class ArtworkBusyError(ArtworkError):
    """As much artwork as may be is being measured already; ask again a little later."""


class ArtworkToolError(ArtworkError):
    """What measures artwork is not installed; the message says how to install it."""


class BookError(QuotingError):
    """The quote book refuses something."""


class QuoteNotFoundError(BookError):
    """No quotation or draft in the book goes by this number or id."""

    def __init__(self, which: str) -> None:
        self.which = which
        super().__init__(f"expected the number or id of a quotation in the book; found {which!r}")


class PaperNotKeptError(QuoteNotFoundError):
    """Nothing of a kind is kept of a quotation's revision."""

    def __init__(self, which: str, kind: str) -> None:
        super().__init__(which)
        self.args = (f"{which}: expected a paper of the kind {kind}; found none kept",)


class StateError(BookError):
    """A quotation's state does not allow a move; ``state`` is the state that it is in."""

    def __init__(self, which: str, move: str, state: str, allowed: Iterable[str]) -> None:
        self.which, self.move, self.state = which, move, state
        super().__init__(f"{which}: {move}: expected a quotation that is {' or '.join(allowed)}; found it {state}")


class StaleVersionError(BookError):
    """Somebody changed the quotation since it was read; ``found`` is its version now."""

    def __init__(self, which: str, expected: int, found: int) -> None:
        self.which, self.expected, self.found = which, expected, found
        super().__init__(f"{which}: expected version {expected}; found {found}: read it again")


class KeyUsedError(BookError):
    """A key that was given to another request is given again."""

    def __init__(self, key: str) -> None:
        self.key = key
        super().__init__(f"expected a key of its own for another request; found {key!r}, which is used")


class PublishedCardError(BookError):
    """A version of a rate card that quotations rest on is published again with other content."""

    def __init__(self, name: str, version: str) -> None:
        self.name, self.version = name, version
        super().__init__(f"{name}: expected a new version for changed content; found {version!r}, which is published")


class OverpaidError(BookError):
    """More is recorded than is still to be paid."""

    def __init__(self, which: str, amount: str, balance: str) -> None:
        self.which = which
        super().__init__(f"{which}: expected an amount over 0 and at most {balance}; found {amount}")


class CursorError(BookError):
    """A cursor that no page of this list gave."""

    def __init__(self) -> None:
        super().__init__("expected the cursor of the page before, of the same list; found another")


class StorageError(BookError):
    """The book cannot be read or written now; nothing of the request is kept unless it was before."""


class BookNotReadyError(StorageError):
    """The book's storage is not as it must be; the message says what was found and how to mend it."""


class TemplateError(DocumentError):
    """A template cannot be read or filled in; the message names its file and line."""
