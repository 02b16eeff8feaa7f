"""A job's artwork: files beside the job file, measured as it is read, and what its plan must be told of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from decimal import Decimal
from pathlib import Path
from typing import Any

from quoting.artwork import WITHIN_SHOP, Artwork, FormArtwork, measure_artwork
from quoting.errors import ArtworkBusyError, ArtworkError, ArtworkToolError, Fault, JobError, MeasureError, shown
from quoting.job import Job, MeasuredForm, Part
from quoting.numbers import plain
from quoting.reader import json_data, to_json
from quoting.units import Size

FILE = "artwork_file"
# A told figure that parts from the measured one by more than this is pointed out. Common practice, no source.
_PARTS_BY = Decimal("0.1")
_SAME_SIZE_MM = Decimal("0.5")


def with_artwork(data: Any, folder: Path) -> Any:
    """
    Plain data of a job, each form that names a file of artwork with what the file measures.

    What the job tells of a form wins, each figure by itself: ``size``, ``share_inked`` and ``bleed`` are filled
    in only where they are left out.

    Raises:
        JobError: with every file that is not there or cannot be measured, by its form.
        ArtworkToolError, ArtworkBusyError: nothing can be measured now.
    """
    if not any(FILE in form for form, _, _ in _forms_in(data)):
        return data
    filled = deepcopy(data)
    known: dict[Path, Artwork | ArtworkError] = {}
    faults: list[Fault] = []
    for form, where, piece in _forms_in(filled):
        if FILE not in form or form.get("measured") is not None:
            continue
        found = _form_of(form, where, folder, known)
        if isinstance(found, Fault):
            faults.append(found)
        else:
            _fill_in(form, found, piece)
    if faults:
        raise JobError(faults)
    return filled


def _forms_in(data: Any) -> Iterator[tuple[dict[str, Any], str, object]]:
    """Every form of a job's data with its place and its piece's size; what is no job has none."""
    for place, item in enumerate(_listed(data, "items")):
        parts = [(part, f"$.items[{place}].parts[{number}]") for number, part in enumerate(_listed(item, "parts"))]
        for part, where in parts or [(item, f"$.items[{place}]")]:
            if not isinstance(part, Mapping):
                continue
            for side in ("front", "back"):
                for number, colour in enumerate(_listed(part.get(side), "colours")):
                    form = colour.get("form") if isinstance(colour, Mapping) else None
                    if isinstance(form, dict):
                        yield form, f"{where}.{side}.colours[{number}].form", part.get("size")


def _listed(table: Any, key: str) -> list[Any]:
    found = table.get(key) if isinstance(table, Mapping) else None
    return found if isinstance(found, list) else []


def _form_of(
    form: Mapping[str, Any], where: str, folder: Path, known: dict[Path, Artwork | ArtworkError]
) -> FormArtwork | Fault:
    name = form[FILE]
    path = _beside(folder, name)
    if path is None:
        return Fault(f"{where}.{FILE}", "a PDF, PNG or TIFF in the job file's own folder", shown(name))
    if path not in known:
        known[path] = _measured(path)
    artwork = known[path]
    if isinstance(artwork, ArtworkError):
        expected, _, found = str(artwork).removeprefix("expected ").partition("; found ")
        return Fault(f"{where}.{FILE}", expected, f"{found} ({path.name})")
    page, separation = form.get("artwork_page", 1), form.get("artwork_separation", "")
    fitting = [one for one in artwork.forms if one.page == page and separation in {"", one.separation}]
    if len(fitting) == 1:
        return fitting[0]
    there = "; ".join(one.named for one in artwork.forms)
    wanted = f"page {page}{', ' if separation else ''}{separation}"
    return Fault(
        f"{where}.{FILE}",
        f"artwork_page and artwork_separation that name one form of {path.name}: {there}",
        f"{len(fitting)} of {wanted}",
    )


def _beside(folder: Path, name: object) -> Path | None:
    """A file of the job's folder; no link and no dots lead out of it."""
    if not isinstance(name, str) or not name or "\0" in name:
        return None
    within = folder.resolve()
    path = (within / name).resolve()
    return path if path.is_relative_to(within) and path.is_file() else None


def _measured(path: Path) -> Artwork | ArtworkError:
    try:
        return measure_artwork(path.read_bytes(), path.name, limits=WITHIN_SHOP)
    except (ArtworkToolError, ArtworkBusyError):
        raise
    except ArtworkError as error:
        return error
    except OSError as error:
        return ArtworkError(f"expected a file that can be read; found {error.strerror}")


def _fill_in(form: dict[str, Any], found: FormArtwork, piece: object) -> None:
    form["measured"] = json_data(to_json(found))
    form.setdefault("size", found.size.written)
    form.setdefault("share_inked", found.share_inked.written)
    if found.bleeds and _is_whole_piece(found, piece):
        form.setdefault("bleed", True)


def runs_off(found: FormArtwork, piece: Size) -> bool:
    """Whether artwork runs to an edge of its piece: a picture that is cut close round its ink does not."""
    return found.bleeds and _same_size(found.page_size, piece)


def _is_whole_piece(found: FormArtwork, piece: object) -> bool:
    """Whether the page is the piece: a picture that is cut close round its ink is none."""
    try:
        return isinstance(piece, str) and _same_size(found.page_size, Size(piece))
    except MeasureError:
        return False


