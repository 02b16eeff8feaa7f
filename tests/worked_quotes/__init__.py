"""
Worked quotes: a job, its arithmetic by hand, the quote expected.

Each ``.txt`` beside this file is read here without the library. Its lines are::

    job      = pellam-hollow/coasters             the shop and the job file
    quantity = 100
    name = arithmetic                             a figure of our own
    name = arithmetic   | card.path = "text"      a figure quoted from the card's row
    name = arithmetic   | job: path = value       a figure quoted from the job
    expect sheets of Coaster = arithmetic         taken from stock, per part
    expect cost of Make-ready = arithmetic        the sum of the lines of one operation
    expect cost = arithmetic                      likewise: net, total, deposit, hours
    # a comment

Arithmetic is worked with Fractions: ``+ - * /``, brackets, ``up(x)``, ``penny(x)`` (half away
from zero), ``greater(a, b)``, ``lesser(a, b)``. Every quoted row is looked up in the file it
comes from, so a card that changes breaks the quote and not the other way round.
"""

from __future__ import annotations

import ast
import math
import operator
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
SHOPS = HERE.parents[1] / "rate_cards_demo"

_OPERATORS: dict[type, Callable[[Fraction, Fraction], Fraction]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


def penny(amount: Fraction) -> Fraction:
    """To hundredths, half away from zero."""
    sign = -1 if amount < 0 else 1
    return sign * Fraction(math.floor(abs(amount) * 100 + Fraction(1, 2)), 100)


_FUNCTIONS: dict[str, Callable[..., Fraction]] = {
    "up": lambda amount: Fraction(math.ceil(amount)),
    "penny": penny,
    "greater": max,
    "lesser": min,
}


@dataclass
class WorkedQuote:
    """One file, worked out: its figures, and what it expects of the engine."""

    path: Path
    shop: str
    job: str
    quantity: int
    figures: dict[str, Fraction] = field(default_factory=dict)
    expected: dict[str, Fraction] = field(default_factory=dict)
    quoted: list[tuple[str, str, str]] = field(default_factory=list)


def worked_quotes() -> list[Path]:
    """Every worked quote."""
    return sorted(HERE.glob("*/*.txt"))


def read_worked_quote(path: Path) -> WorkedQuote:
    """Work one file out, line by line."""
    facts: dict[str, str] = {}
    quote = WorkedQuote(path=path, shop="", job="", quantity=0)
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        text = line.split("#")[0].strip()
        if not text:
            continue
        try:
            _read_line(text, quote, facts)
        except (SyntaxError, KeyError, ValueError, ZeroDivisionError) as error:
            raise ValueError(f"{path.name}:{number}: {line.strip()!r}: {error!r}") from error
    return quote


def _read_line(text: str, quote: WorkedQuote, facts: dict[str, str]) -> None:
    body, _, source = text.partition("|")
    name, _, sum_ = (one.strip() for one in body.partition("="))
    if name == "job":
        quote.shop, _, quote.job = sum_.partition("/")
    elif name == "quantity":
        quote.quantity = int(sum_)
        quote.figures["quantity"] = Fraction(quote.quantity)
    elif name.startswith("expect "):
        quote.expected[name.removeprefix("expect ")] = work_out(sum_, quote.figures)
    else:
        if name in quote.figures:
            raise ValueError(f"{name} is worked out twice")
        quote.figures[name] = work_out(sum_, quote.figures)
    if source:
        path, _, value = (one.strip() for one in source.partition("="))
        quote.quoted.append((name, path, value.strip('"')))


def work_out(sum_: str, figures: dict[str, Fraction]) -> Fraction:
    """One sum, exactly."""
    return _value(ast.parse(sum_, mode="eval").body, figures, sum_)


def _value(node: ast.AST, figures: dict[str, Fraction], sum_: str) -> Fraction:
    match node:
        case ast.Constant(value=int() | float()):
            return Fraction(ast.get_source_segment(sum_, node) or "")
        case ast.Name(id=name):
            return figures[name]
        case ast.UnaryOp(op=ast.USub(), operand=one):
            return -_value(one, figures, sum_)
        case ast.BinOp(left=left, op=op, right=right):
            return _OPERATORS[type(op)](_value(left, figures, sum_), _value(right, figures, sum_))
        case ast.Call(func=ast.Name(id=name), args=args):
            return _FUNCTIONS[name](*(_value(one, figures, sum_) for one in args))
        case _:
            raise ValueError(f"no sum: {ast.dump(node)}")


def row(shop: str, path: str, job: str) -> str:
    """What the card (or, after ``job:``, the job) says at a path, as text."""
    if path.startswith("job:"):
        data: Any = tomllib.loads((SHOPS / shop / "jobs" / f"{job}.toml").read_text(encoding="utf-8"))
        path = path.removeprefix("job:").strip()
    else:
        data = {}
        for name in (SHOPS / shop / "card").glob("*.toml"):
            data |= tomllib.loads(name.read_text(encoding="utf-8"))
    for key in _keys(path):
        data = data[int(key)] if isinstance(data, list) else data[key]
    return str(data).lower() if isinstance(data, bool) else str(data)


def _keys(path: str) -> list[str]:
    """``stocks."cotton 300".size`` or ``finishing[2].speed`` as keys."""
    keys: list[str] = []
    for one in path.replace("[", ".").replace("]", "").split("."):
        keys.append(one.strip('"'))
    return [key for key in keys if key]
