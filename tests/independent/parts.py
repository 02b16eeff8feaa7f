"""A part and the plan that is told for it: its forms, its passes, its press sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tests.independent.card import Card, Table
from tests.independent.measures import INCH, length, measure, size

TURNED = ("work-and-turn", "work-and-tumble")
CLOSENESS = ("none", "loose", "close")


@dataclass(frozen=True)
class Told:
    """The plan of one part, told from outside."""

    press: str
    imposition: str
    across: int
    down: int
    out_of_a_parent: int
    cuts_to_size: int
    settings_to_size: int

    @property
    def number_up(self) -> int:
        """Pieces on a press sheet."""
        return self.across * self.down


@dataclass(frozen=True)
class Form:
    """One form as it stands once."""

    asked: Table
    width: Fraction
    height: Fraction
    share: Fraction
    kind: str
    is_scarce: bool = False

    @property
    def number_up(self) -> int:
        """Pieces on it, where a client's plate holds several."""
        return int(self.asked.get("number_up", 1))


@dataclass(frozen=True)
class Printing:
    """One pass: one colour, one side, one form (or the forms of both sides, turned)."""

    part: PlannedPart = field(repr=False)
    colour: Table
    forms: tuple[Form, ...]
    side: str
    place: int
    is_second_side: bool
    at: dict[str, int]

    @property
    def ink(self) -> str | None:
        """Its ink; none where it is blind."""
        return self.colour.get("ink")

    @property
    def kind(self) -> str:
        """``plate``, ``metal type`` or ``wood type``."""
        return self.forms[0].kind

    @property
    def register(self) -> str:
        """How close it registers."""
        return str(self.colour.get("register", "none"))

    @property
    def versions(self) -> int:
        """How often its form changes and it is run anew."""
        ganged = self.part.told.imposition == "ganged"
        return self.part.versions if self.colour.get("version_lines") and not ganged else 1

    @property
    def trips(self) -> int:
        """How often each sheet is fed."""
        return 2 if self.part.told.imposition in TURNED else 1

    @property
    def areas(self) -> list[Fraction]:
        """Of its forms, every copy. [mm2]"""
        return [form.width * form.height * (self.part.copies if form.number_up == 1 else 1) for form in self.forms]

    @property
    def area(self) -> Fraction:
        """All of the form's. [mm2]"""
        return sum(self.areas, Fraction(0))

    @property
    def share(self) -> Fraction:
        """Share of the form that prints."""
        return sum(area * form.share for area, form in zip(self.areas, self.forms, strict=True)) / self.area

    @property
    def set_up(self) -> int:
        """Sheets that set it up once."""
        rates = self.part.card["spoilage"]
        if self.register != "none":
            return int(rates["set_up_register"])
        return int(rates[{"plate": "set_up_plate", "metal type": "set_up_metal"}.get(self.kind, "set_up_wood")])

    @property
    def is_wet(self) -> bool:
        """Whether nothing else may be printed on the same sheet after it in its sitting."""
        return self.ink is not None and self.share > measure(self.part.stock_class["wet_share"])


class PlannedPart:
    """A part of an item under a plan that is told."""

    def __init__(self, card: Card, item: Table, part: Table, told: Told, *, item_place: int) -> None:
        self.card, self.item, self.part, self.told, self.item_place = card, item, part, told, item_place
        self.versions = int(item.get("versions", 1))
        self.stock = card.stock(part["stock"])
        self.stock_class = card.stock_class(part["stock"])
        self.is_ready_cut = self.stock["kind"] == "ready-cut"
        self.width, self.height = size(part["size"])
        self.copies = told.number_up // 2 if told.imposition in TURNED else told.number_up
        self.places_a_version = told.number_up // (self.versions if told.imposition == "ganged" else 1)
        self.passes = tuple(_printings(self))

    @property
    def forms(self) -> list[Form]:
        """All of them, once."""
        return [form for printing in self.passes for form in printing.forms]

    @property
    def bleeds(self) -> bool:
        """Whether any form of it bleeds."""
        return any(form.asked.get("bleed") for form in self.forms)

    def press_sheet(self) -> tuple[Fraction, Fraction]:
        """Width and height of the sheet that is fed. [mm]"""
        if self.is_ready_cut:
            return self.width, self.height
        press, told = self.card["presses"][self.told.press], self.told
        bleed = length(self.card["limits"]["bleed"]) if self.bleeds else Fraction(0)
        width = told.across * (self.width + 2 * bleed)
        height = told.down * (self.height + 2 * bleed)
        gripper = length(press["gripper"])
        if self._border() < gripper:
            height += gripper * (2 if told.imposition == "work-and-tumble" else 1)
        short, long = sorted(size(press["least_sheet"]))
        least = (short, long) if width <= height else (long, short)
        return max(width, least[0]), max(height, least[1])

    def _border(self) -> Fraction:
        """The wider border of a piece, or of all the pieces of a client's plate."""
        several = any(form.number_up > 1 for form in self.forms)
        across, down = (self.told.across, self.told.down) if several else (1, 1)
        widest = max((form.width for form in self.forms), default=Fraction(0))
        deepest = max((form.height for form in self.forms), default=Fraction(0))
        return max(across * self.width - widest, down * self.height - deepest) / 2

    def cuts_to_pieces(self) -> tuple[int, int]:
        """Cuts and back-gauge settings after printing."""
        across, down = self.told.across, self.told.down
        if self.is_ready_cut:
            return 0, 0
        if self.bleeds:
            return 2 * across + 2 * across * down, 2 * across + 2 * down
        width, height = self.press_sheet()
        edges = (width > across * self.width) + (height > down * self.height)
        return across - 1 + across * (down - 1) + edges, across - 1 + down - 1 + edges


