"""Every field that operations take, as their types tell: data that have them all, and where each stands."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

from msgspec import Struct, inspect
from msgspec.structs import replace

from api.operations import Operation
from quoting.units import Size
from tests.test_hostile_numbers import Path, chosen, unit_of

# What fits the patterns that there are, each of them at least one.
FITTING = ("", "Q", "GBP", "en-GB", "12.50", "plate.pdf", "wilmot@eel.example", "https://shop.example", "0" * 64)


def filled(kind: Any) -> list[Any]:
    """Data with every field of a type, which fit: as many as it takes to have every one of its variants."""
    kind = bare(kind)
    if isinstance(kind, inspect.StructType):
        return _filled_struct(kind)
    if isinstance(kind, inspect.UnionType):
        return [one for part in kind.types if not isinstance(part, inspect.NoneType) for one in filled(part)]
    if isinstance(kind, inspect.VarTupleType):
        return _filled_tuple(kind)
    if isinstance(kind, inspect.DictType):
        return [{"a name": one} for one in filled(kind.value_type)]
    return [fitting(kind)]


def _filled_struct(kind: inspect.StructType) -> list[dict[str, Any]]:
    tag = {kind.tag_field: kind.tag} if kind.tag_field else {}
    variants = {field.encode_name: filled(field.type) for field in kind.fields}
    most = max(map(len, variants.values()), default=1)
    return [
        {**tag, **{name: told[place % len(told)] for name, told in variants.items()}} for place in range(max(most, 1))
    ]


def _filled_tuple(kind: inspect.VarTupleType) -> list[list[Any]]:
    items, most = filled(kind.item_type), kind.max_length or 100
    return [items[start : start + most] for start in range(0, len(items), most)]


def fitting(kind: Any) -> Any:
    """A value of one field that its type takes."""
    if isinstance(kind, inspect.CustomType):
        return "10 x 10 mm" if kind.cls is Size else f"1{unit_of(kind)}"
    if isinstance(kind, inspect.LiteralType):
        return kind.values[0]
    if isinstance(kind, inspect.StrType):
        return next(one for one in FITTING if fits(kind, one))
    if isinstance(kind, inspect.IntType):
        return max(1, kind.ge or 1)
    return {inspect.BoolType: False, inspect.DateType: "2027-03-01", inspect.AnyType: {}}[type(kind)]


def bare(kind: Any) -> Any:
    """A type without what is only said of it."""
    return bare(kind.type) if isinstance(kind, inspect.Metadata) else kind


class Place(Struct, frozen=True):
    """Where a field stands in a body: by its path, its type, and the table and name that say what it is."""

    path: Path
    kind: Any
    table: type | None
    name: str = ""

    @property
    def pointer(self) -> str:
        """The path as a JSON pointer (RFC 6901)."""
        return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in self.path)


def places(data: Any, kind: Any, at: Place = Place((), None, None)) -> Iterator[Place]:  # noqa: B008  # it is frozen
    """Every place of data that holds neither a table nor a list."""
    kind = bare(kind)
    if isinstance(kind, inspect.UnionType):
        yield from places(data, chosen(data, kind), at)
    elif isinstance(kind, inspect.StructType):
        types = {field.encode_name: field.type for field in kind.fields}
        for name, value in data.items():
            if name in types:
                yield from places(value, types[name], Place((*at.path, name), None, kind.cls, name))
    elif isinstance(kind, inspect.DictType):
        for key, value in data.items():
            yield from places(value, kind.value_type, replace(at, path=(*at.path, key)))
    elif isinstance(kind, inspect.VarTupleType):
        for number, value in enumerate(data):
            yield from places(value, kind.item_type, replace(at, path=(*at.path, number)))
    else:
        yield replace(at, kind=kind)


class Fields(Struct, frozen=True):
    """A body of an operation that has every field, and one place of each that no operation before had."""

    operation: Operation
    body: Any
    places: tuple[Place, ...]


def fields_of(operations: Iterable[Operation]) -> list[Fields]:
    """Every field of every body, each once, with one body that has it."""
    met: set[tuple[type | None, str]] = set()
    found: list[Fields] = []
    for one in operations:
        if one.takes_body and not one.takes_file:
            kind = inspect.type_info(one.body)
            for body in filled(kind):
                new = {(place.table, place.name): place for place in places(body, kind)}
                fresh = tuple(place for field, place in new.items() if field not in met)
                met |= set(new)
                if fresh:
                    found.append(Fields(one, body, fresh))
    return found


def fits(kind: Any, text: str) -> bool:
    """Whether the type of a field takes a text, which is no measure; worked out beside the reader."""
    if isinstance(kind, inspect.StrType):
        long = len(text) > kind.max_length if kind.max_length is not None else False
        short = len(text) < (kind.min_length or 0)
        return not long and not short and re.search(kind.pattern or "", text) is not None
    return isinstance(kind, inspect.LiteralType) and text in kind.values


def with_all(data: Any, told: dict[Path, Any]) -> Any:
    """Data with other values at many places."""
    made = json.loads(json.dumps(data))
    for path, value in told.items():
        place = made
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value
    return made
