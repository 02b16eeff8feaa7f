"""
Errors over HTTP (RFC 9457): the closed list of problem types, and one table from error class to type.

Every answer of status 400 or more is one of ``TYPES``, with its fixed title; ``instance`` is the id of the
request, which the log has too. What went wrong inside (a path, a statement, a traceback) is never told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from litestar import Request, Response
from litestar.exceptions import HTTPException
from msgspec import UNSET, Struct, UnsetType, json

from api.media_types import HTML
from quoting.errors import (
    ArtworkBusyError,
    ArtworkError,
    ArtworkTooLargeError,
    ArtworkToolError,
    BookError,
    CursorError,
    DocumentError,
    Fault,
    InputError,
    JobError,
    KeyUsedError,
    NoPlanError,
    NotOfferedError,
    NotPricedError,
    OverpaidError,
    PublishedCardError,
    QuoteNotFoundError,
    QuotingError,
    RateCardError,
    StaleVersionError,
    StateError,
    StorageError,
    UnfitTextError,
)

PROBLEM_JSON = "application/problem+json"
URN = "urn:quoting:problem:"
RETRY_AFTER_SECONDS = 5
MOST_LISTED = 200  # a body of 1 MB could have 9 MB of faults


class ProblemType(Struct, frozen=True):
    """One kind of problem: its name, its status, its fixed title, and what to do about it."""

    name: str
    status: int
    title: str
    remedy: str


_LISTED = (
    ProblemType(
        "invalid-json", 400, "The body is no JSON that can be read", "Send UTF-8 JSON, each key of an object once."
    ),
    ProblemType("invalid-request", 400, "The request cannot be read", "Mend what the detail names."),
    ProblemType("invalid-cursor", 400, "The cursor is none of this list", "Follow the link of the page before."),
    ProblemType(
        "idempotency-key-missing", 400, "An Idempotency-Key is needed", "Send a new key with every new request."
    ),
    ProblemType(
        "idempotency-key-invalid", 400, "The Idempotency-Key cannot be used", "Send 16 to 255 visible characters."
    ),
    ProblemType("unknown-host", 400, "The Host is none of this server", "Call it by its configured name."),
    ProblemType(
        "credentials-in-url", 400, "A key was sent in the address", "Send it as Authorization: Bearer; revoke it."
    ),
    ProblemType("unauthorized", 401, "No key that is in force was sent", "Send one as Authorization: Bearer."),
    ProblemType("forbidden", 403, "This key may not do that", "Use a key of another scope."),
    ProblemType("origin-refused", 403, "Pages of this origin may not ask", "Name the origin with the form's key."),
    ProblemType("not-found", 404, "Nothing is there", "Check the path and the id."),
    ProblemType("method-not-allowed", 405, "The method is not allowed here", "Use one that Allow lists."),
    ProblemType("not-acceptable", 406, "No media type that is accepted can be given", "Accept one of those listed."),
    ProblemType("quote-draft", 409, "The quotation is a draft", "Issue it first."),
    ProblemType("quote-open", 409, "The quotation is open", "Nothing of the kind can be done while it is."),
    ProblemType("quote-expired", 409, "The quotation has expired", "Ask for a new one."),
    ProblemType("quote-replaced", 409, "A newer revision stands in its place", "Look at the newest revision."),
    ProblemType("quote-accepted", 409, "The quotation is accepted", "It stays as it was accepted."),
    ProblemType("quote-declined", 409, "The quotation is declined", "Ask for a new one."),
    ProblemType("quote-withdrawn", 409, "The quotation is withdrawn", "Ask for a new one."),
    ProblemType("quote-erased", 409, "What was personal of the quotation is erased", "Nothing; it stays erased."),
    ProblemType("overpaid", 409, "The amount is more than what is to be paid", "Record at most the balance."),
    ProblemType(
        "card-published", 409, "This version of the rate card is published", "Publish changes as a new version."
    ),
    ProblemType("conflict", 409, "What is there stands against it", "Read it again."),
    ProblemType("version-changed", 412, "It was changed since it was read", "Read it again; send its new ETag."),
    ProblemType("too-large", 413, "The body is too large", "Send less."),
    ProblemType("unsupported-media-type", 415, "The body is of another type", "Send what the detail names."),
    ProblemType("invalid-input", 422, "What was sent does not fit", "Mend every place that is listed."),
    ProblemType("invalid-job", 422, "The job does not fit", "Mend every place that is listed."),
    ProblemType("invalid-card", 422, "The rate card is refused", "Mend every place that is listed."),
    ProblemType("not-offered", 422, "Something is asked for that is not offered", "Ask for what is offered instead."),
    ProblemType("not-quotable", 422, "It cannot be made as it is asked for", "Take one of the ways round."),
    ProblemType(
        "not-priced", 422, "No price can be worked out for it here", "Send it as a request: the shop will look at it."
    ),
    ProblemType(
        "unfit-artwork", 422, "The file cannot be measured as artwork", "Send a PDF, a PNG or a TIFF that prints."
    ),
    ProblemType("artwork-too-large", 422, "The artwork is over a limit", "Send what the detail says."),
    ProblemType("unfit-text", 422, "A text holds characters that a document cannot show", "Write it otherwise."),
    ProblemType(
        "idempotency-key-used", 422, "The Idempotency-Key is another request's", "Send a new key with a new request."
    ),
    ProblemType("refused", 422, "The request is refused", "Mend what the detail names."),
    ProblemType("version-needed", 428, "If-Match is needed", "Send the ETag of what was read."),
    ProblemType("quota-exceeded", 429, "Too much was asked for", "Wait as long as Retry-After says."),
    ProblemType("failed", 500, "The request failed here", "Send it again later; tell us the instance."),
    ProblemType("artwork-busy", 503, "All that measure artwork are at work", "Send it again after Retry-After."),
    ProblemType("artwork-unavailable", 503, "Artwork cannot be measured here", "Send it to the shop in another way."),
    ProblemType("document-unavailable", 503, "The document cannot be made here", "Ask for JSON, or later."),
    ProblemType("not-set-up", 503, "The server is not set up for that", "Tell the shop: its server's log says how."),
    ProblemType("storage-unavailable", 503, "The quote book cannot be reached", "Send it again after Retry-After."),
)  # fmt: skip
TYPES: dict[str, ProblemType] = {one.name: one for one in _LISTED}


class InvalidField(Struct, frozen=True):
    """One place of the body that does not fit, by JSON pointer (RFC 6901)."""

    pointer: str
    detail: str


class InvalidParameter(Struct, frozen=True, rename={"where": "in"}):
    """One parameter that does not fit: of the query, the path or a header."""

    name: str
    where: str
    detail: str


class Problem(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A problem document; what a type has nothing to tell of is left out."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    invalid: tuple[InvalidField, ...] = ()
    parameters: tuple[InvalidParameter, ...] = ()
    refusals: dict[str, str] = {}
    state: str | UnsetType = UNSET
    offered: tuple[str, ...] = ()


class Told(Struct, frozen=True, kw_only=True):
    """What one request is told of its problem, before it is a document."""

    name: str
    detail: str = ""
    invalid: tuple[InvalidField, ...] = ()
    parameters: tuple[InvalidParameter, ...] = ()
    refusals: dict[str, str] = {}
    state: str | UnsetType = UNSET
    offered: tuple[str, ...] = ()
    headers: dict[str, str] = {}


class ProblemError(Exception):
    """A request is refused with one of the types."""

    def __init__(self, name: str, detail: str = "", **told: Any) -> None:
        self.told = Told(name=name, detail=detail, **told)
        super().__init__(f"{name}: {detail}")


STATES = {"lapsed": "quote-expired"} | {
    state: f"quote-{state}" for state in ("draft", "open", "replaced", "accepted", "declined", "withdrawn", "erased")
}
# The first class that fits decides.
_TABLE: tuple[tuple[type[QuotingError], str], ...] = (
    (NotOfferedError, "not-offered"),
    (JobError, "invalid-job"),
    (RateCardError, "invalid-card"),
    (NoPlanError, "not-quotable"),
    (NotPricedError, "not-priced"),
    (UnfitTextError, "unfit-text"),
    (ArtworkTooLargeError, "artwork-too-large"),
    (ArtworkBusyError, "artwork-busy"),
    (ArtworkToolError, "artwork-unavailable"),
    (ArtworkError, "unfit-artwork"),
    (DocumentError, "document-unavailable"),
    (InputError, "invalid-input"),
    (StorageError, "storage-unavailable"),
    (QuoteNotFoundError, "not-found"),
    (StaleVersionError, "version-changed"),
    (KeyUsedError, "idempotency-key-used"),
    (PublishedCardError, "card-published"),
    (OverpaidError, "overpaid"),
    (CursorError, "invalid-cursor"),
    (BookError, "conflict"),
    (QuotingError, "refused"),
)
_STATUSES = {
    400: "invalid-request",
    401: "unauthorized",
    403: "forbidden",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "too-large",
    415: "unsupported-media-type",
    429: "quota-exceeded",
}
_ASKED_AGAIN = {"storage-unavailable", "artwork-busy"}
_SILENT = {"idempotency-key-used", "not-found", "version-changed"}  # whose words might tell of another's
_TOKEN = re.compile(r"""\.([^.\[\]"]+)|\[(\d+)\]|\[("(?:[^"\\]|\\.)*")\]""")


def told_of(error: QuotingError, sent: Any = None) -> Told:
    """
    What is told of an error of the library.

    Args:
        sent: The body, so that every pointer leads to something in it.
    """
    if isinstance(error, StateError):
        return Told(name=STATES.get(error.state, "conflict"), detail=_first_line(error), state=error.state)
    name = next(name for kind, name in _TABLE if isinstance(error, kind))
    if isinstance(error, NotPricedError):
        return Told(name=name, detail=" ".join(error.reasons))
    listed = isinstance(error, InputError)
    silent = listed or name in _SILENT or TYPES[name].status >= HTTPStatus.INTERNAL_SERVER_ERROR
    detail = "" if silent else _first_line(error)
    if isinstance(error, InputError) and len(error.faults) > MOST_LISTED:
        detail = f"{len(error.faults)} places do not fit; the first {MOST_LISTED} are listed."
    return Told(
        name=name,
        detail=detail,
        invalid=invalid_fields(error.faults, sent) if isinstance(error, InputError) else (),
        refusals=error.refusals if isinstance(error, NoPlanError) else {},
        headers={"Retry-After": str(RETRY_AFTER_SECONDS)} if name in _ASKED_AGAIN else {},
    )


def invalid_fields(faults: Sequence[Fault], sent: Any) -> tuple[InvalidField, ...]:
    """Faults by pointer, the first 200; one of a key that was not sent points to what it is missing from."""
    return tuple(_invalid_field(fault, sent) for fault in faults[:MOST_LISTED])


def _invalid_field(fault: Fault, sent: Any) -> InvalidField:
    keys = _of_the_job(keys_of(fault.where), sent)
    there = 0
    for key in keys:
        sent = _inside(sent, key)
        if sent is _NOTHING:
            break
        there += 1
    missing = ".".join(keys[there:])
    detail = f"expected {fault.expected}; found {fault.found}"
    return InvalidField(pointer_to(keys[:there]), f"{missing}: {detail}" if missing else detail)


def _of_the_job(keys: list[str], sent: Any) -> list[str]:
    """Where a fault stands in the body: the engine tells places of a job, which may be a part of it."""
    apart = isinstance(sent, Mapping) and isinstance(sent.get("job"), Mapping) and keys[:1] != ["job"]
    return ["job", *keys] if apart and keys and keys[0] not in sent and keys[0] in sent["job"] else keys


_NOTHING = object()


def _inside(data: Any, key: str) -> Any:
    if isinstance(data, Mapping):
        return data.get(key, _NOTHING)
    if isinstance(data, list | tuple) and key.isdecimal() and int(key) < len(data):
        return data[int(key)]
    return _NOTHING


def keys_of(path: str) -> list[str]:
    """``$.items[0]["a.b"]`` as its keys: items, 0, a.b."""
    path = "$." + path if not path.startswith("$") else path
    return [
        plain or place or json.decode(quoted, type=str)
        for plain, place, quoted in (found.groups() for found in _TOKEN.finditer(path))
    ]


def pointer_to(keys: Iterable[str]) -> str:
    """Keys as a JSON pointer."""
    return "".join("/" + key.replace("~", "~0").replace("/", "~1") for key in keys)


def instance_of(request: Request[Any, Any, Any]) -> str:
    """The id of a request, as a problem tells it."""
    return f"urn:quoting:request:{request.scope['state'].get('request_id', '')}"


def problem_response(request: Request[Any, Any, Any], told: Told) -> Response[bytes]:
    """A problem over HTTP."""
    status = TYPES[told.name].status
    if is_for_a_person(request.scope["path"], request.headers.get("accept", "")):
        from api.site.wrong import wrong_page

        page = wrong_page(told.name, request.headers.get("accept-language", ""))
        return Response(page, status_code=status, media_type=HTML, headers=told.headers)
    problem = problem_of(told, instance_of(request))
    return Response(json.encode(problem), status_code=status, media_type=PROBLEM_JSON, headers=told.headers)


def is_for_a_person(path: str, accept: str) -> bool:
    """Whether a page is wanted: a browser asks for one of our pages, not a program for an answer of the API."""
    return "text/html" in accept and not path.startswith("/v1/")


def problem_of(told: Told, instance: str) -> Problem:
    """A problem as a document."""
    kind = TYPES[told.name]
    return Problem(
        type=URN + kind.name,
        title=kind.title,
        status=kind.status,
        detail=told.detail or kind.remedy,
        instance=instance,
        invalid=told.invalid,
        parameters=told.parameters,
        refusals=told.refusals,
        state=told.state,
        offered=told.offered,
    )


def refused(request: Request[Any, Any, Any], error: ProblemError) -> Response[bytes]:
    """A problem that was told as one."""
    return problem_response(request, error.told)


def quoting_error(request: Request[Any, Any, Any], error: QuotingError) -> Response[bytes]:
    """An error of the library over HTTP."""
    if isinstance(error, StorageError | ArtworkToolError):
        note_failure(request, error)
    return problem_response(request, told_of(error, request.scope["state"].get("sent")))


def http_error(request: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    """An error of the web's own over HTTP: unknown path, method, size."""
    status = error.status_code
    is_theirs = status < HTTPStatus.INTERNAL_SERVER_ERROR or request.scope["state"].get("is_gone")
    name = _STATUSES.get(status, "invalid-request" if is_theirs else "failed")
    if name == "failed":
        note_failure(request, error)
    headers = {key: value for key, value in (error.headers or {}).items() if key.lower() == "retry-after"}
    return problem_response(request, Told(name=name, headers=headers))


def unreadable(request: Request[Any, Any, Any], _: Exception) -> Response[bytes]:
    """Text that is no UTF-8, or nesting too deep, wherever it is met."""
    return problem_response(request, Told(name="invalid-request"))


def unexpected_error(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Anything else: a failure of ours, told without its inside."""
    note_failure(request, error)
    return problem_response(request, Told(name="failed"))


def note_failure(request: Request[Any, Any, Any], error: Exception) -> None:
    """Leave an error for the log of the request."""
    request.scope["state"]["failure"] = error


def _first_line(error: QuotingError) -> str:
    return str(error).partition("\n")[0]


HANDLERS: dict[int | type[Exception], Any] = {
    ProblemError: refused,
    QuotingError: quoting_error,
    HTTPException: http_error,
    UnicodeDecodeError: unreadable,
    RecursionError: unreadable,
    Exception: unexpected_error,
}
