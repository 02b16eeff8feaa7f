"""No numeric field of a file takes what only looks like a number: each is refused at its own path."""

from __future__ import annotations

import copy
import json
import re
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from typing import Any

import msgspec
import pytest
from msgspec import inspect

from quoting import InputError, Job, RateCard, read_job
from quoting.rate_card import rate_card_from
from quoting.reader import json_data, toml_data
from quoting.units import Measure, Size
from tests.conftest import SHOPS, demo_card_path, demo_job_path

Path = tuple[str | int, ...]

DOCUMENTS = (*(f"{shop}/card" for shop in SHOPS), "marrowby-lane/coasters", "pellam-hollow/invitation")

# Written as text, with and without the field's unit.
TEXTS = (
    "NaN",
    "sNaN",
    "-NaN",
    "Infinity",
    "-Infinity",
    "-0",
    "-1",
    "1e999999",
    "1E+999999999999999999",
    "1e-400",
    "1e3",
    "1_000",
    " 1 ",
    "+1",
    "1,000",
    "١٢",
    "１２",
    "½",
    "0x10",
    "9" * 4_000,
    "1." + "0" * 4_000,
    "",
)

# Written without quotes in TOML: no field takes them, a measure being text and a count being whole.
BARE = (
    "nan",
    "-inf",
    "1.5",
    "1.0",
    "-0.0",
    "1e999999",
    "1E+999999999999999999",
    "1e-400",
    "true",
    "[1]",
    "{ a = 1 }",
)

# Whole numbers that no count goes to; a measure wants its text.
WHOLE = ("-1", "1_000_000_000", "9223372036854775808", "9" * 4_000)


def read_toml(written: str) -> Any:
    return toml_data(f"value = {written}")["value"]


NUMBERS: dict[str, Any] = {f"bare {written[:24]}": read_toml(written) for written in (*BARE, *WHOLE)}
NUMBERS |= {f"text {written[:24]!r}": written for written in TEXTS}


@cache
def document(name: str) -> Any:
    """The data of a demo card or a demo job, as its files hold them."""
    shop, _, job = name.partition("/")
    if job != "card":
        return toml_data(demo_job_path(shop, job).read_text(encoding="utf-8"))
    tables: dict[str, Any] = {}
    for path in sorted(demo_card_path(shop).glob("*.toml")):
        tables |= toml_data(path.read_text(encoding="utf-8"))
    return tables


def kind_of(name: str) -> Any:
    return inspect.type_info(RateCard if name.endswith("/card") else Job)


