"""Comparisons: every cell as if it were estimated alone, break-even, offers, CSV, plots, PDF, HTTP."""

from __future__ import annotations

import csv
import io
import itertools
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from quoting import Job, JobError, RateCard, estimate_job
from quoting.compare import (
    Comparison,
    Offer,
    PriceAsked,
    answers,
    asked_price,
    compare_job,
    left_at,
    offer_words,
    offers,
    two_points,
    with_part,
)
from quoting.documents.comparison_csv import as_told, comparison_csv, inert, is_number, written
from quoting.documents.formats import Formats
from quoting.estimate import client_pieces, figures_of
from quoting.money import round_amount
from quoting.planning.at_once import cheapest_plans
from quoting.planning.pins import Pin
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import plan_job
from quoting.plots import plots_of
from quoting.rate_card import Rounding
from quoting.shop import MarkUps
from quoting.units import Amount, Rise, Size
from tests.conftest import DAY, demo_jobs

BRITISH = Formats("en-GB", "GBP")
SIZES = ("105 x 148 mm", "120 x 160 mm", "90 x 55 mm")


@pytest.fixture(scope="module")
def card(cards: dict[str, RateCard]) -> RateCard:
    return cards["marrowby-lane"]


@pytest.fixture(scope="module")
def job(jobs: dict[tuple[str, str], Job]) -> Job:
    return jobs["marrowby-lane", "cards"]


@pytest.fixture(scope="module")
def comparison(card: RateCard, job: Job) -> Comparison:
    return compare_job(
        job, card, on=DAY, quantities=(50, 100, 250, 500), sizes=SIZES, price_asked=asked_price("1.50 each", card)
    )


