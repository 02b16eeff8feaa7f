"""One reader for card, job and API: typed structs out, or every fault at once by its path, and no other error."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quoting import InputError, Job, JobError, RateCard, load_job, read_job
from quoting.errors import Fault
from quoting.rate_card import rate_card_from
from quoting.reader import convert, from_json, json_data, to_json, toml_data
from tests.conftest import SHOPS, demo_job_path, demo_jobs

PLATE = {"kind": "plate", "supplier": "estuary", "size": "60 x 40 mm", "share_inked": "10 %"}
SMALL_JOB: dict[str, Any] = {
    "format": 1,
    "title": "Cards",
    "client": {"name": "Isaura Penhale"},
    "quantities": [100],
    "items": [
        {
            "name": "Card",
            "stock": "cotton-600",
            "size": "127 x 178 mm",
            "front": {"impression": "deep", "colours": [{"ink": "black", "form": PLATE}]},
            "finishing": [{"kind": "scoring", "scores": 1}],
        }
    ],
}


def job_with(path: str, value: Any) -> dict[str, Any]:
    """The small job with one value changed: ``"items.0.size"``."""
    job = copy.deepcopy(SMALL_JOB)
    place: Any = job
    *ways, last = [int(way) if way.isdigit() else way for way in path.split(".")]
    for way in ways:
        place = place[way]
    place[last] = value
    return job


def faults_of(data: Any) -> tuple[Fault, ...]:
    with pytest.raises(JobError) as raised:
        read_job(data)
    return raised.value.faults


def test_the_small_job_is_a_job() -> None:
    assert convert(SMALL_JOB, Job) == read_job(SMALL_JOB)


def test_every_fault_is_told_at_once_by_its_path_with_what_was_expected_and_found() -> None:
    data = copy.deepcopy(SMALL_JOB)
    del data["title"]
    data["quantities"] = [0, "many", 200]
    data["colour"] = "red"
    data["client"]["address"] = "11 Gull Street"
    item = data["items"][0]
    item["size"] = "127 by 178 mm"
    item["front"]["colours"][0]["form"] = {**PLATE, "share_inked": 0.1, "supplier": ""}
    item["front"]["colours"].append({"ink": "black"})
    item["finishing"].append({"kind": "gilding"})

    assert {
        "$.title": ("text", "nothing"),
        "$.quantities[0]": ("int >= 1", "0"),
        "$.quantities[1]": ("int", "'many'"),
        "$.colour": (
            "one of " + ", ".join(sorted(Job.__struct_fields__)),
            "a key that is not known",
        ),
        "$.client.address": ("a list", "'11 Gull Street'"),
        "$.items[0].size": ("width and height such as '26 x 40 in'", "'127 by 178 mm'"),
        "$.items[0].front.colours[0].form.share_inked": ("it in quotes, such as '2.5 (1.5-5) %'", "0.1"),
        "$.items[0].front.colours[0].form.supplier": ("str of length >= 1", "''"),
        "$.items[0].front.colours[1].form": ("a value", "nothing"),
        "$.items[0].finishing[1].kind": (
            "one of addressing, banding, boxing, corner rounding, die-cutting, drilling, duplexing, edge painting, "
            "envelope lining, foiling, folding, numbering, perforating, ribbon tying, scoring, wax sealing",
            "'gilding'",
        ),
    } == {fault.where: (fault.expected, fault.found) for fault in faults_of(data)}


def test_the_message_counts_the_faults_and_has_a_line_for_each() -> None:
    with pytest.raises(JobError) as raised:
        read_job({**SMALL_JOB, "title": 5, "rush": "yes"})

    head, *lines = str(raised.value).splitlines()
    assert head == "job: 2 faults"
    assert lines == ["  $.title: expected str; found 5", "  $.rush: expected bool; found 'yes'"]


@pytest.mark.parametrize("data", [None, [], 3, "job", True, Decimal("NaN")], ids=repr)
def test_what_is_no_table_is_one_fault(data: Any) -> None:
    assert [(fault.where, fault.expected) for fault in faults_of(data)] == [("$", "a table")]


def test_an_empty_table_lacks_every_key_that_is_needed() -> None:
    assert [fault.where for fault in faults_of({}) if fault.found == "nothing"] == [
        "$.format",
        "$.title",
        "$.client",
        "$.quantities",
        "$.items",
    ]


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        ("surprise", 1, "$.surprise"),
        ("client.nickname", "Issy", "$.client.nickname"),
        ("items.0.front.colours.0.form.thickness", "1 mm", "$.items[0].front.colours[0].form.thickness"),
        ("items.0.finishing.0.folds", 1, "$.items[0].finishing[0].folds"),
    ],
)
def test_a_key_that_is_not_known_is_told_with_those_that_are(path: str, value: Any, where: str) -> None:
    (fault,) = faults_of(job_with(path, value))

    assert (where, "a key that is not known") == (fault.where, fault.found)
    assert fault.expected.startswith("one of ")


@pytest.mark.parametrize(
    ("value", "where", "found"),
    [
        ({"kind": "stamp"}, "$.items[0].front.colours[0].form.kind", "'stamp'"),
        ({}, "$.items[0].front.colours[0].form.kind", "nothing"),
        ({"kind": None}, "$.items[0].front.colours[0].form.kind", "nothing"),
        ({"kind": ["plate"]}, "$.items[0].front.colours[0].form.kind", "['plate']"),
        ({"kind": {}}, "$.items[0].front.colours[0].form.kind", "{}"),
        ("plate", "$.items[0].front.colours[0].form", "'plate'"),
        ([PLATE], "$.items[0].front.colours[0].form", None),
    ],
    ids=repr,
)
def test_a_kind_of_form_that_is_not_known_is_told_with_those_that_are(value: Any, where: str, found: str) -> None:
    (fault,) = faults_of(job_with("items.0.front.colours.0.form", value))

    assert fault.where == where
    assert found in (None, fault.found)
    if where.endswith("kind"):
        assert fault.expected == "one of client's plate, hand-set, plate, same as last time, standing type"
    else:
        assert fault.expected == "a table"


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("quantities", [], "at least 1 entries"),
        ("quantities", list(range(1, 22)), "at most 20 entries"),
        ("items", [], "at least 1 entries"),
        ("quantities", {"first": 100}, "a list"),
        ("quantities", 100, "a list"),
        ("items", {}, "a list"),
        ("client", [], "a table"),
        ("client", "Isaura", "a table"),
    ],
)
def test_lists_and_tables_are_told_apart_and_counted(path: str, value: Any, expected: str) -> None:
    (fault,) = faults_of(job_with(path, value))

    assert (f"$.{path}", expected) == (fault.where, fault.expected)


@pytest.mark.parametrize(
    ("path", "value", "where", "said"),
    [
        ("quantities", [100, 100], "$", "each quantity once; found [100, 100]"),
        ("items.0.parts", [{"name": "a", "stock": "b", "size": "1 mm"}], "$.items[0]", "found both"),
        ("items.0.stock", None, "$.items[0]", "either size and stock, or parts; found neither"),
        (
            "items.0.front.colours.0.form.share_inked",
            "0 %",
            "$.items[0].front.colours[0].form",
            "share_inked over 0 %; found 0 %",
        ),
        (
            "items.0.front.colours.0.form",
            {"kind": "hand-set"},
            "$.items[0].front.colours[0].form",
            "lines or text to set; found neither",
        ),
    ],
)
def test_what_a_table_says_of_itself_is_told_at_its_path(path: str, value: Any, where: str, said: str) -> None:
    (fault,) = faults_of(job_with(path, value))

    assert fault.where == where
    assert str(fault).endswith(said)


def test_what_two_tables_say_of_themselves_is_told_of_both() -> None:
    data = job_with("items.0.front.colours.0.form.share_inked", "0 %")
    data["items"].append({"name": "Nothing"})

    assert [fault.where for fault in faults_of(data)] == ["$.items[0].front.colours[0].form", "$.items[1]"]


@pytest.mark.parametrize(
    ("path", "value", "choices"),
    [
        ("count", "maybe", ("exact", "trade overs and unders")),
        ("items.0.front.impression", "hard", ("kiss", "visible", "deep")),
        ("items.0.shape", "oval", ("rectangular", "round", "die-cut")),
        ("items.0.front.colours.0.register", "tight", ("none", "loose", "close")),
    ],
)
def test_a_choice_that_is_none_is_told_the_choices(path: str, value: str, choices: tuple[str, ...]) -> None:
    (fault,) = faults_of(job_with(path, value))

    assert [choice for choice in choices if choice not in fault.expected] == []
    assert fault.found == repr(value)


@pytest.mark.parametrize("value", ["tomorrow", "2026-02-30", "25/11/2026"])
def test_a_day_that_is_none_is_told_how_days_are_written(value: str) -> None:
    (fault,) = faults_of({**SMALL_JOB, "needed_by": value})

    assert (fault.where, fault.expected) == ("$.needed_by", "a day such as 2026-11-25")


@pytest.mark.parametrize("format_number", [2, 0, "1", True, Decimal("1.0"), None, [1]], ids=repr)
def test_a_job_of_another_format_is_refused(format_number: Any) -> None:
    assert "$.format" in {fault.where for fault in faults_of({**SMALL_JOB, "format": format_number})}


@pytest.mark.parametrize(
    "text",
    [
        b"\xff\xfe{\x00}\x00",
        b'{"title": "\xff"}',
        b'{"title": "\xc0\xaf"}',
        b'{"title": "\xed\xa0\x80"}',
        b"\xef\xbb\xbf{}",
        '{"title": "\\ud800"}',
        "",
        "{",
        "{}{}",
        '{"format": NaN}',
        '{"format": Infinity}',
        '{"format": 01}',
        '{"format": +1}',
        '{"format": 1_000}',
        '{"format": 0x10}',
        '{"format": ١٢}',
        "{'format': 1}",
        "[" * 100_000 + "]" * 100_000,
        '{"surprise":' * 100_000 + "1" + "}" * 100_000,
        '{"format": ' + "9" * 5_000 + "}",
    ],
    ids=lambda text: repr(text)[:24],
)
def test_what_is_no_json_is_one_fault(text: bytes | str) -> None:
    with pytest.raises(InputError) as raised:
        from_json(text, Job)

    (fault,) = raised.value.faults
    assert (fault.where, fault.expected) == ("$", "JSON text")


def nested(depth: int) -> Iterator[Callable[[], Any]]:
    """The same depth as lists and as tables of JSON, where a table, a number and a size are due."""
    lists, tables = "[" * depth + "]" * depth, '{"a":' * depth + "1" + "}" * depth
    yield lambda: from_json(lists, Job)
    yield lambda: from_json(f'{{"format": {tables}}}', Job)
    yield lambda: from_json(f'{{"items": [{{"size": {lists}}}]}}', Job)
    yield lambda: rate_card_from(json_data(f'{{"format": 1, "card": {lists}}}'))


def is_refused(read: Callable[[], Any]) -> bool:
    try:
        read()
    except InputError:
        return True
    except RecursionError:
        return False
    return False


# The interpreter's limit stands at 1,000 levels: the stretch before it is walked step by step.
def test_nesting_of_any_depth_is_a_fault_and_never_another_error() -> None:
    depths = (1, 10, 100, 500, *range(800, 1_010, 2), 100_000)

    others = [(depth, way) for depth in depths for way, read in enumerate(nested(depth)) if not is_refused(read)]

    assert others == []


@pytest.mark.parametrize("depth", [10, 100, *range(400, 500, 10), 100_000])
def test_lists_of_toml_of_any_depth_are_a_fault(depth: int) -> None:
    with pytest.raises(InputError, match="expected "):
        read_job(toml_data(f"format = {'[' * depth}{']' * depth}"))


@pytest.mark.parametrize(
    "number",
    [
        "1e999999",
        "1e999999999999999999",
        "1e9999999999999999999",
        "1e-9999999999999999999",
        "-1e-400",
        "1.5",
        "1." + "9" * 5_000,
    ],
    ids=lambda number: number[:24],
)
def test_a_number_of_any_size_with_a_point_is_a_fault_and_never_another_error(number: str) -> None:
    reads: list[Callable[[], Any]] = [
        lambda: from_json(f'{{"format": {number}}}', Job),
        lambda: read_job(toml_data(f"format = {number}")),
        lambda: read_job(toml_data(f'[[items]]\nname = "a"\nsize = {number}')),
    ]
    for read in reads:
        with pytest.raises(InputError, match="expected "):
            read()


@pytest.mark.parametrize("digits", [20, 3_000, 5_000])
def test_a_whole_number_of_any_size_is_a_fault_and_never_another_error(digits: int) -> None:
    number = 16**digits
    for data in (
        job_with("quantities", [number]),
        job_with("quantities", [-number]),
        job_with("format", number),
        job_with("items.0.size", number),
        job_with("title", number),
        toml_data(f"format = 0x{'f' * digits}"),
    ):
        assert faults_of(data)


@pytest.mark.parametrize("path", ["format", "quantities.0", "title", "items.0.size", "count"])
def test_a_fault_does_not_repeat_thousands_of_characters(path: str) -> None:
    for value in (10**4_000, "9" * 4_000):
        with pytest.raises(JobError) as raised:
            read_job(job_with(path, value))

        assert len(str(raised.value)) < 500


@pytest.mark.parametrize(
    "text", ["format = ", "format = 1\nformat = 1", "= 1", "[items", "\ufefformat = 1", 'a = "\\ud800"']
)
def test_toml_that_is_none_is_told_with_its_file(text: str, tmp_path: Path) -> None:
    path = tmp_path / "posters.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(JobError) as raised:
        load_job(path)

    (fault,) = raised.value.faults
    assert (fault.file, fault.where, fault.expected) == ("posters.toml", "$", "TOML text")


def test_a_faults_file_stands_before_its_path(tmp_path: Path) -> None:
    path = tmp_path / "posters.json"
    path.write_text(json.dumps({**SMALL_JOB, "rush": 1}), encoding="utf-8")

    with pytest.raises(JobError, match=r"posters\.json: \$\.rush: expected bool; found 1"):
        load_job(path)


@pytest.mark.parametrize(
    "make", [lambda path: path.mkdir(), lambda path: path.write_bytes(b"\xff"), lambda path: None]
)
def test_a_file_that_cannot_be_read_is_a_fault(make: Callable[[Path], Any], tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    make(path)

    with pytest.raises(JobError, match=r"job\.toml: \$: expected a readable job file"):
        load_job(path)


def test_toml_over_four_megabytes_is_refused_unread() -> None:
    with pytest.raises(InputError, match="expected at most 4000000 characters; found 4000001"):
        toml_data("#" * 4_000_001)


def test_a_job_of_json_is_the_same_as_of_toml(tmp_path: Path) -> None:
    job = load_job(demo_job_path("marrowby-lane", "coasters"))
    path = tmp_path / "coasters.json"
    path.write_bytes(to_json(job, indent=2))

    assert job == load_job(path)


@pytest.mark.parametrize(("shop", "name"), demo_jobs())
def test_a_demo_job_comes_back_from_json_as_it_was(shop: str, name: str, jobs: dict[tuple[str, str], Job]) -> None:
    job = jobs[shop, name]

    back = from_json(to_json(job), Job)

    assert job == back
    assert to_json(job) == to_json(back)


@pytest.mark.parametrize("shop", SHOPS)
def test_a_demo_card_comes_back_from_json_as_it_was(shop: str, cards: dict[str, RateCard]) -> None:
    card = cards[shop]

    back = rate_card_from(json_data(to_json(card, indent=2)))

    assert card == back
    assert to_json(card) == to_json(back)


NUMBERS = st.integers() | st.integers(-(2**70), 2**70) | st.decimals(allow_nan=True, allow_infinity=True)
LEAVES = st.none() | st.booleans() | NUMBERS | st.text(max_size=20) | st.dates() | st.datetimes()
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
KEYS = st.sampled_from(
    ["format", "title", "client", "quantities", "items", "name", "kind", "size", "parts", "front", "colours", "form"]
)
NEAR = st.recursive(
    LEAVES | st.sampled_from(["plate", "hand-set", "scoring", "10 x 10 mm", "5 %", "deep", "exact"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=6),
    max_leaves=16,
)


def places_in(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of plain data, by keys and numbers."""
    yield path
    if isinstance(data, dict):
        for key, value in data.items():
            yield from places_in(value, (*path, key))
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from places_in(value, (*path, number))


