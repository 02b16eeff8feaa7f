"""Spacing: every remainder filled exactly, with the fewest pieces."""

from __future__ import annotations

from itertools import combinations_with_replacement

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting import MeasureError
from quoting.wording import covered, spaced_line, spaces_of
from quoting.wording.spacing import Arranged, plain_points
from tests.wording import fount_of

BODIES = ["6 pt", "8 pt", "10 pt", "12 pt", "14 pt", "24 pt", "10 didot"]


def fewest_by_brute_force(most: int, widths: list[int]) -> dict[int, int]:
    """For every width up to ``most``: the least number of pieces, by trying all multisets of so many."""
    found = {0: 0}
    number = 0
    while len(found) <= most:
        number += 1
        for pieces in combinations_with_replacement(widths, number):
            found.setdefault(sum(pieces), number)
        found = {wide: many for wide, many in found.items() if wide <= most}
    return found


@pytest.mark.parametrize("body", BODIES)
def test_every_remainder_up_to_three_ems_is_filled_exactly_with_the_fewest_pieces(body: str) -> None:
    spaces = spaces_of(fount_of(body=body))
    three_ems = 3 * spaces["em quad"]
    expected = fewest_by_brute_force(three_ems, sorted(set(spaces.values())))

    pieces = [covered(wide, spaces) for wide in range(three_ems + 1)]

    assert list(range(three_ems + 1)) == [sum(spaces[name] for name in some) for some in pieces]
    assert [expected[wide] for wide in range(three_ems + 1)] == [len(some) for some in pieces]


def test_twelve_point_spaces_are_cast_to_the_half_point() -> None:
    expected = {
        "em quad": 24,
        "en quad": 12,
        "3-em space": 8,
        "4-em space": 6,
        "5-em space": 5,
        "hair space": 3,
        "one-point space": 2,
        "half-point space": 1,
    }

    assert expected == spaces_of(fount_of())


def test_the_cards_own_spaces_rule() -> None:
    assert spaces_of(fount_of(spaces={"3-em space": "3 1/2 pt"}))["3-em space"] == 7


@given(
    words=st.lists(st.text("aeiou", min_size=1, max_size=8), min_size=1, max_size=8),
    beyond=st.integers(0, 100),
    arranged=st.sampled_from(["justified", "centred", "left", "right"]),
)
def test_words_and_spaces_add_up_to_the_measure_to_the_half_point(
    words: list[str], beyond: int, arranged: Arranged
) -> None:
    fount, spaces = fount_of(), spaces_of(fount_of())
    set_words = 12 * sum(map(len, words))  # 6 pt a letter, in half points
    measure = set_words + 8 * (len(words) - 1) + beyond

    line = spaced_line(" ".join(words), fount, measure_half_points=measure, arranged=arranged)

    assert measure == set_words + sum(one.half_points for one in line.filled)
    assert all(one.half_points == sum(spaces[piece] for piece in one.pieces) for one in line.filled)


def test_a_justified_line_shares_its_white_within_half_a_point() -> None:
    line = spaced_line("a b c d", fount_of(), measure_half_points=48 + 50)

    assert [one.half_points for one in line.filled] == [17, 17, 16]


def test_a_centred_line_has_the_odd_half_point_after_it() -> None:
    line = spaced_line("aa", fount_of(), measure_half_points=24 + 11, arranged="centred")

    assert [(one.place, one.half_points) for one in line.filled] == [("before", 5), ("after", 6)]


def test_an_overfull_line_is_an_error_that_names_it() -> None:
    with pytest.raises(MeasureError, match=r"line 7: expected at most 20 1/2 pt of Test; found 24 pt: 'aaaa'"):
        spaced_line("aaaa", fount_of(), measure_half_points=41, where="line 7")


@pytest.mark.parametrize(("half_points", "told"), [(0, "0"), (1, "1/2"), (2, "1"), (41, "20 1/2")])
def test_half_points_are_told_as_a_compositor_says_them(half_points: int, told: str) -> None:
    assert told == plain_points(half_points)
