"""What `import quoting` brings along, and what it leaves out."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import requires

import pytest

import quoting

HEAVY = {
    "litestar",
    "uvicorn",
    "sqlalchemy",
    "weasyprint",
    "jinja2",
    "babel",
    "click",
    "tabulate",
    "asyncio",
    "numpy",
    "matplotlib",
}


def modules_after(code: str) -> set[str]:
    """Top-level modules loaded in a fresh process after some code."""
    told = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"], capture_output=True, text=True, check=True
    )
    return {name.partition(".")[0] for name in told.stdout.split()}


def test_importing_quoting_loads_no_web_no_database_and_no_page_maker() -> None:
    found = modules_after("import quoting; quoting.estimate_job; quoting.quotation_for") & HEAVY

    assert found == set()


def test_a_rendering_child_loads_no_engine() -> None:
    told = "import quoting.documents.child, sys; print(*(name for name in sys.modules if name.startswith('quoting')))"
    names = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True).stdout.split()

    assert not {"quoting.estimate", "quoting.planning", "quoting.job"} & set(names)


def test_a_price_on_the_command_line_loads_neither_either() -> None:
    found = modules_after("import quoting.cli, quoting.cli.tables, quoting.estimate, quoting.rate_card") & HEAVY

    assert found == {"click", "tabulate"}


def test_the_public_names_are_these() -> None:
    expected = [
        "RULES",
        "DocumentError",
        "Estimate",
        "Fault",
        "InputError",
        "Job",
        "JobError",
        "MeasureError",
        "NoPlanError",
        "NotOfferedError",
        "Quotation",
        "QuotingError",
        "RateCard",
        "RateCardError",
        "estimate_job",
        "load_job",
        "load_rate_card",
        "quotation_for",
        "read_job",
    ]

    assert quoting.__all__ == expected
    assert all(hasattr(quoting, name) for name in expected)


@pytest.mark.parametrize("name", quoting.__all__)
def test_every_public_name_is_documented(name: str) -> None:
    thing = getattr(quoting, name)

    assert name == "RULES" or (thing.__doc__ or "").strip()


def test_every_dependency_is_bounded_above() -> None:
    loose = [line for line in requires("quoting") or [] if "<" not in line and not line.startswith("tzdata")]

    assert loose == []