def test_every_cell_is_what_estimating_it_alone_gives(comparison: Comparison, card: RateCard, job: Job) -> None:
    for variant in comparison.variants:
        if not variant.cells:
            continue
        alone = with_part(job, "Card", size=Size(variant.size), stock="cotton-600")
        for cell in variant.cells:
            option = estimate_job(replace(alone, quantities=(cell.quantity,)), card, on=DAY).options[0]
            found = (cell.ways, cell.cost, cell.net, cell.total, cell.deposit, cell.contribution)
            price = option.price
            assert found == (
                option.ways,
                price.cost,
                price.net,
                price.total,
                price.deposit,
                option.hours.contribution,
            )


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_every_demo_job_compared_over_its_own_quantities_is_its_estimate(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    job, card = jobs[shop, name], cards[shop]
    part = job.items[0].all_parts()[0].name
    expected = [(option.quantity, option.price.total) for option in estimate_job(job, card, on=DAY).options]

    found = compare_job(job, card, on=DAY, part=part).variants[0].cells

    assert sorted(expected) == [(cell.quantity, cell.total) for cell in found]


@pytest.mark.parametrize(
    ("shop", "name"), [("marrowby-lane", "cards"), ("pellam-hollow", "labels"), ("marrowby-lane", "poster")]
)
def test_plans_looked_for_at_once_are_those_of_each_quantity_alone(
    shop: str, name: str, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    prepared = PreparedJob(jobs[shop, name], cards[shop])
    quantities = range(20, 1020, 20)

    found = cheapest_plans(prepared, quantities)

    alone = [plan_job(prepared, quantity, recording=False).loads[0].plan.order for quantity in quantities]
    assert all(plan is None or plan.order == order for plan, order in zip(found, alone, strict=True))
    assert sum(plan is not None for plan in found) > 40


def test_many_quantities_give_the_cells_that_each_gives_alone(card: RateCard, job: Job) -> None:
    quantities = range(20, 1020, 31)

    together = compare_job(job, card, on=DAY, quantities=quantities).variants[0].cells

    alone = [compare_job(job, card, on=DAY, quantities=(quantity,)).variants[0].cells[0] for quantity in quantities]
    assert [replace(cell, changed=(), a_hundred_more=None) for cell in together] == alone


ONE_PART = [demo for demo in demo_jobs() if demo[1] in {"cards", "coasters", "labels", "poster", "reprint"}]


@settings(max_examples=12)
@given(
    demo=st.sampled_from(ONE_PART),
    quantities=st.lists(st.integers(1, 1500), min_size=1, max_size=4, unique=True),
    many=st.booleans(),
    pressed=st.booleans(),
)
def test_comparing_is_the_same_as_estimating_each_cell_alone(
    demo: tuple[str, str],
    quantities: list[int],
    many: bool,
    pressed: bool,
    cards: dict[str, RateCard],
    jobs: dict[tuple[str, str], Job],
) -> None:
    """Held to a press or not; looked for at once, where there are many, or one by one."""
    card, job = cards[demo[0]], jobs[demo]
    part = job.items[0].all_parts()[0].name
    presses = tuple(card.presses) if pressed else ()
    counts = {*quantities, *range(40, 40 + 30 * many)}

    found = compare_job(job, card, on=DAY, quantities=tuple(counts), presses=presses, part=part)

    for variant, press in zip(found.variants, presses or (None,), strict=True):
        pins = (Pin(part=part, press=press),) if press else ()
        for cell in variant.cells:
            if cell.quantity not in quantities:
                continue
            asked = replace(job, quantities=(cell.quantity,))
            option = estimate_job(asked, card, on=DAY, pins=pins).options[0]
            assert (cell.ways, cell.cost, cell.net, cell.total) == (
                option.ways,
                option.price.cost,
                option.price.net,
                option.price.total,
            )
            assert (cell.deposit, cell.contribution, cell.labour_hours, cell.press_hours) == (
                option.price.deposit,
                option.hours.contribution,
                option.hours.labour,
                option.hours.press,
            )


def test_cost_by_class_adds_up_to_the_cost(comparison: Comparison) -> None:
    for variant in comparison.variants:
        for cell in variant.cells:
            assert cell.labour + cell.materials + cell.bought_in == cell.cost


def test_what_cannot_be_made_is_told_with_its_reason_and_the_rest_is_compared(comparison: Comparison) -> None:
    refused = [variant for variant in comparison.variants if variant.refusals]

    assert [variant.size for variant in refused] == ["90 x 55 mm"]
    assert "larger than the piece" in next(iter(refused[0].refusals.values()))


def test_a_cell_says_where_plan_or_packs_change(comparison: Comparison) -> None:
    cells = comparison.variants[0].cells
    for before, cell in itertools.pairwise(cells):
        assert ("plan" in cell.changed) == (before.ways != cell.ways)
        assert ("packs" in cell.changed) == (before.bought != cell.bought)
    assert any(cell.changed for cell in cells)


def left(job: Job, card: RateCard, asked: PriceAsked, quantity: int) -> Decimal:
    """What a price leaves at one quantity, worked out alone."""
    prepared = PreparedJob(job, card)
    pieces = sum(client_pieces(item, quantity) for item in job.items)
    net = asked.amount * pieces if asked.of == "a piece" else asked.amount
    return left_at(net, figures_of(prepared, quantity, DAY), prepared)


def test_break_even_at_a_unit_price_is_the_least_quantity_after_which_it_never_fails(
    card: RateCard, job: Job
) -> None:
    asked = asked_price("2.90 each", card)
    found = compare_job(job, card, on=DAY, quantities=(250,), price_asked=asked).variants[0].break_even
    paying = [left(job, card, asked, quantity) >= 0 for quantity in range(1, 251)]

    assert found is not None
    assert all(paying[found - 1 :])
    assert not paying[found - 2]


def test_break_even_at_a_total_price_is_the_greatest_quantity_that_pays(card: RateCard, job: Job) -> None:
    asked = asked_price("320.00 in all", card)
    found = compare_job(job, card, on=DAY, quantities=(250,), price_asked=asked).variants[0].break_even
    paying = [left(job, card, asked, quantity) >= 0 for quantity in range(1, 251)]

    assert found == max(place for place, pays in enumerate(paying, start=1) if pays)


def test_a_price_that_never_breaks_even_is_told_so(card: RateCard, job: Job) -> None:
    compared = compare_job(job, card, on=DAY, quantities=(100,), price_asked=asked_price("0.01 each", card))

    assert compared.variants[0].break_even is None
    assert answers(compared, compared.variants[0], BRITISH)[-1].endswith("it does not break even by 100.")


def test_under_some_quantity_least_charge_holds_the_price_up(card: RateCard, job: Job) -> None:
    dear = replace(card, pricing=replace(card.pricing, least_charge=type(card.pricing.least_charge)("400.00")))

    variant = compare_job(job, dear, on=DAY, quantities=(50, 100, 250, 500)).variants[0]

    assert variant.pays_from is not None
    under, there = (
        compare_job(job, dear, on=DAY, quantities=(variant.pays_from - 1, variant.pays_from)).variants[0].cells
    )
    assert (variant.cells[0].held_up, under.held_up, there.held_up) == (True, True, False)
    told = answers(compare_job(job, dear, on=DAY, quantities=(50, 500)), variant, BRITISH)
    assert told[0] == f"Under {variant.pays_from} the job does not pay: least charge or floor holds its price up."


@pytest.mark.parametrize("quantities", [(20, 700), tuple(range(20, 720, 25))])
def test_a_plan_is_told_from_the_very_quantity_that_it_begins_at(
    quantities: tuple[int, ...], card: RateCard, job: Job
) -> None:
    found = compare_job(job, card, on=DAY, quantities=quantities).variants[0].plans

    assert len(found) > 1
    assert found[0].quantity == quantities[0]
    for before, plan in itertools.pairwise(found):
        under, there = compare_job(job, card, on=DAY, quantities=(plan.quantity - 1, plan.quantity)).variants[0].cells
        assert (under.ways, there.ways) == (before.ways, plan.ways)


def test_a_hundred_more_is_the_way_to_the_next_quantity(comparison: Comparison) -> None:
    cells = comparison.variants[0].cells

    for cell, after in itertools.pairwise(cells):
        exact = (after.net - cell.net) / (after.quantity - cell.quantity) * 100
        assert cell.a_hundred_more == round_amount(exact, "GBP")
    assert cells[-1].a_hundred_more is None


def test_two_quantities_read_as_fixed_and_run_on() -> None:
    """500 for 4 pounds 5s, 1,000 for 5 pounds: Reading MS 2750/96/8, 1930 (B). In shillings."""
    found = two_points((500, Decimal(85)), (1000, Decimal(100)))

    assert (found.fixed, found.run_on_a_hundred * 10) == (Decimal(70), Decimal(30))


def test_a_larger_quantity_that_is_priced_lower_is_offered() -> None:
    found = list(offers([(450, Decimal("300.00")), (500, Decimal("290.00")), (600, Decimal("310.00"))]))

    assert found == [Offer(instead_of=450, quantity=500, less=Decimal("10.00"))]
    assert offer_words(found[0], BRITISH) == "500 are 10.00 less than 450: offer 500 instead."


def test_a_region_writes_counts_and_amounts_its_own_way() -> None:
    offer = Offer(instead_of=1450, quantity=1500, less=Decimal("1234.50"))

    assert offer_words(offer, Formats("de-DE", "EUR")) == "1.500 are 1.234,50 less than 1.450: offer 1.500 instead."
    assert offer_words(offer, Formats("en-IN", "KWD")).startswith("1,500 are 1,234.500 less")


def test_a_price_on_the_command_line_offers_the_larger_quantity(
    card: RateCard, job: Job, capsys: pytest.CaptureFixture[str]
) -> None:
    from quoting.cli.tables import show_estimate

    rounding = Rounding(Amount("0.50"), "nearest", "unit price")
    steep = replace(card, pricing=replace(card.pricing, rounding=rounding))
    estimate = estimate_job(replace(job, quantities=(240, 250)), steep, on=DAY)

    show_estimate(estimate, steep, why=False)

    few, more = (option.price.net for option in estimate.options)
    assert few > more
    assert f"250 are {few - more} less than 240: offer 250 instead." in capsys.readouterr().out


@settings(max_examples=30)
@given(demo=st.sampled_from(ONE_PART), start=st.integers(10, 900), step=st.integers(1, 12))
def test_where_a_card_has_no_price_break_more_never_has_a_lower_price(
    demo: tuple[str, str],
    start: int,
    step: int,
    cards: dict[str, RateCard],
    jobs: dict[tuple[str, str], Job],
) -> None:
    """One price a sheet, one mark-up on all: what is left is each line's own rounding, under a coin a line."""
    card, job = cards[demo[0]], jobs[demo]
    stocks = {name: replace(stock, prices=stock.prices[:1]) for name, stock in card.stocks.items()}
    up = MarkUps(labour=Rise("40 %"), materials=Rise("40 %"), bought_in=Rise("40 %"))
    rounding = Rounding(Amount("0.01"), "nearest", "total")
    pricing = replace(card.pricing, mark_ups=up, target_margin=None, hour_target=None, rounding=rounding)
    flat = replace(card, stocks=stocks, pricing=pricing)
    part = job.items[0].all_parts()[0].name

    cells = (
        compare_job(job, flat, on=DAY, quantities=range(start, start + 8 * step, step), part=part).variants[0].cells
    )

    coins_of_lines = Decimal("0.20")
    assert all(later.net >= earlier.net - coins_of_lines for earlier, later in itertools.pairwise(cells))


@settings(max_examples=60)
@given(st.lists(st.integers(100, 140), min_size=1, max_size=12))
def test_every_price_that_falls_is_offered_at_its_lowest(pounds: list[int]) -> None:
    prices = [(place * 50, Decimal(amount)) for place, amount in enumerate(pounds, start=1)]

    found = {one.instead_of: one for one in offers(prices)}

    for place, (quantity, price) in enumerate(prices):
        after = [later for _, later in prices[place + 1 :]]
        assert (quantity in found) == any(later < price for later in after)
        if quantity in found:
            assert price - found[quantity].less == min(after)
            assert dict(prices)[found[quantity].quantity] == min(after)


def test_only_prices_fall_with_quantity_never_costs(card: RateCard, job: Job) -> None:
    cells = compare_job(job, card, on=DAY, quantities=range(20, 420, 8)).variants[0].cells

    exact = [cell.cost for cell in cells]
    coins_a_line = Decimal("0.30")
    assert all(later >= earlier - coins_a_line for earlier, later in itertools.pairwise(exact))


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        ({"quantities": (0,)}, "quantities[0]"),
        ({"quantities": (2_000_000,)}, "quantities[0]"),
        ({"sizes": ("4",)}, "sizes[0]"),
        ({"stocks": ("vellum",)}, "stocks[0]"),
        ({"presses": ("castle",)}, "presses[0]"),
        ({"part": "Moat"}, "part"),
        ({"quantities": tuple(range(1, 2_002)), "sizes": SIZES}, "$"),
    ],
)
def test_what_cannot_be_compared_is_a_fault_with_its_place(
    asked: dict[str, Any], where: str, card: RateCard, job: Job
) -> None:
    with pytest.raises(JobError) as refused:
        compare_job(job, card, on=DAY, **asked)

    assert [fault.where for fault in refused.value.faults] == [where]


