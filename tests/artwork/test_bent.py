"""The reader under bent files, in a process of its own: what ends it is found there."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def bend(*told: str) -> str:
    """What bending the seeds prints; fails where it ends otherwise than well."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "tests.artwork.fuzz", *told],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-4000:]
    return done.stdout + done.stderr


def test_bent_files_are_measured_or_refused() -> None:
    said = bend("--cases", "250")

    found = re.search(r"250 bent files read, (\d+) of them measured", said)
    assert found is not None
    assert 20 <= int(found[1]) <= 200  # neither all of them broken at the door, nor none bent


@pytest.mark.long
def test_ten_minutes_guided_by_coverage_find_nothing_that_breaks_the_reader() -> None:
    said = bend("--minutes", "10")

    found = re.search(r"(\d+) bent files read in \d+ rounds, (\d+) edges reached at first, (\d+) at last", said)
    assert found is not None
    read, first, last = map(int, found.groups())
    assert read > 5000
    assert last > first  # coverage led it on
