"""Hostile text in every field that a visitor writes: kept and told as it is, or refused; never acted on (A46)."""

from __future__ import annotations

import copy
import io
import random
import time
from typing import Any

import pikepdf
import pytest

from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, CONTACT, choice

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
]  # fmt: skip


def corpus() -> list[str]:
    """At least 300 strings: the seeds, and pairs of them."""
    chance = random.Random("hostile text")
    pairs = [f"{chance.choice(SEEDS)} {chance.choice(SEEDS)}" for _ in range(240)]
    return [*SEEDS, *pairs, "x" * 65_536, "é" * 65_536]


def put_into(body: dict[str, Any], path: str, text: str) -> dict[str, Any]:
    """The body with a text at a path."""
    made = copy.deepcopy(body)
    *way, last = path.split(".")
    place: Any = made["choice"]
    for key in way:
        place = place[int(key)] if isinstance(place, list) else place.setdefault(key, {})
    place[int(last) if isinstance(place, list) else last] = text
    return made


WRITTEN = [
    "title",
    "reference",
    "notes",
    "contact.name",
    "contact.company",
    "contact.address.0",
    "front.lines.0.text",
]
CHOSEN = ["product", "size", "own_size", "stock", "front.inks.0", "front.printed_from", "front.coverage",
          "front.artwork", "front.lines.0.fount", "front.lines.0.ink", "impression", "folded", "corners", "edges",
          "delivery.method", "contact.email", "contact.locale", "needed_by", "extras.0"]  # fmt: skip
BASE = choice(COASTERS, quantities=[50], contact={**CONTACT, "address": ["Quay Street"]}, extras=["x"])


def test_the_corpus_is_large() -> None:
    assert len(set(corpus())) >= 300


def test_what_is_kept_is_told_as_it_was_written(shop: Shop) -> None:
    base = {"choice": {name: told for name, told in BASE["choice"].items() if name != "extras"}}
    kept = refused = 0
    for place, text in enumerate(corpus()):
        path = WRITTEN[place % len(WRITTEN)]
        began = time.perf_counter()
        answer = shop.visitor().post("/v1/public/requests", put_into(base, path, text))
        assert answer.status_code in {201, 422}, (path, text[:60], answer.text[:200])
        assert time.perf_counter() - began < 20  # a guard: twenty times what an answer takes
        if answer.status_code == 422:
            refused += 1
            continue
        kept += 1
        link = "/" + answer.json()["link"].split("/", 3)[3]
        told = shop.stranger().get(link).json()["quotation"]
        if told is not None and path != "front.lines.0.text":
            where: Any = told["client"] if path.startswith("contact.") else told
            field = path.removeprefix("contact.")
            assert text == (where["address"][0] if field == "address.0" else where[field])
    assert kept >= 150
    assert refused >= 60


@pytest.mark.parametrize("path", CHOSEN)
def test_what_is_chosen_is_refused_unless_it_is_offered(shop: Shop, path: str) -> None:
    for text in corpus()[::7]:
        answer = shop.visitor().post("/v1/public/prices", put_into(BASE, path, text))

        assert answer.status_code == 422, (path, text)
        assert "Traceback" not in answer.text


def test_in_a_document_it_is_text_and_nothing_else(shop: Shop, pango: None) -> None:
    safe = [one for one in SEEDS if one.isprintable() and one.isascii()]
    told = {
        "title": "{{7*7}} <script>",
        "reference": "${7*7} {0.__class__} %s",
        "notes": "\n".join(safe),
        "contact": {**CONTACT, "name": "<a href='http://evil.example'>here</a>", "company": "{% x %}"},
    }
    answer = shop.stranger().get(shop.visitor().link(COASTERS, **told), Accept="application/pdf")

    assert answer.status_code == 200, answer.text
    with pikepdf.open(io.BytesIO(answer.content)) as pdf:
        everything = b"\n".join(one.read_bytes() for one in pdf.objects if isinstance(one, pikepdf.Stream))
        kinds = {str(one.get("/S")) for one in pdf.objects if isinstance(one, pikepdf.Dictionary)}
        names = list(pdf.attachments.keys())
    assert not kinds & {"/JavaScript", "/URI", "/Launch", "/SubmitForm", "/GoToR", "/ImportData"}
    assert names == ["quotation.xml"]
    import pypdfium2

    pages = pypdfium2.PdfDocument(answer.content)
    text = " ".join("\n".join(page.get_textpage().get_text_range() for page in pages).split())
    assert "{{7*7}} <script>" in text
    assert "${7*7} {0.__class__} %s" in text
    assert "<a href='http://evil.example'>here</a>" in text
    assert b"{{7*7}} &lt;script" in everything
