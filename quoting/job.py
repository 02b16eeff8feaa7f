"""What the client asks for: a job of items, each of parts, each with its stock, sides and colours."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct

from quoting.artwork.measured import FormArtwork
from quoting.bench.composing import Copy
from quoting.operations import Operation
from quoting.presswork import Register
from quoting.shop import Count, CountOrNone, Impression, Name, Text
from quoting.units import Length, Share, Size

MOST_QUANTITIES = 20
MOST_ITEMS = 20
MOST_VERSIONS = 50


LineText = Annotated[str, Meta(min_length=1, max_length=200)]


class SetLine(Struct, frozen=True, forbid_unknown_fields=True):
    """One display line and the fount it is set in; ``further`` is what it reads in each further version."""

    text: LineText
    fount: Name
    letterspaced: bool = False
    further: Annotated[tuple[LineText, ...], Meta(max_length=MOST_VERSIONS)] = ()


class TextBlock(Struct, frozen=True, forbid_unknown_fields=True):
    """
    Running text set by the em: so many ``ems``, or the ``wording`` itself, justified to a ``measure``.

    ``leading`` stands between its lines; ``copy`` says what makes it slow to set.
    """

    fount: Name
    ems: Count | None = None
    wording: Annotated[str, Meta(max_length=20_000)] = ""
    measure: Length | None = None
    leading: Length | None = None
    copy: Copy = "plain"

    def __post_init__(self) -> None:
        if (self.ems is None) != bool(self.wording.strip()):
            raise ValueError("expected ems or wording; found " + ("both" if self.ems else "neither"))
        if (self.measure is None) == bool(self.wording.strip()):
            raise ValueError("expected a measure just where there is wording; found otherwise")


class HandSet(Struct, frozen=True, forbid_unknown_fields=True, tag="hand-set", tag_field="kind", kw_only=True):
    """
    Type set by hand for this job.

    Without ``size`` the form is as wide as its widest line and as deep as its bodies; without
    ``share_inked`` it prints what the founts say of their letters' bodies. ``broken_out``: these
    lines were set with an earlier colour's and are only lifted out of it. ``stand_ins``: where the
    case is short, what the card names may stand in.
    """

    lines: Annotated[tuple[SetLine, ...], Meta(max_length=200)] = ()
    text: TextBlock | None = None
    borders: CountOrNone = 0
    size: Size | None = None
    share_inked: Share | None = None
    broken_out: bool = False
    stand_ins: bool = False

    def __post_init__(self) -> None:
        if not self.lines and self.text is None:
            raise ValueError("expected lines or text to set; found neither")
        if not self.lines and self.size is None and self.text is not None and self.text.ems is not None:
            raise ValueError("expected a size for a form of running text; found none")


class MeasuredForm(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    A form whose size and share inked are told, or are measured from its artwork as the job is read from its file.

    ``artwork_file`` lies beside the job file; where it holds several forms, ``artwork_page`` and
    ``artwork_separation`` say which. ``measured`` is what it measures; what the job tells besides wins.
    """

    size: Size
    share_inked: Share
    bleed: bool = False
    artwork_file: Name | None = None
    artwork_page: Annotated[int, Meta(ge=1, le=1000)] = 1
    artwork_separation: Text = ""
    measured: FormArtwork | None = None

    def __post_init__(self) -> None:
        if not self.share_inked:
            raise ValueError("expected share_inked over 0 %; found 0 %")


class ReliefPlate(MeasuredForm, frozen=True, forbid_unknown_fields=True, tag="plate", tag_field="kind", kw_only=True):
    """A relief plate made for this job."""

    supplier: Name
    artwork: Literal["to be made ready", "ready", "to be designed"] = "to be made ready"


class StandingType(
    MeasuredForm, frozen=True, forbid_unknown_fields=True, tag="standing type", tag_field="kind", kw_only=True
):
    """Type kept standing since an earlier job: nothing is set, it is locked up and washed."""

    made_of: Literal["metal type", "wood type"] = "metal type"


class SameAsLastTime(
    MeasuredForm,
    frozen=True,
    forbid_unknown_fields=True,
    tag="same as last time",
    tag_field="kind",
    kw_only=True,
):
    """A plate of the shop's from an earlier job: nothing is bought."""


class ClientPlate(
    MeasuredForm,
    frozen=True,
    forbid_unknown_fields=True,
    tag="client's plate",
    tag_field="kind",
    kw_only=True,
):
    """A plate that the client brings, printed from as many as it is."""

    thickness: Length
    number_up: Count = 1


Form = HandSet | ReliefPlate | StandingType | SameAsLastTime | ClientPlate


