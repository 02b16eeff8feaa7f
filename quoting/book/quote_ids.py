"""Ids that nobody can guess: 128 bits of chance."""

from __future__ import annotations

import base64

from quoting.book.papers import Chance


def new_id(chance: Chance) -> str:
    """An id of 22 characters that a URL takes as it is, and a command line too: it begins with no dash."""
    while (id := base64.urlsafe_b64encode(chance(16)).rstrip(b"=").decode()).startswith("-"):
        pass
    return id
