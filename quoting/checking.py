"""A job against a card: every name it uses, and what the card does not hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from quoting.errors import Fault, MeasureError, NotOfferedError
from quoting.job import ClientPlate, Colour, HandSet, Item, Job, Part, ReliefPlate, TextBlock
from quoting.languages import is_known, languages
from quoting.rate_card import RateCard, tag_of
from quoting.wording import control_in, letters_in, text_fitted


def check_job(job: Job, card: RateCard) -> None:
    """
    Hold a job against a card.

    Raises:
        NotOfferedError: with everything that the job asks for and the card does not hold.
    """
    faults = tuple(_faults(job, card))
    if faults:
        raise NotOfferedError(faults)


def _faults(job: Job, card: RateCard) -> Iterator[Fault]:
    if card.handling.orders:
        yield from _known("order", card.handling.orders, job.order)
    if job.discount is not None:
        yield from _known("discount", card.pricing.discounts, job.discount)
    if job.under_floor is not None:
        yield from _known("under_floor.by", card.people, job.under_floor.by)
    if job.tax is not None:
        yield from _known("tax", card.tax.kinds, job.tax)
    if job.delivery.method != "collect":
        yield from _known("delivery.method", card.delivery, job.delivery.method)
    if job.client.locale and not is_known(job.client.locale):
        yield Fault("client.locale", f"a language of {', '.join(languages())}", repr(job.client.locale))
    kinds = {job.tax, *(item.tax for item in job.items)}
    if not job.client.is_business and any(_is_reverse_charge(kind, card) for kind in kinds):
        yield Fault("client.is_business", "true where the client accounts for the tax (reverse charge)", "false")
    for place, item in enumerate(job.items):
        where = f"items[{place}]"
        if item.tax is not None:
            yield from _known(f"{where}.tax", card.tax.kinds, item.tax)
        yield from _operation_faults(f"{where}.joining", item.joining, card)
        for number, part in enumerate(item.all_parts()):
            yield from _part_faults(f"{where}.parts[{number}]" if item.parts else where, item, part, card)


def _is_reverse_charge(kind: str | None, card: RateCard) -> bool:
    return kind in card.tax.kinds and card.tax.kinds[kind].category == "reverse charge"


def _known(where: str, names: Mapping[str, Any], name: str) -> Iterator[Fault]:
    if name not in names:
        yield Fault(where, f"one of {', '.join(names) or 'none'}", repr(name))


def _part_faults(where: str, item: Item, part: Part, card: RateCard) -> Iterator[Fault]:
    yield from _known(f"{where}.stock", card.stocks, part.stock)
    yield from _operation_faults(f"{where}.finishing", part.finishing, card)
    for name, side in (("front", part.front), ("back", part.back)):
        for place, colour in enumerate(side.colours if side else ()):
            yield from _colour_faults(f"{where}.{name}.colours[{place}]", item, colour, card)


def _operation_faults(where: str, operations: tuple[Any, ...], card: RateCard) -> Iterator[Fault]:
    kinds = {tag_of(rates): rates for rates in card.finishing}
    for place, asked in enumerate(operations):
        yield from _known(f"{where}[{place}].kind", kinds, tag_of(asked))


def _colour_faults(where: str, item: Item, colour: Colour, card: RateCard) -> Iterator[Fault]:
    if colour.ink is not None:
        yield from _known(f"{where}.ink", card.inks, colour.ink)
    form = colour.form
    if isinstance(form, ReliefPlate):
        yield from _known(f"{where}.form.supplier", card.plate_suppliers, form.supplier)
    if isinstance(form, HandSet):
        yield from _hand_set_faults(f"{where}.form", form, card, versions=item.versions)
    if colour.version_lines and item.versions == 1:
        yield Fault(f"{where}.version_lines", "versions over 1 on the item", "1 version")
    if isinstance(form, HandSet) and colour.version_lines > len(form.lines):
        yield Fault(f"{where}.version_lines", f"at most its {len(form.lines)} lines", str(colour.version_lines))
    if isinstance(form, ClientPlate) and item.versions > 1 and colour.version_lines:
        yield Fault(f"{where}.version_lines", "0, as a client's plate does not change", str(colour.version_lines))


def _hand_set_faults(where: str, form: HandSet, card: RateCard, *, versions: int) -> Iterator[Fault]:
    for place, line in enumerate(form.lines):
        yield from _known(f"{where}.lines[{place}].fount", card.founts, line.fount)
        for place_in_line, text in enumerate((line.text, *line.further)):
            told = f"{where}.lines[{place}]." + (f"further[{place_in_line - 1}]" if place_in_line else "text")
            if control_in(text) or not letters_in(text):
                yield Fault(told, "characters that type can set", control_in(text) or "none")
        if line.further and len(line.further) != versions - 1:
            found = f"{len(line.further)} of {versions} versions"
            yield Fault(f"{where}.lines[{place}].further", f"{versions - 1} readings, one a further version", found)
    if form.text is not None:
        yield from _known(f"{where}.text.fount", card.founts, form.text.fount)
        yield from _text_faults(f"{where}.text", form.text, card)


def _text_faults(where: str, text: TextBlock, card: RateCard) -> Iterator[Fault]:
    if text.copy != "plain":
        yield from _known(f"{where}.copy", {str(one): one for one in card.composing.copy_factors}, text.copy)
    if text.fount not in card.founts:
        return
    try:
        text_fitted(text, card.founts)
    except MeasureError as error:
        for fault in error.faults:
            yield Fault(f"{where}.wording, {fault.where}", fault.expected, fault.found)
