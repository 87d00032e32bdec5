"""Documents for paper: A4 pages of headings, paragraphs, pictures and tables, as PDF."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import CondPageBreak, Flowable, Image, SimpleDocTemplate, Spacer
from reportlab.platypus import Paragraph as Words
from reportlab.platypus import Table as Grid

MARGIN_MM = 18.0
FOOT_MM = 24.0
REGULAR, BOLD = "LinnetSans", "LinnetSans-Bold"
INK, MUTED, LINE = "#1F2A37", "#5A6472", "#9A907C"
SIZE_PT, LARGE_PT = 10.0, 14.0
# What the library leaves free around everything on a page.
PADDING_PT = 6.0
WIDTH_MM = (A4[0] - 2 * PADDING_PT) / mm - 2 * MARGIN_MM
# A picture that fills a page leaves room for what stands above it.
TALLEST_MM = 200.0
ROOM_BELOW_MM = 35.0


@dataclass(frozen=True)
class Heading:
    """A heading; `level` 2 or 3, the title of the page being 1."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Paragraph:
    """Words; line breaks in them stay."""

    text: str
    muted: bool = False


@dataclass(frozen=True)
class Picture:
    """A picture as PNG, as wide as said [mm] unless it were too tall for a page.

    What it shows stands beneath it in words, `alt`.
    """

    png: bytes
    alt: str
    width_mm: float = WIDTH_MM


@dataclass(frozen=True)
class Table:
    """Rows of words under a head; columns whose numbers are in `numbers` stand to the right."""

    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    numbers: frozenset[int] = frozenset()


Block = Heading | Paragraph | Picture | Table


@cache
def _fonts() -> None:
    """Make known the fonts that matplotlib brings along: they know more than Latin letters."""
    from matplotlib import get_data_path

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in ((REGULAR, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(
        REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD
    )


def _style(size_pt: float, *, bold: bool = False, muted: bool = False, **more: Any) -> Any:
    return ParagraphStyle(
        "words",
        fontName=BOLD if bold else REGULAR,
        fontSize=size_pt,
        leading=1.4 * size_pt,
        textColor=HexColor(MUTED if muted else INK),
        **more,
    )


def _words(text: str, style: Any) -> Words:
    return Words(escape(text).replace("\n", "<br/>"), style)


def printed(
    title: str, blocks: Sequence[Block], cautions: Sequence[str] = (), *, large: bool = False
) -> bytes:
    """Return a document as PDF.

    Parameters
    ----------
    title : str
        First line of the first page. Plain text, as all words here.
    blocks : sequence of Heading, Paragraph, Picture or Table
        What follows, in this order.
    cautions : sequence of str
        Stand at the foot of every page.
    large : bool
        Larger words, for readers who are no professionals.

    Returns
    -------
    bytes
        A4 pages, numbered where there are several. Equal input gives equal bytes; no name
        or date stands in the file's own properties.
    """
    _fonts()
    size_pt = LARGE_PT if large else SIZE_PT
    found = BytesIO()
    document = SimpleDocTemplate(
        found,
        pagesize=A4,
        leftMargin=MARGIN_MM * mm,
        rightMargin=MARGIN_MM * mm,
        topMargin=MARGIN_MM * mm,
        bottomMargin=FOOT_MM * mm,
        title="Linnet",
        author="Linnet",
        invariant=1,
    )
    story: list[Flowable] = [
        _words(title, _style(1.7 * size_pt, bold=True, spaceAfter=0.6 * size_pt))
    ]
    for block in blocks:
        story += _flowables(block, size_pt)

    def foot(canvas: Any, _document: Any) -> None:
        _draw_foot(canvas, cautions)

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return found.getvalue()


def _flowables(block: Block, size_pt: float) -> list[Flowable]:
    if isinstance(block, Heading):
        factor = 1.25 if block.level == 2 else 1.0
        style = _style(factor * size_pt, bold=True, spaceBefore=size_pt, spaceAfter=0.3 * size_pt)
        # Never alone at the foot of a page.
        return [CondPageBreak(ROOM_BELOW_MM * mm), _words(block.text, style)]
    if isinstance(block, Paragraph):
        return [_words(block.text, _style(size_pt, muted=block.muted, spaceAfter=0.5 * size_pt))]
    if isinstance(block, Picture):
        caption = _words(block.alt, _style(0.85 * size_pt, muted=True, spaceAfter=size_pt))
        return [_picture(block), caption]
    return [_grid(block, 0.9 * size_pt), Spacer(1, 0.6 * size_pt)]


def _picture(block: Picture) -> Image:
    image = Image(BytesIO(block.png))
    scale = min(
        min(block.width_mm, WIDTH_MM) * mm / image.imageWidth,
        TALLEST_MM * mm / image.imageHeight,
    )
    image.drawWidth, image.drawHeight = scale * image.imageWidth, scale * image.imageHeight
    return image


def _grid(block: Table, size_pt: float) -> Grid:
    def cell(text: str, column: int, *, head: bool) -> Words:
        style = _style(size_pt, muted=head)
        style.alignment = TA_RIGHT if column in block.numbers else TA_LEFT
        return _words(text, style)

    rows = [
        [cell(text, column, head=number == 0) for column, text in enumerate(row)]
        for number, row in enumerate([block.head, *block.rows])
    ]
    widths = _widths_pt([block.head, *block.rows], size_pt)
    look: Any = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("LINEBELOW", (0, 0), (-1, 0), 0.7, HexColor(MUTED)),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, HexColor(LINE)),
    ]
    return Grid(rows, colWidths=widths, repeatRows=1, style=look)


def _widths_pt(rows: Sequence[Sequence[str]], size_pt: float) -> list[float]:
    """Widths of columns: the longest word of each has room, what is left goes by length."""

    def width_pt(text: str) -> float:
        return float(pdfmetrics.stringWidth(text, REGULAR, size_pt)) + 2 * PADDING_PT + 1

    columns = [[str(cell) for cell in column] for column in zip(*rows, strict=True)]
    least = [
        max(width_pt(word) for cell in one for word in re.split(r"[ \n]", cell)) for one in columns
    ]
    most = [max(width_pt(cell) for cell in one) for one in columns]
    wanted = [whole - part for whole, part in zip(most, least, strict=True)]
    room = WIDTH_MM * mm - sum(least)
    if room < 0:
        return [WIDTH_MM * mm * one / sum(least) for one in least]
    share = room / sum(wanted) if sum(wanted) > 0 else 0.0
    return [a + share * b for a, b in zip(least, wanted, strict=True)]


def _draw_foot(canvas: Any, cautions: Sequence[str]) -> None:
    style = _style(7.5, muted=True)
    top = (FOOT_MM - 4.0) * mm
    for text in cautions:
        words = _words(text, style)
        _, height = words.wrap(WIDTH_MM * mm, top)
        top -= height
        words.drawOn(canvas, MARGIN_MM * mm + PADDING_PT, top)
    canvas.setFont(REGULAR, 7.5)
    canvas.setFillColor(HexColor(MUTED))
    canvas.drawRightString(
        A4[0] - MARGIN_MM * mm - PADDING_PT, 6.0 * mm, str(canvas.getPageNumber())
    )
