"""A job whose forms name their artwork: what is measured stands in, what is told wins, a heavy solid is refused."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from quoting import Job, RateCard, estimate_job, load_job, read_job
from quoting.artwork import measure_artwork
from quoting.artwork_asks import what_artwork_asks
from quoting.docket import docket_for
from quoting.documents.docket import docket_page
from quoting.errors import ArtworkToolError, JobError, NotOfferedError
from quoting.job import MeasuredForm
from quoting.job_artwork import artwork_told
from quoting.reader import from_json, to_json
from tests.artwork.drawn import circle, letters, pdf_of, rule
from tests.conftest import DAY

MM = 72 / 25.4
PIECE = (105 * MM, 148 * MM)
Written = Callable[..., Path]


def card_artwork() -> bytes:
    """A card with a line of letters over a disc of 40 mm."""
    outlines, _ = letters("Come to supper", 40, 300, 34)
    return pdf_of("0 g " + outlines + circle(150, 120, 20 * MM), size=PIECE)


def solid(width_mm: float, height_mm: float, *, page: tuple[float, float] = PIECE) -> bytes:
    return pdf_of("0 g " + rule(10 * MM, 10 * MM, width_mm * MM, height_mm * MM), size=page)


@pytest.fixture
def written(tmp_path: Path) -> Written:
    """A job file with one plate, whose form has such keys; files beside it."""

    def write(form: str, *, size: str = "105 x 148 mm", quantity: int = 100, **files: bytes) -> Path:
        for name, content in files.items():
            (tmp_path / name.replace("_", ".")).write_bytes(content)
        path = tmp_path / "job.toml"
        path.write_text(
            f'format = 1\ntitle = "Cards"\nquantities = [{quantity}]\nclient = {{ name = "Linnet Ashdown" }}\n'
            f'needed_by = 2027-05-01\n[[items]]\nname = "Card"\nsize = "{size}"\nstock = "cotton-600"\n'
            '[items.front]\nimpression = "deep"\n[[items.front.colours]]\nink = "black"\n'
            f'form = {{ kind = "plate", supplier = "estuary", {form} }}\n'
        )
        return path

    return write


def only_form(job: Job) -> MeasuredForm:
    assert job.items[0].front is not None
    form = job.items[0].front.colours[0].form
    assert isinstance(form, MeasuredForm)
    return form


def test_what_is_measured_stands_in_for_what_is_not_told(written: Written) -> None:
    job = load_job(written('artwork_file = "front.pdf"', front_pdf=card_artwork()))
    form, found = only_form(job), measure_artwork(card_artwork(), "front.pdf").forms[0]

    assert form.measured == found
    assert (form.size, form.share_inked, form.bleed) == (found.size, found.share_inked, False)


def test_what_is_told_wins_figure_by_figure_and_is_pointed_out(written: Written, cards: dict[str, RateCard]) -> None:
    told = 'artwork_file = "front.pdf", share_inked = "60 %"'
    job = load_job(written(told, front_pdf=card_artwork()))
    form = only_form(job)
    assert form.measured is not None

    assert (form.size, form.share_inked.written) == (form.measured.size, "60 %")
    warnings = estimate_job(job, cards["marrowby-lane"], on=DAY).options[0].warnings
    assert any("60 % inked is told, front.pdf measures" in warning for warning in warnings)
    assert any("60 %, as told" in line for line in artwork_told(job))


def test_measured_and_told_alike_price_alike(written: Written, cards: dict[str, RateCard]) -> None:
    measured = load_job(written('artwork_file = "front.pdf"', front_pdf=card_artwork()))
    form = only_form(measured)
    told = load_job(written(f'size = "{form.size}", share_inked = "{form.share_inked.written}"'))
    prices = [estimate_job(job, cards["marrowby-lane"], on=DAY).options[0].price for job in (measured, told)]

    assert prices[0] == prices[1]


def test_a_job_keeps_what_was_measured_where_there_is_no_file(written: Written, cards: dict[str, RateCard]) -> None:
    job = load_job(written('artwork_file = "front.pdf"', front_pdf=card_artwork()))

    again = from_json(to_json(job), Job)

    assert again == job
    assert estimate_job(again, cards["marrowby-lane"], on=DAY) == estimate_job(job, cards["marrowby-lane"], on=DAY)


def test_a_page_that_is_the_piece_and_runs_to_its_edge_bleeds(written: Written) -> None:
    whole = pdf_of("0 g " + rule(0, 0, *PIECE), size=PIECE)
    close = pdf_of("0 g " + rule(0, 0, 90, 90), size=(90, 90))

    assert only_form(load_job(written('artwork_file = "a.pdf"', a_pdf=whole))).bleed
    assert not only_form(load_job(written('artwork_file = "a.pdf"', a_pdf=close))).bleed
    assert not only_form(load_job(written('artwork_file = "a.pdf", bleed = false', a_pdf=whole))).bleed


def test_a_page_larger_than_the_piece_is_pointed_out(written: Written, cards: dict[str, RateCard]) -> None:
    large = solid(30, 30, page=(200 * MM, 200 * MM))
    job = load_job(written('artwork_file = "a.pdf"', a_pdf=large))

    warnings = estimate_job(job, cards["marrowby-lane"], on=DAY).options[0].warnings

    assert "Card, front, black: the page of a.pdf is 200 x 200 mm, larger than the piece, 105 x 148 mm" in str(
        warnings
    )


SPOTS = "/S0 cs 1 scn " + circle(100, 300, 30) + "/S1 cs 1 scn " + circle(150, 120, 40)


def test_a_separation_is_named_where_there_are_several(written: Written, ghostscript: str) -> None:
    made = pdf_of(SPOTS, spots=["Crimson", "Moss"], size=PIECE)
    job = load_job(written('artwork_file = "a.pdf", artwork_separation = "Moss"', a_pdf=made))

    assert only_form(job).measured == measure_artwork(made, "a.pdf").forms[1]
    with pytest.raises(JobError) as refused:
        load_job(written('artwork_file = "a.pdf"', a_pdf=made))
    assert "name one form of a.pdf: page 1, Crimson; page 1, Moss; found 2 of page 1" in str(refused.value)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("../front.pdf", "a PDF, PNG or TIFF in the job file's own folder"),
        ("/etc/passwd", "a PDF, PNG or TIFF in the job file's own folder"),
        ("link.pdf", "a PDF, PNG or TIFF in the job file's own folder"),
        ("nowhere.pdf", "a PDF, PNG or TIFF in the job file's own folder"),
        ("job.toml", "a file that begins as a PDF, a PNG or a TIFF"),
        ("front.png", "a name that ends in .pdf"),
    ],
)
def test_a_file_out_of_the_folder_or_of_another_kind_is_refused(
    written: Written, tmp_path: Path, name: str, expected: str
) -> None:
    outside = tmp_path.parent / "front.pdf"
    outside.write_bytes(card_artwork())
    (tmp_path / "link.pdf").symlink_to(outside)

    with pytest.raises(JobError) as refused:
        load_job(written(f'artwork_file = "{name}"', front_png=card_artwork()))

    assert len(refused.value.faults) == 1
    fault = refused.value.faults[0]
    assert (fault.where, fault.file) == ("$.items[0].front.colours[0].form.artwork_file", "job.toml")
    assert fault.expected.startswith(expected)


def test_a_name_alone_measures_nothing_where_there_is_no_folder() -> None:
    form = {"kind": "plate", "supplier": "estuary", "artwork_file": "front.pdf"}
    data: dict[str, Any] = {
        "format": 1,
        "title": "Cards",
        "quantities": [100],
        "client": {"name": "Linnet Ashdown"},
        "items": [
            {"name": "Card", "size": "90 x 55 mm", "stock": "cotton-600", "front": {"colours": [{"form": form}]}}
        ],
    }

    with pytest.raises(JobError, match=r"form\.size: expected a size such as .*; found nothing"):
        read_job(data)


def test_a_small_press_refuses_a_heavy_solid_with_the_reason(written: Written, cards: dict[str, RateCard]) -> None:
    # Force = area x the card's pressure for a deep impression on cotton, derived.
    card = cards["marrowby-lane"]
    made = solid(120, 160, page=(140 * MM, 190 * MM))
    job = load_job(written('artwork_file = "a.pdf"', a_pdf=made, size="140 x 190 mm", quantity=50))
    pressure = card.stock_classes[card.stocks["cotton-600"].stock_class].pressure["deep"]
    force = Decimal(120 * 160) * pressure
    able = {press.name for press in card.presses.values() if press.greatest_force >= force}
    unable = {press.name for press in card.presses.values()} - able
    option = estimate_job(job, card, on=DAY).options[0]

    refusals = option.refusals["Card"]
    told = [reason for way, reason in refusals.items() if any(way.startswith(name) for name in unable)]
    assert unable
    assert any("kN of impression, over the" in reason for reason in told)
    assert any("its largest solid is 19" in reason and "by a.pdf" in reason for reason in told)
    assert card.presses[option.parts[0].plan.press].name in able


def test_the_docket_shows_the_form_and_its_figures(written: Written, cards: dict[str, RateCard]) -> None:
    job = load_job(written('artwork_file = "front.pdf"', front_pdf=card_artwork()))
    docket = docket_for(estimate_job(job, cards["marrowby-lane"], on=DAY), cards["marrowby-lane"])
    shown = docket.passes[0].artwork
    assert shown is not None

    page = docket_page(docket)

    assert shown.lines[0] == "front.pdf, page 1"
    assert page.pictures == {"pass-1.png": shown.png}
    assert '<img src="picture:pass-1.png" alt="The form, small: front.pdf">' in page.html
    assert shown.png.startswith(b"\x89PNG")


def test_what_artwork_asks_is_what_the_plan_pays_for(written: Written, cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    job = load_job(written('artwork_file = "front.pdf"', front_pdf=card_artwork()))
    option = estimate_job(job, card, on=DAY).options[0]
    work, form = option.parts[0].plan.passes[0], option.parts[0].plan.forms[0]
    asks = what_artwork_asks(
        measure_artwork(card_artwork(), "front.pdf"), card, stock="cotton-600", ink="black", impression="deep"
    )
    mine = asks.forms[0]

    assert (mine.plate_width_mm, mine.plate_height_mm) == (form.plate_width_mm, form.plate_height_mm)
    assert {one.force_n * option.parts[0].plan.copies for one in mine.presses} == {work.force_n}
    assert asks.order.area_mm2 == mine.plate_width_mm * mine.plate_height_mm
    assert mine.difficulty.startswith("hard" if mine.form.thinnest_positive is not None else "a heavy solid")


def test_plates_of_one_file_are_one_order(cards: dict[str, RateCard]) -> None:
    card = cards["marrowby-lane"]
    one = measure_artwork(solid(30, 30), "a.pdf")
    both = measure_artwork(pdf_of(*("0 g " + rule(30, 30, 30 * MM, 30 * MM) for _ in range(2)), size=PIECE), "a.pdf")
    costs = [what_artwork_asks(found, card, stock="cotton-600").order.cost for found in (one, both)]

    assert costs[1] < 2 * costs[0]  # base charge, least charge and carriage once


def test_a_name_that_the_card_lacks_is_told(cards: dict[str, RateCard]) -> None:
    found = measure_artwork(solid(30, 30), "a.pdf")

    with pytest.raises(NotOfferedError, match="stock: expected one of"):
        what_artwork_asks(found, cards["marrowby-lane"], stock="vellum")


def test_what_cannot_be_measured_now_is_no_fault_of_the_job(
    written: Written, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from quoting.artwork import measuring

    monkeypatch.setattr(measuring, "_PROGRAMS", str(tmp_path))
    made = pdf_of(SPOTS, spots=["Crimson", "Moss"], size=PIECE)

    with pytest.raises(ArtworkToolError):
        load_job(written('artwork_file = "a.pdf"', a_pdf=made))
