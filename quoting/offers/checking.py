"""A choice against its offer: every fault, each with what is offered instead."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence

from quoting.errors import Fault, NotOfferedError, shown
from quoting.languages import is_known, languages
from quoting.offer import Offer, OwnSize
from quoting.offers.choice import ADVISE_ME, COLLECT, Choice, EnvelopeChoice, SideChoice, named_sides
from quoting.offers.chosen import NONE_MEASURED, Chosen, Measured, inks_of, way_of
from quoting.offers.offered import (
    edge_colours,
    founts_of,
    has_work,
    sizes_of,
    ways_to_print,
)
from quoting.operations.addressing import Addressing
from quoting.operations.corner_rounding import CornerRounding
from quoting.operations.envelope_lining import EnvelopeLining
from quoting.rate_card import RateCard
from quoting.units import Size
from quoting.wording import letters_in


def check_choice(
    choice: Choice, offer: Offer, card: RateCard, *, on: datetime.date, artwork: Measured = NONE_MEASURED
) -> None:
    """
    Hold a choice against its offer.

    Args:
        artwork: What the files measure that its sides name.

    Raises:
        NotOfferedError: with every fault of it, and what is offered instead.
    """
    faults = tuple(_faults(Chosen(choice, offer, card, artwork), on))
    if faults:
        raise NotOfferedError(faults)


def _faults(chosen: Chosen, on: datetime.date) -> Iterator[Fault]:
    choice, offer, card = chosen.choice, chosen.offer, chosen.card
    yield from _quantity_faults(choice, offer)
    yield from _size_faults(chosen)
    yield from _side_faults("front", choice.front, offer, card)
    if choice.back is not None:
        if not offer.back:
            yield Fault("back", "nothing, as only one side is offered", "a second side")
        yield from _side_faults("back", chosen.like_front(choice.back), offer, card)
    if choice.impression is not None:
        yield from _one_of("impression", offer.impressions, choice.impression)
    yield from _finishing_faults(chosen)
    yield from _piece_faults(chosen)
    yield from _envelope_faults(chosen)
    yield from _file_faults(chosen)
    yield from _day_faults(choice, offer, on)
    yield from _delivery_faults(choice, offer)
    if choice.contact is not None and choice.contact.locale and not is_known(choice.contact.locale):
        yield Fault("contact.locale", f"a language of {', '.join(languages())}", repr(choice.contact.locale))


def _one_of(where: str, offered: Iterable[str], found: str) -> Iterator[Fault]:
    names = list(dict.fromkeys(offered))
    if found not in names:
        yield Fault(where, f"one of {', '.join(names)}" if names else "nothing, as none is offered", shown(found))


def _each_once(where: str, found: Sequence[str]) -> Iterator[Fault]:
    for place, one in enumerate(found):
        if one in found[:place]:
            yield Fault(f"{where}[{place}]", "each once", shown(one))


def _quantity_faults(choice: Choice, offer: Offer) -> Iterator[Fault]:
    least, greatest = offer.least_quantity, offer.greatest_quantity
    for place, one in enumerate(choice.quantities):
        if not least <= one <= greatest:
            yield Fault(f"quantities[{place}]", f"{least} to {greatest}", str(one))
        if one in choice.quantities[:place]:
            yield Fault(f"quantities[{place}]", "each quantity once", str(one))


def _size_faults(chosen: Chosen) -> Iterator[Fault]:
    choice, offer, card = chosen.choice, chosen.offer, chosen.card
    listed = [one.name for one in sizes_of(offer, card)]
    if choice.own_size is not None:
        yield from _own_size_faults(choice, choice.own_size, offer, listed)
    elif choice.size is not None:
        yield from _one_of("size", listed, choice.size)
    elif not listed:
        yield Fault("own_size", "a size such as '100 x 150 mm'", "nothing")
    if choice.stock is not None and not (chosen.is_advised and offer.advise):
        yield from _one_of("stock", [*chosen.stocks, *([ADVISE_ME] if offer.advise else [])], choice.stock)
    if not chosen.stocks:
        yield Fault(
            "size" if choice.own_size is None else "own_size", "a size that a stock here is made to", "another"
        )


def _own_size_faults(choice: Choice, size: Size, offer: Offer, listed: Sequence[str]) -> Iterator[Fault]:
    bounds = offer.own_size
    if bounds is None:
        yield Fault("own_size", f"a size of {', '.join(listed)}", shown(size.written))
    elif not _within(size, bounds):
        yield Fault("own_size", f"{bounds.least.written} to {bounds.greatest.written}", shown(size.written))
    if choice.size is not None:
        yield Fault("own_size", "size or own_size", "both")


def _within(size: Size, bounds: OwnSize) -> bool:
    """Whether it lies between the bounds, either way round."""
    short, long = sorted((size.width_mm, size.height_mm))
    least, most = (sorted((one.width_mm, one.height_mm)) for one in (bounds.least, bounds.greatest))
    return least[0] <= short <= most[0] and least[1] <= long <= most[1]


def _side_faults(where: str, side: SideChoice, offer: Offer, card: RateCard) -> Iterator[Fault]:
    inks = inks_of(side, offer)
    for place, ink in enumerate(side.inks):
        yield from _one_of(f"{where}.inks[{place}]", offer.inks, ink)
    yield from _each_once(f"{where}.inks", side.inks)
    way = way_of(side, offer)
    most = 1 if way == "own plate" else offer.most_colours_a_side
    if len(inks) > most:
        yield Fault(f"{where}.inks", f"at most {most}", str(len(inks)))
    if way is None or way not in ways_to_print(offer):
        yield from _one_of(f"{where}.printed_from", ways_to_print(offer), way or "nothing")
        return
    yield from _line_faults(where, side, offer, card, set_by_hand=way == "words to set")
    yield from _artwork_faults(where, side, offer, way)


def _line_faults(where: str, side: SideChoice, offer: Offer, card: RateCard, *, set_by_hand: bool) -> Iterator[Fault]:
    if not set_by_hand:
        if side.lines:
            yield Fault(f"{where}.lines", "lines only where printed_from is words to set", str(len(side.lines)))
        return
    if not side.lines:
        yield Fault(f"{where}.lines", "the words to set, line by line", "nothing")
        return
    inks = inks_of(side, offer)
    for place, line in enumerate(side.lines):
        here = f"{where}.lines[{place}]"
        if not letters_in(line.text):
            yield Fault(f"{here}.text", "characters that type can set", shown(line.text))
        if line.fount is not None:
            yield from _one_of(f"{here}.fount", founts_of(offer, card), line.fount)
        if line.ink is not None:
            yield from _one_of(f"{here}.ink", inks, line.ink)
    used = {line.ink or inks[0] for line in side.lines}
    for place, ink in enumerate(inks):
        if ink not in used:
            yield Fault(f"{where}.inks[{place}]" if side.inks else f"{where}.lines", f"a line in {ink}", "none")


def _artwork_faults(where: str, side: SideChoice, offer: Offer, way: str) -> Iterator[Fault]:
    if side.artwork is not None:
        yield from _one_of(f"{where}.artwork", offer.artwork if way == "finished artwork" else (), side.artwork)
    if side.coverage is not None:
        coverages = [one.name for one in offer.coverages] if way != "words to set" else []
        yield from _one_of(f"{where}.coverage", coverages, side.coverage)
    if (side.plate is not None) != (way == "own plate"):
        found = "nothing" if side.plate is None else "one"
        yield Fault(f"{where}.plate", "your plate's size and thickness just where it is printed from", found)


def _file_faults(chosen: Chosen) -> Iterator[Fault]:
    for where, side in named_sides(chosen.choice):
        if side.artwork_file is None:
            continue
        here, inks = f"{where}.artwork_file", inks_of(side, chosen.offer)
        found = chosen.artwork.get(side.artwork_file)
        if way_of(side, chosen.offer) != "finished artwork":
            yield Fault(here, "a file only where printed_from is finished artwork", "one")
        elif found is None:
            yield Fault(here, "a file that was measured here a short while ago", "none")
        elif len(found.forms) != len(inks):
            there = "; ".join(one.named for one in found.forms)
            yield Fault(here, f"one form a colour, {len(inks)} in all", f"{len(found.forms)}: {there}")
        elif not all(one.share_inked for one in found.forms):
            yield Fault(here, "artwork that prints more than specks", "specks")


def _finishing_faults(chosen: Chosen) -> Iterator[Fault]:
    choice, offer, size = chosen.choice, chosen.offer, chosen.size
    if choice.folded is not None and size is not None:
        yield from _one_of("folded", [*(["flat"] if size.flat else []), *size.folds], choice.folded)
    if choice.corners == "rounded" and not (
        has_work(offer, CornerRounding) and size is not None and size.shape == "rectangular"
    ):
        yield Fault("corners", "one of square", "'rounded'")
    if choice.edges is not None:
        yield from _one_of("edges", edge_colours(offer), choice.edges)
    for place, name in enumerate(choice.extras):
        yield from _one_of(f"extras[{place}]", [one.name for one in offer.extras], name)
    yield from _each_once("extras", choice.extras)


def _piece_faults(chosen: Chosen) -> Iterator[Fault]:
    choice, offer = chosen.choice, chosen.offer
    for place, one in enumerate(choice.pieces):
        yield from _one_of(f"pieces[{place}].piece", [piece.name for piece in offer.pieces], one.piece)
        yield from _side_faults(f"pieces[{place}].front", chosen.like_front(one.front), offer, chosen.card)
    yield from _each_once("pieces", [one.piece for one in choice.pieces])


def _envelope_faults(chosen: Chosen) -> Iterator[Fault]:
    envelope, offer, size = chosen.choice.envelope, chosen.offer, chosen.size
    if envelope is None:
        return
    if size is not None:
        yield from _one_of("envelope.stock", size.envelopes, envelope.stock)
    yield from _envelope_work_faults(envelope, offer)
    if envelope.front is not None:
        yield from _side_faults("envelope.front", chosen.like_front(envelope.front), offer, chosen.card)


def _envelope_work_faults(envelope: EnvelopeChoice, offer: Offer) -> Iterator[Fault]:
    for name, wanted, kind in (
        ("lined", envelope.lined, EnvelopeLining),
        ("addressed", envelope.addressed, Addressing),
    ):
        if wanted and not has_work(offer, kind):
            yield Fault(f"envelope.{name}", "false, as it is not offered", "true")
    if envelope.spare > offer.most_spare_envelopes:
        yield Fault("envelope.spare", f"at most {offer.most_spare_envelopes}", str(envelope.spare))


def _day_faults(choice: Choice, offer: Offer, on: datetime.date) -> Iterator[Fault]:
    if choice.needed_by is not None and choice.needed_by < on:
        yield Fault("needed_by", f"a day from {on} on", str(choice.needed_by))
    if choice.rush and not offer.rush:
        yield Fault("rush", "false, as no rush is offered", "true")


def _delivery_faults(choice: Choice, offer: Offer) -> Iterator[Fault]:
    yield from _one_of("delivery.method", [COLLECT, *offer.delivery], choice.delivery.method)
    if choice.delivery.method != COLLECT and not choice.delivery.to.strip():
        yield Fault("delivery.to", "where to", "nothing")
