"""The docket: a printer who never saw the job makes it from its text alone, and its drawings can be cut."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from msgspec.structs import replace

from quoting import JobError, RateCard
from quoting.cutting import Layout
from quoting.docket import Docket, docket_for
from quoting.docket.imposing import spots
from quoting.docket.sheets import parent_layout, piece_layout
from quoting.documents import docket_pdf
from quoting.estimate import Estimate, Option
from quoting.job import Part
from quoting.languages import language
from quoting.planning import candidates
from quoting.shop import ParentSheets
from quoting.units import as_told
from tests.conftest import demo_jobs
from tests.documents.reading import LOCALES, card_in, estimate_in, folded, text_of

SVG = "{http://www.w3.org/2000/svg}"


def made(shop: str, job: str) -> tuple[Docket, Estimate, RateCard]:
    currency = "GBP" if shop == "marrowby-lane" else "USD"
    estimate, card = estimate_in(shop, job, currency), card_in(shop, currency)
    return docket_for(estimate, card), estimate, card


def parts_of(estimate: Estimate) -> list[Part]:
    return [part for item in estimate.job.items for part in item.all_parts()]


Answer = Callable[[Estimate, Option, RateCard], list[str]]


def _number(locale: str, number: int) -> str:
    return language(locale).number(number)


QUESTIONS: dict[str, Answer] = {
    "What is it, and for whom?": lambda e, o, c: [e.job.title, e.job.client.name],
    "How many does the client get?": lambda e, o, c: [
        f"{_number(c.region.locale, (o.quantity * item.per_set + item.extra) * item.versions)} pieces"
        for item in e.job.items
    ],
    "Which stock?": lambda e, o, c: [c.stocks[part.plan.stock].name for part in o.parts],
    "How many sheets do I take from stock?": lambda e, o, c: [
        f"Take from stock {_number(c.region.locale, part.sheets_from_stock)} sheet" for part in o.parts
    ],
    "Which way does the grain lie in the sheet?": lambda e, o, c: [
        {"long": "along the long side", "short": "along the short side", "none": "does not matter"}[stock.grain]
        for stock in (c.stocks[part.plan.stock] for part in o.parts)
        if isinstance(stock, ParentSheets)
    ],
    "To what size do I cut?": lambda e, o, c: [
        f"Press sheet {language(c.region.locale).sides(part.plan.sheet_width_mm, part.plan.sheet_height_mm)}"
        for part in o.parts
        if part.plan.cuts_to_size
    ],
    "Where is the first cut?": lambda e, o, c: [
        language(c.region.locale).length(layout.cuts[0].gauge_mm)
        for layout in (parent_layout(part, plan.plan, c) for part, plan in zip(parts_of(e), o.parts, strict=True))
        if layout
    ],
    "On which press?": lambda e, o, c: [f"Press {c.presses[part.plan.press].name}" for part in o.parts],
    "How many up?": lambda e, o, c: [f"{part.plan.number_up} up" for part in o.parts],
    "How is the sheet turned?": lambda e, o, c: [
        {
            "one side": "The sheet is not turned",
            "ganged": "The sheet is not turned",
            "fed as it comes": "Lay every blank to the same edges",
            "sheetwise": "turn the sheet left to right",
            "work-and-turn": "turn the sheet left to right",
            "work-and-tumble": "turn the sheet head to tail",
        }[part.plan.imposition]
        for part in o.parts
    ],
    "Which form goes first?": lambda e, o, c: [
        f"Pass 1, sitting 1: {o.sittings[0].passes[0].rsplit(',', 2)[0]}",
    ],
    "Then which?": lambda e, o, c: [
        f"Pass {n}, sitting" for n in range(1, 1 + sum(len(sitting.passes) for sitting in o.sittings))
    ],
    "How much of each ink do I mix?": lambda e, o, c: [
        f"{language(c.region.locale).number(as_told(line.driver, places=1))} g"
        for line in o.lines
        if line.operation == "Ink"
    ],
    "How deep may it bite?": lambda e, o, c: [
        {"kiss": "kiss: it prints", "visible": "visible: a bite", "deep": "deep: a bite"}[work.impression]
        for part in o.parts
        for work in part.plan.passes
    ],
    "What do I pack with?": lambda e, o, c: [
        {"kiss": "Hard packing", "visible": "Firm packing", "deep": "some give"}[work.impression]
        for part in o.parts
        for work in part.plan.passes
    ],
    "How many good sheets must each pass give?": lambda e, o, c: [
        f"Good sheets out {_number(c.region.locale, part.count.carried_out(place))}"
        for part in o.parts
        for place in range(len(part.count.passes))
    ],
    "How many go into each finishing step, how many come out?": lambda e, o, c: [
        f"{step.operation} {_number(c.region.locale, step.pieces_in)} {_number(c.region.locale, step.pieces_out)}"
        for part in o.parts
        for step in part.count.steps
    ],
    "How long may making ready and running take?": lambda e, o, c: [
        f"{operation} {as_told(working.amount, places=0)} min"
        for operation in ("Make-ready", "Running")
        for line in o.lines
        if line.operation == operation
        for working in line.workings
        if working.amount >= 1
    ],
    "What is set, in which fount?": lambda e, o, c: [
        text
        for part in parts_of(e)
        for side in (part.front, part.back)
        if side
        for colour in side.colours
        for line in getattr(colour.form, "lines", ())
        for text in (line.text, c.founts[line.fount].name)
    ],
    "How does it leave, where to, in how many parcels?": lambda e, o, c: [
        f"{o.parcels} parcel",
        e.job.delivery.to or "Collected from the shop",
    ],
    "What might hurt me?": lambda e, o, c: ["Stop and isolate the press", "come before anything on this sheet"],
}


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_twenty_questions_are_answered_from_the_text_alone(shop: str, job: str, pango: None) -> None:
    docket, estimate, card = made(shop, job)
    text = _squeezed(text_of(docket_pdf(docket)))

    wanting = {
        question: [told for told in answer(estimate, estimate.options[0], card) if _squeezed(told) not in text]
        for question, answer in QUESTIONS.items()
    }

    assert len(QUESTIONS) >= 20
    assert {question: told for question, told in wanting.items() if told} == {}


def _squeezed(text: str) -> str:
    return re.sub(r"[\s\u00ad\ufffe]+", "", folded(text))


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_a_docket_is_marked_for_the_shop_and_holds_no_money(shop: str, job: str, pango: None) -> None:
    docket, estimate, _ = made(shop, job)

    text = text_of(docket_pdf(docket))

    assert "For the shop, not for the client" in text
    assert not set("£$€¥") & set(text.replace("FIVE DOLLARS", ""))
    assert str(estimate.options[0].price.total) not in text


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_cut_sheets_and_cuts_are_those_the_plan_was_priced_by(shop: str, job: str) -> None:
    _, estimate, card = made(shop, job)

    for option in estimate.options:
        for part, planned in zip(parts_of(estimate), option.parts, strict=True):
            layout = parent_layout(part, planned.plan, card)
            if layout is not None:
                assert (layout.count, len(layout.cuts)) == (planned.plan.sheets_a_parent, planned.plan.cuts_to_size)
            pieces = piece_layout(part, planned.plan, card, bleeds=False)
            if pieces is not None:
                assert pieces.count == planned.plan.number_up


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_the_drawn_rectangles_can_be_cut_edge_to_edge_in_the_order_drawn(shop: str, job: str) -> None:
    docket, estimate, card = made(shop, job)

    for part, planned, told in zip(parts_of(estimate), estimate.options[0].parts, docket.parts, strict=True):
        layouts = [
            layout
            for layout in (
                parent_layout(part, planned.plan, card),
                piece_layout(part, planned.plan, card, bleeds=False),
            )
            if layout is not None and layout.cuts
        ]
        for layout, drawn in zip(layouts, told.sheets.drawings, strict=True):
            sheet, pieces = _drawn_rectangles(drawn.svg)
            _lie_apart_inside(sheet, pieces)
            assert len(pieces) == layout.count
            _come_apart(sheet, pieces, layout)


Box = tuple[Decimal, Decimal, Decimal, Decimal]


def _drawn_rectangles(svg: str) -> tuple[Box, list[Box]]:
    root = ElementTree.fromstring(svg)
    by_class: dict[str, list[Box]] = {}
    for one in root.iter(f"{SVG}rect"):
        x, y, width, height = (Decimal(one.get(name) or "x") for name in ("x", "y", "width", "height"))
        by_class.setdefault((one.get("class") or "").split(" ")[0], []).append((x, y, x + width, y + height))
    return by_class["sheet"][0], by_class["piece"]


def _lie_apart_inside(sheet: Box, pieces: list[Box]) -> None:
    for place, (left, head, right, tail) in enumerate(pieces):
        assert sheet[0] <= left < right <= sheet[2]
        assert sheet[1] <= head < tail <= sheet[3]
        for other in pieces[:place]:
            assert right <= other[0] or other[2] <= left or tail <= other[1] or other[3] <= head


def _come_apart(sheet: Box, pieces: list[Box], layout: Layout) -> None:
    """Each cut goes through one part of the sheet, edge to edge, and through no piece; each piece ends alone."""
    parts = [sheet]
    for cut in layout.cuts:
        box = (cut.x_mm, cut.y_mm, cut.x_mm + cut.width_mm, cut.y_mm + cut.height_mm)
        assert box in parts
        parts.remove(box)
        upright = cut.direction == "upright"
        for left, head, right, tail in pieces:
            inside = box[0] <= left and right <= box[2] and box[1] <= head and tail <= box[3]
            low, high = (left, right) if upright else (head, tail)
            assert not (inside and low < cut.at_mm < high)
        if upright:
            parts += [(box[0], box[1], cut.at_mm, box[3]), (cut.at_mm, box[1], box[2], box[3])]
        else:
            parts += [(box[0], box[1], box[2], cut.at_mm), (box[0], cut.at_mm, box[2], box[3])]
    assert all(piece in parts for piece in pieces)


@pytest.mark.parametrize(("shop", "job"), demo_jobs())
def test_the_pieces_of_a_form_lie_apart_in_their_sheet(shop: str, job: str) -> None:
    docket, _, _ = made(shop, job)

    for part in docket.parts:
        for form in part.sheets.forms:
            _lie_apart_inside(*_drawn_rectangles(form.svg))


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("sheetwise", [(1, "front"), (2, "front"), (3, "front"), (4, "front")]),
        ("work-and-turn", [(1, "front"), (1, "back"), (3, "front"), (3, "back")]),
        ("work-and-tumble", [(1, "front"), (2, "front"), (1, "back"), (2, "back")]),
    ],
)
def test_a_back_falls_on_its_front_when_the_sheet_is_turned(kind: Any, expected: list[tuple[int, str]]) -> None:
    _, estimate, _ = made("marrowby-lane", "reprint")
    plan = replace(estimate.options[0].parts[0].plan, imposition=kind, across=2, down=2)
    places = tuple((Decimal(x), Decimal(y)) for y in (0, 10) for x in (0, 10))

    form = spots(plan, places, (Decimal(10), Decimal(10)), "front")

    assert [(spot.copy, spot.side) for spot in form] == expected


def test_the_back_form_of_a_sheetwise_sheet_is_mirrored() -> None:
    _, estimate, _ = made("marrowby-lane", "reprint")
    plan = replace(estimate.options[0].parts[0].plan, imposition="sheetwise", across=2, down=2)
    places = tuple((Decimal(x), Decimal(y)) for y in (0, 10) for x in (0, 10))

    form = spots(plan, places, (Decimal(10), Decimal(10)), "back")

    assert [(spot.copy, spot.side) for spot in form] == [(2, "back"), (1, "back"), (4, "back"), (3, "back")]


def test_a_fold_keeps_the_grain_of_its_press_sheet() -> None:
    docket, _, _ = made("marrowby-lane", "invitation")

    facts = dict(docket.parts[0].sheets.facts)

    assert facts["Grain on the press"] in {
        "across the press sheet, along its width",
        "up the press sheet, along its height",
    }


def test_cautions_follow_the_job_and_name_who_says_so() -> None:
    coasters, _, _ = made("marrowby-lane", "coasters")
    cards, _, _ = made("marrowby-lane", "cards")

    habits = [caution.habit for caution in coasters.cautions]
    assert any("lead" in habit for habit in habits)
    assert not any("cutter" in habit for habit in habits)
    assert any("cutter" in caution.habit for caution in cards.cautions)
    assert not any("lead" in caution.habit for caution in cards.cautions)
    assert all(caution.authority for caution in (*coasters.cautions, *cards.cautions))
    assert "maker's manual, local law and trained practice" in coasters.first


def test_a_quantity_that_was_not_estimated_is_refused() -> None:
    _, estimate, card = made("marrowby-lane", "coasters")

    with pytest.raises(JobError, match="expected one of 100, 200, 500; found 7"):
        docket_for(estimate, card, quantity=7)


def _warnings_of_the_planner() -> list[str]:
    """Every warning that the planner's code can tell, a figure in each place of it."""
    module = ast.parse(Path(candidates.__file__).read_text(encoding="utf-8"))
    tellers = [one for one in module.body if isinstance(one, ast.FunctionDef) and one.name.endswith("_warnings")]
    found = []
    for teller in tellers:
        nodes = list(ast.walk(teller))
        parts = {
            one.targets[0].id: one.value
            for one in nodes
            if isinstance(one, ast.Assign) and isinstance(one.targets[0], ast.Name)
        }
        found += [_spelled(one.value, parts) for one in nodes if isinstance(one, ast.Yield) and one.value]
    return found


