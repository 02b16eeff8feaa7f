"""
OpenAPI 3.1: two documents, public and owner, made of what the operations say and of the types they read and write.

Schemas come from the reader's own types, so that what is told is what is held. Litestar's own generator tells
bounds as floats, leaves objects open and knows nothing of our problems.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib import import_module
from importlib.metadata import version
from typing import Any

import msgspec

from api.idempotency import HEADER
from api.media_types import JSON
from api.operations import Answers, Face, Operation
from api.problems import PROBLEM_JSON, TYPES, URN, Problem
from api.settings import Settings
from quoting.reader import json_schemas

FACES: dict[str, tuple[Face, ...]] = {"public": ("public", "health"), "owner": ("owner", "public", "health")}
_TEMPLATE = "#/components/schemas/{name}"

_BYTES = {"type": "string", "format": "binary"}
_PLAIN: dict[str, dict[str, Any]] = {JSON: {"type": "object"}}  # JSON of no type of ours: a schema, a document
# Of every operation: a parameter of the query that it does not know is invalid input too.
_ALWAYS = ("invalid-request", "unknown-host", "credentials-in-url", "not-acceptable", "invalid-input", "failed")
_PATHS: dict[str, tuple[str, dict[str, Any]]] = {
    "which": ("The number or id of a quotation.", {"type": "string", "minLength": 1, "maxLength": 100}),
    "client": ("The id of a client.", {"type": "string", "minLength": 1, "maxLength": 100}),
    "key": ("The id of a key.", {"type": "string", "minLength": 1, "maxLength": 100}),
    "hash": ("The content hash of a rate card or of a file.", {"type": "string", "minLength": 1, "maxLength": 100}),
    "revision": ("Which revision, from 1.", {"type": "string", "pattern": "^[0-9]{1,6}$"}),
    "offer": ("The name of an offer.", {"type": "string", "minLength": 1, "maxLength": 120}),
    "name": ("The name of a file.", {"type": "string", "minLength": 1, "maxLength": 100}),
    "product": ("The name of a product.", {"type": "string", "minLength": 1, "maxLength": 120}),
    "move": ("What is done.", {"type": "string", "minLength": 1, "maxLength": 40}),
    "link": ("What a private link ends in.", {"type": "string", "minLength": 1, "maxLength": 100}),
}
_HEADERS: dict[str, tuple[str, dict[str, Any]]] = {
    "ETag": ("What this version is told by in If-Match and If-None-Match.", {"type": "string"}),
    "Location": ("Where it is.", {"type": "string", "format": "uri"}),
    "Content-Disposition": ("That it is to be saved, and as what.", {"type": "string"}),
    "Link": ("The next page, rel=next, while there is one.", {"type": "string"}),
}


def document(face: str, operations: Iterable[Operation], settings: Settings) -> dict[str, Any]:
    """
    The document of a face.

    Args:
        face: ``public``, or ``owner``, which tells the public operations too.
    """
    told = [one for one in operations if one.face in FACES[face]]
    kinds = {*_kinds(told), Problem}
    schemas = _schemas(tuple(sorted(kinds, key=str)))
    paths: dict[str, Any] = {}
    for one in told:
        paths.setdefault(one.path, {})[one.method.lower()] = _operation(one, schemas, settings)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": f"Quoting, {face}",
            "version": version("quoting"),
            "summary": _SUMMARIES[face],
            "description": _description(settings),
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "jsonSchemaDialect": "https://json-schema.org/draft/2020-12/schema",
        "servers": [{"url": settings.base_url}],
        "paths": paths,
        "components": {
            "schemas": dict(sorted(schemas[1].items())),
            "securitySchemes": {
                "key": {"type": "http", "scheme": "bearer", "description": "A key, sent as Authorization: Bearer."}
            },
        },
    }


_SUMMARIES = {
    "public": "For a shop's website: what is offered and what it costs, a request, a quotation by its private link.",
    "owner": "For the shop: estimates with costs, plans and reasons, rate cards, the quote book, keys.",
}


def _description(settings: Settings) -> str:
    return (
        "Errors are problem documents (RFC 9457) of a closed list of types; every place that does not fit is"
        f" listed. Creating requests take an {HEADER}, which is kept for {settings.keep_keys_days} days: the same key"
        " with the same decoded data is answered as before, with other data it is refused. Amounts are strings,"
        " exact, in the currency that stands beside them."
    )


def _kinds(operations: Iterable[Operation]) -> Iterator[Any]:
    for one in operations:
        if one.takes_body and not one.takes_file:
            yield one.body
        for answer in one.answers:
            yield from (_type(kind) for kind in answer.content.values() if kind is not None)


def _type(kind: Any) -> Any:
    """A type, or the one that a word such as ``quoting.risk:Risk`` names, which is not loaded before."""
    if not isinstance(kind, str):
        return kind
    module, _, name = kind.partition(":")
    return getattr(import_module(module), name)


@cache
def _schemas(kinds: tuple[Any, ...]) -> tuple[dict[Any, dict[str, Any]], dict[str, Any]]:
    """The schema of each type, and the schemas that they refer to."""
    outer, inner = json_schemas(kinds, template=_TEMPLATE)
    for one in inner.values():
        _close(one)
    return dict(zip(kinds, outer, strict=True)), inner


def _close(schema: Any) -> None:
    """An object has the properties that are told and no others."""
    if isinstance(schema, dict):
        if "properties" in schema:
            schema.setdefault("additionalProperties", False)
        for one in schema.values():
            _close(one)
    elif isinstance(schema, list):
        for one in schema:
            _close(one)


def _operation(one: Operation, schemas: tuple[dict[Any, Any], dict[str, Any]], settings: Settings) -> dict[str, Any]:
    told: dict[str, Any] = {
        "operationId": one.id,
        "summary": one.summary,
        "tags": [one.face],
        "parameters": [
            *_path_parameters(one),
            *_query_parameters(one, schemas[1]),
            *_header_parameters(one, settings),
        ],
        "responses": {**_answers(one, schemas[0]), **_problems(one)},
    }
    if one.takes_file:
        told["requestBody"] = {"required": True, "content": {kind: {"schema": _BYTES} for kind in one.takes}}
    elif one.takes_body:
        content: dict[str, Any] = {"schema": schemas[0][one.body]}
        if one.example is not None:
            content["examples"] = {one.id: {"value": one.example}}
        told["requestBody"] = {
            "required": True,
            "content": {kind: content if kind == JSON else {"schema": {"type": "string"}} for kind in one.takes},
        }
    told["security"] = _security(one)
    if one.superseded is not None:
        told["deprecated"] = True
    return told


def _security(one: Operation) -> list[dict[str, list[str]]]:
    with_key: dict[str, list[str]] = {"key": []}
    return [{}, with_key] if "anon" in one.may else [with_key]


def _path_parameters(one: Operation) -> Iterator[dict[str, Any]]:
    for name in one.path_parameters:
        what, schema = _PATHS[name]
        yield {"name": name, "in": "path", "required": True, "description": what, "schema": schema}


def _query_parameters(one: Operation, inner: dict[str, Any]) -> Iterator[dict[str, Any]]:
    schema = json_schemas((one.query,), template=_TEMPLATE)
    shape = schema[1][one.query.__name__]
    inner.update({name: told for name, told in schema[1].items() if name != one.query.__name__})
    for name, field in shape["properties"].items():
        schema_of_it = {key: value for key, value in field.items() if key not in {"description", "default"}}
        yield {
            "name": name,
            "in": "query",
            "required": name in shape.get("required", ()),
            "description": field.get("description", name.replace("_", " ")),
            "schema": _without_null(schema_of_it) | ({"default": field["default"]} if field.get("default") else {}),
        }


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter is left out where there is none: null cannot be sent in a query."""
    if "anyOf" in schema:
        rest = [one for one in schema["anyOf"] if one != {"type": "null"}]
        return rest[0] if len(rest) == 1 else {"anyOf": rest}
    if "enum" in schema:
        return {**schema, "enum": [one for one in schema["enum"] if one is not None]}
    return schema


