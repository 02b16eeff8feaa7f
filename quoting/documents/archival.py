"""PDF/A-3a and PDF/UA-1 in one file: WeasyPrint writes the first; this says in its XMP that it is the second too."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from quoting.documents.page import Attached

_END_OF_METADATA = b"</rdf:RDF>"
# ISO 14289-1, 5, and ISO 19005-3, 6.6.2.3.3: PDF/A wants every schema but its own described.
_UNIVERSAL_ACCESS = b"""<rdf:Description xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" rdf:about="" \
pdfuaid:part="1"/><rdf:Description xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/" \
xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#" \
rdf:about=""><pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">\
<pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>\
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>\
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix><pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">\
<pdfaProperty:name>part</pdfaProperty:name><pdfaProperty:valueType>Integer</pdfaProperty:valueType>\
<pdfaProperty:category>internal</pdfaProperty:category>\
<pdfaProperty:description>Part of ISO 14289</pdfaProperty:description></rdf:li></rdf:Seq></pdfaSchema:property>\
</rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>"""
_STREAM_ENDING_IN_A_LINE_END = re.compile(rb"[\r\n]\nendstream\n")
# Keys of font programs, images and colour profiles, to which nothing can be added.
_WHOLE = {"Length1", "Subtype", "N"}


def ends_clear(pdf: bytes) -> bool:
    """Whether no stream of a file ends in a line end of its own."""
    return _STREAM_ENDING_IN_A_LINE_END.search(pdf) is None


def finish(page_attached: tuple[Attached, ...], *, spare: int = 0) -> Callable[[Any, Any], None]:
    """
    The last hand on a PDF/A-3a, called by WeasyPrint before the bytes are written.

    It is PDF/UA-1 too and says so; each attached file is listed once, under its own media type, not under
    one that depends on the machine. The metadata stays uncompressed, as validators of every part of PDF/A
    read it.

    Args:
        spare: Empty objects to add, which nothing refers to: they move the bytes of the table of objects.
    """

    def finisher(_: Any, pdf: Any) -> None:
        import pydyf

        _say_it_is_accessible(pdf)
        if "AF" in pdf.catalog:
            pdf.catalog["AF"][:] = list(dict.fromkeys(pdf.catalog["AF"]))
        files = [one for one in pdf.objects if getattr(one, "extra", {}).get("Type") == "/EmbeddedFile"]
        for stream, attached in zip(files, page_attached, strict=True):
            stream.extra["Subtype"] = "/" + attached.media_type.replace("/", "#2f")
        for stream in pdf.objects:
            if hasattr(stream, "compress"):
                _end_clear_of_line_ends(stream)
        for _ in range(spare):
            pdf.add_object(pydyf.Dictionary())

    return finisher


def _say_it_is_accessible(pdf: Any) -> None:
    for stream in pdf.objects:
        if getattr(stream, "extra", {}).get("Type") == "/Metadata":
            text = b"".join(part if isinstance(part, bytes) else str(part).encode() for part in stream.stream)
            stream.stream = [text.replace(_END_OF_METADATA, _UNIVERSAL_ACCESS + _END_OF_METADATA)]
            stream.compress = False


def _end_clear_of_line_ends(stream: Any) -> None:
    """
    See that a stream's last byte is no line end: a reader that looks for ``endstream`` would take it for its own.

    Compressed bytes end so by chance, one time in 128. What is text gets a line more; what is not stays uncompressed.
    """
    if not _ends_in_a_line_end(stream):
        return
    if stream.extra.get("Subtype") != "/Form" and _WHOLE & stream.extra.keys():
        stream.compress = False
    while stream.compress and _ends_in_a_line_end(stream):
        stream.stream.append(b"")


def _ends_in_a_line_end(stream: Any) -> bool:
    data: bytes = stream.data
    return data[: -len(b"\nendstream")].endswith((b"\r", b"\n"))
