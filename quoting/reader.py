"""One reader for card, job and API: TOML or JSON in, typed structs out, or every fault at once."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import Any, TypeVar

import msgspec

from quoting.errors import Fault, InputError, MeasureError, shown
from quoting.units import Measure, Size, read_door_type

_T = TypeVar("_T")
_MOST_TEXT = 4_000_000


def _write_door_type(value: Any) -> str:
    if isinstance(value, (Measure, Size)):
        return value.written
    raise NotImplementedError(type(value))


def _door_type_schema(kind: type) -> dict[str, Any]:
    if issubclass(kind, Size):
        return {"type": "string", "description": "width x height", "examples": [Size.example]}
    if issubclass(kind, Measure):
        return {
            "type": "string",
            "maxLength": 60,
            "description": f"{kind.kind}; units: {', '.join(unit or 'none' for unit in kind.units)}",
            "examples": [kind.example],
        }
    raise NotImplementedError(kind)


def convert(data: Any, kind: type[_T]) -> _T:
    """
    ``data`` (of TOML or JSON) as ``kind``.

    Raises:
        InputError: with every fault found, each by its path.
    """
    found = _converted(data, kind)
    try:
        _ENCODER.encode(found)  # plain data may hold half a surrogate pair, which cannot be written
    except UnicodeEncodeError as error:
        raise InputError([Fault("$", "text that can be written as UTF-8", shown(error.object))]) from error
    return found


def _converted(data: Any, kind: type[_T]) -> _T:
    try:
        return msgspec.convert(data, kind, dec_hook=read_door_type)
    except (msgspec.ValidationError, MeasureError, ValueError, RecursionError) as error:
        from quoting.faults import all_faults  # the rare path, and a slow import

        raise InputError(all_faults(data, kind, error)) from error


def from_json(text: bytes | str, kind: type[_T]) -> _T:
    """
    JSON text as ``kind``.

    Raises:
        InputError: text that is no JSON, or every field that does not fit.
    """
    return _converted(json_data(text), kind)


def json_data(text: bytes | str) -> Any:
    """
    JSON text as plain data, numbers with a point kept exact.

    Raises:
        InputError: text that is no JSON, not UTF-8, or nested too deep.
    """
    try:
        return _JSON.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, InvalidOperation) as error:
        raise InputError([Fault("$", "JSON text", str(error) or "nesting too deep")]) from error


def toml_data(text: str, *, file: str = "") -> dict[str, Any]:
    """
    TOML text as plain data, numbers with a point kept exact.

    Raises:
        InputError: text that is no TOML, over 4 MB, or nested too deep.
    """
    if len(text) > _MOST_TEXT:
        raise InputError([Fault("$", f"at most {_MOST_TEXT} characters", str(len(text)), file)])
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError, InvalidOperation) as error:
        raise InputError([Fault("$", "TOML text", str(error) or "nesting too deep", file)]) from error


def to_json(value: Any, *, indent: int = 0) -> bytes:
    """A struct of this library as JSON text, measures as they were written."""
    text = _ENCODER.encode(value)
    return msgspec.json.format(text, indent=indent) if indent else text


def canonical_json(value: Any) -> bytes:
    """The same with the keys of every table in one order: for hashes."""
    return _CANONICAL.encode(value)


def json_schema(kind: Any) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a type that is read here."""
    schema: dict[str, Any] = _with_their_ends(msgspec.json.schema(kind, schema_hook=_door_type_schema))
    return schema


def json_schemas(kinds: Sequence[Any], *, template: str) -> tuple[Sequence[dict[str, Any]], dict[str, Any]]:
    """
    JSON Schemas of several types, and of what they are made of.

    Args:
        template: How one refers to another, with ``{name}``.
    """
    outer, inner = msgspec.json.schema_components(kinds, schema_hook=_door_type_schema, ref_template=template)
    return _with_their_ends(list(outer)), _with_their_ends(inner)


def _with_their_ends(schema: Any) -> Any:
    """
    A schema whose patterns end as ECMA-262 writes it, which JSON Schema goes by.

    There ``$`` is the very end of a text. In Python it comes before a last line feed too, so that our types end a
    pattern in backslash and Z, which ECMA-262 does not know.
    """
    if isinstance(schema, dict):
        ended = {key: _with_their_ends(value) for key, value in schema.items()}
        pattern = schema.get("pattern")
        if isinstance(pattern, str) and pattern.endswith(r"\Z"):
            ended["pattern"] = pattern.removesuffix(r"\Z") + "$"
        return ended
    return [_with_their_ends(one) for one in schema] if isinstance(schema, list) else schema


_JSON = msgspec.json.Decoder(float_hook=Decimal)
_ENCODER = msgspec.json.Encoder(enc_hook=_write_door_type, decimal_format="string")
_CANONICAL = msgspec.json.Encoder(enc_hook=_write_door_type, decimal_format="string", order="deterministic")
