"""Rendering: hostile text, limits, children that die, the same bytes again; what no font has is refused."""

from __future__ import annotations

import errno
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from msgspec.structs import replace

from quoting import DocumentError, Quotation
from quoting.docket import docket_for
from quoting.documents import docket_pdf, quotation_pdf, quotation_xml
from quoting.documents.archival import ends_clear
from quoting.documents.children import Child, Children
from quoting.documents.comparison_pdf import comparison_pdf
from quoting.documents.fonts import JAPANESE, SERIF, characters_of, faces_for
from quoting.documents.names import content_disposition, file_name
from quoting.documents.page import Page
from quoting.documents.quotation import quotation_page
from quoting.documents.render import render
from quoting.errors import UnfitTextError
from tests.documents.reading import card_in, comparison_in, estimate_in, faults_of, quotation_in, text_of
from tests.languages import messages, names, read

pytestmark = pytest.mark.usefixtures("pango")
SMALL = Page(html="<html lang=en><title>t</title><p>small", css="")


@pytest.fixture(scope="module")
def quotation() -> Quotation:
    return quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")


def corpus() -> list[str]:
    """Some 300 strings that break page makers: markup, templates, addresses, SQL, scripts, controls, sizes."""
    markup = [
        "<b>x</b>",
        "<script>alert(1)</script>",
        "</td></tr></table><h1>Free</h1>",
        "<!-- -->",
        "<![CDATA[x]]>",
        "<?php echo 49 ?>",
        "<svg onload=alert(1)>",
        "<style>*{display:none}</style>",
        "<link rel=attachment href=file:///etc/hostname>",
        "<img src=http://127.0.0.1:CANARY/x>",
        "<a href='http://127.0.0.1:CANARY/'>x</a>",
        "<object data=file:///etc/passwd>",
        "<meta http-equiv=refresh content=0>",
        "&lt;b&gt; &amp; &#x41; &nosuch;",
        "url(http://127.0.0.1:CANARY/c)",
        "@import 'http://127.0.0.1:CANARY/d';",
        "}body{color:red}",
        "<base href=http://127.0.0.1:CANARY/>",
    ]
    code = [
        "{{7*7}}",
        "{% raw %}",
        "${7*7}",
        "{0.__class__}",
        "{quantity}",
        "%s %(x)s",
        "#{7*7}",
        "<%= 7*7 %>",
        "{#x#}",
    ]
    code += [
        "{{ ''.__class__.__mro__ }}",
        "'; DROP TABLE quotes; --",
        '" OR 1=1',
        "=1+1",
        "+cmd|' /C calc'!A0",
        "@SUM(1)",
    ]
    text = ["a" * 200, "é" * 100, "a\u202eb", "a\u200db", "x\r\ny", "\ttab", "ﬁ", "«»", "\\0", "\\u0000", "..//..//x"]
    wrapped = [
        f"{before}{core}{after}" for core in markup + code for before, after in (("", ""), ('"', '"'), ("'", "'>"))
    ]
    shouted = [core.upper() for core in markup] + [f"{core} {core}" for core in code]
    numbered = [f"<p id={number}>{{{{ {number}*7 }}}}</p>" for number in range(180)]
    return text + wrapped + shouted + numbered


def test_a_corpus_of_hostile_text_stays_literal_and_fetches_nothing(quotation: Quotation, canary: Any) -> None:
    port, hits = canary
    strings = [one.replace("CANARY", str(port)) for one in corpus()]
    assert len(strings) >= 300

    for start in range(0, len(strings), 40):
        some = strings[start : start + 40]
        told = replace(
            quotation,
            title=some[0],
            reference=some[-1][:200],
            client=replace(
                quotation.client, name=some[1 % len(some)], company=some[2 % len(some)], address=tuple(some[:8])
            ),
            included=tuple(some),
            terms=tuple(some[:12]),
            notes="\n".join(some),
        )

        pdf = quotation_pdf(told)

        assert faults_of(pdf) == []
        text = _squeezed(text_of(pdf))
        assert [one for one in some if _squeezed(one) not in text] == []
        assert b"/URI" not in pdf
        assert _actions(pdf) == set()
    assert hits == []


def _said_literally(pdf: bytes, strings: list[str]) -> None:
    assert faults_of(pdf) == []
    text = _squeezed(text_of(pdf))
    assert [one for one in strings if _squeezed(one) not in text] == []
    assert b"/URI" not in pdf
    assert _actions(pdf) == set()


