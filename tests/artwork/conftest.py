"""A machine that can tell separations apart."""

from __future__ import annotations

import shutil

import pytest


@pytest.fixture(scope="session")
def ghostscript() -> str:
    """The path of Ghostscript; fails, and says which package is missing, where there is none."""
    found = shutil.which("gs")
    if found is None:
        pytest.fail("Debian package ghostscript is missing")
    return found
