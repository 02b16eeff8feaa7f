"""The command line as a person runs it: a process, its output, its exit code."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from quoting import RateCard
from quoting.reference import schema_of
from tests.conftest import SHOPS, demo_card_path, demo_job_path, demo_jobs

CARD = str(demo_card_path("marrowby-lane"))
JOB = str(demo_job_path("marrowby-lane", "coasters"))


def run(*words: str, folder: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "quoting.cli", *words],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_price_shows_rules_plan_and_lines() -> None:
    done = run("price", JOB, "--card", CARD, "--on", "2026-11-25")

    assert done.returncode == 0
    for word in ("Mark-up", "Net price", "Plan for 100", "Make-ready", "Sitting 1", "not for the client"):
        assert word in done.stdout


def test_a_price_for_machines_is_json_and_its_lines_add_up() -> None:
    done = run("price", JOB, "--card", CARD, "--json")

    estimate = json.loads(done.stdout)
    option = estimate["options"][0]
    in_pence = [round(float(line["cost"]) * 100) for line in option["lines"]]
    assert sum(in_pence) == round(float(option["price"]["cost"]) * 100)


def test_colour_is_left_out_where_nobody_looks() -> None:
    done = run("price", JOB, "--card", CARD)

    assert "\x1b[" not in done.stdout


def test_why_gives_the_arithmetic_of_every_line() -> None:
    lines = run("price", JOB, "--card", CARD, "--why").stdout.splitlines()

    assert any("min / 60 ×" in line for line in lines)
    assert any("rounded up" in line for line in lines)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("price", JOB), 2, "--card"),
        (("price", JOB, "--card", "nowhere"), 3, "rate card"),
        (("price", "nowhere.toml", "--card", CARD), 4, "nowhere.toml"),
        (("quote", JOB, "--card", CARD, "--out", "/proc/nothing/x.pdf"), 6, "/proc/nothing"),
        (("schema", "castle"), 2, "castle"),
        (("price", JOB, "--card", CARD, "--on", "25.11.2026"), 2, "25.11.2026"),
    ],
)
def test_what_goes_wrong_is_told_with_its_exit_code(
    words: tuple[str, ...], code: int, said: str, pango: None
) -> None:
    done = run(*words)

    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_job_that_no_press_can_make_gives_every_press_and_its_reason(tmp_path: Path) -> None:
    text = Path(JOB).read_text().replace('impression = "visible"', 'impression = "deep"')
    job = tmp_path / "deep.toml"
    job.write_text(text)

    done = run("price", str(job), "--card", CARD)

    assert done.returncode == 5
    assert "deep impression from type would ruin it" in done.stderr


def test_every_fault_of_a_job_comes_at_once_with_file_and_key(tmp_path: Path) -> None:
    job = tmp_path / "odd.toml"
    job.write_text('format = 1\ntitle = 3\nquantities = [0, "x"]\nclient = {}\n[[items]]\nname = "A"\nsize = "4"\n')

    done = run("price", str(job), "--card", CARD)

    assert done.returncode == 4
    for key in ("$.title", "$.quantities[0]", "$.quantities[1]", "$.client.name", "$.items[0].size"):
        assert f"odd.toml: {key}: expected" in done.stderr


@pytest.mark.parametrize("shop", SHOPS)
def test_a_card_is_checked_and_shown(shop: str, cards: dict[str, RateCard]) -> None:
    path = str(demo_card_path(shop))

    checked, shown = run("card", "check", path), run("card", "show", path)

    assert "no faults" in checked.stdout
    for person in cards[shop].people.values():
        assert person.name in shown.stdout
    assert "Hours x rates over the year" in shown.stdout


def test_a_broken_card_is_refused_with_every_fault(tmp_path: Path) -> None:
    folder = tmp_path / "card"
    shutil.copytree(CARD, folder)
    pricing = folder / "pricing.toml"
    pricing.write_text(pricing.read_text().replace("valid_days", "valid_daze"))
    (folder / "more.toml").write_text('[castle]\nmoat = "deep"\n')

    done = run("card", "check", str(folder))

    assert done.returncode == 3
    assert "pricing.toml: pricing.valid_daze" in done.stderr
    assert "pricing.toml: pricing.valid_days: expected" in done.stderr
    assert "more.toml: castle" in done.stderr


def test_a_card_of_the_newest_format_needs_no_upgrade() -> None:
    assert "nothing to do" in run("card", "upgrade", CARD).stdout


def test_a_card_of_an_unknown_format_is_not_touched(tmp_path: Path) -> None:
    card = tmp_path / "card.toml"
    card.write_text("format = 7\n")

    done = run("card", "upgrade", str(card))

    assert done.returncode == 3
    assert card.read_text() == "format = 7\n"


def test_the_schema_printed_is_the_schema_of_the_types() -> None:
    assert json.loads(run("schema", "job").stdout) == json.loads(json.dumps(schema_of("job")))


@pytest.mark.parametrize(("kind", "key"), [("job", "items[].front.colours[].ink"), ("card", "people.NAME.wage")])
def test_the_reference_lists_every_key(kind: str, key: str) -> None:
    assert any(line.startswith(key) for line in run("keys", kind).stdout.splitlines())


def test_the_demo_prices_every_job_and_writes_every_quotation(tmp_path: Path, pango: None) -> None:
    done = run("demo", "--out", str(tmp_path / "q"))

    assert done.returncode == 0
    assert sorted(path.name for path in (tmp_path / "q").iterdir()) == sorted(
        f"{shop}-{job}.pdf" for shop, job in demo_jobs()
    )
    assert all(path.read_bytes().startswith(b"%PDF-") for path in (tmp_path / "q").iterdir())


def test_without_pango_the_demo_prices_and_says_in_one_line_what_to_install(tmp_path: Path) -> None:
    (tmp_path / "weasyprint.py").write_text('raise OSError("cannot load library")\n')

    done = run("demo", "--out", str(tmp_path / "q"), PYTHONPATH=str(tmp_path))

    assert done.returncode == 0
    last = done.stdout.strip().splitlines()[-1]
    assert last.startswith("No PDF written.")
    assert "libpango-1.0-0" in last
    assert "coasters" in done.stdout


def test_a_strange_package_called_api_is_told_at_serve(tmp_path: Path) -> None:
    (tmp_path / "api").mkdir()
    (tmp_path / "api" / "__init__.py").write_text("")

    done = run("serve", "--card", CARD, folder=tmp_path, PYTHONPATH=str(tmp_path))

    assert done.returncode != 0
    assert "another package of that name comes first" in done.stderr