def _spelled(node: ast.expr, parts: dict[str, ast.expr]) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.FormattedValue):
        named = parts.get(node.value.id) if isinstance(node.value, ast.Name) else None
        return _spelled(named, parts) if isinstance(named, ast.JoinedStr) else "7"
    assert isinstance(node, ast.JoinedStr)
    return "".join(_spelled(one, parts) for one in node.values)


@pytest.mark.parametrize("locale", sorted(set(LOCALES) - {"en-GB", "en-US"}))
def test_every_warning_of_a_plan_is_said_in_the_language_of_the_bench(locale: str) -> None:
    told = _warnings_of_the_planner()
    _, estimate, card = made("pellam-hollow", "poster")
    warned = [replace(part, plan=replace(part.plan, warnings=tuple(told))) for part in estimate.options[0].parts]
    estimate = replace(estimate, options=(replace(estimate.options[0], parts=tuple(warned)),))

    said = [one for part in docket_for(estimate, card, locale=locale).parts for one in part.warnings]

    assert len(told) >= 6
    assert len(said) == len(told) * len(warned)
    assert set(said) & set(told) == set()


def test_a_warning_names_its_pass_as_the_bench_does() -> None:
    _, estimate, card = made("pellam-hollow", "poster")

    said = [one for part in docket_for(estimate, card, locale="fr-FR").parts for one in part.warnings]

    assert said[0].startswith("Poster, recto, Press black : grande forme pour Poster press")
