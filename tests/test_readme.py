"""README's examples, run as they stand."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from quoting import RateCard, estimate_job, read_job
from quoting.reader import toml_data
from tests.conftest import DAY

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Fenced blocks of one language, in order."""
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


COMMANDS = [
    line.removeprefix("$ ") for block in blocks("console") for line in block.splitlines() if line.startswith("$ ")
]


def test_the_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]

    assert "what a job must cost, what to\ncharge for it, and whether it will pay" in first


def test_set_up_has_two_commands_in_blocks_of_their_own() -> None:
    section = README.partition("## Set up")[2].partition("\n## ")[0]

    found = re.findall(r"```sh\n(.*?)```", section, flags=re.DOTALL)

    assert [len(block.strip().splitlines()) for block in found] == [1, 1]
    assert found[1].strip() in (ROOT / ".ci" / "run").read_text()


MAKES_A_BOOK = next(command for command in COMMANDS if command.startswith("quoting book issue"))


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command of README, its ``quotations/`` in a folder of the test's."""
    words = shlex.split(command.replace("quotations/", f"{folder}/"))
    assert words[0] == "quoting"
    return subprocess.run(
        [sys.executable, "-m", "quoting.cli", *words[1:]], cwd=ROOT, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_tour_runs(command: str, tmp_path: Path, pango: None) -> None:
    if command.startswith("quoting book") and command != MAKES_A_BOOK:
        assert run(MAKES_A_BOOK, tmp_path).returncode == 0

    done = run(command, tmp_path)

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.strip()


def test_the_smallest_job_is_priced_and_is_refused_by_no_press(cards: dict[str, RateCard]) -> None:
    job = read_job(toml_data(blocks("toml")[0]))

    estimate = estimate_job(job, cards["marrowby-lane"], on=DAY)

    assert [option.quantity for option in estimate.options] == [100, 250]


def test_the_python_example_runs(monkeypatch: pytest.MonkeyPatch, pango: None) -> None:
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}

    exec(compile(blocks("python")[0], "README.md", "exec"), names)

    pdf = names["pdf"]
    assert isinstance(pdf, bytes)
    assert pdf.startswith(b"%PDF-")


def test_the_book_example_holds(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, pango: None) -> None:
    monkeypatch.chdir(ROOT)
    book = next(block for block in blocks("python") if "QuoteBook(" in block)
    code = (blocks("python")[0] + book).replace("quotations/", f"{tmp_path}/")

    exec(compile(code, "README.md", "exec"), {})


def test_the_cutting_example_holds() -> None:
    cutting = next(block for block in blocks("python") if "cut_out(" in block)

    exec(compile(cutting, "README.md", "exec"), {})


def test_the_example_of_offers_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    offers = next(block for block in blocks("python") if "prices_of(" in block)

    exec(compile(offers, "README.md", "exec"), {})


def test_every_public_error_code_is_told() -> None:
    from quoting.cli import EXIT_CODES

    told = README.partition("### Exit codes")[2]

    assert all(f"{code} " in told for code in EXIT_CODES.values())
