"""What makes a report last and be read by everybody: PDF/A-3a and PDF/UA-1 in one file, with the data attached.

WeasyPrint writes either of the two; the finisher adds what the other asks for. Metadata that says both stands in one
RDF block, uncompressed, as PDF/A asks (ISO 19005-3, 6.6.2.1); the identification schema of PDF/UA is described in it,
as every schema that PDF/A does not know must be (ISO 19005-3, 6.6.2.3; ISO 14289-1, 5). Header cells carry the
direction in which they speak (ISO 14289-1, 7.5).
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable
    from typing import IO

    from vinebook.seasons.model import Figure

VARIANT = "pdf/a-3a"
COLUMN_SCOPE, ROW_SCOPE = "/Column", "/Row"
PACKET_HEAD = b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>\n<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
PACKET_FOOT = b'\n</x:xmpmeta>\n<?xpacket end="r"?>'
AMBIGUOUS_END = b"\r\nendstream"
RDF_END = b"</rdf:RDF>"
ACCESSIBLE = b"""\
<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" pdfuaid:part="1" />
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 that the file conforms to</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A file that goes inside a report.

    Attributes
    ----------
    name : its file name; the ending says what it is.
    description : what it holds, in words.
    content : its bytes.
    is_source : whether the report was made from it; else it holds the same in another form.
    """

    name: str
    description: str
    content: bytes
    is_source: bool = False


def enclosures_of(figures: Iterable[Figure], rows: Iterable[tuple[str, str]]) -> tuple[Enclosure, ...]:
    """Give what a report carries inside it: its figures, and the rows behind them by kind.

    Parameters
    ----------
    figures : the figures, judged; they are metric and carry 12 significant digits.
    rows : name of each kind and the text of its CSV file.
    """
    from vinebook.seasons.figures_json import figures_json

    told = "".join(figures_json(figures, digits=12))
    return (
        Enclosure("figures.json", "The figures of this report, unrounded, in metric units", told.encode()),
        *(
            Enclosure(f"{kind}.csv", f"Rows behind it: {kind.replace('_', ' ')}", text.encode(), is_source=True)
            for kind, text in rows
        ),
    )


def as_attachments(enclosures: tuple[Enclosure, ...], made_at: dt.datetime, fetcher: Any) -> list[Any]:  # noqa: ANN401
    """Give enclosures as WeasyPrint takes them, each with the date of the record.

    Parameters
    ----------
    enclosures : the files.
    made_at : the one date in the file.
    fetcher : what serves the page's own images and refuses all else.
    """
    import weasyprint

    return [
        weasyprint.Attachment(
            string=enclosure.content,
            name=enclosure.name,
            description=enclosure.description,
            created=made_at,
            modified=made_at,
            relationship="Source" if enclosure.is_source else "Data",
            url_fetcher=fetcher,
        )
        for enclosure in enclosures
    ]


def finish(document: Any, pdf: Any) -> None:  # noqa: ANN401 - the library ships no types
    """Add to an archival file what makes it an accessible one too; WeasyPrint's finisher.

    Parameters
    ----------
    document : WeasyPrint's document.
    pdf : pydyf's file, complete but for its trailer.
    """
    _say_both(document, pdf)
    _give_scopes(pdf)
    _end_streams_plainly(pdf)
    written = pdf.write
    pdf.write = lambda output, *options: _write_plainly(pdf, written, output, options)


def _say_both(document: Any, pdf: Any) -> None:  # noqa: ANN401
    rdf = document.metadata.generate_rdf_metadata("a", 3, "A")
    stream = _object_of(pdf, pdf.catalog["Metadata"])
    stream.stream = [PACKET_HEAD + rdf.replace(RDF_END, ACCESSIBLE + RDF_END) + PACKET_FOOT]
    stream.compress = False


def _give_scopes(pdf: Any) -> None:  # noqa: ANN401
    """Say of every header cell whether it speaks for its column (in the head) or for its row."""
    for cell in pdf.objects:
        if not isinstance(cell, dict) or cell.get("S") != "/TH" or "A" not in cell:
            continue
        section = _object_of(pdf, _object_of(pdf, cell["P"])["P"])
        cell["A"]["Scope"] = ROW_SCOPE if section["S"] == "/TBody" else COLUMN_SCOPE


def _end_streams_plainly(pdf: Any) -> None:  # noqa: ANN401
    """Leave a stream uncompressed whose compressed bytes would end in CR.

    With the LF that follows, that CR reads as one end of line: the stream's length would no longer be what stands
    before it, as PDF/A asks (ISO 19005-3, 6.1.7.1).
    """
    for stream in pdf.objects:
        if getattr(stream, "compress", False) and AMBIGUOUS_END in stream.data[-len(AMBIGUOUS_END) :]:
            stream.compress = False


def _write_plainly(pdf: Any, write: Callable[..., None], output: IO[bytes], options: tuple[Any, ...]) -> None:  # noqa: ANN401
    """Write the file, and write it again with one more empty object where its own tables would end in CR."""
    objects = len(pdf.objects)
    while True:
        draft = io.BytesIO()
        write(draft, *options)
        if AMBIGUOUS_END not in draft.getvalue():
            output.write(draft.getvalue())
            return
        import pydyf

        del pdf.objects[objects:]
        pdf.current_position = 0
        pdf.add_object(pydyf.Dictionary())
        objects += 1


def _object_of(pdf: Any, reference: bytes | str) -> Any:  # noqa: ANN401
    words = reference.decode() if isinstance(reference, bytes) else reference
    return pdf.objects[int(words.split()[0])]