def test_hostile_text_stays_literal_on_a_docket(canary: Any) -> None:
    port, hits = canary
    strings = [one.replace("CANARY", str(port)) for one in corpus()]
    docket = docket_for(estimate_in("marrowby-lane", "coasters", "GBP"), card_in("marrowby-lane", "GBP"))

    for start in range(0, len(strings), 100):
        some = strings[start : start + 100]
        part, work = docket.parts[0], docket.passes[0]
        told = replace(
            docket,
            title=some[0],
            number=some[1],
            reference=some[2],
            shop=some[3],
            client=replace(docket.client, name=some[4], company=some[5]),
            proofs=tuple(some[6:9]),
            packing=tuple(some[9:30]),
            notes="\n".join(some[30:60]),
            parts=(
                replace(part, name=some[0], item=some[1], lines=(some[3], *some[60:]), warnings=tuple(some[10:14])),
            ),
            passes=(replace(work, colour=some[7], press=some[8], notes=tuple(some[14:18])),),
        )

        _said_literally(docket_pdf(told), some)
    assert hits == []


def test_hostile_text_stays_literal_in_a_comparison(canary: Any) -> None:
    port, hits = canary
    strings = [one.replace("CANARY", str(port)) for one in corpus()]
    comparison = comparison_in("marrowby-lane", "coasters", "GBP")

    for start in range(0, len(strings), 100):
        some = strings[start : start + 100]
        refused = tuple(
            replace(comparison.variants[0], size=one, stock="", press="", cells=(), plans=(), refusals={one: one})
            for one in some[3:]
        )
        made = replace(comparison.variants[0], size="$7*7$", stock="<b>{{7*7}}</b>", press="%s & ${7*7}")
        told = replace(comparison, title=some[0], part=some[1], card_name=some[2], variants=(made, *refused))

        pdf = comparison_pdf(told)

        _said_literally(pdf, some)
        assert "$7*7$, <b>{{7*7}}</b>, %s & ${7*7}" in text_of(pdf)
    assert hits == []


def test_twenty_renders_do_not_hold_up_a_price_beside_them(quotation: Quotation) -> None:
    estimate_in.cache_clear()
    children, page = Children(most=2), quotation_page(quotation)
    try:
        with ThreadPoolExecutor(20) as threads:
            made = [threads.submit(children.render, page, seconds=120) for _ in range(20)]
            waited = []
            while not all(one.done() for one in made):
                began = time.monotonic()
                estimate_in("marrowby-lane", "coasters", "GBP")
                waited.append(time.monotonic() - began)
                estimate_in.cache_clear()
        assert {one.result() for one in made} == {render(page)}
    finally:
        children.end()

    assert len(waited) >= 20  # priced all the while
    assert max(waited) < 10


def _squeezed(text: str) -> str:
    return (
        "".join(
            character
            for character in text
            if not character.isspace() and character not in "-\u00ad\ufffe\u200b\u200d\u202e"
        )
        .replace("fi", "ﬁ")
        .replace("ﬁ", "fi")
    )


def _actions(pdf: bytes) -> set[str]:
    """Scripts, launches and links of a PDF."""
    from io import BytesIO

    document = pikepdf.open(BytesIO(pdf))
    keys = {"/JS", "/JavaScript", "/OpenAction", "/AA", "/Launch"}
    return {key for one in document.objects if isinstance(one, pikepdf.Dictionary) for key in keys & set(one.keys())}


@pytest.mark.parametrize(
    ("unfit", "named"),
    [
        ("😀", "U\\+1F600 GRINNING FACE"),
        ("שלום", "HEBREW LETTER"),
        ("z̷a̸l̵g̶o̷" * 100, "COMBINING"),
        ("\ue000", "U\\+E000"),
        ("\x07", "U\\+0007"),
        ("\ud800", "U\\+D800"),
    ],
)
def test_what_no_font_has_is_refused_by_its_name(quotation: Quotation, unfit: str, named: str) -> None:
    with pytest.raises(UnfitTextError, match=named):
        quotation_pdf(replace(quotation, client=replace(quotation.client, name=f"a{unfit}b")))


def test_a_hundred_thousand_combining_marks_are_refused_soon(quotation: Quotation) -> None:
    began = time.monotonic()
    with pytest.raises(UnfitTextError):
        quotation_page(replace(quotation, notes="a" + "\u0337" * 100_000))

    assert time.monotonic() - began < 5