class Colour(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    One colour of one side and the form it prints from. Without ``ink`` it is blind.

    ``version_lines``: lines (for a plate: plates) that each further version changes.
    """

    form: Form
    ink: Name | None = None
    register: Register = "none"
    version_lines: CountOrNone = 0
    double_rolled: bool = False


class Side(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One printed side: its colours in the order they are wanted, and how deep they bite."""

    colours: Annotated[tuple[Colour, ...], Meta(min_length=1, max_length=6)]
    impression: Impression = "visible"


class Fold(Struct, frozen=True, forbid_unknown_fields=True):
    """A fold along the piece's long or short side; board folds well only along its grain."""

    along: Literal["long side", "short side"]


class PartWork(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is printed on a part and done to it."""

    front: Side | None = None
    back: Side | None = None
    fold: Fold | None = None
    stock_from: Literal["shop", "client"] = "shop"
    finishing: Annotated[tuple[Operation, ...], Meta(max_length=20)] = ()


class Part(PartWork, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One sheet of an item: a card, a liner, one of the two sheets of a duplexed card."""

    name: Name
    stock: Name
    size: Size
    shape: Literal["rectangular", "round", "die-cut"] = "rectangular"


class Item(PartWork, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    One thing that the client gets, ``per_set`` times the sets and ``extra`` more.

    An item of one part says size and stock itself; an item of several lists ``parts``, and
    ``joining`` is what is done to them together. Of ``versions`` there are that many designs,
    each in the full number.
    """

    name: Name
    stock: Name | None = None
    size: Size | None = None
    shape: Literal["rectangular", "round", "die-cut"] = "rectangular"
    parts: Annotated[tuple[Part, ...], Meta(max_length=6)] = ()
    joining: Annotated[tuple[Operation, ...], Meta(max_length=20)] = ()
    per_set: Count = 1
    extra: CountOrNone = 0
    kept: CountOrNone = 0
    versions: Annotated[int, Meta(ge=1, le=MOST_VERSIONS)] = 1
    tax: Name | None = None

    def __post_init__(self) -> None:
        alone = self.stock is not None and self.size is not None
        if alone == bool(self.parts):
            raise ValueError("expected either size and stock, or parts; found " + ("both" if alone else "neither"))
        if self.parts and (self.front or self.back or self.finishing or self.fold or self.stock or self.size):
            raise ValueError("expected sides and finishing on the parts; found them on the item too")

    def all_parts(self) -> tuple[Part, ...]:
        """Its parts; one, of the item's own name, where it lists none."""
        if self.stock is None or self.size is None:
            return self.parts
        return (
            Part(
                name=self.name,
                stock=self.stock,
                size=self.size,
                shape=self.shape,
                front=self.front,
                back=self.back,
                fold=self.fold,
                stock_from=self.stock_from,
                finishing=self.finishing,
            ),
        )


class Client(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Who asks. Documents for them are in the language and by the customs of ``locale``; if empty, the shop's."""

    name: Name
    company: Text = ""
    email: Text = ""
    address: Annotated[tuple[Name, ...], Meta(max_length=8)] = ()
    is_business: bool = False
    locale: Annotated[str, Meta(pattern=r"^([a-z]{2}-[A-Z]{2})?\Z")] = ""


class Proofs(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Rounds of screen proofs, and whether one is pulled on the press."""

    screen_rounds: Annotated[int, Meta(ge=0, le=20)] = 1
    press_proof: bool = False


class Delivery(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """``collect``, or one of the card's ways of sending, and where to."""

    method: Name = "collect"
    to: Text = ""


class OfferedDiscount(Struct, frozen=True, forbid_unknown_fields=True):
    """What the owner takes off this one quotation, and why."""

    share: Share
    because: Name


class UnderFloor(Struct, frozen=True, forbid_unknown_fields=True):
    """Who lets this job go under the floor (a name of the card's people), and why. It is recorded."""

    by: Name
    because: Name


class Job(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    A client's enquiry, priced for one quantity or several side by side.

    ``quantities`` are sets; of one item they are the pieces of it. ``order`` names the card's
    kind of order for handling; ``discount`` one of its discounts (the client's class), and
    ``offered_discount`` what is taken off this quotation besides. ``tax`` names one of the card's
    kinds of tax for all of it, an item's own for that item.
    """

    format: Literal[1]
    title: Name
    client: Client
    quantities: Annotated[tuple[Count, ...], Meta(min_length=1, max_length=MOST_QUANTITIES)]
    items: Annotated[tuple[Item, ...], Meta(min_length=1, max_length=MOST_ITEMS)]
    reference: Text = ""
    order: Name = "plain"
    needed_by: datetime.date | None = None
    rush: bool = False
    discount: Name | None = None
    offered_discount: OfferedDiscount | None = None
    under_floor: UnderFloor | None = None
    tax: Name | None = None
    count: Literal["exact", "trade overs and unders"] = "exact"
    proofs: Proofs = Proofs()
    delivery: Delivery = Delivery()
    notes: Text = ""

    def __post_init__(self) -> None:
        if len(set(self.quantities)) != len(self.quantities):
            raise ValueError(f"expected each quantity once; found {list(self.quantities)}")
        if any(not item.all_parts() for item in self.items):
            raise ValueError("expected every item to have a part; found none")
