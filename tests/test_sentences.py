"""Every sentence of arithmetic, worked again with a pencil: its words struck out, what is left gives the result."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from functools import cache
from math import ceil

import pytest

import quoting
from quoting import Estimate, estimate_job, read_job
from quoting.formulas import FORMULAS, Step
from quoting.rate_card import rate_card_from
from tests.conftest import DAY, SHOPS
from tests.strategies import Data, all_jobs, card_data_of, with_two_inks_a_shade

assert quoting.__all__  # importing it registers the formulas
# The wording room's are told by `quoting fit`, not in an estimate, unless the composing calls them.
FIT_ALONE = {"depth_points", "ems_set", "words_held", "ems_a_pound"}
# Questions asked of an estimate, or of a wording, have formulas of their own, registered where one was imported.
ASKED_OF_AN_ESTIMATE = ("quoting.compare.", "quoting.what_if.", "quoting.risk.", "quoting.wording.fitting.")
OURS = {name: formula for name, formula in FORMULAS.items() if not name.startswith(ASKED_OF_AN_ESTIMATE)}
BY_NAME = {
    name.rpartition(".")[2]: formula for name, formula in OURS.items() if name.rpartition(".")[2] not in FIT_ALONE
}
SHOWN = r"-?[0-9]+(?:\.[0-9]+)?"


# A pencil


class Pencil:
    """
    Works a sentence.

    Words and units are struck out. Times and over go before plus and less; ``rounded up`` rounds the
    sum that stands before it; ``the greater of`` one sum ``and`` another takes the larger.
    """

    _TOKEN = re.compile(
        r"(?P<number>[0-9]+(?:\.[0-9]+)?)|(?P<sign>[×/+−()-])|(?P<phrase>rounded up|the greater of|the lesser of)"
        r"|(?P<word>[A-Za-z][\w-]*(?:/[A-Za-z]\w*)?)|\s+"
    )

    def __init__(self, sentence: str) -> None:
        self.tokens: list[str] = []
        place, waiting = 0, 0
        while place < len(sentence):
            found = self._TOKEN.match(sentence, place)
            if found is None:
                raise ValueError(f"expected words and arithmetic; found {sentence[place:]!r} in {sentence!r}")
            place = found.end()
            if found["phrase"]:
                waiting += found["phrase"] != "rounded up"
                self.tokens.append(found["phrase"])
            elif found["word"] == "and" and waiting:
                waiting -= 1
                self.tokens.append("and")
            elif found["number"] or found["sign"]:
                self.tokens.append(found[0])

    def worked(self) -> Fraction:
        """The whole sentence."""
        result = self._sum()
        if self.tokens:
            raise ValueError(f"expected the end of a sentence; found {self.tokens}")
        return result

    def _next_is(self, *wanted: str) -> bool:
        return bool(self.tokens) and self.tokens[0] in wanted

    def _sum(self) -> Fraction:
        total = self._product()
        while self._next_is("+", "−", "rounded up"):
            sign = self.tokens.pop(0)
            if sign == "rounded up":
                total = Fraction(ceil(round(total, 9)))
            else:
                total += self._product() if sign == "+" else -self._product()
        return total

    def _product(self) -> Fraction:
        result = self._figure()
        while self._next_is("×", "/"):
            result = result * self._figure() if self.tokens.pop(0) == "×" else result / self._figure()
        return result

    def _figure(self) -> Fraction:
        token = self.tokens.pop(0)
        if token == "(":
            inside = self._sum()
            if self.tokens.pop(0) != ")":
                raise ValueError("expected a closing bracket")
            return inside
        if token in ("the greater of", "the lesser of"):
            one = self._sum()
            if self.tokens.pop(0) != "and":
                raise ValueError(f"expected {token} one and another")
            return (max if token == "the greater of" else min)(one, self._sum())
        return -self._figure() if token in ("-", "−") else Fraction(token)


@pytest.mark.parametrize(
    ("sentence", "result"),
    [
        ("2 sheets + 3 lines × 4 min", Fraction(14)),
        ("(2 + 3) × 4 g/m2 / 8 mm2", Fraction(5, 2)),
        ("7 pieces / 2 up rounded up + 1 to set up", Fraction(5)),
        ("1 + 0.1 / 1 rounded up", Fraction(2)),
        ("the greater of 3 and 1 + 4 pins and position", Fraction(5)),
        ("(2 + the greater of 3 and 0.5 × 2) / 4 up rounded up", Fraction(2)),
        ("9 min lock-up − 4", Fraction(5)),
    ],
)
def test_a_pencil_works_what_a_person_would_work(sentence: str, result: Fraction) -> None:
    assert Pencil(sentence).worked() == result


# What the estimates say


def shops_and_jobs() -> Iterator[tuple[Data, Data]]:
    """Demo cards with all their jobs, and cards on which the rules of the price act that else stay silent."""
    for shop in SHOPS:
        card = with_two_inks_a_shade(card_data_of(shop))
        card["stone"]["mounting"] = "2 min"
        card["packing"]["interleave_materials_100"] = "1.20"
        additive = card_data_of(shop)
        additive["spoilage"]["rule"] = "additive"
        yield additive, all_jobs(shop)["cards"]
        yield from ((card, job) for job in all_jobs(shop).values())
        for rule in ({"target_margin": "0 %"}, {"hour_target": "200.00"}):
            other = card_data_of(shop)
            other["pricing"] = {
                key: value for key, value in other["pricing"].items() if key not in ("mark_ups", "target_margin")
            } | rule
            yield other, all_jobs(shop)["cards"]


def steps_of(estimate: Estimate) -> Iterator[Step]:
    """The steps behind every line, and those that lines and price rules tell in their sentences."""
    for option in estimate.options:
        for line in option.lines:
            for working in line.workings:
                yield from working.steps
            yield from told(f"{line.sentence}; {line.price_sentence}")
        for rule in option.price.rules:
            yield from told(rule.sentence)


@cache
def pattern_of(sentence: str) -> re.Pattern[str]:
    """How a sentence looks with its numbers in it."""
    words = re.split(r"\{\w+\}", sentence)
    return re.compile(SHOWN.join(re.escape(word) for word in words))


def told(sentence: str) -> Iterator[Step]:
    """The steps of a sentence that are told whole: ``arithmetic = result``."""
    for clause in sentence.split("; "):
        arithmetic, _, result = clause.rpartition(" = ")
        for name, formula in BY_NAME.items():
            if re.fullmatch(SHOWN, result) and pattern_of(formula.sentence).fullmatch(arithmetic):
                yield Step(name, arithmetic, Decimal(result), formula.unit)


@pytest.fixture(scope="module")
def recorded() -> dict[str, set[Step]]:
    """Every step of every estimate, by its formula."""
    found: dict[str, set[Step]] = {name: set() for name in BY_NAME}
    for card, job in shops_and_jobs():
        for step in steps_of(estimate_job(read_job(job), rate_card_from(card), on=DAY)):
            found[step.formula].add(step)
    return found


def test_every_formula_has_a_name_of_its_own() -> None:
    assert len(OURS) == len(BY_NAME) + len(FIT_ALONE)


@pytest.mark.parametrize("name", BY_NAME)
def test_every_formula_says_its_unit_and_where_it_comes_from(name: str) -> None:
    assert BY_NAME[name].unit.strip()
    assert BY_NAME[name].source.strip()


@pytest.mark.parametrize("name", BY_NAME)
def test_every_formula_is_told_in_an_estimate(name: str, recorded: dict[str, set[Step]]) -> None:
    assert recorded[name]


@pytest.mark.parametrize("name", BY_NAME)
def test_a_sentence_worked_with_a_pencil_gives_its_result(name: str, recorded: dict[str, set[Step]]) -> None:
    wrong = [
        (step.sentence, float(step.result))
        for step in recorded[name]
        if abs(Pencil(step.sentence).worked() - Fraction(step.result))
        > max(Fraction(1, 1000), abs(Fraction(step.result)) / 10_000)
    ]

    assert wrong == []