def changed(data: Any, path: tuple[Any, ...], value: Any) -> Any:
    if not path:
        return value
    data = copy.copy(data)
    data[path[0]] = changed(data[path[0]], path[1:], value)
    return data


def is_a_job_or_faults(data: Any) -> bool:
    """Whether data end as a job, or as at least one fault with its path; anything else is raised."""
    try:
        return isinstance(read_job(data), Job)
    except JobError as error:
        return bool(error.faults) and all(fault.where.startswith("$") for fault in error.faults)


@given(data=ANYTHING | NEAR)
def test_anything_is_a_job_or_faults(data: Any) -> None:
    assert is_a_job_or_faults(data)


@given(chance=st.data())
@pytest.mark.parametrize("name", ["coasters", "invitation"])
def test_a_demo_job_with_anything_in_it_is_a_job_or_faults(name: str, chance: st.DataObject) -> None:
    data = json_data(to_json(load_job(demo_job_path("marrowby-lane", name))))
    for _ in range(chance.draw(st.integers(1, 3))):
        data = changed(data, chance.draw(st.sampled_from(list(places_in(data)))), chance.draw(ANYTHING | NEAR))

    assert is_a_job_or_faults(data)


@given(text=st.binary(max_size=60) | st.text('{}[]":,0123456789.eE+-ntrufalse \\', max_size=40))
def test_any_bytes_are_a_job_or_faults(text: bytes | str) -> None:
    with pytest.raises(InputError) as raised:
        from_json(text, Job)

    assert raised.value.faults
