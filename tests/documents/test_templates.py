"""A shop's own templates over ours: blocks, style sheets, pictures; faults by file and line; no way out."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from quoting import DocumentError, Quotation
from quoting.documents import quotation_pdf
from quoting.documents.quotation import quotation_page
from quoting.errors import TemplateError
from tests.documents.reading import faults_of, quotation_in, text_of

pytestmark = pytest.mark.usefixtures("pango")


@pytest.fixture(scope="module")
def quotation() -> Quotation:
    return quotation_in("marrowby-lane", "coasters", "en-GB", "GBP", "A4")


def overlay(folder: Path, **files: str) -> Path:
    (folder / "quotation").mkdir()
    for name, text in files.items():
        (folder / "quotation" / name.replace("_", ".")).write_text(text, encoding="utf-8")
    return folder


def test_a_shop_lays_one_block_and_a_style_sheet_over_ours(quotation: Quotation, tmp_path: Path) -> None:
    block = '{% extends "ours/page.html" %}{% block notes %}<p class="mine">Printed while you wait.</p>{% endblock %}'
    folder = overlay(tmp_path, page_html=block, page_css=".mine { font-size: 20pt; }")

    pdf = quotation_pdf(quotation, templates=folder)

    assert "Printed while you wait." in text_of(pdf)
    assert "Deposit on acceptance" in text_of(pdf)
    assert faults_of(pdf) == []
    assert quotation_page(quotation, templates=folder).css.endswith(".mine { font-size: 20pt; }")


def test_a_style_sheet_alone_is_enough(quotation: Quotation, tmp_path: Path) -> None:
    folder = overlay(tmp_path, page_css="body { color: #333; }")

    assert quotation_page(quotation, templates=folder).html == quotation_page(quotation).html


def test_a_picture_of_the_shops_folder_is_drawn(quotation: Quotation, tmp_path: Path) -> None:
    mark = '<svg xmlns="http://www.w3.org/2000/svg" width="20" height="20"><circle cx="10" cy="10" r="9"/></svg>'
    block = '{% extends "ours/page.html" %}{% block notes %}<img src="shop:mark.svg" alt="our mark">{% endblock %}'
    (overlay(tmp_path, page_html=block) / "mark.svg").write_text(mark)

    assert faults_of(quotation_pdf(quotation, templates=tmp_path)) == []


@pytest.mark.parametrize("address", ["shop:../secret.svg", "shop:/etc/hostname", "shop:link.svg", "shop:none.svg"])
def test_no_address_leads_out_of_the_shops_folder(quotation: Quotation, tmp_path: Path, address: str) -> None:
    (tmp_path / "secret.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "link.svg").symlink_to(tmp_path / "secret.svg")
    block = f'{{% extends "ours/page.html" %}}{{% block notes %}}<img src="{address}" alt="x">{{% endblock %}}'

    with pytest.raises(DocumentError):
        quotation_pdf(quotation, templates=overlay(folder, page_html=block))


def test_no_link_of_a_template_leads_out_either(quotation: Quotation, tmp_path: Path) -> None:
    (tmp_path / "outside.html").write_text("out")
    folder = tmp_path / "mine"
    (folder / "quotation").mkdir(parents=True)
    (folder / "quotation" / "page.html").symlink_to(tmp_path / "outside.html")

    with pytest.raises(TemplateError, match="expected a file inside"):
        quotation_page(quotation, templates=folder)


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("line\n{% if %}", "page.html, line 2"),
        ("a\nb\n{{ quotation.margin }}", "page.html, line 3"),
        ("a\n{{ quotation.title | nosuch }}", "page.html, line 2"),
        ("a\nb\nc\n{{ quotation.options[0].total | day }}", "page.html, line 4"),
        ('{% extends "ours/nosuch.html" %}', "nosuch.html"),
    ],
)
def test_a_fault_in_a_template_names_file_and_line(
    quotation: Quotation, tmp_path: Path, template: str, said: str
) -> None:
    with pytest.raises(TemplateError, match=said):
        quotation_page(quotation, templates=overlay(tmp_path, page_html=template))


@pytest.mark.parametrize(
    "reach",
    [
        "{{ quotation.__class__.__init__.__globals__ }}",
        "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "{{ quotation.options.__class__.__base__ }}",
        "{{ say.__globals__ }}",
    ],
)
def test_a_template_sees_what_it_is_given_and_nothing_behind(
    quotation: Quotation, tmp_path: Path, reach: str
) -> None:
    with pytest.raises(TemplateError):
        quotation_page(quotation, templates=overlay(tmp_path, page_html=reach))


def test_a_clients_text_in_a_shops_template_is_escaped(quotation: Quotation, tmp_path: Path) -> None:
    folder = overlay(tmp_path, page_html="<p>{{ quotation.title }}</p>")

    page = quotation_page(replace(quotation, title="<b>{{ 7*7 }}</b>"), templates=folder)

    assert page.html == "<p>&lt;b&gt;{{ 7*7 }}&lt;/b&gt;</p>"


def test_no_arithmetic_is_in_a_template() -> None:
    import jinja2.nodes
    from jinja2 import Environment

    from quoting.places import packaged

    found = []
    for path in packaged("pdf_templates").rglob("*.html"):
        tree = Environment().parse(path.read_text(encoding="utf-8"))
        kinds = (jinja2.nodes.Add, jinja2.nodes.Sub, jinja2.nodes.Mul, jinja2.nodes.Div, jinja2.nodes.FloorDiv)
        found += [f"{path.name}: {node.lineno}" for node in tree.find_all(kinds)]

    assert found == []
