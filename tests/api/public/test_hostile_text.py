"""
Hostile text in every field that a visitor writes, at the real server (A46).

It is kept and told as it is, or refused; it is never acted on, nothing is fetched for it, no mail is bent by it.
"""

from __future__ import annotations

import copy
import email
import email.policy
import io
import json
import random
import time
import unicodedata
from collections.abc import Iterator
from email.message import EmailMessage
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pikepdf
import pytest
from aiosmtpd.controller import Controller
from msgspec import inspect

from api.media_types import PDF, XML
from quoting.book import QuoteBook
from quoting.errors import UnfitTextError
from quoting.offers import Choice
from tests.api.asking import BOOK, problem, together
from tests.api.conftest import SECRET, Serve
from tests.api.documents import Held
from tests.api.public.conftest import Shop, shop_of
from tests.api.public.visiting import ACCEPT, COASTERS, CONTACT, STATIONERY, choice, path_of
from tests.api.serving import free_url
from tests.documents.reading import text_of

SEEDS = [
    "<script>alert(49)</script>", '"><img src=x onerror=alert(1)>', "<style>*{display:none}</style>", "</title><b>",
    "javascript:alert(1)", "{{7*7}}", "{% for a in b %}{% endfor %}", "${7*7}", "#{7*7}", "<%= 7*7 %>",
    "{0.__class__}",
    "%s%n%x", "{self.__init__.__globals__}", "'; DROP TABLE quotes; --", '" OR 1=1 --', "1; SELECT pg_sleep(9)",
    "file:///etc/hostname", "http://127.0.0.1:9/canary", "//evil.example/x", "asset:secret", "shop:../../x",
    "<link rel=attachment href=file:///etc/hostname>", "<a href='http://evil.example'>here</a>", "\\u202e", "=1+1",
    "@SUM(A1)", "+1", "-1", "|calc", "../../etc/passwd", "..\\..\\x", "a/b", "CON", "%00", "%0d%0aSet-Cookie: a=b",
    "Å" * 60, "ﬁﬂ", "ß", "İ", "ǅ", "½", "№", "a\u00ad\u00adb", "\u200bzero", "\u2066iso\u2069", "\u202eevil\u202c",
    "e\u0301\u0302\u0303", "Z͑ͫ̓ͪ̂ͫ̽͏̴̙̤̞͉͚̯̞̠͍A̴̵̜̰͔ͫ͗͢L̠ͨͧͩ͘G̴̻͈͍͔̹̑͗̎̅͛́Ǫ̵̹̻̝̳͂̌̌͘!", "👩‍👩‍👧‍👦", "🖨", "\U0001f1ec\U0001f1e7", "مرحبا", "שלום", "नमस्ते", "ภาษา",
    "日本語", "\ufeffbom", "\ufffe", "\uffff", "\u0378", "a\x00b", "a\x1bb", "a\x7fb", "a\x85b", "a\r\nb", "a\tb",
    "\u2028",
    " lead", "trail ", "   ", "\u00a0", "&amp;&lt;&#49;", "<![CDATA[x]]>", "<!--", "-->", "]]>", "<?xml?>", "&xxe;",
    "a" * 120, "\\", "'", '"', "`", "$(reboot)", "`reboot`", "\\x41", "\\n", "NULL", "None", "undefined", "NaN",
    "ends\n", "ends\r", "\nx", "a\nBcc: x@evil.example", "x@evil.example\n", "\u0301alone", "a\u0300" * 50,
]  # fmt: skip


def corpus() -> list[str]:
    """At least 300 strings: the seeds, and pairs of them."""
    chance = random.Random("hostile text")
    pairs = [f"{chance.choice(SEEDS)} {chance.choice(SEEDS)}" for _ in range(240)]
    return [*SEEDS, *pairs, "x" * 65_536, "é" * 65_536]


def test_the_corpus_is_large() -> None:
    assert len(set(corpus())) >= 300