@pytest.mark.parametrize(
    "written_price", ["1.50 EUR each", "1.50EUR", "€1.50 each", "1.505 each", "each", "-1 each", "1.50 a dozen"]
)
def test_a_price_asked_is_an_amount_of_the_cards_money(written_price: str, card: RateCard) -> None:
    with pytest.raises(JobError):
        asked_price(written_price, card)


def test_of_ready_cut_blanks_those_of_the_size_are_taken(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    job, card = jobs["marrowby-lane", "coasters"], cards["marrowby-lane"]

    compared = compare_job(job, card, on=DAY, quantities=(100,), sizes=("90 mm", "95 mm"))

    assert [bool(variant.cells) for variant in compared.variants] == [False, True]


# CSV


@given(st.lists(st.lists(st.text(), min_size=1, max_size=5), min_size=1, max_size=5))
def test_any_text_comes_back_from_the_csv_as_it_was(rows: list[list[str]]) -> None:
    read = list(csv.reader(io.StringIO(written(rows), newline="")))

    assert [[as_told(cell) for cell in row] for row in read if row] == [row for row in rows if row]


@given(st.sampled_from("=+-@\t\r\n\0＝＋－＠"), st.text(), st.sampled_from(["", " ", "\t "]))
def test_a_text_that_starts_as_a_formula_is_inert(start: str, rest: str, blank: str) -> None:
    assert inert(f"{start}{rest}").startswith("'")
    if start in "=+-@＝＋－＠":
        assert inert(f"{blank}{start}{rest}").startswith("'")


def test_numbers_stay_numbers(comparison: Comparison) -> None:
    rows = list(csv.DictReader(io.StringIO(comparison_csv(comparison), newline="")))

    for row in rows:
        if row["quantity"]:
            assert all(is_number(row[name]) for name in ("quantity", "cost", "margin", "each", "labour hours"))
    assert rows[0]["left at the price asked about"].startswith("-")
    assert not any(cell.startswith(tuple("=+@＝＋－＠")) for row in rows for cell in row.values())


HOSTILE = [f"{start}{rest}" for start in "=+-@\t\r\n\0＝＋－＠" for rest in ("1+1", "SUM(1;1)", "=1+1")]
GNM = "{http://www.gnumeric.org/v10.dtd}"


def opened(text: str, folder: Path) -> list[tuple[str | None, str]]:
    """Every cell as a spreadsheet opens it: its kind (40 a number, 60 a text, none a formula) and what it holds."""
    (folder / "told.csv").write_bytes(text.encode())
    command = ["ssconvert", "-T", "Gnumeric_XmlIO:sax:0", "told.csv", "opened.xml"]
    subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=60)
    cells = ElementTree.parse(folder / "opened.xml").iter(f"{GNM}Cell")
    return [(cell.get("ValueType"), cell.text or "") for cell in cells]


