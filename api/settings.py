"""Settings, from the environment."""

from __future__ import annotations

import os
from pathlib import Path

from msgspec import Struct

CARD_SETTING = "QUOTING_CARD"


class Settings(Struct, frozen=True):
    """Which rate card prices, and how large a request may be."""

    card: Path
    most_body_bytes: int = 1_000_000


def settings_from_environment() -> Settings:
    """
    Settings as the environment has them.

    Raises:
        RuntimeError: no rate card is named.
    """
    card = os.environ.get(CARD_SETTING)
    if not card:
        raise RuntimeError(f"expected {CARD_SETTING} to name a rate card; found nothing")
    return Settings(card=Path(card))
