"""
Artwork that means harm (promise A48): each bomb is refused by a typed error within its time, the asking process
grows little, nothing is left behind.
"""

from __future__ import annotations

import os
import resource
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting.artwork import UPLOADED, Artwork, measure_artwork, measuring
from quoting.errors import ArtworkBusyError, ArtworkError, ArtworkTooLargeError, ArtworkToolError, UnfitArtworkError
from tests.artwork.bombs import BOMBS, pdf_forms_in_forms
from tests.artwork.drawn import pdf_of, rule

MOST_SECONDS = 15
MOST_GROWTH = 64 * 1024 * 1024
# The same limits, with less patience: those that run on and on are waited for in the long form.
IMPATIENT = replace(UPLOADED, seconds=4, waited_seconds=30)
GOOD = pdf_of("0 g " + rule(50, 50, 90, 90))


def resident() -> int:
    """What this process holds in memory now. [bytes]"""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize()


def left_behind() -> set[str]:
    return {name for name in os.listdir(tempfile.gettempdir()) if name.startswith("artwork-")}


@pytest.fixture
def own_temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Temporary files of this test alone."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_refused_and_leaves_nothing(bomb: str, own_temporary: Path) -> None:
    name, media_type, make = BOMBS[bomb]
    content = make()
    assert len(content) <= 10_000_000
    before, started = resident(), time.monotonic()

    with pytest.raises(ArtworkError) as refused:
        measure_artwork(content, name, media_type, limits=IMPATIENT)

    assert time.monotonic() - started < MOST_SECONDS
    assert resident() - before < MOST_GROWTH
    assert list(own_temporary.iterdir()) == []
    assert isinstance(refused.value, (UnfitArtworkError, ArtworkTooLargeError))
    assert str(refused.value).startswith("expected ")
    assert str(own_temporary) not in str(refused.value)


@pytest.mark.long
@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_refused_in_time_with_the_limits_of_an_upload(bomb: str) -> None:
    name, media_type, make = BOMBS[bomb]
    content = make()
    started = time.monotonic()

    with pytest.raises(ArtworkError):
        measure_artwork(content, name, media_type)

    assert time.monotonic() - started < MOST_SECONDS


def test_what_runs_on_is_ended_with_all_that_it_started(own_temporary: Path) -> None:
    with pytest.raises(ArtworkTooLargeError) as refused:
        measure_artwork(pdf_forms_in_forms(), "a.pdf", limits=replace(UPLOADED, seconds=3))

    assert refused.value.limit in {"seconds", "memory"}  # whichever a machine comes to first
    if refused.value.limit == "seconds":
        assert str(refused.value) == "expected artwork of at most 3 s of work; found more, and it was ended"
    running = [path for path in Path("/proc").glob("[0-9]*/cmdline") if str(own_temporary).encode() in _read(path)]
    assert running == []


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def test_twenty_bombs_at_once_are_refused_and_two_are_measured_at_a_time(own_temporary: Path) -> None:
    name, media_type, make = BOMBS["a PDF packed a thousandfold"]
    content, found = make(), []
    limits = replace(UPLOADED, seconds=3, waited_seconds=1)

    def send() -> None:
        try:
            measure_artwork(content, name, media_type, limits=limits)
        except ArtworkError as error:
            found.append(type(error))

    threads = [threading.Thread(target=send) for _ in range(20)]
    for thread in threads:
        thread.start()
    most = 0
    while any(thread.is_alive() for thread in threads):
        most = max(most, len(left_behind()))
        time.sleep(0.01)
    for thread in threads:
        thread.join()

    assert len(found) == 20
    assert set(found) <= {UnfitArtworkError, ArtworkTooLargeError, ArtworkBusyError}
    assert ArtworkBusyError in found
    assert 1 <= most <= measuring.MOST_AT_ONCE
    assert left_behind() == set()


def test_after_bombs_the_next_file_is_measured_as_ever() -> None:
    name, media_type, make = BOMBS["a PDF packed twice"]
    with pytest.raises(ArtworkError):
        measure_artwork(make(), name, media_type, limits=IMPATIENT)

    assert isinstance(measure_artwork(GOOD, "a.pdf", "application/pdf"), Artwork)


