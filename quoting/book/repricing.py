"""Working a kept price out again, by the rules that it was priced with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import msgspec
from msgspec import Struct
from sqlalchemy import Connection, select

from quoting.book import tables
from quoting.book.looking_up import papers_of
from quoting.book.papers import storable, unpacked
from quoting.book.states import Entry
from quoting.errors import QuoteNotFoundError, QuotingError
from quoting.estimate import Estimate, estimate_job
from quoting.job import Job
from quoting.planning.pins import Pin
from quoting.rate_card import RateCard
from quoting.reader import from_json, to_json
from quoting.rules import RULES

Engine = Callable[..., Estimate]
ENGINES: Mapping[int, Engine] = {RULES: estimate_job}


class _KeptEstimate(Struct):
    options: msgspec.Raw


def price_json(estimate: Estimate) -> bytes:
    """The part of an estimate that may not change under its rules: prices, lines, counts and plans."""
    return _in_one_order(to_json(estimate.options))


def kept_price_json(estimate: bytes) -> bytes:
    """The same part of an estimate that was kept."""
    return _in_one_order(msgspec.json.decode(estimate, type=_KeptEstimate).options)


def _in_one_order(text: bytes | msgspec.Raw) -> bytes:
    """Options in one order of keys, less the words on plans that cannot be: those are no part of a price."""
    options: list[dict[str, Any]] = msgspec.json.decode(text)
    for option in options:
        option.pop("refusals", None)
    return msgspec.json.encode(options, order="sorted")


def drift_of(connection: Connection, place: int, entry: Entry, engines: Mapping[int, Engine]) -> str | None:
    """How a revision's price differs when it is worked out again: empty if it does not; None without its rules."""
    engine = engines.get(entry.terms.rules)
    if engine is None:
        return None
    papers = papers_of(connection, place, entry.revision)
    kept = kept_price_json(papers["estimate"].paper.content)
    named = f"{entry.number} revision {entry.revision}"
    try:
        pins = from_json(papers["pins"].paper.content, tuple[Pin, ...]) if "pins" in papers else ()
        job = from_json(papers["job"].paper.content, Job)
        again = price_json(engine(job, card_of(connection, entry.terms.card), on=entry.terms.priced_on, pins=pins))
    except (QuotingError, ValueError) as error:
        return f"{named}: expected the price that was kept; found {str(error).splitlines()[0]}"
    return (
        ""
        if again == kept
        else f"{named}: expected the price that was kept; found another, from {_parting(kept, again)}"
    )


def _parting(kept: bytes, again: bytes) -> str:
    at = next((place for place, (a, b) in enumerate(zip(kept, again, strict=False)) if a != b), len(kept))
    return f"{kept[max(0, at - 40) : at + 20]!r} to {again[max(0, at - 40) : at + 20]!r}"


def card_of(connection: Connection, hash: str) -> RateCard:
    """
    A rate card as it was published.

    Raises:
        QuoteNotFoundError: none was under this hash.
    """
    cards = tables.cards.c
    body: Any = connection.execute(select(cards.body).where(cards.hash == storable(hash))).scalar()
    if body is None:
        raise QuoteNotFoundError(hash)
    return _read_card(bytes(body))


@lru_cache(maxsize=32)
def _read_card(body: bytes) -> RateCard:
    return from_json(unpacked(body), RateCard)