# What is written freely; every other field of text names something that is offered, or has a form of its own.
WRITTEN = (
    "title",
    "reference",
    "notes",
    "contact.name",
    "contact.company",
    "contact.address.0",
    "delivery.to",
    "front.lines.0.text",
    "back.lines.0.text",
)
REQUESTS = "/v1/public/requests"
PRICES = "/v1/public/prices"
WHOLE: dict[str, Any] = choice(
    COASTERS,
    quantities=[50],
    size="Coaster board, round, 95 mm",
    stock="coaster-round-95",
    front={"inks": ["black"], "printed_from": "words to set",
           "lines": [{"text": "EEL", "fount": "wharf-12", "ink": "black"}]},
    back={"inks": ["black"], "printed_from": "words to set",
          "lines": [{"text": "EEL", "fount": "wharf-12", "ink": "black"}]},
    impression="visible",
    folded="flat",
    needed_by="2031-01-01",
    delivery={"method": "parcel", "to": "4 Tide Row"},
    contact={**CONTACT, "company": "The Eel", "address": ["Quay Street"], "locale": "en-GB"},
    title="Coasters",
    reference="Bar 7",
    notes="For the bar.",
)  # fmt: skip
DRAWN = {"inks": ["black"], "printed_from": "finished artwork", "artwork": "ready", "coverage": "Type and line"}
SETS: dict[str, Any] = choice(
    STATIONERY,
    size="Invitation",
    stock="cotton-600",
    front=DRAWN,
    back=DRAWN,
    edges="gold",
    extras=["Tied with ribbon"],
    pieces=[{"piece": "Reply card", "front": DRAWN}],
    envelope={"stock": "envelope-133x184", "front": DRAWN},
)
PLATED: dict[str, Any] = choice(
    {"product": "cards", "quantities": [50]},
    own_size="90 x 60 mm",
    front={"printed_from": "own plate", "plate": {"size": "40 x 30 mm", "thickness": "1.52 mm"}},
)


def put_into(body: dict[str, Any], path: str, text: str) -> dict[str, Any]:
    """The body with a text at a path; what is not there yet on the way is made."""
    made = copy.deepcopy(body)
    place: Any = made["choice"]
    *way, last = (int(key) if key.isdecimal() else key for key in path.split("."))
    for key, further in zip(way, [*way, last][1:], strict=True):
        if isinstance(place, dict):
            place = place.setdefault(key, [] if isinstance(further, int) else {})
        else:
            place += [{}] * (not place)
            place = place[key]
    if isinstance(place, list):
        place[:1] = [text]
    else:
        place[last] = text
    return made


def text_fields(kind: Any, under: str = "") -> Iterator[str]:
    """Every field whose JSON is a string, of a struct and of those in it."""
    for one in getattr(kind, "types", (kind,)):
        if isinstance(one, inspect.Metadata):
            yield from text_fields(one.type, under)
        elif isinstance(one, inspect.VarTupleType):
            yield from text_fields(one.item_type, f"{under}.0")
        elif isinstance(one, inspect.StructType):
            for field in one.fields:
                yield from text_fields(field.type, f"{under}.{field.encode_name}".removeprefix("."))
        elif not isinstance(one, inspect.IntType | inspect.BoolType | inspect.NoneType):
            yield under


CHOSEN = sorted(set(text_fields(inspect.type_info(Choice))) - set(WRITTEN))


def test_every_field_of_text_is_tried() -> None:
    assert set(WRITTEN) <= set(text_fields(inspect.type_info(Choice)))
    assert len(CHOSEN) > 40
    assert {"contact.email", "own_size", "needed_by", "envelope.front.lines.0.text", "pieces.0.front.plate.size"} < {
        *CHOSEN
    }