def _same_size(one: Size, other: Size) -> bool:
    mine, others = sorted((one.width_mm, one.height_mm)), sorted((other.width_mm, other.height_mm))
    return all(abs(side - its) <= _SAME_SIZE_MM for side, its in zip(mine, others, strict=True))


def artwork_warnings(job: Job) -> Iterator[str]:
    """What the owner must be told of the artwork that a job's price rests on."""
    for part, label, form in measured_forms(job):
        found = form.measured
        if found is not None:
            yield from (f"{label}: {told}" for told in _warnings(part, form, found))


def measured_forms(job: Job) -> Iterator[tuple[Part, str, MeasuredForm]]:
    """Every form of a job whose artwork was measured, with its part and how it is called."""
    for item in job.items:
        for part in item.all_parts():
            for name, side in (("front", part.front), ("back", part.back)):
                for colour in side.colours if side else ():
                    if isinstance(colour.form, MeasuredForm) and colour.form.measured is not None:
                        yield part, f"{part.name}, {name}, {colour.ink or 'blind'}", colour.form


def _warnings(part: Part, form: MeasuredForm, found: FormArtwork) -> Iterator[str]:
    yield from (f"{found.file}, {found.named}: {note}" for note in found.notes)
    told, measured = form.share_inked.in_base_unit, found.share_inked.in_base_unit
    if abs(told - measured) > _PARTS_BY * measured:
        yield (
            f"{form.share_inked.written} inked is told, {found.file} measures {_per_cent(measured)} %:"
            " the told one was taken"
        )
    if abs(form.size.area_mm2 - found.size.area_mm2) > _PARTS_BY * found.size.area_mm2:
        yield f"a form of {form.size} is told, {found.file} measures {found.size}: the told one was taken"
    if not _same_size(found.page_size, part.size) and not _fits(found.page_size, part.size):
        yield f"the page of {found.file} is {found.page_size}, larger than the piece, {part.size}: is it its artwork?"
    if found.bleeds and not form.bleed and _same_size(found.page_size, part.size):
        yield f"{found.file} runs to the edge of its page, and the form is told not to bleed"
    if found.tints:
        share = _per_cent(found.tints.in_base_unit)
        yield f"{share} % of the ink of {found.file} is in greys: a plate prints none, unless as a screen of dots"
    yield from _hard_to_impress(found)


def _fits(page: Size, piece: Size) -> bool:
    """Whether a page goes into a piece: artwork that is cut close is smaller."""
    small, large = sorted((page.width_mm, page.height_mm)), sorted((piece.width_mm, piece.height_mm))
    return small[0] <= large[0] + _SAME_SIZE_MM and small[1] <= large[1] + _SAME_SIZE_MM


# What prints by itself, what wants care, what hardly holds on a relief plate. Common practice, no source.
FINE_LINE_MM, LEAST_LINE_MM, LEAST_GAP_MM = Decimal("0.18"), Decimal("0.09"), Decimal("0.1")


def _hard_to_impress(found: FormArtwork) -> Iterator[str]:
    line, gap = found.thinnest_positive, found.thinnest_reversed
    if line is not None and line < LEAST_LINE_MM:
        yield f"the thinnest line of {found.file}, {line.written}, is finer than a plate holds, {LEAST_LINE_MM} mm"
    if gap is not None and gap < LEAST_GAP_MM and found.largest_solid:
        yield f"the finest gap of {found.file}, {gap.written}, fills in beside a solid under {LEAST_GAP_MM} mm"
    if found.heavy and line is not None and line < FINE_LINE_MM:
        yield f"{found.file} has fine lines beside a heavy solid: two forms, solid and fine, print better than one"


def _per_cent(share: Decimal) -> str:
    return plain(share * 100, places=1)


def artwork_told(job: Job) -> Iterator[str]:
    """What each form's artwork measures, a line a figure, and what of it the price rests on."""
    for _, label, form in measured_forms(job):
        found = form.measured
        if found is None:
            continue
        yield f"{label}: {found.file}, {found.named}, at {found.dots_an_inch} dots an inch"
        for name, taken, measured in (
            ("Form", form.size.written, found.size.written),
            ("Share inked", form.share_inked.written, found.share_inked.written),
            ("Bleed", _yes(form.bleed), _yes(found.bleeds)),
        ):
            yield f"  {name}: {measured}" if taken == measured else f"  {name}: {taken}, as told; {measured} measured"
        solid = found.largest_solid_size
        held = f"{plain(found.largest_solid / 100, places=2)} cm2 in {solid}" if solid else "none"
        yield f"  Prints: {plain(found.printed_area / 100, places=2)} cm2, {_per_cent(found.coverage)} % of its page"
        yield f"  Largest solid: {held}"
        yield f"  In heavy solids, of its ink: {_per_cent(found.heavy)} %; in greys: {_per_cent(found.tints)} %"
        for name, width in (("Thinnest line", found.thinnest_positive), ("Finest gap", found.thinnest_reversed)):
            yield f"  {name}: {width.written if width is not None else '2 mm or more'}"


def _yes(told: bool) -> str:
    return "yes" if told else "no"
