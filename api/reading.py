"""Bodies and queries, strictly: JSON as RFC 8259 has it and nothing more, then every fault at once."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any, TypeVar

import msgspec
from litestar import Request
from msgspec import inspect

from api.problems import InvalidParameter, ProblemError, keys_of
from quoting.errors import InputError
from quoting.reader import convert

_T = TypeVar("_T")
_MOST_DIGITS = 18
_MOST_DEPTH = 64
_WHOLE = re.compile("-?(0|[1-9][0-9]{0,17})")


def json_body(body: bytes) -> Any:
    """
    A body as plain data; numbers are exact, and one with a point that is whole is a whole number.

    Raises:
        ProblemError: no JSON, a key twice, text that is no UTF-8, nesting too deep.
    """
    try:
        text = body.decode("utf-8")
        data = _DECODER.decode(text)
        if "\\u" in text:
            msgspec.json.encode(data)  # a lone surrogate is no text
    except json.JSONDecodeError as error:
        raise ProblemError("invalid-json", f"{error.msg}: line {error.lineno}, column {error.colno}") from error
    except UnicodeError as error:
        raise ProblemError("invalid-json", "expected UTF-8; found bytes or escapes that are none") from error
    except RecursionError as error:
        raise ProblemError("invalid-json", "expected nesting that can be read; found it too deep") from error
    if _is_deeper(data, _MOST_DEPTH + 1):
        raise ProblemError("invalid-json", f"expected nesting of at most {_MOST_DEPTH}; found more")
    return data


def _is_deeper(data: Any, depth: int) -> bool:
    level = [data]
    while level and depth:
        level = [one for table in level for one in _values(table)]
        depth -= 1
    return bool(level)


def _values(table: Any) -> Iterable[Any]:
    """What stands in a table or a list; of anything else nothing."""
    if isinstance(table, dict):
        return table.values()
    return table if isinstance(table, list) else ()


def _table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ProblemError("invalid-json", f"expected each key once; found {twice[:60]!r} twice")
    return table


def _number(written: str) -> int | Decimal:
    try:
        number = Decimal(written)
    except InvalidOperation:
        return Decimal("NaN")  # an exponent past every bound; no field takes it
    if number.adjusted() < _MOST_DIGITS and number == number.to_integral_value():
        return int(number)
    return number


def _whole_number(written: str) -> int | Decimal:
    return int(written) if len(written) <= _MOST_DIGITS else Decimal(written)


def _no_constant(written: str) -> Any:
    raise ProblemError("invalid-json", f"expected a number; found {written}, which JSON does not know")


_DECODER = json.JSONDecoder(
    object_pairs_hook=_table, parse_float=_number, parse_int=_whole_number, parse_constant=_no_constant
)


def read_body(request: Request[Any, Any, Any], body: bytes, kind: type[_T]) -> _T:
    """
    The body as ``kind``.

    Raises:
        ProblemError: no JSON.
        InputError: with every place that does not fit.
    """
    data = json_body(body)
    request.scope["state"]["sent"] = data
    return convert(data, kind)


def read_query(request: Request[Any, Any, Any], kind: type[_T]) -> _T:
    """
    The query as ``kind``: each parameter at most once, none that is not known.

    Raises:
        ProblemError: with every parameter that does not fit.
    """
    told = request.query_params.dict()
    fields = {field.encode_name: field.type for field in inspect.type_info(kind).fields}  # type: ignore[attr-defined]  # a struct's
    data = {name: _plain(values, fields.get(name)) for name, values in told.items()}
    try:
        return convert(data, kind)
    except InputError as error:
        raise ProblemError("invalid-input", parameters=_parameters(error)) from error


def _plain(values: Sequence[Any], kind: Any) -> Any:
    if isinstance(kind, inspect.VarTupleType):
        return list(values)
    if len(values) != 1:
        return list(values)
    value = values[0]
    if _takes_int(kind) and _WHOLE.fullmatch(value):
        return int(value)
    if _takes(kind, inspect.BoolType):
        return {"true": True, "false": False}.get(value, value)
    return value


def _takes_int(kind: Any) -> bool:
    return _takes(kind, inspect.IntType)


def _takes(kind: Any, wanted: type) -> bool:
    return isinstance(kind, wanted) or any(isinstance(one, wanted) for one in getattr(kind, "types", ()))


def _parameters(error: InputError) -> tuple[InvalidParameter, ...]:
    return tuple(
        InvalidParameter(
            name=(keys_of(fault.where) or [""])[0],
            where="query",
            detail=f"expected {fault.expected}; found {fault.found}",
        )
        for fault in error.faults
    )


def placed(error: InputError, under: str) -> InputError:
    """The same faults, of something that stands under a key of the body."""
    faults = [
        msgspec.structs.replace(fault, where=f"$.{under}" + (fault.where.removeprefix("$")))
        if fault.where.startswith("$")
        else msgspec.structs.replace(fault, where=f"$.{under}.{fault.where}")
        for fault in error.faults
    ]
    return type(error)(faults)
