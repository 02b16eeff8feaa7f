"""Sorts against naive counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting import InputError
from quoting.wording import FountWidths, characters_of, greatest_number_up, letters_in, settings_of, shortages
from quoting.wording.sorts import as_sorts, fewest_settings, in_order, made_up
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


def most_served(needed: dict[str, int], case: dict[str, int], alternates: dict[str, list[str]]) -> int:
    """By trying for every single letter wanted everything that may serve it."""
    wanted = [sort for sort, count in needed.items() for _ in range(count)]
    best = 0
    for chosen in product(*[(None, sort, *alternates.get(sort, ())) for sort in wanted]):
        taken = Counter(one for one in chosen if one is not None)
        if all(count <= case.get(one, 0) for one, count in taken.items()):
            best = max(best, taken.total())
    return best


@given(
    needed=st.dictionaries(st.sampled_from("abc"), st.integers(1, 2), min_size=1),
    case=st.fixed_dictionaries(dict.fromkeys("abcx", st.integers(0, 2))),
    named=st.dictionaries(st.sampled_from("abc"), st.lists(st.sampled_from("abcx"), max_size=3, unique=True)),
)
def test_stand_ins_leave_as_few_wanting_as_any_way_to_share_them_out(
    needed: dict[str, int], case: dict[str, int], named: dict[str, list[str]]
) -> None:
    fount = fount_of(scheme=case, alternates=named)

    short = shortages(needed, "Test", fount, stand_ins=True)

    assert sum(needed.values()) - most_served(needed, case, named) == sum(one.by for one in short)


# By hand: x can serve A or B, y only A; taken for A, x would leave B wanting.
def test_a_stand_in_is_given_up_to_the_letter_that_has_nothing_else() -> None:
    fount = fount_of(scheme={"x": 1, "y": 1}, alternates={"A": ["x", "y"], "B": ["x"]})

    assert shortages({"A": 1, "B": 1}, "Test", fount, stand_ins=True) == ()


def fewest_by_brute_force(lines: list[str], most: dict[str, int]) -> int | None:
    """Over every way to put each line into one of as many settings as there are lines."""
    counts = [
        len(set(places))
        for places in product(range(len(lines)), repeat=len(lines))
        if all(
            sum(line.count(one) for line, mine in zip(lines, places, strict=True) if mine == place) <= most[one]
            for place in set(places)
            for one in most
        )
    ]
    return min(counts, default=None)


@given(
    lines=st.lists(st.text("ab", min_size=1, max_size=3), min_size=1, max_size=5),
    a=st.integers(2, 4),
    b=st.integers(2, 4),
)
def test_settings_are_the_fewest_of_every_order(lines: list[str], a: int, b: int) -> None:
    def goes_in(places: Sequence[int]) -> bool:
        together = "".join(lines[place] for place in places)
        return together.count("a") <= a and together.count("b") <= b

    found = fewest_settings(len(lines), goes_in)

    assert fewest_by_brute_force(lines, {"a": a, "b": b}) == (None if found is None else len(found))
    if found is not None:
        assert sorted(place for group in found for place in group) == list(range(len(lines)))
        assert all(map(goes_in, found))


# By hand, a case of five e: lines of 2, 2, 3 and 3 take three settings in their order, 2 + 3 and 2 + 3 take two;
# lines of 2, 3, 3 and 2 are two as they stand.
@pytest.mark.parametrize(
    ("es", "ordered", "fewest"),
    [
        ((2, 2, 3, 3), ((0, 1), (2,), (3,)), ((0, 2), (1, 3))),
        ((2, 3, 3, 2), ((0, 1), (2, 3)), ((0, 1), (2, 3))),
        ((2, 6), None, None),
    ],
)
def test_another_order_is_taken_only_where_it_saves_a_setting(
    es: tuple[int, ...], ordered: object, fewest: object
) -> None:
    def goes_in(places: Sequence[int]) -> bool:
        return sum(es[place] for place in places) <= 5

    assert (in_order(len(es), goes_in), fewest_settings(len(es), goes_in)) == (ordered, fewest)


def test_a_ligature_that_is_short_is_set_as_a_shorter_one() -> None:
    fount = fount_of(ligatures=["ffi", "ff"], scheme={"ffi": 0, "ff": 1, "f": 0, "i": 1})

    assert shortages(characters_of("ffi", fount), "Test", fount) == ()


# By hand, 12 pt: two em quads wanting are four en quads, or two en and three thick spaces, and so on.
def test_spaces_that_run_out_are_made_up_of_others() -> None:
    fount = fount_of(scheme={"em quad": 1, "en quad": 3, "3-em space": 3})

    assert made_up({"em quad": 3}, fount) == Counter({"em quad": 1, "en quad": 2, "3-em space": 3})
    assert shortages({"em quad": 3}, "Test", fount) == ()
    assert [str(one) for one in shortages({"em quad": 4}, "Test", fount)] == ["em quad by 1"]


@given(
    wanted=st.dictionaries(
        st.sampled_from(["em quad", "en quad", "3-em space", "one-point space"]), st.integers(0, 6)
    ),
    owned=st.fixed_dictionaries(
        dict.fromkeys(["em quad", "en quad", "3-em space", "4-em space", "one-point space"], st.integers(0, 8))
    ),
)
def test_spaces_made_up_fill_the_same_white_out_of_what_is_owned(
    wanted: dict[str, int], owned: dict[str, int]
) -> None:
    fount = fount_of(scheme=owned)
    wide = FountWidths(fount).spaces

    found = made_up(wanted, fount)

    assert sum(wide[one] * count for one, count in wanted.items()) == sum(
        wide[one] * count for one, count in found.items()
    )
    assert all(count <= max(owned[one], wanted.get(one, 0)) for one, count in found.items())


def test_spaces_that_the_card_names_itself_are_not_letters() -> None:
    fount = fount_of(scheme={"a": 1}, spaces={"2-em quad": "24 pt"})

    assert shortages({"a": 1, "2-em quad": 3}, "Test", fount) == ()


@pytest.mark.parametrize(
    ("text", "sorts"),
    [
        ("m\u0304a", ["m\u0304", "a"]),  # an accent that no single character holds
        ("co\u00adop", ["c", "o", "o", "p"]),  # a soft hyphen is no type
        ("f\u200ci", ["f", "i"]),  # a non-joiner keeps a ligature apart
        ("fi", ["fi"]),
        ("1\u00a0d", ["1", "3-em space", "d"]),
        ("1\u2003d", ["1", "em quad", "d"]),
    ],
)
def test_what_is_no_plain_letter_is_set_as_a_compositor_would(text: str, sorts: list[str]) -> None:
    assert sorts == FountWidths(fount_of(ligatures=["fi"])).sorts(text)


@pytest.mark.parametrize(("text", "letters"), [("e\u0301te\u0301", 3), ("été", 3), ("so\u00adft hy", 6), ("a b", 2)])
def test_letters_are_counted_alike_however_they_are_encoded(text: str, letters: int) -> None:
    assert letters == letters_in(text)