def numeric_fields(data: Any, kind: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Each place of ``data`` that holds a measure, a size or a count, with its kind."""
    if isinstance(kind, inspect.UnionType):
        yield from numeric_fields(data, chosen(data, kind), path)
    elif isinstance(kind, inspect.StructType):
        types = {field.encode_name: field.type for field in kind.fields}
        for key, value in data.items():
            if key in types:
                yield from numeric_fields(value, types[key], (*path, key))
    elif isinstance(kind, inspect.DictType):
        for key, value in data.items():
            yield from numeric_fields(value, kind.value_type, (*path, key))
    elif isinstance(kind, inspect.VarTupleType):
        for place, value in enumerate(data):
            yield from numeric_fields(value, kind.item_type, (*path, place))
    elif is_numeric(kind):
        yield path, kind


def is_numeric(kind: Any) -> bool:
    """Whether a measure, a size or a whole number is due: a format's number is one too."""
    if isinstance(kind, inspect.LiteralType):
        return isinstance(kind.values[0], int)
    return isinstance(kind, (inspect.CustomType, inspect.IntType))


def chosen(data: Any, kind: inspect.UnionType) -> Any:
    """The kind of a union that its data are of: by tag, or the one that is not nothing."""
    others = [one for one in kind.types if not isinstance(one, inspect.NoneType)]
    tagged = [one for one in others if isinstance(one, inspect.StructType) and one.tag is not None]
    return next((one for one in tagged if one.tag == data[one.tag_field or "kind"]), others[0])


def written_out(path: Path) -> str:
    """A path as a fault tells it: a key that could be mistaken in it is quoted."""
    return "".join(_step(step) for step in path).removeprefix(".")


def _step(step: str | int) -> str:
    if isinstance(step, int):
        return f"[{step}]"
    return f".{step}" if re.fullmatch(r"[\w -]+", step) else f"[{json.dumps(step)}]"


def with_value(data: Any, path: Path, value: Any) -> Any:
    """``data`` with one value changed, nothing else copied."""
    if not path:
        return value
    data = copy.copy(data)
    data[path[0]] = with_value(data[path[0]], path[1:], value)
    return data


def faults_in(name: str, data: Any) -> set[str]:
    """Where a document is refused; empty where it is taken."""
    read = rate_card_from if name.endswith("/card") else read_job
    try:
        read(data)
    except InputError as error:
        return {fault.where.removeprefix("$.") for fault in error.faults}
    return set()


def unit_of(kind: Any) -> str:
    """The first unit of a kind, a blank before it; none of a count or of a plain number."""
    if not isinstance(kind, inspect.CustomType):
        return ""
    units: dict[str, Any] = {"in": 1} if kind.cls is Size else getattr(kind.cls, "units", {})
    return f" {next(iter(units))}".rstrip()


def name_of(kind: Any) -> str:
    return str(kind.cls.__name__) if isinstance(kind, inspect.CustomType) else "Count"


def one_by_one(name: str) -> Iterator[tuple[Path, Any]]:
    """
    One field of each key of each table, with one hostile value.

    The values are dealt out kind by kind, so that each kind meets as many as it has fields; from
    the second round on with the kind's unit.
    """
    dealt: dict[str, int] = defaultdict(int)
    met: set[tuple[Any, ...]] = set()
    values = list(NUMBERS.values())
    for path, kind in numeric_fields(document(name), kind_of(name)):
        key = (path[0], path[-1])
        if key in met:
            continue
        met.add(key)
        rounds, turn = divmod(dealt[name_of(kind)], len(values))
        dealt[name_of(kind)] += 1
        value = values[turn]
        yield path, f"{value}{unit_of(kind)}" if isinstance(value, str) and rounds else value


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_documents_are_taken_as_they_are(name: str) -> None:
    assert faults_in(name, document(name)) == set()


def test_every_kind_of_measure_and_every_table_of_a_card_with_numbers_is_walked() -> None:
    fields = [found for name in DOCUMENTS for found in numeric_fields(document(name), kind_of(name))]
    kinds = {name_of(kind) for _, kind in fields}
    tables = {path[0] for path, _ in fields}
    needed = {field.name for field in msgspec.structs.fields(RateCard) if field.required}

    assert {one.__name__ for one in Measure.__subclasses__()} | {"Size", "Count"} == kinds
    assert needed - {"card", "letterhead", "region", "worked_by"} <= tables
    assert len(fields) > 1_000


@pytest.mark.parametrize("name", DOCUMENTS)
@pytest.mark.parametrize("value", NUMBERS.values(), ids=NUMBERS)
def test_a_hostile_number_in_every_field_is_refused_in_each(value: Any, name: str) -> None:
    data = document(name)
    fields = [(path, kind) for path, kind in numeric_fields(data, kind_of(name)) if path != ("format",)]
    for path, _ in fields:
        data = with_value(data, path, value)

    assert {written_out(path) for path, _ in fields} == faults_in(name, data)


@pytest.mark.parametrize("name", DOCUMENTS)
@pytest.mark.parametrize("text", TEXTS, ids=lambda text: repr(text)[:24])
def test_a_hostile_number_with_its_unit_is_refused_in_each(text: str, name: str) -> None:
    data = document(name)
    fields = [
        (path, kind) for path, kind in numeric_fields(data, kind_of(name)) if isinstance(kind, inspect.CustomType)
    ]
    for path, kind in fields:
        data = with_value(data, path, f"{text}{unit_of(kind)}")

    assert {written_out(path) for path, _ in fields} == faults_in(name, data)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_one_hostile_number_is_one_fault_at_its_own_path(name: str) -> None:
    wrong = {
        (written_out(path), repr(value)[:24]): found
        for path, value in one_by_one(name)
        if (found := faults_in(name, with_value(document(name), path, value))) != {written_out(path)}
    }

    assert wrong == {}


@pytest.mark.parametrize("number", ["1.5", "-1", "1e999999", "-0.0", "1e-400", "true", "9" * 4_000])
def test_a_hostile_number_of_json_is_refused_as_one_of_toml(number: str) -> None:
    name = "marrowby-lane/coasters"
    value = json_data(number)
    fields = [path for path, _ in numeric_fields(document(name), kind_of(name))]

    found = [faults_in(name, with_value(document(name), path, value)) for path in fields]

    assert [{written_out(path)} for path in fields] == found


def test_the_walk_knows_every_sort_of_type_that_a_document_has() -> None:
    known = (
        inspect.StructType,
        inspect.UnionType,
        inspect.DictType,
        inspect.VarTupleType,
        inspect.CustomType,
        inspect.IntType,
        inspect.LiteralType,
        inspect.StrType,
        inspect.BoolType,
        inspect.DateType,
        inspect.NoneType,
    )
    sorts: set[type] = set()
    waiting: list[Any] = [inspect.type_info(RateCard), inspect.type_info(Job)]
    seen: set[type] = set()
    while waiting:
        kind = waiting.pop()
        sorts.add(type(kind))
        if isinstance(kind, inspect.StructType) and kind.cls not in seen:
            seen.add(kind.cls)
            waiting += [field.type for field in kind.fields]
        waiting += getattr(kind, "types", ())
        waiting += [getattr(kind, name) for name in ("item_type", "key_type", "value_type") if hasattr(kind, name)]

    assert sorts <= set(known)
