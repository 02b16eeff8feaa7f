"""Set widths of an open font as a stand-in fount: line breaks by another breaker, widths by Pango."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import font_source_serif_pro
import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from quoting.shop import Fount
from quoting.units import INCHES_PER_POINT, MM_PER_INCH, Length
from quoting.wording import FountWidths, fit
from tests.wording import fount_of
from tests.wording.test_copyfitting import LINCOLN

FONT = Path(font_source_serif_pro.__file__).parent / "files" / "SourceSerifPro-Regular.ttf"
CHARACTERS = "".join(chr(code) for code in range(33, 127)) + "éèêàçôûüöä—–“”‘’£"
BODY = 12
# Pango places glyphs by whole units of 1/1024 px, WeasyPrint lengths by floats: under 1/100 of a point a line.
TOLERANCE_POINTS = 0.01


def advances() -> dict[str, int]:
    """Advance widths by character, in units of the font's em."""
    font = TTFont(FONT)
    named = font.getBestCmap()
    scale = 1000 / font["head"].unitsPerEm
    return {character: round(font["hmtx"][named[ord(character)]][0] * scale) for character in CHARACTERS}


ADVANCES = advances()


def stand_in() -> Fount:
    """The open font as a fount of 12 pt; its widths to a thousandth of a point."""
    return fount_of(
        set_widths=[{"width": f"{width * BODY / 1000:.3f} pt", "characters": one} for one, width in ADVANCES.items()]
    )


STAND_IN = stand_in()


def lines_by_another_breaker(text: str, measure_points: int) -> list[str]:
    """Greedy, from the right: the longest run of words that goes in, measured whole each time, in thousandths."""
    words, lines = text.split(), []
    while words:
        taken = len(words)
        while taken > 1 and length(" ".join(words[:taken])) > measure_points * 1000:
            taken -= 1
        lines.append(" ".join(words[:taken]))
        words = words[taken:]
    return lines


def length(text: str) -> int:
    """Thousandths of a point, a space being a third of the em."""
    return sum(4000 if one == " " else ADVANCES[one] * BODY for one in text)


@pytest.mark.parametrize("measure", [96, 120, 150, 181, 240, 300])
def test_a_real_text_breaks_where_another_breaker_breaks_it(measure: int) -> None:
    found = fit(LINCOLN, STAND_IN, measure_mm=Length(f"{measure} pt").in_base_unit)

    assert lines_by_another_breaker(LINCOLN, measure) == [line.text for line in found.lines]


@given(
    words=st.lists(st.text(CHARACTERS, min_size=1, max_size=9), min_size=1, max_size=60),
    measure=st.integers(130, 400),
)
def test_any_text_breaks_where_another_breaker_breaks_it(words: list[str], measure: int) -> None:
    found = fit(" ".join(words), STAND_IN, measure_mm=Length(f"{measure} pt").in_base_unit)

    assert lines_by_another_breaker(" ".join(words), measure) == [line.text for line in found.lines]


def widths_by_pango(words: list[str]) -> list[float]:
    """Widths in points of 12, without kerning and ligatures, as Pango lays the words out at 120 px."""
    from weasyprint import HTML

    style = f"""@font-face {{ font-family: Standin; src: url({FONT.as_uri()}) }}
        @page {{ size: 4000px 20000px; margin: 0 }}
        b {{ display: inline-block; font: 120px Standin; font-kerning: none; font-variant-ligatures: none }}"""
    markup = "".join(f"<div><b>{word.replace('&', '&amp;').replace('<', '&lt;')}</b></div>" for word in words)
    page: Any = HTML(string=f"<style>{style}</style>{markup}").render().pages[0]
    return [box.width / 120 * BODY for box in page._page_box.descendants() if type(box).__name__ == "InlineBlockBox"]


def test_widths_are_pangos_to_a_hundredth_of_a_point(pango: None) -> None:
    words = [*LINCOLN.split(), "Hamburgefonstiv", "1234567890", "&c.", "élève", "—“quoted”—"]
    widths = FountWidths(STAND_IN)

    found = [float(widths.points(widths.width(word))) for word in words]

    by_pango = widths_by_pango(words)
    assert len(by_pango) == len(words)
    assert max(abs(mine - theirs) for mine, theirs in zip(found, by_pango, strict=True)) < TOLERANCE_POINTS


def test_a_point_is_the_american_one() -> None:
    assert FountWidths(STAND_IN).point_mm == INCHES_PER_POINT * MM_PER_INCH