@pytest.mark.skipif(
    shutil.which("ssconvert") is None, reason="needs the spreadsheet gnumeric, which tests/run installs"
)
def test_a_spreadsheet_finds_no_formula_in_hostile_names_and_the_numbers_are_numbers(
    comparison: Comparison, tmp_path: Path
) -> None:
    variant = comparison.variants[0]
    hostile = replace(
        comparison, variants=tuple(replace(variant, size=name, stock=name, press=name) for name in HOSTILE)
    )
    exported = comparison_csv(hostile)

    cells = opened(exported, tmp_path)

    assert opened("=1+1,2\r\n", tmp_path)[0] == (None, "=1+1")  # what it does where nothing is made inert
    assert [cell for cell in cells if cell[0] is None] == []
    rows = list(csv.reader(io.StringIO(exported.replace("\0", ""), newline="")))[1:]
    numbers = [cell for row in rows for cell in row if is_number(cell)]
    assert len([kind for kind, _ in cells if kind == "40"]) == len(numbers) > 100


# Plots


def test_the_same_figures_give_the_same_plots_byte_for_byte(comparison: Comparison) -> None:
    assert plots_of(comparison) == plots_of(comparison)


def test_a_plot_is_svg_whose_text_is_text_with_a_title_and_no_date(comparison: Comparison) -> None:
    for svg in plots_of(comparison).values():
        root = ElementTree.fromstring(svg)
        words = list(root.iter("{http://www.w3.org/2000/svg}text"))
        assert len(words) > 5
        assert root.find("{http://www.w3.org/2000/svg}title") is not None
        assert root.find("{http://www.w3.org/2000/svg}desc") is not None
        assert "dc:date" not in svg


def test_the_margins_plot_writes_every_margin(comparison: Comparison) -> None:
    svg = plots_of(comparison)["margins"]

    for variant in comparison.variants:
        for cell in variant.cells:
            assert f">{cell.margin * 100:.1f}<" in svg


def test_colours_of_the_areas_differ_in_lightness() -> None:
    from quoting.plots import BLUE, ORANGE, PALE

    def lightness(colour: str) -> float:
        red, green, blue = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
        return float(0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2)

    told = sorted(lightness(colour) for colour in (BLUE, ORANGE, PALE))
    assert all(later / earlier > 1.5 for earlier, later in itertools.pairwise(told))


# The report


def test_the_report_says_whom_it_is_for_on_every_page(comparison: Comparison, pango: None) -> None:
    import pypdfium2

    from quoting.documents.comparison_pdf import comparison_pdf

    pdf = pypdfium2.PdfDocument(comparison_pdf(comparison))
    pages = [page.get_textpage().get_text_range() for page in pdf]

    assert len(pages) == 3
    assert all("For the owner, not for the client" in page for page in pages)
    assert "257.04" in pages[1] or f"{comparison.variants[0].cells[0].cost}" in pages[1]
