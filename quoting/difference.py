"""
What moved a price: two jobs with their cards, and what each input that differs did to the price.

An input is a table of the card, or an entry of it (``presses.platen``, ``pricing.mark_ups``), a field of
the job, or a field of one of its items. They are changed one at a time from before to after, the card's in
the order of its tables, then the job's; each step's change of the price is that input's part. The parts add
up to the difference exactly, and what two inputs do together goes to the later.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting import reader
from quoting.checking import check_job
from quoting.errors import Fault, QuotingError, RateCardError, shown
from quoting.estimate import figures_of, read_job
from quoting.job import Job
from quoting.numbers import in_engine_context
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import way
from quoting.rate_card import RateCard, rate_card_from

Path = tuple[str, ...]
NOTE = (
    "Inputs are changed one at a time, in this order: what two do together goes to the later."
    " Where a job or a card would be refused with only the one changed, the next is changed with it."
)
_NOTHING: Any = object()
_DEPTH_OF_CARD = 2  # a table and an entry of it
_DEPTH_OF_ITEMS = 2  # an item and a field of it


class ChangedKey(Struct, frozen=True):
    """One key that differs, as it was written before and after; empty where it is not there."""

    key: str
    before: str
    after: str


class Moved(Struct, frozen=True, kw_only=True):
    """
    What one input does to the price, changed after all those before it.

    Several ``inputs`` were changed together: with the earlier of them changed and the next not, the job
    or the card would be refused; ``refused`` says after which and why. ``ways`` is the plan from here
    on, where it is another.
    """

    inputs: tuple[str, ...]
    keys: tuple[ChangedKey, ...]
    net: Decimal
    total: Decimal
    refused: tuple[str, ...] = ()
    ways: tuple[str, ...] = ()


class Standing(Struct, frozen=True, kw_only=True):
    """What one of the two comes to."""

    card: str
    title: str
    quantity: int
    net: Decimal
    total: Decimal
    ways: tuple[str, ...]


class Difference(Struct, frozen=True, kw_only=True):
    """The two prices and what moved the one to the other, in the order it was changed. For the owner."""

    currency: str
    on: datetime.date
    before: Standing
    after: Standing
    moved: tuple[Moved, ...]
    note: str = NOTE


@in_engine_context
def difference(
    before: tuple[Job, RateCard],
    after: tuple[Job, RateCard],
    *,
    on: datetime.date,
    quantity: int | None = None,
) -> Difference:
    """
    Which inputs moved the price, and by how much.

    Args:
        on: The day both are priced.
        quantity: Sets that both are priced for; each job's first if left out.

    Raises:
        RateCardError: cards of two currencies.
        QuotingError: one of the two cannot be priced.
    """
    _same_currency(before[1], after[1])
    first, last = _standing(before, on, quantity), _standing(after, on, quantity)
    walk = _Walk(before, after, on, quantity)
    return Difference(
        currency=after[1].region.currency,
        on=on,
        before=first,
        after=last,
        moved=tuple(walk.moved(first, last)),
    )


def _same_currency(before: RateCard, after: RateCard) -> None:
    currency = before.region.currency
    if after.region.currency != currency:
        fault = Fault("region.currency", f"{currency}, as in the card before", repr(after.region.currency))
        raise RateCardError([fault])


def _standing(priced: tuple[Job, RateCard], on: datetime.date, quantity: int | None) -> Standing:
    job, card = priced
    check_job(job, card)
    figures = figures_of(PreparedJob(job, card), quantity or job.quantities[0], on)
    return Standing(
        card=f"{card.card.name} {card.card.version}",
        title=job.title,
        quantity=figures.quantity,
        net=figures.price.net,
        total=figures.price.total,
        ways=tuple(way(load.plan, card) for load in figures.loads),
    )


class _Walk:
    """The way from before to after, an input a step."""

    def __init__(
        self, before: tuple[Job, RateCard], after: tuple[Job, RateCard], on: datetime.date, quantity: int | None
    ) -> None:
        self.start, self.end = _plain(before), _plain(after)
        self.on, self.quantity = on, quantity

    def moved(self, first: Standing, last: Standing) -> Iterator[Moved]:
        """Every step; one whose half-changed input is refused goes on to the next."""
        state, here = self.start, first
        inputs = list(_inputs(self.start, self.end))
        waiting: list[Path] = []
        refused: list[str] = []
        for path in inputs:
            state = _changed(state, self.end, path)
            waiting.append(path)
            now = last if path == inputs[-1] else self._half_changed(state)
            if isinstance(now, str):
                refused.append(f"after {_name(path)}: {now}")
                continue
            yield self._step(waiting, refused, here, now)
            here, waiting, refused = now, [], []

    def _half_changed(self, state: dict[str, Any]) -> Standing | str:
        """What the half-changed input comes to, or why it is refused."""
        try:
            return _standing(_read(state), self.on, self.quantity)
        except QuotingError as error:
            return " ".join(str(error).split())

    def _step(self, paths: list[Path], refused: list[str], here: Standing, now: Standing) -> Moved:
        return Moved(
            inputs=tuple(_name(path) for path in paths),
            keys=tuple(key for path in paths for key in _keys(path, self.start, self.end)),
            net=now.net - here.net,
            total=now.total - here.total,
            refused=tuple(refused),
            ways=now.ways if now.ways != here.ways else (),
        )


def _plain(priced: tuple[Job, RateCard]) -> dict[str, Any]:
    """Job and card as plain data; finishing by its kind and items by their place, as tables are by name."""
    job, card = (reader.json_data(reader.to_json(one)) for one in priced)
    card["finishing"] = {rates["kind"]: rates for rates in card["finishing"]}
    job["items"] = {str(place): item for place, item in enumerate(job["items"])}
    return {"card": card, "job": job}


def _read(state: Mapping[str, Any]) -> tuple[Job, RateCard]:
    card = state["card"] | {"finishing": list(state["card"]["finishing"].values())}
    job = state["job"] | {"items": list(state["job"]["items"].values())}
    return read_job(job), rate_card_from(card)


def _inputs(start: Mapping[str, Any], end: Mapping[str, Any]) -> Iterator[Path]:
    """Paths that differ, in the order in which they are changed."""
    yield from _differing(("card",), start["card"], end["card"], _DEPTH_OF_CARD)
    for field in _merged(start["job"], end["job"]):
        depth = _DEPTH_OF_ITEMS if field == "items" else 0
        was, will_be = start["job"].get(field, _NOTHING), end["job"].get(field, _NOTHING)
        yield from _differing(("job", field), was, will_be, depth)


def _differing(path: Path, was: Any, will_be: Any, depth: int) -> Iterator[Path]:
    if not (depth and isinstance(was, dict) and isinstance(will_be, dict)):
        if was != will_be:
            yield path
        return
    for key in _merged(was, will_be):
        yield from _differing((*path, key), was.get(key, _NOTHING), will_be.get(key, _NOTHING), depth - 1)
    if [key for key in _merged(was, will_be) if key in will_be] != list(will_be):
        yield path  # the same entries in another order, by which ties are broken


def _merged(was: Mapping[str, Any], will_be: Mapping[str, Any]) -> list[str]:
    return list(dict.fromkeys([*was, *will_be]))


def _at(data: Any, path: Path) -> Any:
    for key in path:
        data = data.get(key, _NOTHING) if isinstance(data, dict) else _NOTHING
    return data


def _changed(state: dict[str, Any], end: Mapping[str, Any], path: Path) -> dict[str, Any]:
    """``state`` with what stands at ``path`` as it is at the end; what it shares with the old stays as it was."""
    key, *rest = path
    changed = dict(state)
    if rest:
        changed[key] = _changed(state[key], end[key], tuple(rest))
    elif key in end:
        changed[key] = end[key]
    else:
        del changed[key]
    return changed


def _name(path: Path) -> str:
    """How an input is told: the card's by their keys, the job's with ``job`` before them."""
    return ".".join(path[1:] if path[0] == "card" and len(path) > 1 else path)


def _keys(path: Path, start: Mapping[str, Any], end: Mapping[str, Any]) -> Iterator[ChangedKey]:
    """The keys under an input that differ."""
    found = tuple(_leaves(path, _at(start, path), _at(end, path)))
    return iter(found or (ChangedKey(_name(path), "", "in another order"),))


def _leaves(path: Path, was: Any, will_be: Any) -> Iterator[ChangedKey]:
    if was == will_be:
        return
    inside, other = _inside(was), _inside(will_be)
    if inside is None or other is None or not (inside or other):
        yield ChangedKey(_name(path), _written(was), _written(will_be))
        return
    for key in _merged(inside, other):
        yield from _leaves((*path, key), inside.get(key, _NOTHING), other.get(key, _NOTHING))


def _inside(value: Any) -> dict[str, Any] | None:
    """What stands under a table or a list, by key; nothing under what is not there; None of a plain value."""
    if isinstance(value, list):
        return {str(place): one for place, one in enumerate(value)}
    if value is _NOTHING or value is None:
        return {}
    return value if isinstance(value, dict) else None


def _written(value: Any) -> str:
    if value is _NOTHING or value is None:
        return ""
    return value if isinstance(value, str) else shown(value)
