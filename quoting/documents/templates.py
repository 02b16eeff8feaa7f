"""
From a template and what it is given to a page.

A shop's own folder is laid over ours: its ``NAME/page.html`` stands in for ours, or extends it as
``ours/page.html``; its ``NAME/page.css`` comes after ours. No link leads out of it, and a template
is run in a sandbox: it sees what it is given and nothing behind it.
"""

from __future__ import annotations

import re
import traceback
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from quoting.documents.fonts import faces_for
from quoting.documents.formats import Formats
from quoting.documents.page import Attached, Page
from quoting.errors import TemplateError
from quoting.languages import Language
from quoting.places import packaged

OURS = "ours/"
_ENDLESS = re.compile(r"\S{30,}")
_STRETCH = re.compile(r".{1,18}", re.DOTALL)
_PLACE_TO_BREAK = "\u200b"  # zero width space


def page_from(
    name: str,
    given: Mapping[str, Any],
    *,
    language: Language,
    currency: str,
    dated: str,
    attached: tuple[Attached, ...] = (),
    overlay: Path | None = None,
    pictures: Mapping[str, bytes] | None = None,
) -> Page:
    """
    The page of a document.

    Args:
        name: Folder of its templates: ``quotation``, ``docket``.
        given: All that the template sees, besides the words and the formats.
        dated: The day it is of, as ISO 8601.
        overlay: The shop's own folder of templates, laid over ours.
        pictures: PNGs that the template shows as ``picture:NAME``.

    Raises:
        TemplateError: with file and line.
        UnfitTextError: a character that no font of the documents has.
    """
    if overlay is None:
        environment = _environment(name, language, currency)
    else:
        environment = _laid_over(name, language, currency, overlay)
    try:
        html = environment.get_template("page.html").render(given)
    except jinja2.TemplateSyntaxError as error:
        raise TemplateError(f"{error.filename or error.name}, line {error.lineno}: {error.message}") from error
    except jinja2.TemplateNotFound as error:
        raise TemplateError(f"{_place(error)}: expected the template {error.name}; found none") from error
    except Exception as error:  # whatever a shop's template does wrong, it is told by file and line
        raise TemplateError(f"{_place(error)}: {str(error) or type(error).__name__}") from error
    faces = faces_for(html)
    sheets = ["\n".join(face.rule() for face in faces), _text(packaged("pdf_templates") / name / "page.css")]
    if overlay is not None and (overlay / name / "page.css").exists():
        sheets.append(_text(inside(overlay, f"{name}/page.css")))
    folder = str(overlay.resolve()) if overlay is not None else ""
    return Page(
        html=html,
        css="\n".join(sheets),
        dated=dated,
        attached=attached,
        folder=folder,
        pictures=dict(pictures or {}),
    )


def inside(folder: Path, name: str) -> Path:
    """
    A file of a folder.

    Raises:
        TemplateError: it is not there, or a link or a ``..`` leads out of the folder.
    """
    root = folder.resolve()
    path = (root / name).resolve()
    if not path.is_relative_to(root) or not path.is_file():
        raise TemplateError(f"{folder / name}: expected a file inside {folder}; found none")
    return path


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@lru_cache(maxsize=16)
def _environment(name: str, language: Language, currency: str) -> jinja2.Environment:
    """Our templates, which are compiled once."""
    return _made(_ours(name), language, currency)


def _laid_over(name: str, language: Language, currency: str, overlay: Path) -> jinja2.Environment:
    """A shop's templates before ours, read anew: they may have changed."""
    return _made([_Overlay(overlay, name), *_ours(name)], language, currency)


def _ours(name: str) -> list[jinja2.BaseLoader]:
    ours = jinja2.FileSystemLoader(packaged("pdf_templates") / name)
    return [ours, jinja2.PrefixLoader({OURS.rstrip("/"): ours})]


def _made(loaders: list[jinja2.BaseLoader], language: Language, currency: str) -> jinja2.Environment:
    environment = ImmutableSandboxedEnvironment(
        loader=jinja2.ChoiceLoader(loaders),
        undefined=jinja2.StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_breakable,
    )
    environment.filters.update(Formats(language.locale, currency).filters())
    environment.filters["svg"] = Markup  # drawings are ours: every text in them is escaped where it is drawn
    environment.globals.update(say=language.say, say_many=language.say_many, language=language.code)
    return environment


def _breakable(value: Any) -> Any:
    """
    A text with places to break in its endless words.

    Laying out one word of 2,000 letters takes half a minute where its column is measured by its words.
    """
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return _ENDLESS.sub(lambda word: _PLACE_TO_BREAK.join(_STRETCH.findall(word[0])), value)


class _Overlay(jinja2.BaseLoader):
    """Templates of one name in a shop's own folder."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder, self._name = folder, name

    def get_source(self, _: jinja2.Environment, template: str) -> tuple[str, str, None]:
        if template.startswith(OURS) or not (self._folder / self._name / template).exists():
            raise jinja2.TemplateNotFound(template)
        path = inside(self._folder, f"{self._name}/{template}")
        return _text(path), str(path), None


def _place(error: Exception) -> str:
    """File and line of the template that an error arose in."""
    frames = [
        frame for frame in traceback.extract_tb(error.__traceback__) if frame.filename.endswith((".html", ".css"))
    ]
    return f"{frames[-1].filename}, line {frames[-1].lineno}" if frames else "template"
