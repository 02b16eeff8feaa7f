"""Artwork over HTTP (A48): measured, kept, handed out as a download, refused where it means harm."""

from __future__ import annotations

import hashlib
import os
import resource
import tempfile
import time
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import httpx
import pytest
from msgspec.structs import replace

from api import uploads
from api.media_types import PDF, PNG, TIFF
from quoting.artwork import UPLOADED
from quoting.artwork.measuring import MOST_AT_ONCE
from quoting.units import Size
from tests.api.asking import BOOK, issued, job, made_key, problem, together
from tests.api.conftest import Client, Serve
from tests.api.downloads import hold_name
from tests.api.serving import Served
from tests.artwork.bombs import BOMBS, pdf_flate, pdf_forms_in_forms
from tests.artwork.drawn import pdf_of, rule

GOOD = pdf_of("0 g " + rule(50, 50, 90, 90))
MOST_SECONDS = 15
MOST_GROWTH = 64 * 1024 * 1024
KIND = {"Content-Type": PDF}


@pytest.fixture
def own_temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Temporary files of this test alone."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same limits, with less patience: those that run on and on are waited for in the long form."""
    monkeypatch.setattr(uploads, "UPLOADED", replace(UPLOADED, seconds=3))


def measure(client: httpx.Client, content: bytes, name: str = "a.pdf", kind: str = PDF) -> httpx.Response:
    return client.post("/v1/artwork", params={"name": name}, content=content, headers={"Content-Type": kind})


def resident(process: int) -> int:
    """What a process holds in memory now. [bytes]"""
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * resource.getpagesize()


def test_what_is_sent_is_measured_and_nothing_is_kept(demo: Client, own_temporary: Path) -> None:
    answer = measure(demo, GOOD)

    assert answer.status_code == 200
    form = answer.json()["forms"][0]
    assert answer.json()["kind"] == "pdf"
    assert form["content_hash"] == hashlib.sha256(GOOD).hexdigest()
    # 90 x 90 pt (1 pt is 25.4 mm / 72), to the pixel at 600 dots an inch.
    assert Size(form["size"]).width_mm == pytest.approx(Decimal("31.75"), abs=Decimal("0.05"))
    assert list(own_temporary.iterdir()) == []


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_answered_by_a_problem_and_leaves_nothing(
    demo: Client, bomb: str, own_temporary: Path, impatient: None
) -> None:
    """A48."""
    name, kind, make = BOMBS[bomb]
    content = make()
    before, started = resident(os.getpid()), time.monotonic()

    answer = measure(demo, content, name, kind)

    assert time.monotonic() - started < MOST_SECONDS
    assert resident(os.getpid()) - before < MOST_GROWTH
    assert list(own_temporary.iterdir()) == []
    if kind in {PDF, PNG, TIFF}:
        assert answer.status_code == 422
        assert problem(answer) in {"unfit-artwork", "artwork-too-large"}
        assert answer.json()["detail"].startswith("expected ")
    else:
        assert (answer.status_code, problem(answer)) == (415, "unsupported-media-type")
    assert str(own_temporary) not in answer.text


@pytest.mark.parametrize(
    ("name", "kind", "status"),
    [("a.pdf", PDF, 200), ("", PDF, 200), ("a.png", PDF, 422), ("a.pdf", PNG, 422), ("a", PDF, 422)],
)
def test_name_type_and_content_must_say_the_same(asked: httpx.Client, name: str, kind: str, status: int) -> None:
    """A48."""
    assert measure(asked, GOOD, name, kind).status_code == status


def test_a_file_may_be_as_large_as_is_told_and_a_byte_more_is_refused(serve: Serve, tmp_path: Path) -> None:
    """A49, on each engine: also where its length is not announced; a folder of one's own holds what is kept."""
    folder = tmp_path / "artwork"
    served = serve(artwork=str(folder), most_artwork_bytes=len(GOOD))
    with httpx.Client(base_url=served.url, headers=made_key(served.settings.book), timeout=60) as client:
        sent: list[bytes | Iterator[bytes]] = [GOOD, iter([GOOD]), GOOD + b"\n", iter([GOOD, b"\n"])]
        answers = [client.post("/v1/artwork", content=content, headers=KIND) for content in sent]
        job_over = client.post("/v1/estimates", json=job(notes="x" * served.settings.most_body_bytes))
        kept = client.post(f"{BOOK}/{issued(client)['number']}/artwork", content=GOOD, headers=KIND)

    assert [answer.status_code for answer in (*answers, job_over, kept)] == [200, 200, 413, 413, 413, 201]
    assert {problem(answer) for answer in (*answers[2:], job_over)} == {"too-large"}
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert len(files) == 2
    assert not any("artwork.pdf" in path.name for path in files)


