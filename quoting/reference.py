"""JSON Schemas and a readable reference of every key, made from the types."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from msgspec import inspect

from quoting import reader
from quoting.job import Job
from quoting.rate_card import RateCard
from quoting.units import Measure, Size

KINDS: dict[str, type] = {"card": RateCard, "job": Job}


def schema_of(kind: str) -> dict[str, Any]:
    """The JSON Schema of ``card`` or ``job``."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **reader.json_schema(KINDS[kind])}


def keys_of(kind: str) -> str:
    """Every key of ``card`` or ``job``, a line each: its path, what it holds, whether it may be left out."""
    rows = list(_rows(inspect.type_info(KINDS[kind]), "", ()))
    widest = max(len(path) for path, _, _ in rows)
    return "\n".join(
        f"{path:<{widest}}  {what}{'' if needed else '; may be left out'}" for path, what, needed in rows
    )


def _rows(kind: Any, path: str, above: tuple[type, ...]) -> Iterator[tuple[str, str, bool]]:
    for inner, where in _structs(kind, path):
        if inner.cls in above:
            continue
        for field in inner.fields:
            here = f"{where}.{field.encode_name}" if where else field.encode_name
            if not list(_structs(field.type, here)):
                yield here, _what(field.type), field.required
            yield from _rows(field.type, here, (*above, inner.cls))


def _structs(kind: Any, path: str) -> Iterator[tuple[inspect.StructType, str]]:
    """The structs inside a type, each with the path that leads to it."""
    if isinstance(kind, inspect.StructType):
        yield kind, f"{path}({kind.tag})" if kind.tag else path
    elif isinstance(kind, inspect.UnionType):
        for one in kind.types:
            yield from _structs(one, path)
    elif isinstance(kind, inspect.DictType):
        yield from _structs(kind.value_type, f"{path}.NAME")
    elif isinstance(kind, inspect.VarTupleType):
        yield from _structs(kind.item_type, f"{path}[]")


def _what(kind: Any) -> str:
    """What a leaf holds, in words."""
    return next(words(kind) for fitting, words in _WORDS if isinstance(kind, fitting))


def _door_type(kind: Any) -> str:
    if issubclass(kind.cls, Size):
        return f"size, such as {Size.example!r}"
    measure: type[Measure] = kind.cls
    units = ", ".join(unit for unit in measure.units if unit)
    return f"{measure.kind}, such as {measure.example!r}" + (f" (in {units})" if units else "")


_WORDS: tuple[tuple[type, Callable[[Any], str]], ...] = (
    (
        inspect.UnionType,
        lambda kind: " or ".join(_what(one) for one in kind.types if not isinstance(one, inspect.NoneType)),
    ),
    (inspect.CustomType, _door_type),
    (inspect.LiteralType, lambda kind: "one of " + ", ".join(repr(value) for value in kind.values)),
    (inspect.VarTupleType, lambda kind: f"list of {_what(kind.item_type)}"),
    (inspect.DictType, lambda kind: f"table of NAME = {_what(kind.value_type)}"),
    (inspect.IntType, lambda kind: f"whole number from {kind.ge} to {kind.le}"),
    (inspect.StrType, lambda _: "text"),
    (inspect.BoolType, lambda _: "true or false"),
    (inspect.DateType, lambda _: "a day such as 2026-11-25"),
)
