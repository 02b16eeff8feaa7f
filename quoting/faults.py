"""What is wrong with what was read: a walk beside its type that tells every place, by path."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from functools import cache
from typing import Annotated, Any, Literal, Union

import msgspec
from msgspec import inspect

from quoting.errors import Fault, MeasureError, shown
from quoting.units import Measure, Size, read_door_type

_PLAIN = re.compile(r"[\w -]+")


def all_faults(data: Any, kind: type, error: Exception) -> tuple[Fault, ...]:
    """Every fault of ``data`` as ``kind``; the one that was met first where the walk finds none."""
    found = tuple(_faults(data, _type_info(kind), "$"))
    return found or (_fault_of(error, "$", data),)


_type_info = cache(inspect.type_info)  # of a job it takes longer than the walk


def _faults(data: Any, kind: Any, where: str) -> Iterator[Fault]:
    """Walk ``data`` beside its type and tell each place that does not fit."""
    if isinstance(kind, inspect.Metadata):
        yield from _faults(data, kind.type, where)
    elif isinstance(kind, inspect.StructType):
        yield from _struct_faults(data, kind, where)
    elif isinstance(kind, inspect.UnionType):
        yield from _union_faults(data, kind, where)
    elif isinstance(kind, (inspect.VarTupleType, inspect.ListType)):
        yield from _sequence_faults(data, kind, where)
    elif isinstance(kind, inspect.DictType):
        yield from _table_faults(data, kind, where)
    else:
        yield from _leaf_faults(data, kind, where)


def _struct_faults(data: Any, kind: inspect.StructType, where: str) -> Iterator[Fault]:
    if not isinstance(data, Mapping):
        yield Fault(where, "a table", shown(data))
        return
    fields = {field.encode_name: field for field in kind.fields}
    known = fields.keys() | {kind.tag_field}
    faults = [
        Fault(_inside(where, key), f"one of {', '.join(sorted(fields))}", "a key that is not known")
        for key in data
        if key not in known
    ]
    for name, field in fields.items():
        if name in data:
            faults.extend(_faults(data[name], field.type, f"{where}.{name}"))
        elif field.required:
            faults.append(Fault(f"{where}.{name}", _wanted(field.type), "nothing"))
    yield from faults or _whole_faults(data, kind.cls, where)


def _union_faults(data: Any, kind: inspect.UnionType, where: str) -> Iterator[Fault]:
    if data is None and kind.includes_none:
        return
    others = [one for one in kind.types if not isinstance(one, inspect.NoneType)]
    tagged = [one for one in others if isinstance(one, inspect.StructType) and one.tag_field]
    if len(others) == 1:
        yield from _faults(data, others[0], where)
    elif tagged and isinstance(data, Mapping):
        tag_field = tagged[0].tag_field or "kind"
        chosen = [one for one in tagged if one.tag == data.get(tag_field)]
        if chosen:
            yield from _struct_faults(data, chosen[0], where)
        else:
            tags = ", ".join(sorted(str(one.tag) for one in tagged))
            yield Fault(f"{where}.{tag_field}", f"one of {tags}", shown(data.get(tag_field)))
    elif tagged:
        yield Fault(where, "a table", shown(data))
    else:
        yield from _leaf_faults(data, kind, where)


def _sequence_faults(data: Any, kind: Any, where: str) -> Iterator[Fault]:
    if not isinstance(data, (list, tuple)):
        yield Fault(where, "a list", shown(data))
        return
    faults = [fault for place, one in enumerate(data) for fault in _faults(one, kind.item_type, f"{where}[{place}]")]
    if kind.min_length is not None and len(data) < kind.min_length:
        faults.append(Fault(where, f"at least {kind.min_length} entries", str(len(data))))
    if kind.max_length is not None and len(data) > kind.max_length:
        faults.append(Fault(where, f"at most {kind.max_length} entries", str(len(data))))
    yield from faults


def _table_faults(data: Any, kind: inspect.DictType, where: str) -> Iterator[Fault]:
    if not isinstance(data, Mapping):
        yield Fault(where, "a table", shown(data))
        return
    if kind.min_length is not None and len(data) < kind.min_length:
        yield Fault(where, f"at least {kind.min_length} entries", str(len(data)))
    for key, one in data.items():
        yield from _leaf_faults(key, kind.key_type, _inside(where, key))
        yield from _faults(one, kind.value_type, _inside(where, key))


def _inside(where: str, key: str) -> str:
    """The path of a key; one that a path could be mistaken in is quoted."""
    return f"{where}.{key}" if _PLAIN.fullmatch(key) else f"{where}[{json.dumps(key)}]"


def _whole_faults(data: Any, kind: type, where: str) -> Iterator[Fault]:
    """What a struct says of itself once each of its fields fits."""
    try:
        msgspec.convert(data, kind, dec_hook=read_door_type)
    except (msgspec.ValidationError, MeasureError) as error:
        yield _fault_of(error, where, data)


def _leaf_faults(data: Any, kind: Any, where: str) -> Iterator[Fault]:
    if isinstance(kind, inspect.CustomType):
        try:
            read_door_type(kind.cls, data)
        except MeasureError as error:
            yield Fault(where, error.faults[0].expected, error.faults[0].found)
        return
    try:
        msgspec.convert(data, _python_type(kind), dec_hook=read_door_type)
    except (msgspec.ValidationError, ValueError, RecursionError) as error:
        if isinstance(kind, (inspect.LiteralType, inspect.DateType)):
            yield Fault(where, _wanted(kind), shown(data))
        else:
            yield _fault_of(error, where, data)


def _python_type(kind: Any) -> Any:
    """The plain type behind an inspected leaf, its bounds with it."""
    if isinstance(kind, inspect.Metadata):
        return _python_type(kind.type)
    if isinstance(kind, inspect.LiteralType):
        return Literal[kind.values]
    if isinstance(kind, inspect.UnionType):
        return Union[tuple(_python_type(one) for one in kind.types)]  # noqa: UP007  # made at run time
    if isinstance(kind, inspect.IntType):
        return Annotated[int, msgspec.Meta(ge=kind.ge, le=kind.le)]
    if isinstance(kind, inspect.StrType):
        return Annotated[
            str,
            msgspec.Meta(min_length=kind.min_length, max_length=kind.max_length, pattern=kind.pattern),
        ]
    plain: dict[type, Any] = {
        inspect.BoolType: bool,
        inspect.DateType: datetime.date,
        inspect.DecimalType: Decimal,
        inspect.NoneType: type(None),
    }
    return plain[type(kind)]


def _fault_of(error: Exception, where: str, data: Any) -> Fault:
    if isinstance(error, MeasureError):
        return Fault(where, error.faults[0].expected, error.faults[0].found)
    text = str(error)
    head, _, path = text.rpartition(" - at `")
    if head:
        text, where = head, where + path.rstrip("`").removeprefix("$")
    said = text.partition("expected ")[2] if text.startswith("expected ") else text
    wanted = said.removeprefix("Expected ").replace("`", "").partition(", got ")[0]
    named, _, found = wanted.partition("; found ")
    return Fault(where, named, found or shown(data))


def _wanted(kind: Any) -> str:
    if isinstance(kind, inspect.CustomType) and issubclass(kind.cls, Measure):
        return f"a {kind.cls.kind} such as {kind.cls.example!r}"
    if isinstance(kind, inspect.CustomType):
        return f"a size such as {Size.example!r}"
    if isinstance(kind, inspect.LiteralType):
        return "one of " + ", ".join(str(value) for value in kind.values)
    names: dict[type, str] = {
        inspect.StructType: "a table",
        inspect.VarTupleType: "a list",
        inspect.DictType: "a table",
        inspect.StrType: "text",
        inspect.IntType: "a whole number",
        inspect.BoolType: "true or false",
        inspect.DateType: "a day such as 2026-11-25",
    }
    return names.get(type(kind), "a value")
