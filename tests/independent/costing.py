"""A job under plans that are told: minutes, purchases, sittings, lines rounded, and their sum."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tests.independent.benches import minutes_at_press, part_minutes, press_proof_minutes, screen_minutes
from tests.independent.card import CLEAN, Card, Table
from tests.independent.counts import Counted, Fed, counted
from tests.independent.finishing import Worked, finish
from tests.independent.ledger import Ledger
from tests.independent.measures import length, measure, size, up
from tests.independent.parts import PlannedPart, Printing, Told
from tests.independent.sittings import PressCosts, best_parted, runs


@dataclass(frozen=True)
class Costed:
    """
    What a job costs: by operation, in all; sheets from stock a part; the nights of each sitting.

    Sittings are not compared: where two partings cost the same, either does for the cost.
    """

    operations: dict[str, Fraction]
    total: Fraction
    sheets: tuple[int, ...]
    sittings: tuple[int, ...] = field(compare=False)


def cost_of(card: Card, job: Table, plans: Sequence[Told], quantity: int) -> Costed:
    """The cost of a job whose parts are made as told, in the order in which they are listed."""
    ledger = Ledger(card)
    parts = _planned(card, job, plans)
    sittings = _sittings(card, parts)
    counts = [counted(part, _ordered(part, sittings), quantity) for part in parts]
    _once(card, job, parts, ledger)
    for part, count in zip(parts, counts, strict=True):
        part_minutes(part, count, ledger)
        _draw(part, count, ledger)
        if job.get("proofs", {}).get("press_proof"):
            _press_proof(part, ledger)
        pieces = list(zip(part.part.get("finishing", []), count.finishing, strict=True))
        thickness = length(part.stock["caliper"])
        _finish(card, ledger, pieces, item=part.item_place, caliper=thickness)
    _join(card, job, parts, counts, ledger)
    days = [_sitting(card, press, passes, counts, ledger) for press, passes in sittings]
    _packing(card, job, parts, counts, quantity, ledger)
    operations = ledger.operations()
    return Costed(
        operations=operations,
        total=sum(operations.values(), Fraction(0)),
        sheets=tuple(count.from_stock for count in counts),
        sittings=tuple(days),
    )


def _planned(card: Card, job: Table, plans: Sequence[Told]) -> list[PlannedPart]:
    listed = [(place, item, part) for place, item in enumerate(job["items"]) for part in item.get("parts", [item])]
    return [
        PlannedPart(card, item, part, told, item_place=place)
        for (place, item, part), told in zip(listed, plans, strict=True)
    ]


def _sittings(card: Card, parts: Sequence[PlannedPart]) -> list[tuple[str, list[Printing]]]:
    found: list[tuple[str, list[Printing]]] = []
    for press in dict.fromkeys(part.told.press for part in parts):
        passes = [printing for part in parts if part.told.press == press for printing in part.passes]
        if not passes:
            continue
        for sitting in best_parted(PressCosts(card, press), passes):
            found.append((press, [passes[place] for place in sitting]))
    return found


def _ordered(part: PlannedPart, sittings: Sequence[tuple[str, list[Printing]]]) -> list[Printing]:
    return [printing for _, passes in sittings for printing in passes if printing.part is part]


def _once(card: Card, job: Table, parts: Sequence[PlannedPart], ledger: Ledger) -> None:
    """Handling, screen proofs, mixing."""
    if card["handling"]["charged"] == "by the job":
        minutes = card.number("handling", "orders", job.get("order", "plain"))
        ledger.labour("Handling", None, card.who("handling"), minutes)
    ledger.labour("Screen proofs", None, card.who("prepress"), screen_minutes(card, job))
    for ink in dict.fromkeys(printing.ink for part in parts for printing in part.passes if printing.ink):
        minutes = card.number("inking", "mixing", card["inks"][ink]["mixing"])
        ledger.labour("Mixing", None, card.who("presswork"), minutes)


def _draw(part: PlannedPart, count: Counted, ledger: Ledger) -> None:
    """Stock, ink and plates of a part."""
    card = part.card
    if part.part.get("stock_from", "shop") == "shop":
        ledger.draw("stock", part.part["stock"], Fraction(count.from_stock))
    for one in count.passes:
        if one.printing.ink is None:
            continue
        film = measure(card["inking"]["reference_film"]) * measure(part.stock_class["film_factor"])
        film *= measure(card["inks"][one.printing.ink]["film_factor"])
        area = one.printing.area / 1_000_000
        ledger.draw("ink", one.printing.ink, one.pulls * area * one.printing.share * film)
    for printing in part.passes:
        for form in printing.forms:
            if form.asked["kind"] != "plate":
                continue
            margin = 2 * measure(card["plate_suppliers"][form.asked["supplier"]]["margin"])
            area = (form.width + margin) * (form.height + margin) * part.copies * printing.versions
            ledger.draw("plates", form.asked["supplier"], area)


def _press_proof(part: PlannedPart, ledger: Ledger) -> None:
    minutes = press_proof_minutes(part)
    ledger.labour("Press proof", part.item_place, part.card.who("presswork"), minutes, part.told.press)


def _finish(card: Card, ledger: Ledger, pieces: Sequence[tuple[Table, int]], *, item: int, caliper: Fraction) -> None:
    for asked, some in pieces:
        worked: Worked = finish(asked, card.finishing(asked["kind"]), some, caliper)
        if worked.minutes is not None:
            ledger.labour(worked.operation, item, card.who("finishing"), worked.minutes, worked.machine)
        if worked.charge is not None:
            ledger.charge(worked.operation, worked.charge)


def _join(card: Card, job: Table, parts: Sequence[PlannedPart], counts: Sequence[Counted], ledger: Ledger) -> None:
    for place, item in enumerate(job["items"]):
        mine = [number for number, part in enumerate(parts) if part.item_place == place]
        caliper = sum((length(parts[number].stock["caliper"]) for number in mine), Fraction(0))
        pieces = list(zip(item.get("joining", []), counts[mine[0]].joining, strict=True))
        _finish(card, ledger, pieces, item=place, caliper=caliper)


def _sitting(
    card: Card, press_name: str, passes: Sequence[Printing], counts: Sequence[Counted], ledger: Ledger
) -> int:
    """Inking and washing of one sitting; the nights that fall into it."""
    inks = runs(passes)
    times: dict[tuple[str, str], int] = defaultdict(int)
    for before, after in zip(inks, [*inks[1:], CLEAN], strict=True):
        if before != CLEAN:
            times[before, after] += 1
    fed: list[Fed] = [one for count in counts for one in count.passes if one.printing in passes]
    busy = sum((minutes_at_press(one) for one in fed), Fraction(0))
    nights = max(0, up(busy / card.number("working_days", "press_hours")) - 1)
    printed = sorted(set(inks) - {CLEAN})
    if nights and printed:
        longest = max(printed, key=lambda ink: card.washes[ink, CLEAN])
        times[longest, CLEAN] += nights
    for printing in passes:
        if printing.trips > 1 and printing.is_wet and printing.ink:  # dried before it is turned
            times[printing.ink, CLEAN] += 1
            nights += 1
    press = card["presses"][press_name]
    for (before, after), number in times.items():
        person = card.who("presswork")
        ledger.labour("Ink-up", None, person, number * measure(press["ink_up"]), press_name)
        ledger.labour("Wash-up", None, person, number * card.washes[before, after], press_name)
        ledger.draw("ink", before, number * measure(press["dressing_ink"]))
    return nights


def _packing(
    card: Card,
    job: Table,
    parts: Sequence[PlannedPart],
    counts: Sequence[Counted],
    quantity: int,
    ledger: Ledger,
) -> None:
    """Counting, sets, parcels, delivery."""
    person, rates = card.who("packing"), card["packing"]
    first: dict[int, int] = {}
    grams = Fraction(0)
    for part, count in zip(parts, counts, strict=True):
        first.setdefault(part.item_place, count.pieces)
        width, height = size(part.part["size"])
        grams += count.pieces * width * height / 1_000_000 * measure(part.stock["grammage"])
    for place, pieces in first.items():
        minutes = Fraction(pieces, 100) * measure(rates["count_100"])
        ledger.labour("Counting and banding", place, person, minutes)
    if len(job["items"]) > 1:
        sets = quantity * sum(item.get("per_set", 1) for item in job["items"])
        ledger.labour("Collating", None, person, sets * measure(rates["collate_piece"]))
    method = job.get("delivery", {}).get("method", "collect")
    parcels, price = _parcels(card, method, grams)
    ledger.labour("Packing", None, person, parcels * measure(rates["parcel"]))
    ledger.charge("Packing", parcels * measure(rates["parcel_materials"]))
    if method != "collect":
        ledger.charge("Delivery", parcels * price)


def _parcels(card: Card, method: str, grams: Fraction) -> tuple[int, Fraction]:
    """How many parcels at what price: full ones, or to a lighter band where the more of them cost less."""
    rates = card["packing"]
    heaviest = measure(rates["parcel_mass"])
    if method == "collect":
        return up(grams / heaviest), Fraction(0)
    bands = card["delivery"][method]["bands"]
    labour = measure(rates["parcel"]) / 60 * card.person_rate(card.who("packing"))
    packed = labour + card.after_tax(measure(rates["parcel_materials"]))
    found = []
    for mass in [heaviest, *(measure(band["up_to"]) for band in bands if measure(band["up_to"]) < heaviest)]:
        parcels = up(grams / mass)
        price = next((measure(band["price"]) for band in bands if grams / parcels <= measure(band["up_to"])), None)
        if price is not None:
            found.append((parcels * (packed + card.after_tax(price)), parcels, price))
    _, parcels, price = min(found)
    return parcels, price