def test_without_the_japanese_font_the_extra_is_named(quotation: Quotation, monkeypatch: pytest.MonkeyPatch) -> None:
    from quoting.documents import fonts

    monkeypatch.setattr(fonts, "find_spec", lambda name: None if name == JAPANESE.package else _found(name))

    with pytest.raises(DocumentError, match=r"quoting\[japanese\].*noto-cjk-sans-jp-regular"):
        quotation_page(replace(quotation, notes="漢字"))


def _found(name: str) -> Any:
    from importlib.util import find_spec

    return find_spec(name)


@pytest.mark.parametrize("name", names())
def test_every_character_of_a_catalogue_is_in_the_documents_fonts(name: str) -> None:
    text = "".join(str(message.string) for message in messages(read(name)))

    assert faces_for(text) == ((*SERIF, JAPANESE) if name == "ja" else SERIF)


def test_amounts_of_every_language_are_in_the_fonts() -> None:
    assert ord("￥") in characters_of(JAPANESE)
    assert faces_for("1 234,50\u00a0€ 1\u202f234 £GB ¥") == SERIF


def test_the_same_page_gives_the_same_bytes_here_and_in_a_fresh_process(quotation: Quotation, tmp_path: Path) -> None:
    from msgspec import msgpack

    page = quotation_page(quotation)
    (tmp_path / "page").write_bytes(msgpack.encode(page))
    code = (
        "import sys; from msgspec import msgpack; from quoting.documents.page import Page;"
        "from quoting.documents.render import render;"
        "sys.stdout.buffer.write(render(msgpack.decode(open(sys.argv[1], 'rb').read(), type=Page)))"
    )

    fresh = subprocess.run([sys.executable, "-c", code, tmp_path / "page"], capture_output=True, check=True).stdout

    assert fresh == render(page) == render(page)


def test_a_file_whose_stream_ends_in_a_line_end_is_seen() -> None:
    assert not ends_clear(b"stream\nabc\r\nendstream\nendobj")
    assert ends_clear(b"stream\nabc\nendstream\nendobj")


def test_a_child_that_takes_too_long_is_ended_and_the_next_page_comes(quotation: Quotation) -> None:
    children = Children(most=1)
    endless = Page(html="<p>" + "<table><td>x" * 3000, css="")
    try:
        with pytest.raises(DocumentError, match=r"in 1 s; it took longer and was ended|ended before it was done"):
            children.render(endless, seconds=1)

        assert children.render(quotation_page(quotation)) == render(quotation_page(quotation))
    finally:
        children.end()


def test_a_child_that_is_killed_takes_only_its_own_page_along(quotation: Quotation) -> None:
    children = Children(most=1)
    try:
        assert children.render(SMALL).startswith(b"%PDF-")
        child = children._free[0]
        assert isinstance(child, Child)
        child._process.kill()
        child._process.wait()

        assert children.render(SMALL).startswith(b"%PDF-")
    finally:
        children.end()


@pytest.mark.skipif(sys.platform == "win32", reason="no limits on memory there")
def test_a_child_over_its_memory_is_refused_and_the_next_page_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quoting.documents.children.MOST_MEMORY_BYTES", 400 * 1024 * 1024)
    children = Children(most=1)
    huge = Page(html="<html lang=en><title>t</title><p>" + "word " * 12_000_000, css="")
    try:
        with pytest.raises(DocumentError):
            children.render(huge, seconds=60)

        assert children.render(SMALL).startswith(b"%PDF-")
    finally:
        children.end()


def test_a_child_has_a_successor_after_its_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quoting.documents.children.MOST_PAGES", 2)
    children = Children(most=1)
    after = []
    try:
        for _ in range(5):
            children.render(SMALL)
            child = children._free[0]
            assert child is not None
            assert child.is_running
            after.append(child._process.pid)
    finally:
        children.end()

    first, second, third = after[0], after[1], after[3]
    assert after == [first, second, second, third, third]
    assert len({first, second, third}) == 3


def test_a_child_that_cannot_be_followed_leaves_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quoting.documents.children.MOST_PAGES", 1)
    children = Children(most=1)
    try:
        with monkeypatch.context() as full:
            children.start()
            full.setattr("quoting.documents.children.mkdtemp", no_room)
            assert children.render(SMALL).startswith(b"%PDF-")

        assert children.render(SMALL).startswith(b"%PDF-")
    finally:
        children.end()