def test_what_is_kept_is_told_as_it_was_written(served_shop: Shop) -> None:
    """A46: every string of the corpus in every field that is written freely, all at once."""
    with served_shop.book() as book:
        told = together([partial(kept_or_refused, served_shop, book, text) for text in corpus()], threads=8)
    kept = [fields for fields in told if fields]

    assert len(kept) >= 150
    assert {field for fields in kept for field in fields} == set(WRITTEN)
    assert sum(len(fields) < len(WRITTEN) for fields in told) >= 60


def kept_or_refused(shop: Shop, book: QuoteBook, text: str) -> list[str]:
    """Send a text in every field until those that refuse it are told, and hold the others to what is kept of them."""
    fields = list(WRITTEN)
    if len(text) > 10_000:  # all at once would be over the limit of a body
        fields = [field for field in fields if not is_refused(shop, put_into(WHOLE, field, text))]
    for _ in range(4):
        body = WHOLE
        for field in fields:
            body = put_into(body, field, text)
        began = time.perf_counter()
        answer = shop.visitor().post(REQUESTS, body)
        assert time.perf_counter() - began < 20  # a guard: some hundred times what an answer takes
        if answer.status_code == 201:
            break
        assert answer.status_code == 422, (text[:60], answer.text[:300])
        refused = {one["pointer"].removeprefix("/choice/").replace("/", ".") for one in answer.json()["invalid"]}
        assert refused & set(fields), (text[:60], answer.text[:300])
        fields = [field for field in fields if field not in refused]
    assert answer.status_code == 201, (text[:60], answer.text[:300])
    path = path_of(answer)
    hold_to_text(shop, path, book.by_link(path.rpartition("/")[2]).id, text, fields)
    return fields


def is_refused(shop: Shop, body: dict[str, Any]) -> bool:
    return shop.visitor().post(REQUESTS, body).status_code == 422


def hold_to_text(shop: Shop, path: str, id: str, text: str, fields: list[str]) -> None:
    """What visitor and owner are told has the very text in every field."""
    looked = shop.stranger().get(path).json()["quotation"]
    job = shop.client.get(f"{BOOK}/{id}/job", headers=shop.owner).json()
    seen = [job, *([looked] if looked else [])]
    for field in fields:
        for one in seen:
            found = {
                "contact.name": lambda told: told["client"]["name"],
                "contact.company": lambda told: told["client"]["company"],
                "contact.address.0": lambda told: told["client"]["address"][0],
            }.get(field, lambda told, name=field: told.get(name, text))(one)
            assert found == text, (field, text)
    if "front.lines.0.text" in fields:
        assert json.dumps(text) in json.dumps(job)


@pytest.mark.parametrize("path", CHOSEN)
def test_what_is_chosen_is_refused_unless_it_is_offered(served_shop: Shop, path: str) -> None:
    """A46: names of what is offered, sizes, days, addresses of mail."""
    visitor = served_shop.visitor()
    of_sets = path.startswith(("pieces", "envelope", "extras", "edges"))
    base = PLATED if "plate" in path or path == "own_size" else SETS if of_sets else WHOLE
    assert visitor.post(PRICES, base).status_code == 200
    for text in corpus()[::9]:
        answer = visitor.post(PRICES, put_into(base, path, text))

        assert answer.status_code == 422, (path, text, answer.text)
        assert "Traceback" not in answer.text


@pytest.mark.parametrize("move", ["acceptance", "decline"])
def test_what_is_said_of_an_answer_is_kept_as_it_was_written(served_shop: Shop, move: str) -> None:
    """A46: who says so, and their note."""
    body = ACCEPT if move == "acceptance" else {"revision": 1}
    kind = "accepted" if move == "acceptance" else "declined"

    def say(text: str) -> bool:
        path, stranger = served_shop.visitor().link(), served_shop.stranger()
        told = {**body, "name": text, "note": text}
        for _ in range(2):
            answer = stranger.post(f"{path}/{move}", told)
            if answer.status_code == 200:
                break
            assert answer.status_code == 422, answer.text
            told |= {one["pointer"].removeprefix("/"): "" for one in answer.json()["invalid"]}
        assert answer.status_code == 200, answer.text
        said = json.loads(book.paper(book.by_link(path.rpartition("/")[2]).id, kind).content)
        assert {said["who"], said["note"]} == {told["name"], told["note"]}
        assert "Traceback" not in answer.text
        return told["note"] == text

    with served_shop.book() as book:
        kept = together([partial(say, text) for text in corpus()[::6]], threads=8)
    assert kept.count(True) >= 30
    assert kept.count(False) >= 3