def _header_parameters(one: Operation, settings: Settings) -> Iterator[dict[str, Any]]:
    if one.once:
        yield {
            "name": HEADER,
            "in": "header",
            "required": True,
            "description": f"16 to 255 visible characters, bare or quoted; kept for {settings.keep_keys_days} days.",
            "schema": {"type": "string", "pattern": "^[!#-\\[\\]-~]{16,255}$"},
        }
    if one.guarded:
        yield {
            "name": "If-Match",
            "in": "header",
            "required": one.guarded == "must",
            "description": "The ETag of what was read.",
            "schema": {"type": "string", "pattern": '^"[!#-~]+"$'},
        }
    if one.tagged:
        yield {
            "name": "If-None-Match",
            "in": "header",
            "required": False,
            "description": "The ETag of what is there already.",
            "schema": {"type": "string"},
        }


def _answers(one: Operation, kinds: Mapping[Any, Any]) -> dict[str, Any]:
    told = {str(answer.status): _answer(one, answer, kinds) for answer in one.answers}
    if one.tagged:
        told["304"] = {"description": "It is what If-None-Match names.", "headers": _headers(("ETag",))}
    return told


def _answer(one: Operation, answer: Answers, kinds: Mapping[Any, Any]) -> dict[str, Any]:
    content = {
        kind: {"schema": _PLAIN.get(kind, _BYTES) if type_ is None else kinds[_type(type_)]}
        for kind, type_ in answer.content.items()
    }
    return {
        "description": answer.what,
        **({"content": content} if content else {}),
        "headers": _headers(("Request-Id", *answer.headers)) | _allowance(one),
    }


