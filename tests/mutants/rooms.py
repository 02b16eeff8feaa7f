"""What is mutated, and the tests that must notice."""

from __future__ import annotations

from msgspec import Struct


class Room(Struct, frozen=True):
    """
    A module, and the tests that hold it, those that notice most first.

    ``at_import`` are its functions that have run once it is imported, so that a change of them asks for it anew.
    ``parts`` are the classes and functions of it that count here, where not all of them do. ``used`` is what its
    tests import as they run.
    """

    path: str
    tests: tuple[str, ...]
    parts: tuple[str, ...] = ()
    at_import: tuple[str, ...] = ()
    used: tuple[str, ...] = ("quoting.estimate", "quoting.quotation")

    @property
    def module(self) -> str:
        """Its name as it is imported."""
        return self.path.removesuffix(".py").replace("/", ".")


_FURTHER = ("[1]", "[2]", "[3]")  # as the first part does
_TAX = (
    "tests/test_tax.py",
    *(f"--deselect=tests/test_tax.py::test_random_documents_hold_the_rules_exactly{part}" for part in _FURTHER),
)
_COSTS = ("tests/test_line_items.py", "tests/test_buying.py", "tests/test_pricing.py")
_PRICES = ("tests/test_pricing.py", "tests/test_golden.py")
_ACCESS = ("tests/api/test_authorisation.py",)
_SIGNED = ("tests/site/test_signed.py",)
_BOOK = ("tests/book/test_access.py", "tests/book/test_ways_in.py", "-k", "not postgresql")

MONEY = (
    Room("quoting/money.py", ("tests/test_money.py", *_TAX)),
    Room("quoting/tax.py", (*_TAX, "tests/test_pricing.py")),
    Room("quoting/pricing.py", _PRICES),
    Room("quoting/line_items.py", _COSTS),
    Room("quoting/buying.py", _COSTS),
    Room("quoting/costing.py", _COSTS),
    Room(
        "quoting/units.py",
        ("tests/test_units.py",),
        parts=("Measure", "Amount", "_number", "at_value", "read_door_type"),
    ),
    Room(
        "quoting/offers/prices.py",
        ("tests/offers/test_prices.py",),
        parts=("prices_of", "_next_quantities", "_asked", "_next", "_each"),
    ),
)
AUTHORISATION = (
    Room("api/keys.py", _ACCESS),
    Room("api/gate.py", _ACCESS),
    Room("api/clients.py", _ACCESS),
    Room("api/limits.py", _ACCESS),
    Room(
        "api/operations.py",
        _ACCESS,
        parts=("Operation", "operation", "_handled", "_allowed", "_counted", "_tag", "_response", "_superseded"),
        at_import=("operation",),
    ),
    Room(
        "api/desk.py",
        _ACCESS,
        parts=(
            "Desk.credential",
            "Desk._known",
            "Desk._keys_age",
            "Desk._read_keys",
            "Desk.origins",
            "Desk.methods_at",
        ),
    ),
    Room("api/looks.py", ("tests/api/test_looks.py",), parts=("SharedLook",)),
    Room("api/site/sessions.py", _SIGNED),
    Room("api/site/form_token.py", _SIGNED),
    Room("quoting/book/access_keys.py", _BOOK),
    Room("quoting/book/links.py", _BOOK),
    Room("quoting/book/budgets.py", _BOOK),
)
ROOMS = MONEY + AUTHORISATION
