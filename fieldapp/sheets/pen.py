"""The pen: one archival PDF (PDF/A-1b), and the few marks the sheets make on it.

For: lines, boxes, polygons and lines of type at places in millimetres from the page's upper left corner.
Not for: deciding what goes where (boxes, page). The file depends on nothing but what is drawn and the time given, so
that the same sheet printed again is the same file to the byte.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path
from xml.sax.saxutils import escape

from fpdf import FPDF
from fpdf.fonts import TTFFont

from fieldapp.sheets.type import Type

WIDTH, HEIGHT, MARGIN = 210.0, 297.0, 10.0
HAIR, THIN, THICK = 0.25, 0.4, 0.8
"""Widths of lines in mm; none is thinner, or a copier loses it."""
INK, PAPER, HAZARD = (0, 0, 0), (255, 255, 255), (255, 204, 0)
"""Black for everything, because a mono printer breaks greys into dots; paper covers; yellow is for hazard stripes."""

Colour = tuple[int, int, int]
Point = tuple[float, float]

_FONT = "sheet"


class Pen:
    """A document being drawn. `type` and `bold_type` measure in its fonts; `wide` and `high` is its page."""

    def __init__(
        self,
        font: Path,
        bold: Path,
        *,
        title: str,
        subject: str,
        lang: str,
        made_by: str,
        at: datetime,
        lying: bool = False,
    ) -> None:
        if at.tzinfo is None:
            raise ValueError("the time of printing needs its zone, or the file would depend on the machine")
        self.wide, self.high = (HEIGHT, WIDTH) if lying else (WIDTH, HEIGHT)
        turned = "landscape" if lying else "portrait"
        self._pdf = pdf = FPDF(orientation=turned, unit="mm", format="A4", enforce_compliance="PDF/A-1b")
        pdf.set_auto_page_break(False)
        pdf.set_margin(0)
        pdf.set_line_width(HAIR)
        # The alias would be searched for in every text; the number of pages is known before drawing.
        pdf.alias_nb_pages("")
        pdf.set_creation_date(at)
        pdf.add_font(_FONT, fname=font)
        pdf.add_font(_FONT, "B", fname=bold)
        self._style, self._size = "", 10.0
        pdf.set_font(_FONT, self._style, self._size)
        self._faces = [face for face in (pdf.fonts[_FONT], pdf.fonts[_FONT + "B"]) if isinstance(face, TTFFont)]
        # Only what a font can show: fpdf's own table of widths answers for every character there is.
        self.type, self.bold_type = (Type({one: face.cw[one] for one in face.cmap}) for face in self._faces)
        # XML holds no control characters, so what the file says of itself is made printable like everything else.
        title, subject, made_by = (self.type.printable(one) for one in (title, subject, made_by))
        pdf.set_title(title)
        pdf.set_subject(subject)
        pdf.set_creator(made_by)
        pdf.set_producer(made_by)
        pdf.set_lang(lang)
        pdf.set_xmp_metadata(_xmp(title, subject, lang, made_by, at))

    def page(self) -> None:
        """Turns to a new page."""
        self._pdf.add_page()

    def bookmark(self, name: str) -> None:
        """Names the page, so that a reader of a long file finds it."""
        self._pdf.start_section(self.type.printable(name))

    def image(self, data: bytes, x: float, y: float, w: float, h: float) -> None:
        """A JPEG picture in the given place; one that comes again is in the file once."""
        self._pdf.image(BytesIO(data), x, y, w, h)

    def text(self, x: float, y: float, line: str, size: float, *, bold: bool = False) -> None:
        """One printable line with its baseline at `y`."""
        pdf, style = self._pdf, "B" if bold else ""
        if not line:
            return
        if (style, size) != (self._style, self._size):
            self._style, self._size = style, size
            pdf.set_font(_FONT, style, size)
        pdf.text(x, y, line)

    def line(self, x1: float, y1: float, x2: float, y2: float, width: float = HAIR) -> None:
        """A straight line."""
        self._stroke(width)
        self._pdf.line(x1, y1, x2, y2)

    def lines(self, lines: Iterable[Sequence[Point]], width: float = HAIR) -> None:
        """Open lines through points."""
        self._stroke(width)
        for one in lines:
            self._pdf.polyline(one)

    def dots(self, middles: Iterable[Point], size: float) -> None:
        """Black dots, as small squares that a poor printer keeps."""
        self._pdf.set_fill_color(*INK)
        for x, y in middles:
            self._pdf.rect(x - size / 2, y - size / 2, size, size, style="F")

    def box(self, x: float, y: float, w: float, h: float, width: float = HAIR) -> None:
        """An empty box whose line runs within the given place."""
        self._stroke(width)
        self._pdf.rect(x + width / 2, y + width / 2, w - width, h - width)

    def squares(self, x: float, y: float, side: float, runs: Iterable[tuple[int, int, int]]) -> None:
        """Black squares of `side` without an edge, from (x, y) on; `runs`: (across, down, how many in a row)."""
        pdf = self._pdf
        pdf.set_fill_color(*INK)
        # One path in squares, not in points: a call of fpdf2 for each run of a QR code takes longer than all else on a
        # label.
        unit = side * pdf.k
        drawn = [f"{across} {down} {wide} 1 re" for across, down, wide in runs]
        place = f"q {unit:.4f} 0 0 {-unit:.4f} {x * pdf.k:.2f} {(pdf.h - y) * pdf.k:.2f} cm"
        pdf._out("\n".join([place, *drawn, "f Q"]))

    def fill(self, points: Sequence[Point], ink: Colour) -> None:
        """A filled polygon without an edge."""
        self._pdf.set_fill_color(*ink)
        self._pdf.polygon(points, style="F")

    def stripes(self, x: float, y: float, w: float, h: float) -> None:
        """A band of black and yellow hazard stripes, as steep as the band is high."""
        self.fill([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], HAZARD)
        # As many stripes as make both ends a half one.
        count = max(round(w / (2 * h)), 1)
        step = w / count / 2
        for n in range(count + 1):
            at = x + (2 * n - 1) * step
            corners = [(at, y + h), (at + step, y), (at + 2 * step, y), (at + step, y + h)]
            if n == 0:
                corners = [(x, y), (x + step, y), (x, y + h)]
            elif n == count:
                corners = [(at, y + h), (x + w, y), (x + w, y + h)]
            self.fill(corners, INK)
        self.box(x, y, w, h, THIN)

    def bytes(self) -> bytes:
        """The finished file."""
        return bytes(self._pdf.output())

    def close(self) -> None:
        """Closes the font files, which fpdf2 reads until the file is finished and leaves open, and lets the fonts go.

        Face and subset hold each other: until a sweep of the whole memory the tables of both would stay.
        """
        for face in self._faces:
            face.ttfont.close()
            del face.subset

    def _stroke(self, width: float) -> None:
        pdf = self._pdf
        if width < HAIR:
            raise ValueError(f"a line of {width:g} mm is too thin for a printed sheet")
        if pdf.line_width != width:
            pdf.set_line_width(width)


def _xmp(title: str, subject: str, lang: str, made_by: str, at: datetime) -> str:
    """The metadata again as XMP. Each part declares its own namespace: older validators want it there."""
    when = at.isoformat(timespec="seconds")
    rdf = 'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"'
    title, subject, made_by = escape(title), escape(subject), escape(made_by)
    return f"""<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF {rdf}>
<rdf:Description rdf:about="" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<pdfaid:part>1</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<dc:language><rdf:Bag><rdf:li>{lang}</rdf:li></rdf:Bag></dc:language>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<xmp:CreatorTool>{made_by}</xmp:CreatorTool><xmp:CreateDate>{when}</xmp:CreateDate>
</rdf:Description>
<rdf:Description rdf:about="" xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<pdf:Producer>{made_by}</pdf:Producer>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>"""
