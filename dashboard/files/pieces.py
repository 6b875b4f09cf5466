"""What a sheet of paper is made of: text that is safe to print, tables, lines to write on, codes, and the page around them."""

from collections.abc import Sequence
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, LongTable, Paragraph, SimpleDocTemplate, Table, TableStyle

from dashboard.words import paper_words
from dashboard.words.plain_text import as_sentence, whole

LONGEST_CELL = 220  # characters of a text in a cell, so that no cell fills a page; our choice
LONGEST_NAME = 64
LONGEST_LINE = 500  # more than any sentence of ours; twice that still fits a page in the narrow column
PORTRAIT_MM = 184  # width of what is printed on a portrait A4
REGULAR, BOLD = "Vera", "VeraBd"
_MARGIN = 13 * mm


@cache
def _font() -> TTFont:
    """Bitstream Vera comes with reportlab and knows Ω, minus and the accents of Latin-1."""
    folder = Path(reportlab.__file__).parent / "fonts"
    regular = TTFont(REGULAR, str(folder / "Vera.ttf"))
    pdfmetrics.registerFont(regular)
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "VeraBd.ttf")))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return regular


def name_of(text: object) -> str:
    """A vehicle's, depot's or class's name for a Paragraph."""
    return printable(text, longest=LONGEST_NAME)


def printable(text: object, *, longest: int = LONGEST_CELL) -> str:
    """Text for a Paragraph: markup escaped, marks that the font lacks as "?", shortened."""
    glyphs = _font().face.charToGlyph
    flat = " ".join(str(text).split())
    cut = flat if len(flat) <= longest else flat[: longest - 1] + "…"
    return escape("".join(c if ord(c) in glyphs else "?" for c in cut))


def para(text: str, size: float = 8, *, bold: bool = False) -> Paragraph:
    """A paragraph of text that is escaped already, or our own."""
    _font()
    name = BOLD if bold else REGULAR
    return Paragraph(text, ParagraphStyle("p", fontName=name, fontSize=size, leading=size * 1.28, splitLongWords=True))


def grid(rows: Sequence[Sequence[Any]], widths: Sequence[float]) -> Table:
    """A table with its first row as heading, on every page that it goes on to."""
    table = LongTable([list(row) for row in rows], colWidths=list(widths), repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, (0, 0, 0)),
                ("LINEBELOW", (0, 0), (-1, 0), 1.2, (0, 0, 0)),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return table


def build(story: list[Flowable], *, title: str, wide: bool) -> bytes:
    """The PDF of a story, on A4, with its title and the page's number at the foot."""
    out = BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=landscape(A4) if wide else A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN,
        bottomMargin=_MARGIN + 4 * mm, title=title, author="cranktrend", invariant=1,
    )  # fmt: skip

    def foot(canvas: Any, doc: Any) -> None:
        canvas.setFont(REGULAR, 7)
        canvas.drawString(_MARGIN, 8 * mm, printable_plain(title))
        canvas.drawRightString(doc.pagesize[0] - _MARGIN, 8 * mm, paper_words.PAGE.format(page=doc.page))

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def printable_plain(text: str) -> str:
    """The same for text drawn without markup."""
    glyphs = _font().face.charToGlyph
    return "".join(c if ord(c) in glyphs else "?" for c in " ".join(text.split())[:LONGEST_CELL])


def sentence(text: str) -> str:
    """Text for a Paragraph that begins as a sentence, numbers kept with their units."""
    return whole(printable(as_sentence(text), longest=LONGEST_LINE))


def lines_to_write(count: int, high_mm: float) -> Table:
    """Empty lines as wide as a portrait page."""
    return Table(
        [[""]] * count, colWidths=[PORTRAIT_MM * mm], rowHeights=[high_mm * mm] * count,
        style=TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.3, (0, 0, 0))]),
    )  # fmt: skip


def code(address: str, side_mm: float) -> Drawing:
    """A QR code (ISO/IEC 18004) of an address."""
    drawing = Drawing(side_mm * mm, side_mm * mm)
    drawing.add(QrCodeWidget(address, barLevel="M", barBorder=2, barWidth=side_mm * mm, barHeight=side_mm * mm))
    return drawing


BOXES_A_LINE = 3


def tick_boxes(asked: str, said: Sequence[str]) -> Table:
    """A box to tick for every answer to a question."""
    lines = [said[k : k + BOXES_A_LINE] for k in range(0, len(said), BOXES_A_LINE)]
    rows = [
        [para("" if number else asked, 9), *(cell for text in line for cell in ("", para(text, 8)))]
        for number, line in enumerate(lines)
    ]
    rows[-1] += [""] * (1 + 2 * BOXES_A_LINE - len(rows[-1]))
    boxes = [
        ("BOX", (1 + 2 * column, row), (1 + 2 * column, row), 0.8, (0, 0, 0))
        for row, line in enumerate(lines)
        for column in range(len(line))
    ]
    return Table(
        rows, colWidths=[w * mm for w in (28, *(6, 46) * BOXES_A_LINE)], rowHeights=[6 * mm] * len(rows),
        style=TableStyle([*boxes, ("LEFTPADDING", (0, 0), (0, -1), 0), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]),
    )  # fmt: skip