def test_memory_is_bounded_in_the_child() -> None:
    small = replace(UPLOADED, memory_bytes=550_000_000)

    with pytest.raises(ArtworkTooLargeError) as refused:
        measure_artwork(pdf_of("0 g " + rule(5, 5, 690, 690), size=(700, 700)), "a.pdf", limits=small)

    assert refused.value.limit == "memory"


@pytest.mark.parametrize(
    ("name", "media_type", "said"),
    [
        ("a.png", None, r"expected a name that ends in .pdf, as its bytes say; found 'a.png'"),
        ("a", None, r"expected a name that ends in .pdf, as its bytes say; found 'a'"),
        ("a.pdf.exe", None, r"expected a name that ends in .pdf"),
        ("a.pdf", "image/png", r"expected the type application/pdf, as its bytes say; found 'image/png'"),
        ("a.pdf", "text/html", r"expected the type application/pdf"),
    ],
)
def test_name_type_and_bytes_must_agree(name: str, media_type: str | None, said: str) -> None:
    with pytest.raises(UnfitArtworkError, match=said):
        measure_artwork(GOOD, name, media_type)


@pytest.mark.parametrize(
    ("declared", "told"),
    [
        ("../../etc/front.pdf", "front.pdf"),
        ("C:\\shop\\front.pdf", "front.pdf"),
        ('"; filename="x.exe\r\nSet-Cookie: a=b.pdf', '"; filename="x.exeSet-Cookie: a=b.pdf'),
        ("\u202efdp.tnorf.pdf", "fdp.tnorf.pdf"),
        ("Ünï €.PDF", "Ünï €.PDF"),
        ("x" * 300 + ".pdf", "x" * 116 + ".pdf"),
    ],
)
def test_a_declared_name_is_kept_without_what_leads_elsewhere(declared: str, told: str) -> None:
    assert measure_artwork(GOOD, declared, "application/pdf; charset=binary").file == told


def test_limits_on_bytes_hold_to_the_byte() -> None:
    exactly = replace(UPLOADED, bytes=len(GOOD))

    assert measure_artwork(GOOD, "a.pdf", limits=exactly).byte_count == len(GOOD)
    with pytest.raises(ArtworkTooLargeError, match=f"at most {len(GOOD) - 1:,} bytes"):
        measure_artwork(GOOD, "a.pdf", limits=replace(UPLOADED, bytes=len(GOOD) - 1))


def test_without_ghostscript_the_package_to_install_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    spot = pdf_of("/S0 cs 1 scn " + rule(50, 50, 90, 90), spots=["Crimson"])
    monkeypatch.setattr(measuring, "_PROGRAMS", str(tmp_path))

    with pytest.raises(ArtworkToolError, match="apt-get install -y --no-install-recommends ghostscript"):
        measure_artwork(spot, "a.pdf")
    assert measure_artwork(GOOD, "a.pdf").forms


def test_a_child_that_answers_nonsense_is_not_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    from msgspec import msgpack

    lying = measuring.Answer(b'[{"file": "a", "content_hash": "../../x", "dots_an_inch": -1}]')
    for answer in (b"", b"\xff\xff", b"\xc1" * 100, msgpack.encode(lying)):
        monkeypatch.setattr(measuring, "_answer", lambda *_, told=answer: told)

        with pytest.raises(UnfitArtworkError, match="one that broke its reader"):
            measure_artwork(GOOD, "a.pdf")


def test_the_process_that_reads_has_no_network_and_gains_no_rights() -> None:
    ways = (["unshare", "-n", "true"], ["unshare", "-Urn", "true"])
    if all(subprocess.run(way, capture_output=True, check=False).returncode for way in ways):
        pytest.skip("this system gives no process a network of its own")
    # A child bound as the reader is asks for a server of ours, which a child that is not bound reaches.
    reach = "import socket; socket.create_connection(('127.0.0.1', {port}), 2); print('reached')"
    bound = "from quoting.artwork.child import limit_itself; limit_itself(10**9, 9, 10**6); "
    look = "print(open('/proc/self/status').read().partition('NoNewPrivs:')[2].split()[0]); "
    with socket.create_server(("127.0.0.1", 0)) as server:
        code = reach.format(port=server.getsockname()[1])
        free, kept = (
            subprocess.run([sys.executable, "-c", words + code], capture_output=True, text=True, check=False)
            for words in ("", bound + look)
        )

    assert free.stdout == "reached\n"
    assert kept.stdout == "1\n"
    assert "OSError" in kept.stderr
