"""Hand-set lines as the compositor needs them: fount, body, and what spaces each to the form's measure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.errors import MeasureError
from quoting.job import HandSet, SetLine
from quoting.languages import Language, message
from quoting.rate_card import RateCard
from quoting.wording import FountWidths, SpacedLine, centred_line, measure_type, spaced_line, text_fitted
from quoting.wording.spacing import Arranged


class TypeLine(Struct, frozen=True, kw_only=True):
    """One line to set, what it reads in further versions, and its spaces, centred to the measure."""

    text: str
    fount: str
    body: str
    spacing: str


_SPACES = {
    "em quad": message("em quad"),
    "en quad": message("en quad"),
    "3-em space": message("3-em space"),
    "4-em space": message("4-em space"),
    "5-em space": message("5-em space"),
    "hair space": message("hair space"),
    "one-point space": message("one-point space"),
    "half-point space": message("half-point space"),
}


def type_lines(form: HandSet, card: RateCard, language: Language) -> tuple[TypeLine, ...]:
    """Every line of a hand-set form, in order."""
    measure = measure_type(form, card.founts).width_mm
    lines = []
    for line in form.lines:
        fount = card.founts[line.fount]
        widths = FountWidths(fount)
        for text in (line.text, *line.further):
            lines.append(
                TypeLine(
                    text=text,
                    fount=fount.name,
                    body=fount.body.written,
                    spacing=_spacing(replace(line, text=text), widths, measure, language),
                )
            )
    return (*lines, *_text_lines(form, card, language))


def _text_lines(form: HandSet, card: RateCard, language: Language) -> Iterator[TypeLine]:
    if form.text is None:
        return
    fount = card.founts[form.text.fount]
    fitted = text_fitted(form.text, card.founts)
    if fitted is None:
        told = language.say_many("{count} em of text", "{count} ems of text", form.text.ems or 0)
        yield TypeLine(text=told, fount=fount.name, body=fount.body.written, spacing="")
        return
    widths = FountWidths(fount)
    for line in fitted.lines:
        try:
            arranged: Arranged = "left" if line.ends else "justified"
            spaced = spaced_line(line.text, fount, measure_half_points=fitted.measure_half_points, arranged=arranged)
            told = _told(spaced, widths, language)
        except MeasureError:
            told = language.say("thick space between words")
        yield TypeLine(text=line.text, fount=fount.name, body=fount.body.written, spacing=told)


def _spacing(line: SetLine, widths: FountWidths, width_mm: Decimal, language: Language) -> str:
    spaced = centred_line(line, widths.fount, width_mm)
    told = _told(spaced, widths, language)
    if not line.letterspaced:
        return told
    hairs = Counter(piece for one in spaced.filled if one.place.startswith("in ") for piece in one.pieces)
    letterspaced = language.say("letterspaced; quads to the measure")
    return "; ".join(one for one in (letterspaced, _pieces(hairs, language), told) if one)


def _told(spaced: SpacedLine, widths: FountWidths, language: Language) -> str:
    """Before the line, between its words, after it; where widths are means, that it is about so much."""
    before = Counter(piece for one in spaced.filled if one.place == "before" for piece in one.pieces)
    after = Counter(piece for one in spaced.filled if one.place == "after" for piece in one.pieces)
    between = Counter(piece for one in spaced.filled if one.place.startswith("after ") for piece in one.pieces)
    parts = [
        language.say(where, spaces=_pieces(pieces, language))
        for where, pieces in (
            (message("before: {spaces}"), before),
            (message("between words: {spaces}"), between),
            (message("after: {spaces}"), after),
        )
        if pieces
    ]
    told = "; ".join(parts)
    if widths.basis == "set widths" or not told:
        return told
    return language.say("about, by mean widths: {spacing}", spacing=told)


def _pieces(pieces: Counter[str], language: Language) -> str:
    told = ((count, language.say(_SPACES.get(name, name))) for name, count in pieces.items())
    return " + ".join(name if count == 1 else f"{count} × {name}" for count, name in told)
