"""What measured artwork asks of a shop: plates in one order, ink, make-ready, impression, a second hit."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.artwork import Artwork, FormArtwork
from quoting.bench.inking import film_of, ink_grams
from quoting.bench.make_ready import make_ready_minutes
from quoting.buying import buy_plates
from quoting.errors import Fault, NotOfferedError
from quoting.formulas import Plainly, Recording
from quoting.numbers import in_engine_context, plain
from quoting.rate_card import RateCard
from quoting.shop import Impression


class AtPress(Struct, frozen=True, kw_only=True):
    """One form at one press: the force it asks, the share of the greatest that is, why it cannot be impressed."""

    press: str
    force_n: Decimal
    share_of_greatest: Decimal
    refused: str = ""


class FormAsks(Struct, frozen=True, kw_only=True):
    """
    What one form asks.

    The plate with its margins; ink for so many pulls; make-ready at the card's rates for a first side without
    register; whether a second hit is wise, and why.
    """

    form: FormArtwork
    plate_width_mm: Decimal
    plate_height_mm: Decimal
    ink_grams: Decimal
    make_ready_minutes: Decimal
    make_ready_sentence: str
    difficulty: str
    presses: tuple[AtPress, ...]
    second_hit: str = ""


class PlateOrder(Struct, frozen=True, kw_only=True):
    """Every plate in one order: its area, its cost by the supplier's prices, how that comes about."""

    supplier: str
    plates: int
    area_mm2: Decimal
    cost: Decimal
    sentence: str


class ArtworkAsks(Struct, frozen=True, kw_only=True):
    """What a file of artwork asks of a shop, printed one up on one stock at one impression."""

    artwork: Artwork
    stock: str
    impression: Impression
    pulls: int
    forms: tuple[FormAsks, ...]
    order: PlateOrder


@in_engine_context
def what_artwork_asks(
    artwork: Artwork,
    rate_card: RateCard,
    *,
    stock: str,
    ink: str | None = None,
    supplier: str | None = None,
    impression: Impression = "visible",
    pulls: int = 100,
) -> ArtworkAsks:
    """
    What measured artwork asks of a shop.

    Args:
        stock, ink, supplier: Names of the card's; ink and supplier its first if left out.
        pulls: Impressions to ink for.

    Raises:
        NotOfferedError: a name that the card does not hold.
    """
    ink = ink or next(iter(rate_card.inks))
    supplier = supplier or next(iter(rate_card.plate_suppliers), "")
    _check(rate_card, stock=stock, ink=ink, supplier=supplier)
    forms = tuple(_form_asks(form, rate_card, stock, ink, supplier, impression, pulls) for form in artwork.forms)
    return ArtworkAsks(
        artwork=artwork,
        stock=rate_card.stocks[stock].name,
        impression=impression,
        pulls=pulls,
        forms=forms,
        order=_order(forms, rate_card, supplier),
    )


def _check(card: RateCard, *, stock: str, ink: str, supplier: str) -> None:
    asked = (("stock", stock, card.stocks), ("ink", ink, card.inks), ("supplier", supplier, card.plate_suppliers))
    faults = [
        Fault(kind, f"one of {', '.join(names) or 'none'}", repr(name))
        for kind, name, names in asked
        if name not in names
    ]
    if faults:
        raise NotOfferedError(faults)


def _form_asks(
    form: FormArtwork, card: RateCard, stock: str, ink: str, supplier: str, impression: Impression, pulls: int
) -> FormAsks:
    do = Plainly()
    stock_class = card.stock_classes[card.stocks[stock].stock_class]
    margin = card.plate_suppliers[supplier].margin * 2
    minutes, sentence = _make_ready(form, card, stock, impression)
    return FormAsks(
        form=form,
        plate_width_mm=form.size.width_mm + margin,
        plate_height_mm=form.size.height_mm + margin,
        ink_grams=do(
            ink_grams,
            pulls=pulls,
            area_mm2=form.size.area_mm2,
            share_inked=form.share_inked.in_base_unit,
            film=film_of(do, card.inking, stock_class, card.inks[ink]),
        ),
        make_ready_minutes=minutes,
        make_ready_sentence=sentence,
        difficulty=difficulty_of(form),
        presses=tuple(_at_press(form, card, stock, impression, name) for name in card.presses),
        second_hit=second_hit(form, card, stock=stock, ink=ink),
    )