@pytest.mark.parametrize("place", ["/v1/public/offers/{}", "/v1/public/offers/{}/schema", "/v1/public/quotations/{}"])
def test_hostile_text_in_a_path_finds_nothing(served_shop: Shop, place: str) -> None:
    """A46."""
    visitor = served_shop.visitor()
    for text in corpus()[::4]:
        answer = visitor.get(place.format(quote(text[:2000], safe="")))
        assert answer.status_code in {400, 404}, text[:60]
        assert "Traceback" not in answer.text


def test_hostile_text_as_the_name_of_a_file_is_told_as_it_is_or_refused(served_shop: Shop, tmp_path: Path) -> None:
    """A46, A48: a name is no place to write to."""
    before = set(Path(served_shop.settings.artwork).rglob("*"))
    for text in corpus()[::6]:
        place = f"/v1/public/artwork?name={quote(text[:3000], safe='')}.pdf"
        answer = served_shop.visitor().ask("POST", place, b"%PDF-1.4 nothing", Content_Type=PDF)
        assert (answer.status_code, problem(answer)) in {(422, "invalid-input"), (422, "unfit-artwork")}, text[:60]
    after = set(Path(served_shop.settings.artwork).rglob("*"))

    assert not [path for path in after - before if path.is_file()]


def test_in_a_document_it_is_text_and_nothing_else(
    served_shop: Shop, canary: tuple[int, list[str]], tmp_path: Path, pango: None
) -> None:
    """A46: all that a document can show, as literal text; nothing is fetched, linked, run or attached for it."""
    port, hits = canary
    secret = tmp_path / "secret.txt"
    secret.write_text("the-file-canary-sings")
    traps = [
        f"<img src=http://127.0.0.1:{port}/image>",
        f"<link rel=stylesheet href=http://127.0.0.1:{port}/style>",
        f"<style>@import url(http://127.0.0.1:{port}/import);</style>",
        f"<div style='background:url(http://127.0.0.1:{port}/background)'>",
        f"<a rel=attachment href={secret.as_uri()}>x</a>",
        f"<link rel=attachment href={secret.as_uri()}>",
        f"<object data={secret.as_uri()}>",
        f"url({secret.as_uri()})",
        f"http://127.0.0.1:{port}/bare",
    ]
    shown = [*traps, *(one for one in SEEDS if can_be_shown(one) and len(one) < 120)]
    assert len(shown) > 60
    for some in (shown[::2], shown[1::2]):
        told: dict[str, Any] = {
            "title": "{{1317*7919}} <script>",
            "reference": "${1317*7919} {0.__class__} %s",
            "notes": "\n".join(some)[:2000],
            "contact": {
                **CONTACT,
                "name": some[0][:120],
                "company": "{% x %}",
                "address": list(some[1:9]),
            },
        }
        path = served_shop.visitor().link(WHOLE["choice"], **told)
        answer, xml = (served_shop.stranger().get(path, Accept=kind) for kind in (PDF, XML))

        assert (answer.status_code, xml.status_code) == (200, 200), answer.text
        hold_to_text_alone(answer.content)
        whole = squeezed(text_of(answer.content))
        for one in (*some, told["title"], told["reference"], "{% x %}"):
            assert squeezed(one) in whole, one
        assert str(1317 * 7919) not in whole
        assert b"the-file-canary-sings" not in answer.content + xml.content
    assert hits == []