def _allowance(one: Operation) -> dict[str, Any]:
    """What tells how much is left to ask for: on every answer of the owner's face, on some to visitors."""
    if one.face not in {"owner", "public"}:
        return {}
    return {
        name: {"description": what, "required": one.face == "owner", "schema": {"type": "string"}}
        for name, what in (
            ("RateLimit-Policy", "How much may be asked for in how many seconds, by name (the IETF's draft)."),
            ("RateLimit", "How much of it is left, and in how many seconds there is more."),
        )
    }


def _headers(names: Iterable[str]) -> dict[str, Any]:
    known = _HEADERS | {"Request-Id": ("The id of the request, as the log has it.", {"type": "string"})}
    return {
        name: {"description": known[name][0], "required": name != "Link", "schema": known[name][1]} for name in names
    }


def problems_of(one: Operation) -> tuple[str, ...]:
    """Every type of problem that an operation may answer."""
    names = {*_ALWAYS, *one.problems}
    if one.face == "owner":
        names.add("quota-exceeded")
    if "anon" not in one.may:
        names |= {"unauthorized", "forbidden", "storage-unavailable"}
    else:
        names |= {"unauthorized", "storage-unavailable"}
    if one.takes_file:
        names |= {"too-large", "unsupported-media-type"}
    elif one.takes_body:
        names |= {"invalid-json", "too-large", "unsupported-media-type"}
    if one.path_parameters:
        names.add("not-found")
    if one.once:
        names |= {"idempotency-key-missing", "idempotency-key-invalid", "idempotency-key-used"}
    if one.guarded:
        names |= {"version-changed", "version-needed"} if one.guarded == "must" else {"version-changed"}
    return tuple(name for name in TYPES if name in names)


def _problems(one: Operation) -> dict[str, Any]:
    by_status: dict[int, list[str]] = {}
    for name in problems_of(one):
        by_status.setdefault(TYPES[name].status, []).append(name)
    return {str(status): _problem(status, names) for status, names in sorted(by_status.items())}


def _problem(status: int, names: list[str]) -> dict[str, Any]:
    types = [URN + name for name in names]
    kind = TYPES[names[0]]
    example = {
        "type": URN + kind.name,
        "title": kind.title,
        "status": status,
        "detail": kind.remedy,
        "instance": "urn:quoting:request:0123456789abcdef0123456789abcdef",
    }
    headers = {"Request-Id": {"description": "The id of the request.", "schema": {"type": "string"}}}
    for name, statuses in (("Retry-After", (429, 503)), ("WWW-Authenticate", (401,))):
        if status in statuses:
            headers[name] = {"description": name, "schema": {"type": "string"}}
    return {
        "description": "; ".join(f"{name}: {TYPES[name].title}" for name in names),
        "headers": headers,
        "content": {
            PROBLEM_JSON: {
                "schema": {
                    "allOf": [{"$ref": _TEMPLATE.format(name="Problem")}],
                    "properties": {"type": {"enum": types}, "status": {"const": status}},
                },
                "example": example,
            }
        },
    }


def as_json(told: Mapping[str, Any]) -> bytes:
    """A document as it is served."""
    return msgspec.json.encode(told)
