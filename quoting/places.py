"""Where templates and demo cards lie: in the wheel, beside the package in a checkout or an editable install."""

from __future__ import annotations

from pathlib import Path


def packaged(name: str) -> Path:
    """
    The folder ``pdf_templates`` or ``rate_cards_demo``, wherever this copy keeps it.

    Raises:
        FileNotFoundError: it lies in neither place.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "_packaged" / name, here.parent / name):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"expected the folder {name} beside or inside {here}; found neither")
