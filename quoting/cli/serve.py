"""Starting the API: by its name, since this package does not know it."""

from __future__ import annotations

import os
from importlib.util import find_spec
from pathlib import Path

from quoting.errors import QuotingError
from quoting.rate_card import load_rate_card

APP = "api.app:create_app"
CARD_SETTING = "QUOTING_CARD"


def run_server(card_path: Path, *, host: str, port: int) -> None:
    """
    Serve the API with one rate card until it is stopped.

    Raises:
        RateCardError: the card is refused.
        QuotingError: another package named ``api`` stands before ours.
    """
    load_rate_card(card_path)
    check_api_is_ours()
    os.environ[CARD_SETTING] = str(card_path.resolve())
    import uvicorn

    uvicorn.run(APP, factory=True, host=host, port=port, log_level="info", server_header=False)


def check_api_is_ours() -> None:
    """Hold that the package ``api`` that Python finds is the one installed with this package."""
    found = find_spec("api")
    where = str(found.origin) if found else "nothing"
    here = Path(__file__).resolve().parents[2] / "api" / "__init__.py"
    if found is None or found.origin is None or Path(found.origin).resolve() != here:
        raise QuotingError(
            f"expected the package api at {here.parent}; found {where}: another package of that name comes first."
            " Run from another folder, or in an environment of its own"
        )
