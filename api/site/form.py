"""The order form of one offer: what it shows, and what it says of faults and prices."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from msgspec import Struct

from api.site.fields import OWN_SIZE, Fields, choice_data, field_of
from api.site.render import Option, last_of, named, page, plain, worded
from api.site.words import FIELDS, OF_A_SIDE, SIDES, VALUES
from quoting.artwork import Artwork
from quoting.docket import artwork_words
from quoting.errors import JobError
from quoting.languages import Language, language
from quoting.offers import Choice, Prices, PublicOffer, read_choice
from quoting.offers.choice import ADVISE_ME, COLLECT
from quoting.rate_card import RateCard
from quoting.units import Size

FILES, HOME = "/order/files", "/order"


class FieldFault(Struct, frozen=True, kw_only=True):
    """What does not fit, by its field, in words for a person."""

    field: str
    anchor: str
    label: str
    words: str


class Asked(Struct, frozen=True, kw_only=True):
    """A form as it was sent, and what came of it so far."""

    fields: Fields
    prices: Prices | None = None
    faults: tuple[FieldFault, ...] = ()
    not_priced: tuple[str, ...] = ()


def choice_from(fields: Fields, offer: PublicOffer, *, with_contact: bool, locale: str) -> Choice:
    """
    The choice that a form comes to.

    Raises:
        JobError: with every fault.
    """
    return read_choice(choice_data(fields, offer, with_contact=with_contact, locale=locale))


def faults_of(error: JobError, locale: str) -> tuple[FieldFault, ...]:
    """Faults as a person reads them, one a field."""
    words = language(locale)
    told: dict[str, FieldFault] = {}
    for fault in error.faults:
        name = field_of(fault.where.removeprefix("$").removeprefix(".choice"))
        said = words.say("expected {expected}", expected=fault.expected)
        told.setdefault(name, FieldFault(field=name, anchor=_anchor(name), label=_label(name, words), words=said))
    return tuple(told.values())


def _anchor(name: str) -> str:
    return f"{name}.0" if name.endswith(".inks") else name


def _label(name: str, words: Language) -> str:
    for side, told in SIDES.items():
        of_it = name.removeprefix(f"{side}.")
        if of_it != name and of_it in OF_A_SIDE:
            return f"{words.say(told)}, {words.say(OF_A_SIDE[of_it])}"
    known = FIELDS.get(name or "quantities")
    return words.say(known) if known else name


def form_page(
    name: str,
    offer: PublicOffer,
    card: RateCard,
    *,
    locale: str,
    asked: Asked,
    token: str,
    today: datetime.date,
    most_bytes: int,
) -> bytes:
    """
    The form, as a page of its own (``order.html``) or as a part of another's (``form.html``).

    Args:
        token: What makes sending it good once.
        today: The day it is where the shop is.
        most_bytes: How large a file of artwork may be. [bytes]
    """
    words = language(locale)
    told: Mapping[str, Sequence[str]] = asked.fields
    return page(
        name,
        locale,
        card.region.currency,
        offer=offer,
        shop=card.letterhead.name,
        files=FILES,
        home=HOME,
        asked=f"?locale={locale}",
        prefix=f"{offer.key}.",
        token=token,
        today=today.isoformat(),
        most_bytes=most_bytes,
        told=told,
        last=last_of(told),
        usual=offer.quantities[0] if offer.quantities else offer.least_quantity,
        sizes=_sizes(offer, words),
        stocks=_stocks(offer, words),
        folds=_folds(offer, words),
        envelopes=_envelopes(offer, words),
        deliveries=[(COLLECT, words.say(VALUES[COLLECT]), ""), *named(offer.delivery)],
        word=lambda key: words.say(VALUES.get(str(key), str(key))),
        worded=lambda keys: worded(words, keys, VALUES),
        named=named,
        plain=plain,
        prices=asked.prices,
        faults=asked.faults,
        not_priced=asked.not_priced,
    )


def artwork_part(
    card: RateCard, *, locale: str, handle: str = "", artwork: Artwork | None = None, refused: str = ""
) -> bytes:
    """What stands beside a field of artwork: what its file measures, or why it cannot be used."""
    words = language(locale)
    forms = [tuple(artwork_words(form, words)) for form in artwork.forms] if artwork else []
    return page("measured.html", locale, card.region.currency, handle=handle, forms=forms, refused=refused)


def price_part(card: RateCard, *, locale: str, asked: Asked) -> bytes:
    """What stands in the form's price box."""
    return page(
        "price.html",
        locale,
        card.region.currency,
        prices=asked.prices,
        faults=asked.faults,
        not_priced=asked.not_priced,
    )


def _sizes(offer: PublicOffer, words: Language) -> list[Option]:
    listed = [(one.name, _size_name(one.name, one.size, words), "") for one in offer.sizes]
    return [*listed, *([(OWN_SIZE, words.say(VALUES[OWN_SIZE]), "")] if offer.own_size and offer.sizes else [])]


def _size_name(name: str, written: str, words: Language) -> str:
    """The card's name for a size, with its measures where they are not in it; of a square or round one, its side."""
    size = Size(written)
    told = written.rpartition(" x ")[2] if size.width_mm == size.height_mm else written
    return name if told in name else f"{name}, {words.size(size)}"


def _stocks(offer: PublicOffer, words: Language) -> list[Option]:
    """Stocks, each with the sizes that it is for where not every size is."""
    options = [(one.key, one.name, _on(offer, lambda size, key=one.key: key in size.stocks)) for one in offer.stocks]
    return [*options, *([(ADVISE_ME, words.say(VALUES[ADVISE_ME]), "")] if offer.advise else [])]


def _folds(offer: PublicOffer, words: Language) -> list[Option]:
    folds = dict.fromkeys(fold for size in offer.sizes for fold in ([*(["flat"] if size.flat else []), *size.folds]))
    if not set(folds) - {"flat"}:
        return []
    return [
        (
            fold,
            words.say(VALUES[fold]),
            _on(offer, lambda size, fold=fold: fold in size.folds or (fold == "flat" and size.flat)),
        )
        for fold in folds
    ]


def _envelopes(offer: PublicOffer, words: Language) -> list[Option]:
    found = {one.key: one.name for size in offer.sizes for one in size.envelopes}
    options = [
        (key, name, _on(offer, lambda size, key=key: any(one.key == key for one in size.envelopes)))
        for key, name in found.items()
    ]
    return [("", words.say("none"), ""), *options]


def _on(offer: PublicOffer, fits: Any) -> str:
    """The sizes that an option goes with, as the script reads them; nothing where it goes with all."""
    sizes = [size.name for size in offer.sizes if fits(size)]
    if offer.own_size:
        sizes.append(OWN_SIZE)
    return "" if len(sizes) == len(offer.sizes) + bool(offer.own_size) else "|".join(sizes)
