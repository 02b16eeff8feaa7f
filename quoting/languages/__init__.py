"""
The words of documents: a gettext catalogue a language. The source, in the code, is British English.

Catalogues are read as they are written, from ``catalogues/LANGUAGE.po`` or ``LANGUAGE-REGION.po``: no
compiled file can fall behind them, and a wheel holds them as it holds any file of the package.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from pathlib import Path
from typing import Literal

from quoting.errors import Fault, InputError
from quoting.units import Size, in_inches, in_millimetres

CATALOGUES = Path(__file__).parent / "catalogues"
SOURCE_LOCALE = "en-GB"

# CLDR 45, supplemental data, measurementData: who writes on US Letter; who measures in inches.
_ON_LETTER = frozenset(["BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"])
_IN_INCHES = frozenset({"US"})


_PLACE = re.compile(r"\\{(\w+)\\}")
_FIGURE = re.compile(r"-?\d{1,3}(,\d{3})*(\.\d+)?")


def message(text: str) -> str:
    """Mark a text for the catalogues where it is not said yet."""
    return text


@lru_cache(maxsize=64)
def _pattern(text: str) -> re.Pattern[str]:
    """A message with a group for each of its places; a place that comes again holds the same."""
    seen: set[str] = set()

    def group(found: re.Match[str]) -> str:
        name, is_again = found[1], found[1] in seen
        seen.add(name)
        return f"(?P={name})" if is_again else f"(?P<{name}>.+)"

    return re.compile(_PLACE.sub(group, re.escape(text)), re.DOTALL)


class Language:
    """One language and region: says messages, and numbers and lengths as that region writes them."""

    def __init__(self, locale: str, translations: NullTranslations) -> None:
        self.locale = locale
        self._translations = translations

    @property
    def code(self) -> str:
        """The language alone, ``fr``."""
        return self.locale.partition("-")[0]

    @property
    def paper(self) -> Literal["A4", "Letter"]:
        """The paper that the region writes on."""
        return "Letter" if self.locale.partition("-")[2] in _ON_LETTER else "A4"

    @property
    def lengths(self) -> Literal["mm", "in"]:
        """What the region measures lengths in."""
        return "in" if self.locale.partition("-")[2] in _IN_INCHES else "mm"

    def say(self, text: str, /, **values: str) -> str:
        """A message in this language, with values in their places."""
        said = self._translations.gettext(text)
        return said.format_map(values) if values else said

    def say_many(self, one: str, many: str, count: int, /, **values: str) -> str:
        """A message that changes with a count; ``{count}`` is grouped as the region groups it."""
        said = self._translations.ngettext(one, many, count)
        return said.format_map({"count": self.number(count), **values})

    def say_again(self, told: str, among: Iterable[str], names: Mapping[str, str] | None = None) -> str:
        """
        A sentence that the engine told in the source language; one that is not ``among`` the messages stays so.

        Args:
            names: What stands in a place of it, and what it is called in this language.
        """
        for text in among:
            found = _pattern(text).fullmatch(told)
            if found is not None:
                values = found.groupdict()
                return self.say(text, **{key: (names or {}).get(at, self._figure(at)) for key, at in values.items()})
        return told

    def _figure(self, written: str) -> str:
        """A number of the source language as this one writes it; anything else as it is."""
        if not _FIGURE.fullmatch(written):
            return written
        whole, point, places = written.replace(",", "").partition(".")
        return self.number(int(whole)) + (self.decimal_mark + places if point else "")

    @property
    def decimal_mark(self) -> str:
        """What the region writes before tenths."""
        return self.number(Decimal("0.1"))[1]

    def number(self, number: Decimal | int) -> str:
        """A number with the region's decimal mark, no place of it lost."""
        if isinstance(number, int) and -1000 < number < 1000:
            return str(number)
        from babel.numbers import format_decimal

        return format_decimal(number, locale=self.locale.replace("-", "_"), decimal_quantization=False)

    def size(self, size: Size) -> str:
        """
        A size as the region measures; where it was written otherwise, that stands behind it.

        Inches written as fractions stay fractions.
        """
        told = self._as_written(size)
        if (self.lengths == "in") == size.is_in_inches:
            return told
        return f"{self.sides(size.width_mm, size.height_mm)} ({told})"

    def sides(self, width_mm: Decimal, height_mm: Decimal) -> str:
        """Two sides, in millimetres or inches as the region measures."""
        return f"{self._bare(width_mm)} × {self._bare(height_mm)} {self.lengths}"

    def length(self, length_mm: Decimal) -> str:
        """A length, in millimetres or inches as the region measures."""
        return f"{self._bare(length_mm)} {self.lengths}"

    def _bare(self, length_mm: Decimal) -> str:
        return self.number(in_inches(length_mm) if self.lengths == "in" else in_millimetres(length_mm))

    def _as_written(self, size: Size) -> str:
        return re.sub(r" ?[x×] ?", " × ", size.written).replace(".", self.decimal_mark)


@lru_cache(maxsize=64)
def language(locale: str) -> Language:
    """
    The language of a locale such as ``fr-BE``: its region's catalogue, else its language's, else the source.

    ``is_known`` says whether there is one.
    """
    for name in (locale, locale.partition("-")[0]):
        path = CATALOGUES / f"{name}.po"
        if path.is_file():
            return Language(locale, _read(path))
    return Language(locale, NullTranslations())


def languages() -> tuple[str, ...]:
    """Every language that documents can be written in, ``en`` first."""
    found = sorted({path.stem.partition("-")[0] for path in CATALOGUES.glob("*.po")} - {"en"})
    return ("en", *found)


def is_known(locale: str) -> bool:
    """Whether documents can be written in the language of a locale."""
    return locale.partition("-")[0] in languages()


def check_locale(locale: str | None) -> None:
    """
    Hold that a locale, where one is told, is one that documents can be written in.

    Raises:
        InputError: it is not; the message names the languages.
    """
    if locale and not is_known(locale):
        raise InputError([Fault("locale", f"a language of {', '.join(languages())}", repr(locale))])


def _read(path: Path) -> NullTranslations:
    from io import BytesIO

    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    compiled = BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file))
    compiled.seek(0)
    return GNUTranslations(compiled)


SOURCE = Language(SOURCE_LOCALE, NullTranslations())
