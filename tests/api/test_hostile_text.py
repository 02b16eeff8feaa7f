"""Hostile text in every field of text that the owner's operations have, on real servers of both engines (A46)."""

from __future__ import annotations

import io
import json
import os
import tomllib
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import pikepdf
import pytest
from msgspec import inspect

from api.media_types import PDF
from api.operations import Operation
from quoting import Job
from quoting.book import QuoteBook
from tests.api.asking import BOOK, OWNERS, issued, last_event, once, pointers, together
from tests.api.fields import Place, fields_of, fits, places, with_all
from tests.api.public.test_hostile_text import SEEDS, corpus
from tests.api.serving import Served
from tests.conftest import demo_job_path
from tests.documents.reading import text_of

AT_ONCE = 8
MOST_LISTED = 150  # places that are put into one body; an answer lists 200
ROOM_BYTES = 800_000  # of a body, for what is put into it
TEXT = (inspect.StrType, inspect.LiteralType, inspect.CustomType, inspect.DateType)
STRANGE = [*corpus(), *(f"{good}\n" for good in ("Q", "GBP", "en-GB", "12.50", "10 x 10 mm", "1 mm", "visible"))]


@pytest.mark.parametrize(
    "share", [pytest.param(12, id="a twelfth"), pytest.param(1, id="all", marks=pytest.mark.long)]
)
def test_text_that_a_field_does_not_take_is_refused_with_its_pointer(
    running: Served, asked: httpx.Client, share: int
) -> None:
    """
    A46: every field of text of every operation, as found from its type, and what it takes as that says.

    A card of another format is told so and not read, so its number stays.
    """
    before = last_event(running)
    works = []
    for turn, one in enumerate(fields_of(OWNERS)):
        texts = [place for place in one.places if isinstance(place.kind, TEXT) and place.name != "format"]
        for text in STRANGE[turn % share :: share]:
            most = min(MOST_LISTED, ROOM_BYTES // len(json.dumps(text)))
            for start in range(0, len(texts), most):
                works.append(partial(_refused, asked, one.operation, one.body, texts[start : start + most], text))

    assert sum(together(works, threads=AT_ONCE)) > 10_000 / share
    assert last_event(running) == before


def _refused(asked: httpx.Client, one: Operation, body: Any, places: list[Place], text: str) -> int:
    """How many fields were told a text that they do not take; each must be listed."""
    wrong = [place for place in places if not fits(place.kind, text)]
    if not wrong:
        return 0
    path = one.path.replace("{", "").replace("}", "")
    sent = with_all(body, dict.fromkeys([place.path for place in wrong], text))
    answer = asked.request(one.method, path, json=sent, headers={**once(), "If-Match": '"x.1"'})
    assert answer.status_code == 422, (one.id, text[:60])
    assert {place.pointer for place in wrong} <= set(pointers(answer)), (one.id, text[:60])
    return len(wrong)


def demo_job(name: str) -> Any:
    return json.loads(json.dumps(tomllib.loads(demo_job_path("marrowby-lane", name).read_text()), default=str))


def texts_of(body: Any) -> list[Place]:
    """Every place of a job that takes any text."""
    return [place for place in places(body, inspect.type_info(Job)) if isinstance(place.kind, inspect.StrType)]


WHOLE = demo_job("cards")
WHOLE |= {
    "reference": "Bar 7",
    "notes": "For the bar.",
    "client": {"name": "Wilmot Dace", "company": "The Eel", "email": "w@eel.example", "address": ["Quay Street"]},
    "delivery": {"method": "collect", "to": "4 Tide Row"},
}
FREE = {"title", "reference", "notes", "client.name", "client.company", "client.email", "client.address",
        "delivery.to", "items.name"}  # fmt: skip


def named(place: Place) -> str:
    return ".".join(str(key) for key in place.path if not isinstance(key, int))


def test_text_in_a_job_names_what_the_card_has_or_is_written_freely(asked: httpx.Client) -> None:
    """A46: which of its fields are which, as the server says."""
    free = set()
    for place in texts_of(WHOLE):
        answer = asked.post("/v1/estimates", json=with_all(WHOLE, {place.path: "Marginalia"}))
        if answer.status_code == 200:
            free.add(named(place))
        else:
            assert (answer.status_code, pointers(answer)) == (422, [place.pointer]), answer.text

    assert free == FREE


def test_text_of_a_job_is_told_as_it_was_written_or_refused(asked: httpx.Client) -> None:
    """A46: 300 texts, each in every field that is written freely, and in every one that names something."""
    free = [place for place in texts_of(WHOLE) if named(place) in FREE]
    others = [place for place in texts_of(WHOLE) if named(place) not in FREE]

    def ask(text: str) -> int:
        body = {"job": with_all(WHOLE, {place.path: text for place in free if fits(place.kind, text)})}
        answer = asked.post("/v1/book/drafts", json=body, headers=once())
        named = asked.post("/v1/estimates", json=with_all(WHOLE, {place.path: text for place in others}))
        assert named.status_code == 422, text[:60]
        if answer.status_code == 201:
            told = asked.get(f"{BOOK}/{answer.json()['id']}/job").json()
            assert all(_at(told, place) == _at(body["job"], place) for place in free), text[:60]
        else:
            assert answer.status_code == 422, text[:60]
            assert not text.isprintable()
        return answer.status_code

    statuses = together([partial(ask, text) for text in corpus()], threads=AT_ONCE)

    assert statuses.count(201) > 200


def _at(data: Any, place: Place) -> Any:
    for key in place.path:
        data = data[key]
    return data


CONTACT = ("name", "company", "email", "telephone", "tax", "terms")


def test_text_in_the_address_book_is_told_as_it_was_written_or_refused(asked: httpx.Client) -> None:
    """A46: 300 texts, each in every field."""

    def ask(number: int, text: str) -> int:
        contact: dict[str, Any] = dict.fromkeys(CONTACT, text) | {"email": f"{number} {text}"}  # each is another's
        contact |= {"address": [text]} if len(text) <= 120 else {"name": "Somebody"}
        answer = asked.post("/v1/book/clients", json=contact, headers=once())
        if answer.status_code == 201:
            told = asked.get(answer.headers["location"]).json()["contact"]
            assert {name: told[name] for name in contact} == contact
        else:
            assert answer.status_code == 422, text[:60]
        return answer.status_code

    statuses = together([partial(ask, *one) for one in enumerate(corpus())], threads=AT_ONCE)

    assert statuses.count(201) > 200
    assert statuses.count(422) > 1


def test_what_is_said_of_a_decision_is_kept_as_it_was_written(running: Served, asked: httpx.Client) -> None:
    """A46: who decided, and their note."""
    kept: dict[str, str] = {}
    for place, text in enumerate(SEEDS):
        path = f"{BOOK}/{issued(asked)['id']}"
        move, paper = [("acceptance", "accepted"), ("decline", "declined"), ("withdrawal", "withdrawn")][place % 3]
        body = {"note": text} if move == "withdrawal" else {"note": text, "who": text}
        answer = asked.post(f"{path}/{move}", json=body, headers=once())
        assert answer.status_code in {200, 422}, text
        kept |= {f"{path.rpartition('/')[2]} {paper}": text} if answer.status_code == 200 else {}
    with QuoteBook(running.settings.book) as book:
        for told, text in kept.items():
            said = json.loads(book.paper(*told.split(" ")).content)
            assert {value for key, value in said.items() if key in {"who", "note"}} == {text}

    assert len(kept) > 60


def test_text_in_the_name_of_a_key_is_told_as_it_was_written_or_refused(asked: httpx.Client) -> None:
    """A46."""
    made: dict[str, str] = {}
    for text in SEEDS:
        answer = asked.post("/v1/keys", json={"name": text, "role": "owner-ro"}, headers=once())
        assert answer.status_code in {201, 422}, text
        made |= {answer.json()["key"]["id"]: text} if answer.status_code == 201 else {}
    told = {one["id"]: one["name"] for one in asked.get("/v1/keys").json()["keys"]}

    assert {id: told[id] for id in made} == made
    assert len(made) > 60


def test_text_in_a_query_or_a_path_is_refused_or_finds_nothing(running: Served, asked: httpx.Client) -> None:
    """A46: every parameter of every operation; a NUL besides, which one of the engines knows no text with."""
    works = []
    for one in OWNERS:
        query: Any = inspect.type_info(one.query)
        plain = one.path.replace("{", "").replace("}", "")
        body = {} if one.example is None else {"json": one.example}
        for text in [*corpus()[:-2:12], "a\x00b"]:
            headers = {**once(), "If-Match": '"x.1"'}
            ask = partial(asked.request, one.method, headers=headers, **body)
            works += [partial(ask, plain, params={field.encode_name: text}) for field in query.fields]
            if one.path_parameters:
                works.append(
                    partial(ask, one.path.format(**dict.fromkeys(one.path_parameters, quote(text, safe=""))))
                )
    before = last_event(running)

    answers = together(works, threads=AT_ONCE)

    strange = {
        f"{answer.request.method} {answer.url} {answer.status_code}"
        for answer in answers
        if answer.status_code not in {200, 400, 404, 405, 406, 412, 415, 422}
    }
    assert strange == set()
    assert len(answers) > 1000
    assert last_event(running) == before


CORE = ["{{1234*4321}}", "{% raw %}", "${1234*4321}", "#{1234*4321}", "<%= 1234*4321 %>", "{0.__class__}", "%s %(x)s",
        "'; DROP TABLE quotes; --", '" OR 1=1', "=1+1", "@SUM(A1)", "<b>bold</b>",
        "<script>alert(1)</script>"]  # fmt: skip
FETCHING = [
    "<img src=http://127.0.0.1:PORT/a>",
    "<img src=file://FILE>",
    "<link rel=stylesheet href=http://127.0.0.1:PORT/b>",
    "<link rel=attachment href=file://FILE>",
    "<style>@import 'http://127.0.0.1:PORT/c';</style>",
    "<div style=background:url(http://127.0.0.1:PORT/d)>",
    "<object data=file://FILE></object>",
    "<a href=http://127.0.0.1:PORT/e>here</a>",
    "<svg><image href=http://127.0.0.1:PORT/f /></svg>",
    "url(file://FILE)",
]
SECRET = "of-the-canary-nobody-reads"


def test_in_documents_it_is_text_and_fetches_nothing(
    asked: httpx.Client, canary: tuple[int, list[str]], tmp_path: Path, pango: None
) -> None:
    """A46: in the quotation, the docket and the comparison, as PDF; a file and a port on this machine see nobody."""
    port, hits = canary
    file = tmp_path / "canary"
    file.write_text(SECRET)
    os.utime(file, (1, 2))  # older than it was changed, so that a look at it would be seen
    texts = [one.replace("PORT", str(port)).replace("FILE", str(file)) for one in [*CORE, *FETCHING]]
    documents: list[tuple[bytes, list[str]]] = []
    for start in range(0, len(texts), 8):
        some = texts[start : start + 8]
        sent = with_all(WHOLE, {place.path: some[0] for place in texts_of(WHOLE) if named(place) in FREE})
        sent |= {"notes": "\n".join(some), "reference": some[-1]}
        which = asked.post(BOOK, json={"job": sent}, headers=once()).json()["id"]
        documents.append((_pdf(asked.get(f"{BOOK}/{which}", headers={"Accept": PDF})), some))
        documents.append((_pdf(asked.get(f"{BOOK}/{which}/docket", headers={"Accept": PDF})), some[:1]))
    compared = {"job": with_all(WHOLE, {("title",): texts[0]}), "quantities": [50, 100]}
    documents.append((_pdf(asked.post("/v1/comparisons", json=compared, headers={"Accept": PDF})), texts[:1]))

    for pdf, some in documents:
        shown = "".join(text_of(pdf).split())
        assert [one for one in some if "".join(one.split()) not in shown] == []
        assert f"{1234 * 4321}" not in shown
        assert not _kinds(pdf) & {"/JavaScript", "/URI", "/Launch", "/SubmitForm", "/GoToR", "/ImportData"}
        assert SECRET.encode() not in _streams(pdf)
    assert (hits, file.stat().st_atime) == ([], 1)
    assert file.read_text() == SECRET


def _pdf(answer: httpx.Response) -> bytes:
    assert (answer.status_code, answer.headers["content-type"]) == (200, PDF), answer.text[:300]
    return answer.content


def _kinds(pdf: bytes) -> set[str]:
    """What a document does by itself or leads to: the kinds of its actions."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return {str(one.get("/S")) for one in opened.objects if isinstance(one, pikepdf.Dictionary)}


def _streams(pdf: bytes) -> bytes:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return b"\n".join(one.read_bytes() for one in opened.objects if isinstance(one, pikepdf.Stream))
