"""The faces that documents are set in, which characters they hold, and what to install for the others."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from msgspec import Struct

from quoting.errors import DocumentError, UnfitTextError


class Face(Struct, frozen=True):
    """A font file of a package, and how a style sheet calls it."""

    family: str
    weight: int
    style: str
    package: str
    distribution: str
    folder: str
    file: str

    def path(self) -> Path:
        """
        Where it lies.

        Raises:
            DocumentError: its package is not installed; the message says what to install.
        """
        found = find_spec(self.package)
        if found is None or found.origin is None:
            raise DocumentError(
                f"expected the package {self.distribution}; found none: pip install {self.distribution}"
            )
        return Path(found.origin).parent / self.folder / self.file

    def rule(self) -> str:
        """Its rule in a style sheet."""
        return (
            f'@font-face {{ font-family: "{self.family}"; font-weight: {self.weight}; font-style: {self.style};'
            f' src: url("asset:{self.file}"); }}'
        )


def _serif(weight: int, style: str, name: str) -> Face:
    return Face(
        family="Quotation Serif",
        weight=weight,
        style=style,
        package="font_source_serif_pro",
        distribution="font-source-serif-pro",
        folder="files",
        file=f"SourceSerifPro-{name}.ttf",
    )


SERIF = (
    _serif(300, "normal", "Light"),
    _serif(400, "normal", "Regular"),
    _serif(400, "italic", "It"),
    _serif(600, "normal", "Semibold"),
)
JAPANESE = Face(
    family="Quotation Japanese",
    weight=400,
    style="normal",
    package="noto_cjk_sans_jp_regular",
    distribution="noto-cjk-sans-jp-regular",
    folder=".",
    file="NotoSansCJKjp-Regular.otf",
)


@lru_cache(maxsize=8)
def characters_of(face: Face) -> frozenset[int]:
    """Every character that a face has a glyph for."""
    from fontTools.ttLib import TTFont

    with TTFont(face.path(), lazy=True) as font:
        return frozenset(font.getBestCmap())


def faces_for(text: str) -> tuple[Face, ...]:
    """
    The faces that a text needs: the serif, and the Japanese one where the serif is not enough.

    Raises:
        UnfitTextError: characters that neither has, or that want a package which is not there.
    """
    wanting = [character for character in sorted(set(text)) if not _is_drawn_without(character)]
    lacking = _lacking(wanting, SERIF)
    if not lacking:
        return SERIF
    if find_spec(JAPANESE.package) is None:
        raise UnfitTextError(
            f"expected a font with {_named(lacking)}; found none. For Japanese: pip install 'quoting[japanese]'"
            f" (the package {JAPANESE.distribution})"
        )
    lacking = _lacking(lacking, (JAPANESE,))
    if lacking:
        raise UnfitTextError(f"expected characters that the documents' fonts have; found {_named(lacking)}")
    return (*SERIF, JAPANESE)


def _lacking(characters: Iterable[str], faces: Iterable[Face]) -> list[str]:
    """Those that at least one of the faces lacks."""
    held = frozenset.intersection(*(characters_of(face) for face in faces))
    return [character for character in characters if ord(character) not in held]


# Unicode 15, DerivedCoreProperties, Default_Ignorable_Code_Point: soft hyphen, joiners, marks of direction, variants.
_IGNORED = ((0xAD, 0xAD), (0x200B, 0x200F), (0x202A, 0x202E), (0x2060, 0x206F), (0xFE00, 0xFE0F), (0xFEFF, 0xFEFF))


def _is_drawn_without(character: str) -> bool:
    """Spaces, line ends and marks of direction, which are set without a glyph."""
    if character in "\n\t\r" or unicodedata.category(character) == "Zs":
        return True
    return any(first <= ord(character) <= last for first, last in _IGNORED)


def _named(characters: list[str]) -> str:
    told = [f"U+{ord(character):04X} {unicodedata.name(character, '')}".rstrip() for character in characters[:5]]
    more = len(characters) - len(told)
    return ", ".join(told) + (f" and {more} more" if more else "")
