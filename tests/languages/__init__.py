"""Catalogues against the code: what is said, what each language has for it."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from quoting.languages import CATALOGUES
from quoting.places import packaged

ROOT = Path(__file__).resolve().parents[2]
# Babel takes what stands after one of these for a message, an index too: nothing else may have their names.
KEYWORDS: dict[str, Any] = {"say": None, "message": None, "say_many": (1, 2)}
DOCUMENTS = ("quotation", "docket", "comparison")


def said() -> Iterator[tuple[str, int, str | tuple[str, ...]]]:
    """Every message of the code and of the templates: file, line, text."""
    sources = (
        (ROOT / "quoting", [("**.py", "python")]),
        (ROOT / "api", [("**.py", "python")]),
        (ROOT / "api" / "site" / "pages", [("**.html", "jinja2")]),
        *((packaged("pdf_templates") / name, [("**.html", "jinja2")]) for name in DOCUMENTS),
    )
    for folder, methods in sources:
        found = extract_from_dir(folder, method_map=methods, keywords=KEYWORDS)
        for name, line, text, _, _ in found:
            yield f"{folder.name}/{name}", line, text


def template() -> Catalog:
    """A catalogue of all messages, none translated."""
    catalogue = Catalog(charset="utf-8")
    for _, _, text in said():
        catalogue.add(text)
    return catalogue


def read(name: str) -> Catalog:
    """A catalogue as it is kept."""
    with (CATALOGUES / f"{name}.po").open("rb") as file:
        return read_po(file, locale=name.replace("-", "_"))


def names() -> list[str]:
    """Every catalogue that is kept."""
    return sorted(path.stem for path in CATALOGUES.glob("*.po"))


def write(name: str, catalogue: Catalog) -> None:
    """Keep a catalogue, messages in alphabetical order, its header without a clock."""
    body = BytesIO()
    write_po(body, catalogue, sort_output=True, omit_header=True, width=100)
    header = [
        'msgid ""',
        'msgstr ""',
        f'"Language: {name}\\n"',
        '"Content-Type: text/plain; charset=utf-8\\n"',
        f'"Plural-Forms: {catalogue.plural_forms}\\n"',
    ]
    (CATALOGUES / f"{name}.po").write_bytes("\n".join([*header, "", ""]).encode() + body.getvalue())


def messages(catalogue: Catalog) -> list[Message]:
    """Its messages without the header."""
    return [message for message in catalogue if message.id]