def test_a_child_that_cannot_be_started_leaves_nothing_behind(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    children = Children(most=1)
    try:
        with monkeypatch.context() as without:
            without.setattr("sys.executable", "/nowhere/python")
            with pytest.raises(DocumentError, match="expected to start a rendering process; found No such file"):
                children.render(SMALL)

        assert list(tmp_path.iterdir()) == []
        assert children.render(SMALL).startswith(b"%PDF-")
    finally:
        children.end()


def test_a_warm_child_renders_before_one_that_was_just_started() -> None:
    children = Children(most=2)
    warm, new = Child(), Child()
    try:
        warm.render(SMALL, 60)
        for order in ([warm, new], [new, warm]):
            children._free = list(order)
            assert children._take() is warm
            assert children._take() is new
        children._free = [None, new]
        assert children._take() is new
    finally:
        warm.end()
        new.end()


def no_room(**_: str) -> str:
    raise OSError(errno.ENOSPC, "no room")


def test_many_threads_share_two_children(quotation: Quotation) -> None:
    children = Children(most=2)
    page = quotation_page(quotation)
    try:
        with ThreadPoolExecutor(8) as threads:
            made = list(threads.map(lambda _: children.render(page, seconds=60), range(12)))
        assert set(made) == {render(page)}
    finally:
        children.end()


def test_a_refusal_of_a_child_has_the_class_it_has_here() -> None:
    children = Children(most=1)
    try:
        with pytest.raises(DocumentError, match="packaged assets only"):
            children.render(Page(html="<img src='file:///etc/hostname'>", css=""))
        assert children.render(SMALL).startswith(b"%PDF-")
    finally:
        children.end()


def test_a_child_leaves_no_folder_behind_however_it_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    children = Children(most=1)

    with pytest.raises(DocumentError):
        children.render(Page(html="<p>" + "<table><td>x" * 3000, css=""), seconds=2)
    children.render(SMALL)
    assert len(list(tmp_path.iterdir())) == 1
    children.end()

    assert list(tmp_path.iterdir()) == []


def test_children_end_with_the_process_that_started_them() -> None:
    code = (
        "from quoting.documents.children import Children; from quoting.documents.page import Page; c = Children();"
        "c.render(Page(html='<p>x', css='')); print(c._free[0]._process.pid, flush=True);"
        "import os; os._exit(1)"
    )

    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False).stdout

    deadline = time.monotonic() + 10
    while time.monotonic() < deadline and Path(f"/proc/{int(told)}").exists() and not _is_gone(int(told)):
        time.sleep(0.05)
    assert _is_gone(int(told))


def _is_gone(process: int) -> bool:
    with suppress(OSError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    return True


def test_the_worst_page_that_is_accepted_is_made_within_its_memory(quotation: Quotation) -> None:
    line = "W" * 118 + " x"
    item = quotation.items[0]
    price = quotation.options[0].prices[0]
    options = tuple(replace(option, prices=(price,) * 20) for option in (quotation.options * 3)[:8])
    worst = replace(
        quotation,
        items=(replace(item, name=line, lines=(line,) * 3),) * 20,
        options=options,
        terms=("term " * 400,) * 12,
        notes="note " * 400,
        client=replace(quotation.client, name=line, company="c" * 2000, address=(line,) * 8),
    )
    children = Children(most=1)
    try:
        pdf = children.render(quotation_page(worst), seconds=90)  # alone it takes a few; see the benchmark
    finally:
        children.end()

    assert faults_of(pdf) == []


@pytest.mark.parametrize(
    "stem",
    [
        '"; filename="x.exe',
        "a\r\nSet-Cookie: a=b",
        "../../x",
        "€ Ünï",
        "x" * 300,
        "\u202egpj.exe",
        "",
        "漢字",
        "a/b\\c",
        "\x00",
    ],
)
def test_a_download_has_one_safe_name_in_one_header_line(stem: str) -> None:
    header = content_disposition(stem, "pdf")

    assert header.isascii()
    assert header.isprintable()
    assert header.count("filename=") == 1
    assert header.count('"') == 2
    assert not set('/\\":\r\n\u202e') & set(file_name(stem, "pdf"))
    assert len(file_name(stem, "pdf")) <= 84
    assert file_name(stem, "pdf").endswith(".pdf")


def test_the_xml_is_the_same_from_the_library_and_in_the_file(quotation: Quotation) -> None:
    assert quotation_page(quotation).attached[0].body == quotation_xml(quotation)
