"""A new operation is one module and its names in the one list: tried on a copy of the package, in a child process."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import quoting
from quoting.places import packaged

EYELETTING = '''\
"""Brass eyelets set with a hand press."""

from __future__ import annotations

from decimal import Decimal
from typing import ClassVar

from quoting.formulas import Do, formula
from quoting.languages import Language, message
from quoting.operations.finishing import FinishingBase, FinishingRates, FinishingWork
from quoting.requirements import Requirement
from quoting.shop import Count
from quoting.units import Duration

TAG = "eyeletting"


@formula(unit="min", sentence="{set_up} min + {pieces} pieces × {eyelets} eyelets × {each} min")
def eyeletting_minutes(*, set_up: Decimal, pieces: int, eyelets: int, each: Decimal) -> Decimal:
    """Minutes to punch and set every eyelet. [min]"""
    return set_up + pieces * eyelets * each


class Eyeletting(FinishingBase, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind"):
    """So many eyelets a piece."""

    operation: ClassVar = message("Eyeletting")
    cautions: ClassVar = (message("Keep fingers out of the eyelet press."),)
    eyelets: Count = 1

    def words_in(self, language: Language) -> str:
        return language.say_many("one eyelet set", "{count} eyelets set", self.eyelets)

    def requirements(self, do: Do, rates: EyelettingRates, work: FinishingWork) -> tuple[Requirement, ...]:
        minutes = do(
            eyeletting_minutes,
            set_up=rates.set_up.in_base_unit,
            pieces=work.pieces,
            eyelets=self.eyelets,
            each=rates.an_eyelet.in_base_unit,
        )
        return (self._labour(work, minutes, None, do.taken()),)


class EyelettingRates(
    FinishingRates, frozen=True, forbid_unknown_fields=True, tag=TAG, tag_field="kind", kw_only=True
):
    """Minutes to set up, minutes an eyelet."""

    set_up: Duration
    an_eyelet: Duration
'''

RATES = """

[[finishing]]
kind = "eyeletting"
set_up = "4 min"
an_eyelet = "0.25 min"
spoilage = "0 %"
"""

JOB = """
format = 1
title = "Luggage labels"
quantities = [100]
client = { name = "Wilhelmina Tarn" }

[[items]]
name = "Label"
stock = "card-300"
size = "60 x 120 mm"
finishing = [{ kind = "eyeletting", eyelets = 2 }]
"""

QUOTED = """
import datetime, json, sys
from pathlib import Path
import quoting
from quoting import estimate_job, load_job, load_rate_card, quotation_for
from quoting.docket import docket_for
from quoting.reader import to_json

here = Path(sys.argv[1])
card = load_rate_card(here / "rate_cards_demo" / "marrowby-lane" / "card")
estimate = estimate_job(load_job(here / "job.toml"), card, on=datetime.date(2026, 11, 25))
told = {
    "package": quoting.__file__,
    "estimate": json.loads(to_json(estimate)),
    "quotation": json.loads(to_json(quotation_for(estimate, card))),
    "docket": json.loads(to_json(docket_for(estimate, card))),
}
print(json.dumps(told))
"""

KEYS = """
import json
from quoting.reference import keys_of
print(json.dumps({kind: keys_of(kind) for kind in ("card", "job")}))
"""

SCHEMA = """
import json, sys
from quoting.reference import schema_of
print(json.dumps(schema_of(sys.argv[2])))
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the package with the module, its two names in the list, rates in a card and a job that asks."""
    copy = tmp_path_factory.mktemp("shop")
    shutil.copytree(Path(quoting.__file__).parent, copy / "quoting", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(packaged("rate_cards_demo"), copy / "rate_cards_demo")
    operations = copy / "quoting" / "operations"
    (operations / "eyeletting.py").write_text(EYELETTING, encoding="utf-8")
    listed = (operations / "__init__.py").read_text(encoding="utf-8")
    listed = listed.replace("    | Foiling\n", "    | Foiling\n    | Eyeletting\n")
    listed = listed.replace("    | FoilingRates\n", "    | FoilingRates\n    | EyelettingRates\n")
    imported = "from quoting.operations.eyeletting import Eyeletting, EyelettingRates\n"
    listed = listed.replace("from quoting.operations.foiling", f"{imported}from quoting.operations.foiling")
    (operations / "__init__.py").write_text(listed, encoding="utf-8")
    card = copy / "rate_cards_demo" / "marrowby-lane" / "card" / "finishing.toml"
    card.write_text(card.read_text(encoding="utf-8") + RATES, encoding="utf-8")
    (copy / "job.toml").write_text(JOB, encoding="utf-8")
    return copy


def answer(copy: Path, script: str, *words: str) -> dict[str, Any]:
    """What a child process that imports the copy prints."""
    child = subprocess.run(
        [sys.executable, "-c", script, str(copy), *words],
        env={**os.environ, "PYTHONPATH": str(copy)},
        cwd=copy,
        capture_output=True,
        text=True,
        check=False,
    )

    assert child.stderr == ""
    found: dict[str, Any] = json.loads(child.stdout)
    return found


@pytest.fixture(scope="module")
def told(copy: Path) -> dict[str, Any]:
    """Estimate, quotation and docket of the job, as JSON."""
    found = answer(copy, QUOTED)

    assert Path(found["package"]).is_relative_to(copy)
    return found


def tags_in(schema: dict[str, Any]) -> set[str]:
    """Every kind that a schema names."""
    kinds = (definition.get("properties", {}).get("kind", {}) for definition in schema["$defs"].values())
    return {name for kind in kinds for name in kind.get("enum", [kind.get("const")])}


def test_it_is_priced_by_its_own_formula(told: dict[str, Any]) -> None:
    """4 min + 100 labels x 2 eyelets x 0.25 min = 54 min of the helper at 33.00."""
    lines = told["estimate"]["options"][0]["lines"]
    line = next(line for line in lines if line["operation"] == "Eyeletting")

    assert line["minutes"] == "54.00"
    assert line["cost"] == "29.70"


def test_it_is_explained_by_its_own_sentence(told: dict[str, Any]) -> None:
    lines = told["estimate"]["options"][0]["lines"]
    line = next(line for line in lines if line["operation"] == "Eyeletting")

    assert "4 min + 100 pieces × 2 eyelets × 0.25 min = 54" in line["sentence"]


@pytest.mark.parametrize("kind", ["card", "job"])
def test_it_is_in_the_schema_of_card_and_of_job(kind: str, copy: Path) -> None:
    assert "eyeletting" in tags_in(answer(copy, SCHEMA, kind))


def test_its_keys_are_told_of_card_and_of_job(copy: Path) -> None:
    keys = answer(copy, KEYS)

    assert "finishing[](eyeletting).an_eyelet" in keys["card"]
    assert "(eyeletting).eyelets" in keys["job"]


def test_its_counts_are_in_the_estimate_and_its_words_in_the_quotation_and_the_docket(told: dict[str, Any]) -> None:
    steps = told["estimate"]["options"][0]["parts"][0]["count"]["steps"]

    assert [step["operation"] for step in steps] == ["Eyeletting"]
    assert any("2 eyelets set" in line for item in told["quotation"]["items"] for line in item["lines"])
    assert "2 eyelets set" in json.dumps(told["docket"], ensure_ascii=False)
    assert "Keep fingers out of the eyelet press." in json.dumps(told["docket"], ensure_ascii=False)
