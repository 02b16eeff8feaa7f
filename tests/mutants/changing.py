"""A module changed in the memory of a process: its functions where it is loaded, the whole of it where it is not."""

from __future__ import annotations

import gc
import importlib.util
from collections.abc import Sequence
from importlib.machinery import ModuleSpec, SourceFileLoader
from types import CodeType, FunctionType, ModuleType
from typing import Any


class _Changed(SourceFileLoader):
    """Loads a module from a text that is not its file's."""

    text = ""

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.text, self.path, "exec", dont_inherit=True)


class Finder:
    """Finds one module, which is to be loaded from a text; it belongs into ``sys.meta_path``."""

    def __init__(self, module: str, path: str, text: str) -> None:
        self._module, self._path, self._text = module, path, text

    def find_spec(
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Where it is, for Python."""
        if fullname != self._module:
            return None
        loader = _Changed(fullname, self._path)
        loader.text = self._text
        return importlib.util.spec_from_file_location(fullname, self._path, loader=loader)


def functions_changed(before: str, after: str) -> dict[str, CodeType] | None:
    """The functions and methods that are another after a change; None where it reaches what runs at import."""
    old, new = (compile(text, "", "exec", dont_inherit=True) for text in (before, after))
    found: dict[str, CodeType] = {}
    return found if _compared(old, new, found) else None


def _compared(old: CodeType, new: CodeType, found: dict[str, CodeType]) -> bool:
    """Whether two bodies, of a module or a class, run alike but for the functions in them."""
    if _alone(old) != _alone(new):
        return False
    for one, other in zip(_inner(old), _inner(new), strict=True):
        if one.co_flags & 2:  # CO_OPTIMIZED: a function's; a class body's is not
            if _whole(one) != _whole(other):
                found[other.co_qualname] = other
        elif not _compared(one, other, found):
            return False
    return True


def _inner(code: CodeType) -> list[CodeType]:
    return [one for one in code.co_consts if isinstance(one, CodeType)]


def _alone(code: CodeType) -> tuple[Any, ...]:
    consts = [(type(one), one) for one in code.co_consts if not isinstance(one, CodeType)]
    return code.co_code, consts, code.co_names, code.co_varnames, len(_inner(code))


def _whole(code: CodeType) -> tuple[Any, ...]:
    return (*_alone(code), code.co_freevars, [_whole(one) for one in _inner(code)])


def put_in_place(module: str, changed: dict[str, CodeType]) -> None:
    """Let functions of a module that is loaded run as changed, wherever they are held."""
    left = set(changed)
    for one in gc.get_objects():
        if isinstance(one, FunctionType) and one.__module__ == module and one.__code__.co_qualname in changed:
            name = one.__code__.co_qualname
            one.__code__ = changed[name].replace(co_filename=one.__code__.co_filename)
            left.discard(name)
    if left:
        raise LookupError(f"expected functions of {module}; found none named {', '.join(sorted(left))}")
