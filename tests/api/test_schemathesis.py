"""
A4: requests derived from the documents (valid, at the bounds, wrong) against the app in this process.

Schemathesis holds every answer to the document, in every check that it has; what is derived is the same each run.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import from_schema
from schemathesis.engine.events import EngineEvent, FatalError, NonFatalError, ScenarioFinished

from api.app import create_app
from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import CARD
from tests.api.conftest import HERE
from tests.book.shop import NOW

# Of these bodies alone some 7,000 cases lie at the bounds of their fields: the long form walks along all of them.
LARGE = ("JobAsked", "QuotationAsked", "Job", "RateCard", "ComparisonAsked", "ExplanationAsked", "DifferenceAsked",
         "WhatIfAsked", "SwingsAsked", "RiskAsked", "DocketOfJobAsked")  # fmt: skip
# What fits its schema may still ask for what the shop has not, meet another state, or name nothing that is there.
REFUSED = ["400", "401", "403", "404", "406", "409", "412", "415", "422", "428", "429"]


@pytest.fixture(scope="module")
def secret(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A book, and an owner's key to it."""
    book = tmp_path_factory.mktemp("derived") / "book.sqlite"
    with QuoteBook(str(book)) as opened:
        made = opened.keys.make("the tests", scopes=["owner"], at=NOW, by="owner")
    return book, made.secret


def config(secret: str, examples: int, *, bounds: bool) -> SchemathesisConfig:
    """
    How requests are derived.

    Args:
        bounds: Whether the bounds of every field are walked along, or values are drawn.
    """
    return SchemathesisConfig.from_dict(
        {
            "seed": 1,
            "headers": {"Authorization": f"Bearer {secret}"},
            "continue-on-failure": True,
            "generation": {"deterministic": True, "max-examples": examples, "database": "none", "no-shrink": True},
            "phases": {
                "examples": {"enabled": not bounds},
                "coverage": {"enabled": bounds},
                "fuzzing": {"enabled": not bounds},
                "stateful": {"enabled": False},
            },
            "checks": {
                "positive_data_acceptance": {"expected-statuses": ["2xx", "304", *REFUSED]},
                "negative_data_rejection": {"expected-statuses": REFUSED},
                "missing_required_header": {"expected-statuses": ["400", "401", "428"]},
            },
        }
    )


@pytest.mark.parametrize("face", ["public", "owner"])
def test_answers_to_drawn_requests_are_as_the_document_says(face: str, secret: tuple[Path, str]) -> None:
    asked, faults = derived(face, secret, config(secret[1], 2, bounds=False), small=True, besides=["price", "draft"])

    assert faults == []
    assert asked > 20


@pytest.mark.parametrize("face", ["public", "owner"])
def test_answers_to_requests_at_the_bounds_are_as_the_document_says(face: str, secret: tuple[Path, str]) -> None:
    asked, faults = derived(face, secret, config(secret[1], 3, bounds=True), small=True)

    assert faults == []
    assert asked > 20


@pytest.mark.long
@pytest.mark.parametrize("bounds", [False, True])
@pytest.mark.parametrize("face", ["public", "owner"])
def test_answers_to_many_derived_requests_are_as_the_document_says(
    face: str, bounds: bool, secret: tuple[Path, str]
) -> None:
    asked, faults = derived(face, secret, config(secret[1], 100, bounds=bounds))

    assert faults == []
    assert asked > 1000


def derived(
    face: str, secret: tuple[Path, str], told: SchemathesisConfig, *, small: bool = False, besides: Sequence[str] = ()
) -> tuple[int, list[str]]:
    """How many requests were derived from a document, and what was wrong with their answers."""
    app = create_app(
        Settings(card=CARD, book=str(secret[0]), base_url=HERE, hosts=("testserver",), secret="derived-" * 5)
    )
    headers = {"Authorization": f"Bearer {secret[1]}"}
    schema: Any = schemathesis.openapi.from_asgi(f"/v1/openapi/{face}.json", app, config=told, headers=headers)
    if small:
        large = [one.id for one in app.state.desk.operations if one.body.__name__ in LARGE and one.id not in besides]
        schema = schema.exclude(operation_id=large)
    asked = 0
    faults: list[str] = []
    for event in from_schema(schema).execute():
        asked += len(event.recorder.interactions) if isinstance(event, ScenarioFinished) else 0
        faults.extend(_faults(event))
    return asked, faults


def _faults(event: EngineEvent) -> Iterator[str]:
    if isinstance(event, FatalError):
        yield f"{event.exception!r}"
    if isinstance(event, NonFatalError):
        yield f"{event.label}: {event.info}"
    if isinstance(event, ScenarioFinished):
        for checks in event.recorder.checks.values():
            for check in checks:
                if check.failure_info is not None:
                    failure: Any = check.failure_info.failure
                    yield f"{event.label}: {check.name}: {failure.title}: {failure.message}"[:2000]