def can_be_shown(text: str) -> bool:
    """Whether the faces of documents have its characters, in one direction, on one line."""
    from quoting.documents.fonts import faces_for

    try:
        faces_for(text)
    except UnfitTextError:
        return False
    return text.isprintable()


def squeezed(text: str) -> str:
    """A text without what a page may break it by, its ligatures as their letters."""
    return "".join(unicodedata.normalize("NFKC", text).split()).replace("\u00ad", "")


def hold_to_text_alone(content: bytes) -> None:
    """No link, action or script in a PDF, and nothing attached but its own XML."""
    with pikepdf.open(io.BytesIO(content)) as pdf:
        streams = b"\n".join(one.read_bytes() for one in pdf.objects if isinstance(one, pikepdf.Stream))
        tables = [one for one in pdf.objects if isinstance(one, pikepdf.Dictionary)]
        kinds = {str(one.get("/S")) for one in tables}
        names = list(pdf.attachments.keys())
    assert not kinds & {"/JavaScript", "/URI", "/Launch", "/SubmitForm", "/GoToR", "/ImportData", "/Rendition"}
    assert not [one for one in tables if one.get("/Subtype") == "/Link" or "/JS" in one or "/AA" in one]
    assert names == ["quotation.xml"]
    assert b"the-file-canary-sings" not in streams


class Post:
    """A mail server's inbox: who each letter is for, and itself."""

    def __init__(self) -> None:
        self.inbox: list[tuple[list[str], EmailMessage]] = []

    async def handle_DATA(self, _: Any, __: Any, envelope: Any) -> str:  # noqa: N802  # as aiosmtpd calls it
        letter = email.message_from_bytes(envelope.content, policy=email.policy.default)
        self.inbox.append((envelope.rcpt_tos, letter))
        return "250 kept"

    def wait_for(self, letters: int) -> None:
        """Wait until so many have come."""
        until = time.monotonic() + 60  # a guard
        while len(self.inbox) < letters:
            assert time.monotonic() < until
            time.sleep(0.1)


HEADERS_BENT = [
    {"title": "x%0d%0aBcc: y@evil.example", "name": "Wilmot <x@evil.example>, Z"},
    {"title": "=?utf-8?q?x=0d=0aBcc:_y=40evil.example?=", "name": '"; Bcc: y@evil.example'},
    {"title": "x\\r\\nBcc: y@evil.example", "name": "y@evil.example, Wilmot"},
]


def test_a_mail_about_hostile_text_has_the_headers_of_any_other(serve: Serve, held: Held, pango: None) -> None:
    """A46: sent by the sender beside a real server to a real mail server; to whom it is for, and to nobody else."""
    post, place = Post(), urlsplit(free_url())
    controller = Controller(post, hostname="127.0.0.1", port=place.port or 0)
    controller.start()
    told = {"mail": f"smtp+plain://{place.netloc}", "mail_shop": "orders@marrowby-lane.example", "secret": SECRET}
    try:
        with shop_of(serve(trusted_proxies=1, **told), held) as shop:
            for count, bent in enumerate([{"title": "Coasters", "name": "Wilmot Dace"}, *HEADERS_BENT], start=1):
                contact = {**CONTACT, "name": bent["name"]}
                assert shop.visitor().send(contact=contact, title=bent["title"]).status_code == 201
                post.wait_for(2 * count)
    finally:
        controller.stop()
    names = {tuple(sorted(name.lower() for name in letter)) for _, letter in post.inbox}

    assert len(names) <= 2  # one of letters to the client, one of those to the shop
    assert names == {tuple(sorted(name.lower() for name in letter)) for _, letter in post.inbox[:2]}
    for people, letter in post.inbox:
        assert people in [[CONTACT["email"]], ["orders@marrowby-lane.example"]]
        assert [one.addr_spec for one in letter["to"].addresses] == people
        assert letter["bcc"] is None