def _printings(part: PlannedPart) -> list[Printing]:
    """Its passes as they are listed: front, then back; or both together where the sheet is turned."""
    sides = {name: _colours(part, name) for name in ("front", "back")}
    if part.told.imposition in TURNED:
        return [
            Printing(part, colour, forms, "both", place, False, at)
            for place, (colour, forms, at) in enumerate(_together(sides["front"], sides["back"]))
        ]
    return [
        Printing(part, colour, (form,), name, place, name == "back" and bool(sides["front"]), {name: place})
        for name, colours in sides.items()
        for place, (colour, form) in enumerate(colours)
    ]


def _colours(part: PlannedPart, side: str) -> list[tuple[Table, Form]]:
    colours = part.part.get(side, {}).get("colours", [])
    return [(colour, form_of(part.card, colour["form"])) for colour in colours]


def _together(
    front: Sequence[tuple[Table, Form]], back: Sequence[tuple[Table, Form]]
) -> list[tuple[Table, tuple[Form, ...], dict[str, int]]]:
    """The union of both sides' colours: one ink on both sides is one form. With it, its place on each side."""
    left = list(enumerate(back))
    found: list[tuple[Table, tuple[Form, ...], dict[str, int]]] = []
    for place, (colour, form) in enumerate(front):
        twin = next((one for one in left if one[1][0].get("ink") == colour.get("ink")), None)
        if twin is None:
            found.append((colour, (form,), {"front": place}))
            continue
        left.remove(twin)
        other, other_form = twin[1]
        closer = max((colour, other), key=lambda one: CLOSENESS.index(one.get("register", "none")))
        rolled = bool(colour.get("double_rolled") or other.get("double_rolled"))
        found.append(({**closer, "double_rolled": rolled}, (form, other_form), {"front": place, "back": twin[0]}))
    return found + [(colour, (form,), {"back": place}) for place, (colour, form) in left]


def form_of(card: Card, asked: Table) -> Form:
    """A form's size, share inked and kind."""
    if asked["kind"] != "hand-set":
        width, height = size(asked["size"])
        kind = asked.get("made_of", "metal type") if asked["kind"] == "standing type" else "plate"
        return Form(asked, width, height, measure(asked["share_inked"]), kind)
    founts = card["founts"]
    lines: list[Table] = asked.get("lines", [])
    used = [founts[line["fount"]] for line in lines]
    inked = Fraction(0)
    width = height = Fraction(0)
    for line, fount in zip(lines, used, strict=True):
        body, average = length(fount["body"]), measure(fount["average_set"])
        width = max(width, len(line["text"]) * body * average)
        height += body
        inked += letters(line) * body * body * average * measure(fount["share_inked"])
    if "text" in asked:
        fount = founts[asked["text"]["fount"]]
        used.append(fount)
        inked += asked["text"]["ems"] * length(fount["body"]) ** 2 * measure(fount["share_inked"])
    if "size" in asked:
        width, height = size(asked["size"])
    share = measure(asked["share_inked"]) if "share_inked" in asked else min(Fraction(1), inked / (width * height))
    kind = "wood type" if any(fount["material"] == "wood" for fount in used) else "metal type"
    return Form(asked, width, height, share, kind, any(fount.get("scarce") for fount in used))


def letters(line: Table) -> int:
    """Characters of a line, no spaces."""
    return len(line["text"].replace(" ", ""))


def fount_changes(lines: Sequence[Table]) -> int:
    """Changes of fount from line to line."""
    return sum(one["fount"] != other["fount"] for one, other in pairwise(lines))


def is_low(printing: Printing) -> bool:
    """Whether a client's plate stands under type height on every base of its press."""
    card, press = printing.part.card, printing.part.card["presses"][printing.part.told.press]
    tolerance = length(card["limits"]["type_height_tolerance"])
    bases: list[Any] = press.get("bases", [])
    return any(
        bool(bases)
        and all(
            abs(length(base["height"]) + length(form.asked["thickness"]) - Fraction("0.918") * INCH) > tolerance
            for base in bases
        )
        for form in printing.forms
        if form.asked["kind"] == "client's plate"
    )
