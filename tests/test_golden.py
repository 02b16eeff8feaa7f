"""Old prices stand: byte for byte, under the rules that made them."""

from __future__ import annotations

from pathlib import Path

import pytest

from quoting import RULES
from tests.conftest import demo_jobs
from tests.golden import corpus, priced_again, read, without_refusals


def test_the_corpus_of_todays_rules_holds_every_kind_of_demo_job() -> None:
    assert {path.name for path in corpus(RULES)} >= {f"{shop}-{job}" for shop, job in demo_jobs()}


@pytest.mark.parametrize("folder", corpus(RULES), ids=lambda path: path.name)
def test_a_kept_job_is_priced_to_the_same_bytes(folder: Path) -> None:
    assert without_refusals(priced_again(folder)) == without_refusals(read(folder, "price"))