def test_artwork_is_kept_once_listed_and_handed_out_as_a_download_only(running: Served, asked: httpx.Client) -> None:
    """A48: random stored name, attachment, nosniff."""
    place = f"{BOOK}/{issued(asked)['number']}/artwork"
    sent = [asked.post(place, params={"name": "../plate.pdf"}, content=GOOD, headers=KIND) for _ in range(2)]

    assert [answer.status_code for answer in sent] == [201, 201]
    hash = hashlib.sha256(GOOD).hexdigest()
    kept = {"hash": hash, "name": "plate.pdf", "media_type": PDF, "byte_count": len(GOOD)}
    assert [answer.json()["kept"] for answer in sent] == [kept, kept]
    assert sent[0].headers["location"] == f"{running.settings.base_url}{place}/{hash}"
    assert asked.get(place).json() == {"artwork": [kept]}
    got = asked.get(f"{place}/{hash}")
    assert (got.status_code, got.content, got.headers["content-type"]) == (200, GOOD, PDF)
    assert got.headers["content-disposition"].startswith("attachment; filename=")
    assert got.headers["x-content-type-options"] == "nosniff"
    assert got.headers["content-security-policy"] == "default-src 'none'; sandbox"
    assert asked.get(f"{place}/{'0' * 64}").status_code == 404
    assert asked.get(f"{BOOK}/Q-99999/artwork").status_code == 404
    assert asked.post(f"{BOOK}/Q-99999/artwork", content=GOOD, headers=KIND).status_code == 404


NAMES = ['"; filename="x.exe\r\nSet-Cookie: a=b.pdf', "../../x.pdf", "€ Ünï.pdf", "x" * 300 + ".pdf", "a\\b/名刺.pdf"]


def test_artwork_is_handed_out_by_a_name_in_one_line_without_a_way_out(asked: httpx.Client) -> None:
    """A56; RFC 6266: whatever the file was called by who sent it."""
    hash = hashlib.sha256(GOOD).hexdigest()
    given = 0
    for name in NAMES:
        place = f"{BOOK}/{issued(asked)['number']}/artwork"
        sent = asked.post(place, params={"name": name}, content=GOOD, headers=KIND)
        assert sent.status_code in {201, 422}, name
        if sent.status_code == 201:
            hold_name(asked.get(f"{place}/{hash}"))
            given += 1
    assert given >= 3


def test_artwork_is_erased_with_its_client(asked: httpx.Client) -> None:
    told = issued(asked, client={"name": "Erased with the artwork"})
    place = f"{BOOK}/{told['number']}/artwork"
    asked.post(place, content=GOOD, headers=KIND)
    client = asked.get(f"{BOOK}/{told['number']}").json()["client"]
    tag = asked.get(f"/v1/book/clients/{client}").headers["etag"]

    assert len(asked.get(place).json()["artwork"]) == 1
    asked.delete(f"/v1/book/clients/{client}", headers={"If-Match": tag}).raise_for_status()
    assert asked.get(place).json() == {"artwork": []}
    again = asked.post(place, content=GOOD, headers=KIND)
    assert (again.status_code, problem(again)) == (409, "quote-erased")


def test_twenty_files_that_run_on_leave_a_price_answered(serve: Serve) -> None:
    """A48: more than can be measured at once are told to come again, and other requests go on."""
    served = serve(demo=True)
    sent = [pdf_forms_in_forms(), pdf_flate()] * 10
    waits: list[float] = []

    def price() -> int:
        time.sleep(0.5)
        for _ in range(10):
            started = time.monotonic()
            assert client.post("/v1/estimates", json=job()).status_code == 200
            waits.append(time.monotonic() - started)
        return 200

    with httpx.Client(base_url=served.url, timeout=60) as client:
        client.post("/v1/estimates", json=job()).raise_for_status()
        before = resident(served.pid)
        works = [lambda one=one: measure(client, one).status_code for one in sent]
        statuses = together([*works, price])
        growth = resident(served.pid) - before

    assert sorted(set(statuses)) == [200, 422, 503]
    assert statuses.count(422) >= MOST_AT_ONCE
    assert max(waits) < MOST_SECONDS / 3
    assert growth < MOST_GROWTH


def test_who_finds_no_place_is_told_when_to_come_again(demo: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.desk.MOST_UPLOADS", 0)

    answer = measure(demo, GOOD)

    assert (answer.status_code, problem(answer)) == (503, "artwork-busy")
    assert int(answer.headers["retry-after"]) > 0


def test_without_ghostscript_spot_colours_are_not_measured_and_the_rest_goes_on(
    demo: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quoting.artwork.measuring._PROGRAMS", "/nowhere")
    spot = pdf_of("/S0 cs 1 scn " + rule(50, 50, 90, 90), spots=("Crimson",))

    answer = measure(demo, spot)

    assert (answer.status_code, problem(answer)) == (503, "artwork-unavailable")
    assert "apt-get" not in answer.text
    assert measure(demo, GOOD).status_code == 200