def _make_ready(form: FormArtwork, card: RateCard, stock: str, impression: Impression) -> tuple[Decimal, str]:
    """Minutes for a plate of this form on the front, without register, at a press that it is not large for."""
    rates, zero, do = card.make_ready, Decimal(0), Recording()
    is_deep = impression == "deep" and card.stock_classes[card.stocks[stock].stock_class].deep_make_ready
    minutes: Decimal = do(
        make_ready_minutes,
        base=rates.plate.in_base_unit,
        side_factor=Decimal(1),
        register=zero,
        solid=rates.solid.in_base_unit if form.share_inked > rates.solid_over else zero,
        deep=rates.deep.in_base_unit if is_deep else zero,
        large=zero,
        changes=0,
        version_share=rates.version_share.in_base_unit,
    )
    return minutes, do.taken()[0].sentence


def difficulty_of(form: FormArtwork) -> str:
    """How hard the impression is to build, in words. Common practice, no source."""
    if form.heavy and form.thinnest_positive is not None:
        return "hard: a heavy solid and fine lines want different packing"
    if form.heavy:
        return "a heavy solid: firm packing, more ink, an even impression all over"
    if form.largest_solid:
        return "ordinary: type with solids"
    return "light: type and line"


def _at_press(form: FormArtwork, card: RateCard, stock: str, impression: Impression, name: str) -> AtPress:
    """
    The force that all its ink asks at once, as the plan has it.

    Source:
        Pressure on the inked area, 150 to 400 psi: practitioners' forum, see the rate card's comments.
    """
    press = card.presses[name]
    pressure = card.stock_classes[card.stocks[stock].stock_class].pressure[impression]
    force = form.size.area_mm2 * form.share_inked * pressure
    refused = ""
    if force > press.greatest_force:
        refused = (
            f"{plain(force / 1000, places=1)} kN of impression, over the"
            f" {plain(press.greatest_force / 1000, places=1)} kN it can give"
        )
    return AtPress(press=press.name, force_n=force, share_of_greatest=force / press.greatest_force, refused=refused)


def second_hit(form: FormArtwork, card: RateCard, *, stock: str, ink: str) -> str:
    """
    Why a form is wisely printed twice, or rolled twice; empty where it is not. Common practice, no source.

    A pale ink on a dark stock never covers in one; nor does a heavy solid on a stock that is soft enough to be
    made ready for depth, where more than the card's ``solid_over`` of the form prints.
    """
    named, paper = card.inks[ink], card.stocks[stock]
    if paper.dark and named.pale and not named.opaque:
        return f"{named.name} on {paper.name}, which is dark"
    is_soft = card.stock_classes[paper.stock_class].deep_make_ready
    if form.heavy and is_soft and form.share_inked > card.make_ready.solid_over:
        return f"a heavy solid on {paper.name}, whose tooth shows through one film of ink"
    return ""


def _order(forms: tuple[FormAsks, ...], card: RateCard, supplier: str) -> PlateOrder:
    area = sum((form.plate_width_mm * form.plate_height_mm for form in forms), Decimal(0))
    bought = buy_plates(Recording(), card, supplier, area)
    return PlateOrder(
        supplier=card.plate_suppliers[supplier].name,
        plates=len(forms),
        area_mm2=area,
        cost=sum((one.cost for one in bought), Decimal(0)),
        sentence="; ".join(step.sentence for one in bought for step in one.steps),
    )
