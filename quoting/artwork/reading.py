"""From a file to its forms, within the child: its planes one after the other, each measured and let go."""

from __future__ import annotations

from collections.abc import Iterator

from quoting.artwork.figures import figures_of
from quoting.artwork.measured import FormArtwork
from quoting.artwork.measuring import Answer, Asked
from quoting.artwork.planes import Plane
from quoting.errors import UnfitArtworkError
from quoting.numbers import in_engine_context
from quoting.reader import to_json


@in_engine_context
def measured(asked: Asked) -> Answer:
    """
    Every form of a file that prints anything.

    Raises:
        ArtworkError: it cannot be read, is too large, or prints nothing.
    """
    import cv2

    cv2.setNumThreads(1)
    forms: list[FormArtwork] = []
    empty: list[str] = []
    for plane in _planes(asked):
        form = figures_of(plane, asked.name, asked.content_hash)
        if form is None:
            empty.append(f"page {plane.page}{', ' if plane.separation else ''}{plane.separation} prints nothing")
        else:
            forms.append(form)
    if not forms:
        raise UnfitArtworkError("expected artwork that prints something; found bare paper")
    return Answer(to_json(tuple(forms)), (*empty[:20], *_left_in_process_colours(forms)))


def _planes(asked: Asked) -> Iterator[Plane]:
    if asked.kind == "pdf":
        from quoting.artwork.pages import pdf_planes

        return pdf_planes(asked.content, asked.limits)
    from quoting.artwork.pictures import picture_planes

    return picture_planes(asked.content, asked.kind, asked.limits, told_dots=asked.dots_an_inch)


PROCESS = ("Cyan", "Magenta", "Yellow")


def _left_in_process_colours(forms: list[FormArtwork]) -> Iterator[str]:
    """Pages on which something is not drawn in the spot colour that it should be."""
    for page in sorted({form.page for form in forms}):
        found = [form.separation for form in forms if form.page == page and form.separation in PROCESS]
        if found:
            yield (
                f"page {page}: expected a spot colour an ink; found process colours too: {', '.join(found)}."
                " Each would be a form of its own: have the artwork put into its inks"
            )
