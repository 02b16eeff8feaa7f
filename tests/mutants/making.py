"""Mutants of a module: the operators of Cosmic Ray that fit this code, and four of ours that it lacks."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Protocol

import parso
from cosmic_ray.ast import ast_nodes
from cosmic_ray.plugins import get_operator, operator_names
from msgspec import Struct

# Left out: shifts, bits, powers and remainders in the place of + - * /, which fail on the first Decimal and prove
# nothing; `is` in the place of a comparison of values.
_ARITHMETIC, _ORDER = "(Add|Sub|Mul|Div)", "(Eq|NotEq|Lt|LtE|Gt|GtE)"
_CHOSEN = re.compile(
    "core/(AddNot|ExceptionReplacer|NumberReplacer|RemoveDecorator|ReplaceAndWithOr|ReplaceOrWithAnd"
    "|ReplaceTrueWithFalse|ReplaceFalseWithTrue|ReplaceBreakWithContinue|ReplaceContinueWithBreak|ZeroIterationForLoop"
    f"|ReplaceUnaryOperator_(Delete_Not|USub_UAdd|Delete_USub)|ReplaceBinaryOperator_{_ARITHMETIC}_{_ARITHMETIC}"
    "|ReplaceBinaryOperator_FloorDiv_(Mul|Div)"
    f"|ReplaceComparisonOperator_({_ORDER}_{_ORDER}|Is_IsNot|IsNot_Is))"
)
_NUMBER = re.compile(r"[\"'](?P<first>[0-9])(?P<rest>[0-9.e-]*)[\"']")
_Position = tuple[tuple[int, int], tuple[int, int]]


def _parsed(code: str) -> Any:
    return parso.parse(code)  # type: ignore[no-untyped-call]  # parso says no types of it


class Operator(Protocol):
    """What Cosmic Ray asks of an operator, so that ours are some too."""

    def mutation_positions(self, node: Any) -> Iterator[_Position]: ...

    def mutate(self, node: Any, index: int) -> Any: ...


class _Rewritten:
    """An operator that writes a node anew, where it is one that it knows."""

    def __init__(self, written: Callable[[Any], str | None]) -> None:
        self._written = written

    def mutation_positions(self, node: Any) -> Iterator[_Position]:
        if self._written(node) is not None:
            yield node.start_pos, node.end_pos

    def mutate(self, node: Any, _: int) -> Any:
        return _parsed(node.get_first_leaf().prefix + str(self._written(node)))


def _left_out(node: Any) -> str | None:
    """A refusal, a call for its effect, something added to what was there: as if it had been forgotten."""
    is_call = node.type == "atom_expr" and node.parent.type == "simple_stmt"
    adds = node.type == "expr_stmt" and node.children[1].get_code().strip() in {"+=", "-="}
    return "pass" if node.type == "raise_stmt" or is_call or adds else None


def _none_returned(node: Any) -> str | None:
    return "return None" if node.type == "return_stmt" and node.children[1].get_code().strip() != "None" else None


def _membership_turned(node: Any) -> str | None:
    """``in`` for ``not in``, and the other way round."""
    if node.type == "comparison":
        left, between, right = (child.get_code().strip() for child in node.children[:3])
        turned = {"in": "not in", "not in": "in"}.get(between)
        return f"{left} {turned} {right}" if turned and len(node.children) == 3 else None
    return None


def _number_in_text(node: Any) -> str | None:
    """``Decimal("0.01")`` with another first digit."""
    found = _NUMBER.fullmatch(node.value) if node.type == "string" else None
    return f'"{(int(found["first"]) + 1) % 10}{found["rest"]}"' if found else None


_OURS: dict[str, Operator] = {
    "left out": _Rewritten(_left_out),
    "None returned": _Rewritten(_none_returned),
    "membership turned": _Rewritten(_membership_turned),
    "number in text": _Rewritten(_number_in_text),
}


class Mutant(Struct, frozen=True):
    """One change of one module: its number in the module, the line before and after, the whole text."""

    number: int
    line: int
    operator: str
    before: str
    after: str
    text: str

    @property
    def told(self) -> str:
        """The change in one line."""
        return f"{self.line}: {self.operator}: {self.before}  ->  {self.after}"


@cache
def operators() -> dict[str, Operator]:
    """Every operator, by its name."""
    chosen = {name: get_operator(name)() for name in sorted(operator_names()) if _CHOSEN.fullmatch(name)}
    return {name.removeprefix("core/"): one for name, one in chosen.items()} | _OURS


def mutants(path: Path, parts: Sequence[str] = ()) -> list[Mutant]:
    """Every mutant of a module, or of the classes and functions named; heads of classes stay as they are."""
    code = path.read_text(encoding="utf-8")
    made: list[Mutant] = []
    for name, operator in operators().items():
        tree = _parsed(code)
        for node in list(ast_nodes(tree)):
            for index, ((line, _), _) in enumerate(list(operator.mutation_positions(node))):
                if _in_head(node) or (parts and not _is_in(node, parts)):
                    continue
                text = _mutated(code, node, operator, index)
                if tree.get_code() != code:
                    raise ValueError(f"expected {name} to leave the tree of {path} as it was, line {line}")
                if _is_python(text):
                    made.append(Mutant(len(made) + 1, line, name, *_changed(code, text, line), text))
    return made


def _mutated(code: str, node: Any, operator: Operator, index: int) -> str:
    """The code with one node mutated; the node is put back, so that one tree serves for all."""
    before, after = (_offset(code, at) for at in (node.get_start_pos_of_prefix(), node.end_pos))
    leaves = {id(leaf): (leaf, leaf.value) for leaf in ast_nodes(node) if hasattr(leaf, "value")}
    children = [(one, list(one.children)) for one in ast_nodes(node) if hasattr(one, "children")]
    new = operator.mutate(node, index)
    text = code[:before] + (new.get_code() if new is not None else "") + code[after:]
    for leaf, value in leaves.values():
        leaf.value = value
    for one, kept in children:
        one.children = kept
    return text


def _offset(code: str, at: tuple[int, int]) -> int:
    line, column = at
    return sum(len(one) for one in code.splitlines(keepends=True)[: line - 1]) + column


def _is_python(text: str) -> bool:
    """Whether it can be compiled: the star of keyword-only arguments is no multiplication."""
    try:
        compile(text, "", "exec", dont_inherit=True)
    except SyntaxError:
        return False
    return True


def _in_head(node: Any) -> bool:
    """Whether it stands among a class's bases and options, or is the star before arguments that are named."""
    while node.parent is not None:
        if node.type not in {"suite", "param"} and node.parent.type in {"classdef", "parameters"}:
            return True
        node = node.parent
    return False


def _is_in(node: Any, parts: Sequence[str]) -> bool:
    names: list[str] = []
    while node is not None:
        names += [node.name.value] if node.type in {"classdef", "funcdef"} else []
        node = node.parent
    return ".".join(reversed(names)).startswith(tuple(parts))


def _changed(code: str, text: str, line: int) -> tuple[str, str]:
    """The line that was changed, before and after; of a change over several lines, its first."""
    old, new = code.splitlines(), text.splitlines()
    pairs = zip(old[line - 1 :], new[line - 1 :], strict=False)
    return old[line - 1].strip(), next((after.strip() for before, after in pairs if before != after), "")
