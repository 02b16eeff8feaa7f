"""Sorts against naive counts."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting import InputError
from quoting.wording import characters_of, greatest_number_up, settings_of, shortages
from quoting.wording.sorts import as_sorts
from tests.wording import fount_of

LETTERS = "abcd"
counts = st.dictionaries(st.sampled_from(LETTERS), st.integers(0, 9), min_size=1)


@given(text=st.text(LETTERS + " ", max_size=40), scheme=counts, up=st.integers(1, 5))
def test_what_is_short_is_what_a_naive_count_finds(text: str, scheme: dict[str, int], up: int) -> None:
    fount = fount_of(scheme=scheme)
    wanted = Counter({one: count * up for one, count in characters_of(text, fount).items()})

    found = {short.sort: short.by for short in shortages(wanted, "Test", fount)}

    naive = {one: text.count(one) * up - scheme.get(one, 0) for one in LETTERS if one in text}
    assert {one: by for one, by in naive.items() if by > 0} == found


@given(text=st.text(LETTERS, min_size=1, max_size=20), scheme=counts)
def test_the_greatest_number_up_is_what_trying_one_after_another_finds(text: str, scheme: dict[str, int]) -> None:
    tried = 0
    while all(text.count(one) * (tried + 1) <= scheme.get(one, 0) for one in set(text)):
        tried += 1

    assert tried == greatest_number_up(characters_of(text, fount_of()), fount_of(scheme=scheme))


@given(lines=st.lists(st.text(LETTERS, min_size=1, max_size=6), min_size=1, max_size=8), scheme=counts)
def test_settings_keep_the_order_and_each_goes_into_the_case(lines: list[str], scheme: dict[str, int]) -> None:
    fount = fount_of(scheme=scheme)
    kept = [as_sorts({"t": Counter(line)}) for line in lines]

    found = settings_of(kept, {"t": fount})

    alone = all(line.count(one) <= scheme.get(one, 0) for line in lines for one in line)
    assert alone == (found is not None)
    for group in found or ():
        together = "".join(lines[place] for place in group)
        assert all(together.count(one) <= scheme.get(one, 0) for one in together)
    assert [place for group in found or () for place in group] == (list(range(len(lines))) if alone else [])


@given(lines=st.lists(st.text("ab", min_size=1, max_size=4), min_size=1, max_size=6), a=st.integers(4, 8))
def test_there_are_no_fewer_settings_in_that_order(lines: list[str], a: int) -> None:
    """Against every way to part the lines, in their order, by brute force."""
    scheme = {"a": a, "b": 4}
    found = settings_of([as_sorts({"t": Counter(line)}) for line in lines], {"t": fount_of(scheme=scheme)})

    least = len(lines)
    for cuts in range(1 << (len(lines) - 1)):
        groups = [lines[0]]
        for place, line in enumerate(lines[1:]):
            groups[-1:] = [groups[-1], line] if cuts >> place & 1 else [groups[-1] + line]
        if all(group.count(one) <= scheme[one] for group in groups for one in "ab"):
            least = min(least, len(groups))
    assert found is not None
    assert least == len(found)


def test_damaged_letters_are_deducted() -> None:
    fount = fount_of(scheme={"e": 5}, damaged={"e": 2})

    assert [str(short) for short in shortages({"e": 4}, "Test", fount)] == ["e by 1"]


def test_more_damaged_than_owned_is_refused() -> None:
    with pytest.raises(InputError, match="more of e"):
        fount_of(scheme={"e": 1}, damaged={"e": 2})


def test_ligatures_are_counted_and_where_they_run_out_letters_are_set() -> None:
    fount = fount_of(ligatures=["ffi", "fi"], scheme={"fi": 1, "f": 2, "i": 1, "o": 3, "c": 1, "e": 1})

    assert Counter({"o": 1, "ffi": 1, "c": 1, "e": 1}) == characters_of("office", fount)
    assert list(shortages(characters_of("office", fount), "Test", fount)) == []
    assert [str(short) for short in shortages({"fi": 2, "ffi": 1}, "Test", fount)] == ["f by 1", "i by 1"]


def test_a_letterspaced_word_has_no_ligatures() -> None:
    assert Counter("fin") == characters_of("fin", fount_of(ligatures=["fi"]), letterspaced=True)


def test_an_accent_is_a_sort_of_its_own_however_it_is_encoded() -> None:
    composed, apart = "\u00e9t\u00e9", "e\u0301te\u0301"

    assert characters_of(composed, fount_of()) == characters_of(apart, fount_of()) == Counter({"é": 2, "t": 1})


def test_what_could_stand_in_is_told_and_does_so_only_where_it_may() -> None:
    fount = fount_of(scheme={"A": 1, "small capital A": 2}, alternates={"A": ["small capital A"]})

    told = shortages({"A": 3}, "Test", fount)

    assert [str(short) for short in told] == ["A by 2 (2 of small capital A could stand in)"]
    assert shortages({"A": 3}, "Test", fount, stand_ins=True) == ()
    assert (greatest_number_up({"A": 1}, fount), greatest_number_up({"A": 1}, fount, stand_ins=True)) == (1, 3)


def test_one_stand_in_does_not_stand_for_two() -> None:
    fount = fount_of(scheme={"A": 0, "B": 0, "x": 1}, alternates={"A": ["x"], "B": ["x"]})

    assert len(shortages({"A": 1, "B": 1}, "Test", fount, stand_ins=True)) == 1


def test_spaces_count_where_the_scheme_counts_them() -> None:
    wanted = {"a": 1, "em quad": 3, "en quad": 1}

    assert [one.sort for one in shortages(wanted, "Test", fount_of(scheme={"a": 1, "em quad": 2}))] == ["em quad"]


def test_a_fount_without_a_scheme_is_never_short() -> None:
    assert (greatest_number_up({"a": 9}, fount_of()), shortages({"a": 9}, "Test", fount_of())) == (None, ())
