"""
Holds every answer that a test gets: to the OpenAPI document of the app that gave it (A3), and one of status 400 or
more, wherever it came from, to the closed list of problems (A1).
"""

from __future__ import annotations

import json
import re
from functools import cached_property
from typing import Any

import httpx
import jsonschema_rs
from litestar import Litestar

from api.desk import Desk
from api.media_types import HTML
from api.openapi import document
from api.problems import PROBLEM_JSON, TYPES, URN


class Held:
    """A hook for a client: what an answer is, its document must tell."""

    def __init__(self, app: Litestar) -> None:
        self._desk: Desk = app.state.desk
        self._validators: dict[str, Any] = {}

    def __call__(self, answer: httpx.Response) -> None:
        """
        Hold one answer to the document and to the list of problems.

        Raises:
            AssertionError: it tells something else.
        """
        answer.read()
        if answer.status_code >= 400:
            hold_problem(answer)
        operation = self._operation(answer.request)
        if operation is None:
            return
        named = f"{answer.request.method} {answer.request.url.path}: {answer.status_code}"
        told = operation["responses"].get(str(answer.status_code))
        assert told is not None, f"{named}: expected one of {list(operation['responses'])}"
        if answer.status_code == 304 or answer.request.method == "HEAD":
            return
        kind = answer.headers.get("content-type", "").partition(";")[0]
        assert kind in told["content"], f"{named}: expected one of {list(told['content'])}; found {kind}"
        for name, header in told.get("headers", {}).items():
            assert name in answer.headers or not header.get("required"), f"{named}: expected the header {name}"
        if kind.endswith("json"):
            self._validator(told["content"][kind]["schema"]).validate(json.loads(answer.content))

    @cached_property
    def told(self) -> dict[str, Any]:
        """The owner's document, which tells the public operations too."""
        return document("owner", self._desk.operations, self._desk.settings)

    @cached_property
    def _paths(self) -> list[tuple[re.Pattern[str], dict[str, Any]]]:
        # A path without parameters comes before one that would take it for a value.
        paths = sorted(self.told["paths"].items(), key=lambda path: path[0].count("{"))
        return [(re.compile(re.sub(r"\{\w+\}", "[^/]+", path)), methods) for path, methods in paths]

    def _operation(self, request: httpx.Request) -> dict[str, Any] | None:
        method = "get" if request.method == "HEAD" else request.method.lower()
        found = (methods for path, methods in self._paths if path.fullmatch(request.url.path))
        methods = next(found, {})
        operation: dict[str, Any] | None = methods.get(method)
        return operation

    def _validator(self, schema: dict[str, Any]) -> Any:
        name = json.dumps(schema, sort_keys=True)
        if name not in self._validators:
            whole = {**schema, "components": self.told["components"]}
            self._validators[name] = jsonschema_rs.Draft202012Validator(whole)
        return self._validators[name]


def hold_problem(answer: httpx.Response) -> None:
    """
    Hold an answer to the list of problems (RFC 9457, 3.1): media type, status, title, and the id of its request.

    Raises:
        AssertionError: it is none of them.
    """
    kind = answer.headers.get("content-type", "").partition(";")[0]
    if kind == HTML and not answer.request.url.path.startswith("/v1/"):
        return  # a page that tells a person
    assert kind == PROBLEM_JSON, f"{answer.request.method} {answer.request.url.path}: {answer.status_code}: {kind}"
    if answer.request.method == "HEAD":
        return
    told = json.loads(answer.content)
    listed = TYPES[told["type"].removeprefix(URN)]
    assert (told["type"], told["title"]) == (URN + listed.name, listed.title)
    assert told["status"] == listed.status == answer.status_code
    assert told["instance"] == f"urn:quoting:request:{answer.headers['request-id']}"
