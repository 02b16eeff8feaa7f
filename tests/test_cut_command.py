"""`quoting cut`: how many out, on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.test_command_line import run


def counted(*words: str) -> int:
    """The count that the command tells a machine."""
    told: int = json.loads(run("cut", *words, "--json").stdout)["count"]
    return told


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        # N. Gray, Paper-Cutting Machines, UTA I/10, 1918; E. G. Gress, 1917 (B)
        (("24x38 in", "6 x 9 1/2 in"), 16),
        (("25x38 in", "4 3/4 x 6 1/4 in"), 32),
        (("20x25 in", "5 x 6 1/4 in"), 16),
        # Derived: mixed layouts that beat both grids
        (("20 x 26 in", "5 x 7 in"), 14),
        (("23 x 35 in", "8 1/2 x 12 in"), 6),
        # Derived: grain fixed, 11 x 13 pieces; and a common cut that a gutter takes away
        (("26x40 in", "3 1/2 x 2 in", "--grain", "long"), 143),
        (("26x40 in", "3 1/2 x 2 in", "--grain", "long", "--gutter", "1/8 in"), 132),
        # Derived: a mill edge, and a piece turned by its grain
        (("100 x 60 mm", "50 x 30 mm", "--trim", "1 mm"), 3),
        (("100 x 60 mm", "50 x 20 mm", "--grain", "short"), 5),
    ],
)
def test_the_count_is_the_trades(words: tuple[str, ...], expected: int) -> None:
    assert expected == counted(*words)


def test_a_person_sees_count_bound_and_drawing() -> None:
    lines = run("cut", "20 x 26 in", "5 x 7 in").stdout.splitlines()

    assert lines[0] == "14 out of 20 x 26 in, 5 x 7 in each"
    assert lines[1].startswith("No more than 14 can be cut; proved")
    assert any(line.startswith("┌") for line in lines)
    assert max(len(line) for line in lines) <= 100


def test_everything_is_told_to_a_machine() -> None:
    told = json.loads(run("cut", "20 x 26 in", "5 x 7 in", "--json").stdout)

    assert (told["count"], told["bound"], len(told["places"])) == (14, 14, 14)
    assert told["cuts"][0].keys() >= {"direction", "at_mm", "setting"}


def test_a_drawing_has_dimensions_cut_order_and_words_as_text(tmp_path: Path) -> None:
    drawing = tmp_path / "layout.svg"

    run("cut", "20 x 26 in", "5 x 7 in", "--svg", str(drawing))

    text = drawing.read_text()
    assert text.startswith("<svg")
    assert "<title" in text
    assert ">14<" in text


def test_a_list_of_sheets_and_pieces_is_read_from_a_file(tmp_path: Path) -> None:
    listed = tmp_path / "cuts.toml"
    cuts = (("24 x 38 in", "6 x 9 1/2 in"), ("20 x 26 in", "5 x 7 in"))
    listed.write_text("".join(f'[[cuts]]\nsheet = "{sheet}"\npiece = "{piece}"\n' for sheet, piece in cuts))

    told = json.loads(run("cut", "--from", str(listed), "--json").stdout)

    assert [one["count"] for one in told] == [16, 14]


def test_rounds_are_nested_where_a_web_is_told() -> None:
    told = json.loads(run("cut", "300 x 300 mm", "95 mm", "--round-web", "0 mm", "--json").stdout)

    assert (told["count"], len(told["centres_mm"])) == (9, 9)


# By hand: 100 mm squares of 95 mm rounds; a gripper of 101 mm takes a row of three away, a bleed of 3 mm wants
# 101 mm from centre to centre and 3 mm at each edge: 297 + 6 for three rows, nested three rows of two in 302.
@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("300 x 300 mm", "95 mm"), 9),
        (("300 x 300 mm", "95 mm", "--gripper", "101 mm"), 6),
        (("303 x 303 mm", "95 mm", "--bleed", "3 mm"), 9),
        (("302 x 302 mm", "95 mm", "--bleed", "3 mm"), 6),
    ],
)
def test_rounds_leave_the_gripper_and_the_bleed(words: tuple[str, ...], expected: int) -> None:
    assert expected == counted(*words, "--round-web", "5 mm")


def test_a_person_is_told_why_nothing_comes_out() -> None:
    assert "does not fit the sheet" in run("cut", "5 x 7 in", "8 x 9 in").stdout
    assert "a blade of 100 mm" in run("cut", "700 x 1000 mm", "100 x 150 mm", "--blade", "100 mm").stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("300 x 300 mm", "95 x 90 mm", "--round-web", "4 mm"), "a round piece"),
        (("300 x 300 mm", "95 mm", "--round-web", "4 mm", "--gutter", "2 mm"), "none beside round_web"),
        (("300 x 300 mm", "95 mm", "--round-web", "4 mm", "--trim", "150 mm"), "less than the sheet"),
        (("20 x 26 in", "0 x 7 in"), "$.piece"),
        (("20 x 26 in", "NaN"), "$.piece"),
        (("20 x 26 in", "5 x -7 in"), "$.piece"),
        (("20 x 26", "5 x 7 in"), "$.sheet"),
        (("20 x 26 in", "5 x 7 in", "--gutter", "30 in"), "gap"),
        (("5000 x 5000 mm", "1 x 1 mm"), "at most"),
    ],
)
def test_bad_input_is_told_at_once(words: tuple[str, ...], said: str) -> None:
    done = run("cut", *words)

    assert done.returncode == 4
    assert said in done.stderr


def test_a_piece_larger_than_the_sheet_gives_none() -> None:
    assert counted("5 x 7 in", "8 x 9 in") == 0
