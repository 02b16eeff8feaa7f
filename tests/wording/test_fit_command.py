"""`quoting fit`: a wording, a fount and a measure, on the command line."""

from __future__ import annotations

import json
from pathlib import Path

from tests.test_command_line import run
from tests.wording.test_copyfitting import LINCOLN

CARD = ("--card", "rate_cards_demo/marrowby-lane/card")
TEXT = ("fit", LINCOLN, *CARD, "--fount", "ropewalk-10", "--measure", "18 picas")


def test_a_person_sees_lines_depth_sorts_time_and_spaces() -> None:
    told = run(*TEXT, "--leading", "2 pt", "--piece", "100 x 60 mm", "--margins", "6 mm").stdout

    assert "30 words in 4 lines of 216 pt in Ropewalk Roman, 10 pt, leaded 2 pt: 46 pt deep" in told
    for said in ("It fits 100 x 60 mm", "Sorts: the case sets it 1 up", "Setting ", "Spaces and quads"):
        assert said in told


def test_a_shortage_tells_the_letters_the_settings_and_what_they_cost() -> None:
    told = run("fit", "a peck of pepper. " * 6, *CARD, "--fount", "ropewalk-10", "--measure", "10 picas").stdout

    assert "Sorts, 1 up: short of p by" in told
    assert "(set, print, distribute, set again)" in told


def test_a_fount_without_widths_says_what_was_taken() -> None:
    told = run("fit", "Quay Street", *CARD, "--fount", "wharf-12", "--measure", "10 picas").stdout

    assert "its mean character was taken" in told


def test_everything_is_told_to_a_machine() -> None:
    told = json.loads(run(*TEXT, "--up", "2", "--json").stdout)

    assert told["fitted"]["basis"] == "set widths"
    assert len(told["lines"]) == len(told["fitted"]["lines"]) == 4
    assert told["case"]["wanted"]["ropewalk-10"]["F"] == 2
    assert told["time"]["ems_an_hour"] == "450"


def test_a_wording_is_read_from_a_file(tmp_path: Path) -> None:
    words = tmp_path / "words.txt"
    words.write_text("One line.\nAnother line.\n", encoding="utf-8")

    told = json.loads(
        run("fit", "--from", str(words), *CARD, "--fount", "ropewalk-10", "--measure", "18 picas", "--json").stdout
    )

    assert [line["text"] for line in told["fitted"]["lines"]] == ["One line.", "Another line."]


def test_display_work_is_timed_by_form_line_and_letter_and_shown_with_its_arithmetic() -> None:
    words = ("fit", "TAP ROOM\nopen late", *CARD, "--fount", "tollhouse-24", "--measure", "30 picas", "--display")

    told = run(*words, "--letterspaced", "--borders", "1", "--heading", "wharf-18", "Quay Street").stdout

    # 10 + 3 x 2.5 + 25 x .10 + 4 + 2 x 2 + 20, 10 % and 30 % on it
    for said in (
        "25 letters × 0.1 min + 1 changes × 4 min + 2 letterspaced × 2 min + 1 borders",
        "67.2 min",
        "5 hair space",
    ):
        assert said in told


def test_bad_input_is_told_at_once() -> None:
    for words, said in (
        (("fit", "a", *CARD, "--fount", "nothing", "--measure", "10 picas"), "fount: expected one of"),
        (("fit", "a", *CARD, "--fount", "ropewalk-10", "--measure", "10"), "$.measure"),
        (("fit", "incomprehensible", *CARD, "--fount", "ropewalk-10", "--measure", "2 picas"), "line 1"),
        (("fit", "a", *CARD, "--fount", "ropewalk-10", "--measure", "0 pt"), "measure"),
        (("fit", "a\x07", *CARD, "--fount", "ropewalk-10", "--measure", "9 pt"), "found U+0007"),
        ((*TEXT, "--letterspaced"), "expected letterspacing of display work"),
        ((*TEXT, "--display"), "line 1: expected a line of at most 216 pt"),
        ((*TEXT, "--version", " "), "versions[0], wording: expected words to set"),
        ((*TEXT, "--heading", "nothing", "A"), "headings[0].fount: expected one of"),
        ((*TEXT, "--heading", "tollhouse-36", "MUCH TOO LONG FOR IT"), "heading 1: expected at most 216 pt"),
    ):
        done = run(*words)

        assert done.returncode == 4
        assert said in done.stderr
