"""
The reader of artwork under bent files: it must answer with figures or a typed refusal, whatever comes.

``python -m tests.artwork.fuzz --minutes 10`` lets libFuzzer (atheris) bend the seeds, guided by the coverage of
our reader, Pillow's and pikepdf's Python; ``--cases 400`` bends them by dice, the same ones each time. A file
that breaks the reader is kept where it says. Ghostscript is left out: it is a process of its own.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
from hashlib import sha256
from pathlib import Path
from typing import Any

MOST_BYTES = 20_000
MEMORY_BYTES = 3_000_000_000
PIXELS = 200_000
ROUND_SECONDS = 20
MARKS = (
    b"/Type /Page", b"/Kids", b"/MediaBox", b"/Resources", b"/ColorSpace", b"/Separation", b"/DeviceN", b"/Rotate",
    b"/TrimBox", b"/BleedBox", b"/XObject", b"/Filter /FlateDecode", b"stream\n", b"endobj", b"obj", b"R", b"<<",
    b">>", b"[", b"]", b"IHDR", b"IDAT", b"PLTE", b"tRNS", b"pHYs", b"IEND", b"II*\0", b"MM\0*", b"\xff" * 4,
    b"\0" * 8, b"-1", b"2147483647", b"1e308", b"nan",
)  # fmt: skip


def seeds() -> list[bytes]:
    """Small good files of every kind, one of each way through the reader."""
    from PIL import Image

    from tests.artwork.drawn import circle, pdf_of, rule

    shapes = "0 g " + circle(30, 30, 12) + rule(50, 10, 1, 60)
    found = [
        pdf_of(shapes, size=(80, 80)),
        pdf_of("1 0 0 rg " + circle(40, 40, 12), shapes, size=(80, 80), boxes="/TrimBox [5 5 75 75] /Rotate 90"),
        pdf_of("/S0 cs 1 scn " + circle(40, 40, 12), spots=["Crimson"], size=(80, 80)),
        pdf_of("q 20 0 0 20 9 9 cm BI /W 2 /H 2 /BPC 8 /CS /G ID \0\xff\xff\0 EI Q", size=(80, 80)),
    ]
    for mode, kind, more in (
        ("1", "PNG", {}),
        ("L", "PNG", {}),
        ("P", "PNG", {}),
        ("RGBA", "PNG", {}),
        ("I;16", "PNG", {}),
        ("1", "TIFF", {"compression": "group4"}),
        ("L", "TIFF", {"compression": "tiff_lzw"}),
        ("RGB", "TIFF", {"compression": "packbits"}),
        ("CMYK", "TIFF", {}),
    ):
        picture = Image.new("L", (24, 24), 255)
        picture.paste(0, (4, 4, 16, 20))
        picture = picture.convert("I").convert(mode) if mode == "I;16" else picture.convert(mode)
        out = io.BytesIO()
        picture.save(out, kind, dpi=(300, 300), **more)
        found.append(out.getvalue())
    return found


def read(content: bytes) -> bool:
    """
    Whether a file was measured; refusals are answers too.

    Raises:
        Exception: whatever the reader must not let through.
    """
    from msgspec import msgpack

    from quoting.artwork import FormArtwork, Limits
    from quoting.artwork.child import answer_to
    from quoting.artwork.doors import MEDIA_TYPES, kind_of
    from quoting.artwork.measuring import Answer, Asked
    from quoting.errors import ArtworkError
    from quoting.reader import from_json

    limits = Limits(bytes=MOST_BYTES, pixels=PIXELS, pages=3)
    for kind, media_type in MEDIA_TYPES.items():
        try:
            kind_of(content, f"a.{kind}", media_type, limits)
        except ArtworkError:
            continue
        asked = Asked(
            content=content, name=f"a.{kind}", content_hash=sha256(content).hexdigest(), kind=kind, limits=limits
        )
        answer = answer_to(msgpack.encode(asked))
        if isinstance(answer, Answer):
            return bool(from_json(answer.forms, tuple[FormArtwork, ...]))
    return False


def bent(content: bytes, others: list[bytes], dice: random.Random) -> bytes:
    """A file with some of its bytes changed, doubled, left out, or put in from another."""
    made = bytearray(content)
    for _ in range(dice.choice([1, 1, 2, 4, 8])):
        place = dice.randrange(len(made) + 1)
        length = dice.choice([1, 2, 4, 16, 64])
        match dice.randrange(5):
            case 0:
                made[place : place + length] = dice.randbytes(length)
            case 1:
                made[place:place] = dice.choice(MARKS)
            case 2:
                del made[place : place + length]
            case 3:
                made[place:place] = made[place : place + length]
            case _:
                other = dice.choice(others)
                start = dice.randrange(len(other))
                made[place : place + length] = other[start : start + length]
    return bytes(made[:MOST_BYTES])


def by_dice(cases: int) -> int:
    """Bend the seeds so many times; tells how many were still measured."""
    dice, whole, good = random.Random(48), seeds(), 0
    if not all(read(seed) for seed in whole if b"/Separation" not in seed):
        print("a seed is not measured as it is")
        return 1
    kept = Path(tempfile.gettempdir()) / f"bent-{os.getpid()}"
    for _ in range(cases):
        content = bent(dice.choice(whole), whole, dice)
        kept.write_bytes(content)  # there to be looked at if reading it ends this process
        good += read(content)
    kept.unlink()
    print(f"{cases} bent files read, {good} of them measured")
    return 0


def by_coverage(minutes: int) -> int:
    """
    Let libFuzzer bend the seeds, guided by what of the readers a file reaches.

    Round after round in a new process, the corpus handed on: what watches the coverage keeps memory.
    """
    folder = Path(tempfile.mkdtemp(prefix="bent-"))
    corpus, marks = folder / "corpus", folder / "marks"
    corpus.mkdir()
    for number, seed in enumerate(seeds()):
        (corpus / f"seed-{number}").write_bytes(seed)
    spelled = ["".join(rf"\x{byte:02x}" for byte in mark) for mark in MARKS]
    marks.write_text("".join(f'"{mark}"\n' for mark in spelled))
    print(f"what breaks the reader is kept in {folder}")
    began, rounds, executed, edges = time.monotonic(), 0, 0, [0]
    while time.monotonic() - began < 60 * minutes:
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-m", "tests.artwork.fuzz", "--round", str(folder), str(rounds + 1)],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            print(done.stdout[-2000:], done.stderr[-6000:])
            return 1
        rounds += 1
        executed += sum(int(units) for units in re.findall(r"number_of_executed_units:\s*(\d+)", done.stderr))
        edges += [int(found) for found in re.findall(r"cov: (\d+)", done.stderr)]
    first, most = next(found for found in edges if found), max(edges)
    kept = len(list(corpus.iterdir()))
    print(
        f"{executed} bent files read in {rounds} rounds, {first} edges reached at first, {most} at last, {kept} kept"
    )
    return 0


def one_round(folder: Path, seed: int) -> int:
    """One round of libFuzzer, in this process."""
    import atheris

    with atheris.instrument_imports(include=["quoting.artwork", "PIL", "pikepdf"]):
        import pikepdf  # noqa: F401  # loaded here to be instrumented
        from PIL import Image, PngImagePlugin, TiffImagePlugin  # noqa: F401

        from quoting.artwork import child, colours, doors, figures, pages, pictures, reading  # noqa: F401
    told = [f"-max_total_time={ROUND_SECONDS}", f"-max_len={MOST_BYTES}", "-timeout=60", "-rss_limit_mb=8192"]
    more = [f"-dict={folder}/marks", f"-artifact_prefix={folder}/", f"-seed={seed}", "-print_final_stats=1"]

    def one(content: bytes) -> Any:
        read(content)

    atheris.Setup([sys.argv[0], *told, *more, str(folder / "corpus")], one)
    atheris.Fuzz()
    return 0


def main() -> int:
    """Bend as asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=0)
    parser.add_argument("--cases", type=int, default=0)
    parser.add_argument("--round", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    os.environ["PATH"] = ""  # no Ghostscript
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if asked.cases:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        return by_dice(asked.cases)
    if asked.round:
        return one_round(Path(asked.round[0]), int(asked.round[1]))
    return by_coverage(asked.minutes or 10)


if __name__ == "__main__":
    sys.exit(main())
