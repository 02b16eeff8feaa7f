"""What callers tell the book in words, held to what both engines keep before a page is written."""

from __future__ import annotations

from quoting.errors import Fault, InputError, QuoteNotFoundError
from quoting.reader import to_json

LONGEST_NAME, LONGEST_KEY, LONGEST_NOTE = 100, 255, 4000


def plain_words(where: str, told: str, *, least: int = 0, most: int = LONGEST_NAME) -> str:
    """
    One line of text without control characters.

    Raises:
        InputError: something else.
    """
    if not least <= len(told) <= most or not told.isprintable():
        raise InputError([Fault(where, f"{least} to {most} characters that can be printed", repr(told)[:60])])
    return told


def series_name(told: str) -> str:
    """
    The name of a series of numbers.

    Raises:
        InputError: not 1 to 20 letters and digits.
    """
    if not (told.isascii() and told.isalnum() and len(told) <= 20):
        raise InputError([Fault("series", "1 to 20 letters and digits", repr(told)[:60])])
    return told


def number_or_id(told: str) -> str:
    """
    What a quotation or a client may go by.

    Raises:
        QuoteNotFoundError: nothing can go by it.
    """
    if not (told.isascii() and told.isprintable() and 0 < len(told) <= LONGEST_NAME):
        raise QuoteNotFoundError(told[:LONGEST_NAME])
    return told


def said(**told: str) -> bytes:
    """
    What somebody said, as the paper that is kept of it.

    Raises:
        InputError: more than 4,000 characters, or no text.
    """
    for where, text in told.items():
        if len(text) > LONGEST_NOTE:
            raise InputError([Fault(where, f"up to {LONGEST_NOTE} characters", str(len(text)))])
    try:
        return to_json(told)
    except UnicodeEncodeError as error:
        raise InputError([Fault("$", "text that UTF-8 takes", error.reason)]) from error
