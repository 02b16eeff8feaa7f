"""The API described by itself: OpenAPI documents, and pages to read, without a script or anybody's server."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from api.calls import Answer, Call, Nothing
from api.etags import tag_of_content
from api.keys import ANYBODY, READERS
from api.media_types import HTML, JSON
from api.openapi import as_json, document
from api.operations import Answers, operation
from api.problems import TYPES

_CSP = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
_STYLE = """
body { font: 1rem/1.5 serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; color: #1a1a1a; background: #fff }
h1, h2, h3 { line-height: 1.2 } h3 { margin: 2rem 0 .3rem } code, pre { font: .875rem/1.4 monospace }
pre { background: #f4f2ee; padding: .75rem; overflow-x: auto } table { border-collapse: collapse; width: 100% }
td, th { text-align: left; vertical-align: top; padding: .2rem .75rem .2rem 0; border-bottom: 1px solid #ccc }
"""


@operation(
    method="GET",
    path="/v1/openapi/public.json",
    id="public-document",
    summary="What a shop's website may ask for, as OpenAPI 3.1.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="The document.", content={JSON: dict[str, Any]}, headers=("ETag",)),),
    tagged=True,
)
async def public_document(call: Call[Nothing, Nothing]) -> Answer:
    """The public document."""
    return _document(call, "public")


@operation(
    method="GET",
    path="/v1/openapi/owner.json",
    id="owner-document",
    summary="Everything that can be asked for, as OpenAPI 3.1.",
    face="owner",
    may=READERS,
    answers=(Answers(what="The document.", content={JSON: dict[str, Any]}, headers=("ETag",)),),
    tagged=True,
)
async def owner_document(call: Call[Nothing, Nothing]) -> Answer:
    """The owner's document."""
    return _document(call, "owner")


@operation(
    method="GET",
    path="/docs",
    id="public-pages",
    summary="The public operations and the problem types, to read.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="A page.", content={HTML: None}),),
)
async def public_pages(call: Call[Nothing, Nothing]) -> Answer:
    """The public page."""
    return _page(call, "public")


@operation(
    method="GET",
    path="/docs/owner",
    id="owner-pages",
    summary="Every operation and the problem types, to read.",
    face="owner",
    may=READERS,
    answers=(Answers(what="A page.", content={HTML: None}),),
)
async def owner_pages(call: Call[Nothing, Nothing]) -> Answer:
    """The owner's page."""
    return _page(call, "owner")


def _told(call: Call[Nothing, Nothing], face: str) -> dict[str, Any]:
    return document(face, call.desk.operations, call.desk.settings)


def _document(call: Call[Nothing, Nothing], face: str) -> Answer:
    content = as_json(_told(call, face))
    return Answer(content=content, headers={"ETag": tag_of_content(content)})


def _page(call: Call[Nothing, Nothing], face: str) -> Answer:
    content = page_of(_told(call, face), face)
    return Answer(
        content=content.encode(), media_type=f"{HTML}; charset=utf-8", headers={"Content-Security-Policy": _CSP}
    )


def page_of(told: dict[str, Any], face: str) -> str:
    """A document as a page."""
    info = told["info"]
    operations = "".join(
        _operation(method, path, one) for path, methods in told["paths"].items() for method, one in methods.items()
    )
    types = "".join(
        f"<tr><td><code>{escape(one.name)}</code></td><td>{one.status}</td><td>{escape(one.title)}</td>"
        f"<td>{escape(one.remedy)}</td></tr>"
        for one in TYPES.values()
    )
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(info["title"])}</title>'
        f"<style>{_STYLE}</style></head><body><h1>{escape(info['title'])} {escape(info['version'])}</h1>"
        f"<p>{escape(info['summary'])}</p><p>{escape(info['description'])}</p>"
        f'<p>As OpenAPI 3.1: <a href="/v1/openapi/{face}.json">/v1/openapi/{face}.json</a></p>'
        f"<h2>Operations</h2>{operations}"
        f"<h2>Problem types</h2>{_table(('urn:quoting:problem:', 'Status', 'Title', 'What to do'), types)}"
        "</body></html>"
    )


def _operation(method: str, path: str, one: dict[str, Any]) -> str:
    parameters = "".join(
        f"<tr><td><code>{escape(parameter['name'])}</code></td><td>{parameter['in']}</td>"
        f"<td>{'needed' if parameter['required'] else ''}</td><td>{escape(parameter['description'])}</td></tr>"
        for parameter in one["parameters"]
    )
    answers = "".join(
        f"<tr><td>{status}</td><td>{escape(', '.join(answer.get('content', ())))}</td>"
        f"<td>{escape(answer['description'])}</td></tr>"
        for status, answer in one["responses"].items()
    )
    examples = one.get("requestBody", {}).get("content", {}).get(JSON, {}).get("examples", {})
    shown = "".join(f"<pre>{escape(_indented(example['value']))}</pre>" for example in examples.values())
    return (
        f'<h3 id="{escape(one["operationId"])}"><code>{method.upper()} {escape(path)}</code></h3>'
        f"<p>{escape(one['summary'])}</p>{_table(('Parameter', 'In', '', 'What'), parameters)}{shown}"
        f"{_table(('Status', 'As', 'What'), answers)}"
    )


def _table(heads: Sequence[str], rows: str) -> str:
    head = "".join(f'<th scope="col">{name}</th>' for name in heads)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>" if rows else ""


def _indented(value: Any) -> str:
    import json

    return json.dumps(value, indent=2, ensure_ascii=False)


ROUTES = (public_document, owner_document, public_pages, owner_pages)
