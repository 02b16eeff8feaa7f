"""Templates and demo cards are found from a wheel, an editable install and a checkout."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from quoting.places import packaged

ROOT = Path(__file__).resolve().parents[1]
FIND = "from quoting.places import packaged; print(packaged('pdf_templates')); print(packaged('rate_cards_demo'))"


@pytest.fixture(scope="module")
def unpacked_wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", folder, ROOT],
        check=True,
        capture_output=True,
    )
    wheel = next(folder.glob("quoting-*.whl"))
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "unpacked")
    return folder / "unpacked"


def test_a_checkout_and_an_editable_install_find_them_beside_the_package() -> None:
    assert packaged("pdf_templates") == ROOT / "pdf_templates"
    assert packaged("rate_cards_demo") == ROOT / "rate_cards_demo"


def test_a_wheel_finds_its_own(unpacked_wheel: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(unpacked_wheel)!r}); {FIND}"],
        cwd=unpacked_wheel,
        capture_output=True,
        text=True,
        check=True,
    )

    inside = unpacked_wheel / "quoting" / "_packaged"
    assert done.stdout.split() == [str(inside / "pdf_templates"), str(inside / "rate_cards_demo")]


def test_a_wheel_holds_the_api_and_the_marks_of_types(unpacked_wheel: Path) -> None:
    assert (unpacked_wheel / "api" / "app.py").is_file()
    assert (unpacked_wheel / "quoting" / "py.typed").is_file()


def test_a_folder_that_is_nowhere_is_told() -> None:
    with pytest.raises(FileNotFoundError, match="expected the folder castles"):
        packaged("castles")
