"""Errors over HTTP: one table from error class to problem (RFC 9457)."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from litestar import Request, Response
from litestar.exceptions import HTTPException
from msgspec import Struct, json

from quoting import DocumentError, InputError, JobError, NoPlanError, NotOfferedError, QuotingError
from quoting.errors import UnfitTextError

PROBLEM_JSON = "application/problem+json"
TYPES = "urn:quoting:problem:"


class InvalidField(Struct, frozen=True):
    """One fault of what was sent, by JSON pointer (RFC 6901)."""

    pointer: str
    detail: str


class Problem(Struct, frozen=True, kw_only=True):
    """A problem document."""

    type: str
    title: str
    status: int
    detail: str
    invalid: tuple[InvalidField, ...] = ()
    refusals: dict[str, str] = {}


# The first class that fits decides.
TABLE: tuple[tuple[type[QuotingError], str, int, str], ...] = (
    (NotOfferedError, "not-offered", 422, "The job asks for something that the rate card does not hold"),
    (JobError, "invalid-job", 422, "The job does not fit"),
    (NoPlanError, "not-quotable", 422, "No press can make it as it is asked for"),
    (UnfitTextError, "unfit-text", 422, "A text holds characters that the document cannot show"),
    (DocumentError, "document-unavailable", 503, "The document cannot be made here"),
    (InputError, "invalid-input", 400, "What was sent cannot be read"),
    (QuotingError, "refused", 422, "The request is refused"),
)
HTTP_TYPES = {
    400: "invalid-input",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "too-large",
    415: "unsupported-media-type",
}


def problem_of(error: QuotingError) -> Problem:
    """An error of the library as a problem."""
    kind, status, title = next(
        (name, code, words) for fitting, name, code, words in TABLE if isinstance(error, fitting)
    )
    return Problem(
        type=TYPES + kind,
        title=title,
        status=status,
        detail=str(error).partition("\n")[0],
        invalid=tuple(
            InvalidField(json_pointer(fault.where), f"expected {fault.expected}; found {fault.found}")
            for fault in (error.faults if isinstance(error, InputError) else ())
        ),
        refusals=error.refusals if isinstance(error, NoPlanError) else {},
    )


def json_pointer(path: str) -> str:
    """``$.items[0].size`` as ``/items/0/size``."""
    keys = path.removeprefix("$").replace("[", ".").replace("]", "").split(".")
    return "".join("/" + key.replace("~", "~0").replace("/", "~1") for key in keys if key)


def quoting_error(_: Request[Any, Any, Any], error: QuotingError) -> Response[bytes]:
    """An error of the library over HTTP."""
    return _response(problem_of(error))


def http_error(_: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    """An error of the web's own over HTTP: unknown path, method, media type, size."""
    status = error.status_code
    kind = HTTP_TYPES.get(status, "refused" if status < HTTPStatus.INTERNAL_SERVER_ERROR else "failed")
    phrase = HTTPStatus(status).phrase
    detail = error.detail if status in {406, 415} else phrase
    problem = Problem(type=TYPES + kind, title=phrase, status=status, detail=detail)
    return _response(problem, dict(error.headers or {}))


def unexpected_error(_: Request[Any, Any, Any], __: Exception) -> Response[bytes]:
    """Anything else: a failure of ours, told without its inside."""
    problem = Problem(
        type=TYPES + "failed", title="Internal Server Error", status=500, detail="The request failed here"
    )
    return _response(problem)


def _response(problem: Problem, headers: dict[str, str] | None = None) -> Response[bytes]:
    return Response(json.encode(problem), status_code=problem.status, media_type=PROBLEM_JSON, headers=headers or {})
