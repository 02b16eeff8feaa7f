"""Bodies and queries, strictly: JSON as RFC 8259 has it and nothing more, then every fault at once."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any, TypeVar, cast
from urllib.parse import parse_qsl

import msgspec
from litestar import Request
from msgspec import inspect

from api.media_types import FORM, JSON, TOML
from api.problems import InvalidParameter, ProblemError, keys_of
from quoting import Job, RateCard, read_job
from quoting.errors import Fault, InputError, shown
from quoting.rate_card import rate_card_from
from quoting.reader import convert, toml_data

_T = TypeVar("_T")
_MOST_DIGITS = 18
_MOST_DEPTH = 64
_WHOLE = re.compile("0|-?[1-9][0-9]{0,17}")


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


def _read_card(data: Any) -> RateCard:
    if not isinstance(data, dict):
        raise InputError([Fault("$", "a table", shown(data))])
    return rate_card_from(data)


def toml_body(body: bytes) -> Any:
    """
    A body of TOML as plain data.

    Raises:
        ProblemError: no TOML.
    """
    try:
        return toml_data(body.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise ProblemError("invalid-json", "expected UTF-8; found bytes that are none") from error
    except InputError as error:
        raise ProblemError("invalid-json", str(error.faults[0])) from error


class Form(msgspec.Struct, frozen=True):
    """What a page's form sends: the values of each field, in their order."""

    fields: dict[str, tuple[str, ...]]


_MOST_FIELDS = 500


def form_body(body: bytes) -> Form:
    """
    A body of a page's form (WHATWG URL, 5.1).

    Raises:
        ProblemError: text that is no UTF-8, or too many fields.
    """
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, max_num_fields=_MOST_FIELDS, errors="strict")
    except ValueError as error:
        raise ProblemError("invalid-json", f"expected a form of at most {_MOST_FIELDS} fields in UTF-8") from error
    fields: dict[str, tuple[str, ...]] = {}
    for name, value in pairs:
        fields[name] = (*fields.get(name, ()), value.replace("\r\n", "\n"))
    return Form(fields)


def read_body(request: Request[Any, Any, Any], body: bytes, kind: type[_T], sent: str = JSON) -> _T:
    """
    The body as ``kind``.

    Raises:
        ProblemError: no JSON.
        InputError: with every place that does not fit.
    """
    if sent == FORM:
        return cast(_T, form_body(body))
    data = toml_body(body) if sent == TOML else json_body(body)
    request.scope["state"]["sent"] = data
    read: Callable[[Any], _T] | None = _READ_BY.get(kind)
    return read(data) if read else convert(data, kind)


_READ_BY: dict[type, Callable[[Any], Any]] = {Job: read_job, RateCard: _read_card}


def read_query(request: Request[Any, Any, Any], kind: type[_T]) -> _T:
    """
    The query as ``kind``: each parameter at most once, none that is not known.

    Raises:
        ProblemError: with every parameter that does not fit.
    """
    told = request.query_params.dict()
    fields = _fields_of(cast(Any, kind))  # mypy takes no type of a type variable for hashable
    data = {name: _plain(values, fields.get(name)) for name, values in told.items()}
    try:
        return convert(data, kind)
    except InputError as error:
        raise ProblemError("invalid-input", parameters=_parameters(error)) from error


@cache
def _fields_of(kind: type) -> dict[str, Any]:
    """The types of a struct's fields, by name."""
    struct = cast(inspect.StructType, inspect.type_info(kind))
    return {field.encode_name: _bare(field.type) for field in struct.fields}


def _bare(kind: Any) -> Any:
    """A type without what is only said of it."""
    return _bare(kind.type) if isinstance(kind, inspect.Metadata) else kind


def _plain(values: Sequence[Any], kind: Any) -> Any:
    if isinstance(kind, inspect.VarTupleType):
        return list(values)
    if len(values) != 1:
        return list(values)
    value = values[0]
    if _takes(kind, inspect.IntType) and _WHOLE.fullmatch(value):
        return int(value)
    if _takes(kind, inspect.BoolType):
        return {"true": True, "false": False}.get(value, value)
    return value


def _takes(kind: Any, wanted: type) -> bool:
    return any(isinstance(_bare(one), wanted) for one in (kind, *getattr(kind, "types", ())))


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
    faults = (
        msgspec.structs.replace(fault, where=_path_under(under, fault.where.removeprefix("$")))
        for fault in error.faults
    )
    return type(error)(faults)


def _path_under(under: str, where: str) -> str:
    """The path of a place under a key of the body."""
    return f"$.{under}{where}" if where.startswith((".", "[")) or not where else f"$.{under}.{where}"
