"""`quoting artwork`, as it is called."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from quoting.artwork import measure_artwork
from quoting.places import packaged
from tests.artwork.drawn import bookplate, circle, pdf_of
from tests.conftest import demo_card_path

MADE = pdf_of("0 g " + circle(100, 100, 60))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "front.pdf"
    path.write_bytes(MADE)
    return path


def called(*words: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "quoting.cli", "artwork", *words], capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout, done.stderr


def test_it_tells_every_figure_of_every_form(file: Path) -> None:
    code, said, complained = called(str(file))
    form = measure_artwork(MADE, "front.pdf").forms[0]

    assert (code, complained) == (0, "")
    for expected in ("front.pdf: 1 form", str(form.size), "Share inked", "Largest solid", "2 mm or more", "black"):
        assert expected in said


def test_as_json_it_is_the_artwork_itself(file: Path) -> None:
    code, said, _ = called(str(file), "--json")

    assert code == 0
    assert json.loads(said)["content_hash"] == measure_artwork(MADE, "front.pdf").content_hash


def test_with_a_card_it_tells_plates_ink_and_presses(file: Path) -> None:
    card = str(demo_card_path("marrowby-lane"))
    code, said, complained = called(str(file), "--card", card, "--stock", "cotton-600", "--impression", "deep")

    assert (code, complained) == (0, "")
    for expected in ("Plates in one order", "Ink, 100 pulls", "kN", "% of its greatest", "a second hit is wise"):
        assert expected in said


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        (["{file}", "--card", "card"], 2, "expected --card and --stock together"),
        (["{file}.nowhere"], 9, "expected a file that can be read"),
        ([__file__], 9, "expected a file that begins as a PDF, a PNG or a TIFF"),
    ],
)
def test_a_wrong_call_and_a_wrong_file_are_told_apart(file: Path, words: list[str], code: int, expected: str) -> None:
    found, _, complained = called(*(word.replace("{file}", str(file)) for word in words))

    assert found == code
    assert expected in complained


def test_the_demos_artwork_is_what_is_drawn_here() -> None:
    assert (packaged("rate_cards_demo") / "marrowby-lane" / "artwork" / "bookplate.pdf").read_bytes() == bookplate()
