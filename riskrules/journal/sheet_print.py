"""The walk sheet as a PDF, drawn with fpdf2."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from riskrules.errors import RiskRulesError
from riskrules.journal.records import Record
from riskrules.journal.sheet_text import HOW, LINES, NOTE_LINES, Looks, SheetText, sheet_text
from riskrules.journal.symptoms import SymptomList

if TYPE_CHECKING:
    from fpdf import FPDF

Paper = Literal["A4", "Letter"]

MARGIN = 10.0
ROW = 12.0
"""Height of a box, for wet hands and a blunt pencil. [mm] (assumption)"""
FIRST = (12.0, 12.0, 18.0)
"""Widths of stop, bed and metres. [mm]"""
THIN, THICK = 0.25, 0.8
FONTS = (
    ("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/dejavu-sans-fonts/DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/TTF/DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/truetype/liberation/LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"),
    ("/System/Library/Fonts/Supplemental/Arial.ttf", "Arial Bold.ttf"),
    ("C:/Windows/Fonts/arial.ttf", "arialbd.ttf"),
)
"""Where systems keep a font with more letters than a PDF has of its own; its bold beside it."""
_PLAIN = str.maketrans({
    "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u2013": "-", "\u2014": "-",
    "\u2026": "...", "\u0142": "l", "\u0141": "L", "\u0111": "d", "\u0110": "D", "\u0131": "i",
    "\u0153": "oe", "\u0152": "OE", "\u20ac": "EUR",
})  # fmt: skip
LOST = "Letters printed as ? stand right on the sheet in HTML."


def sheet_pdf(
    block: str, walk: Record, symptoms: SymptomList, farm: str, paper: Paper = "A4"
) -> bytes:
    """Return a walk sheet as a PDF, the same bytes for the same walk, symptoms and font.

    Names in letters beyond Latin-1 are set in a font of the system, where there is one, and its
    used letters go into the file. Letters that no font here has lose their accents, or become
    ``?``, which the sheet then says.

    Parameters are those of `sheet_html`, and the paper.

    Raises
    ------
    ValueError
        If the record is no walk, has no stops, names a symptom that is not listed, or there is no
        such paper.
    RiskRulesError
        If fpdf2 is not installed.
    """
    if paper not in ("A4", "Letter"):
        raise ValueError(f"paper '{paper}'; expected A4 or Letter")
    text = sheet_text(block, walk, symptoms, farm)
    try:
        from fpdf import FPDF
    except ModuleNotFoundError:
        message = "a PDF needs the package fpdf2, which is not installed; the HTML sheet does not"
        raise RiskRulesError(message) from None
    page = _Page(FPDF(format=paper), text)
    page.doc.set_creation_date(datetime.fromtimestamp(walk.made, UTC))
    page.draw()
    return bytes(page.doc.output())


def transliterated(text: str) -> str:
    """Return text in Latin-1: accents dropped where it has no such letter, else ``?``.

    >>> transliterated("Škoda’s Łąka 木")
    "Skoda's Laka ?"
    """
    return "".join(_latin(letter) for letter in unicodedata.normalize("NFC", text))


def _latin(letter: str) -> str:
    if ord(letter) < 256:
        return letter if letter.isprintable() else " "
    plain = letter.translate(_PLAIN)
    parts = unicodedata.normalize("NFKD", plain)
    bare = "".join(part for part in parts if not unicodedata.combining(part))
    return "".join(part if ord(part) < 256 else "?" for part in bare)


def _names(text: SheetText) -> tuple[str, ...]:
    """Return all words of a sheet that are not ours to choose."""
    heads = (words for group in text.groups for pair in group for words in pair)
    looks = (words for each in text.looks for words in (each.title, each.looks, *each.alike))
    return (text.farm, text.block, *heads, *looks)


class _Page:
    """A PDF while it is drawn, from the top of each page down."""

    def __init__(self, doc: FPDF, text: SheetText) -> None:
        self.doc, self.text = doc, text
        doc.set_margin(MARGIN)
        doc.c_margin = 0
        doc.set_auto_page_break(False)
        doc.set_title("Walk sheet")
        self.width = doc.w - 2 * MARGIN
        self.bottom = doc.h - MARGIN - 7
        self.family = "Helvetica"
        self.letters: set[int] | None = None
        words = " ".join(_names(text))
        if any(ord(letter) > 255 for letter in words.translate(_PLAIN)):
            self._find_font()
        self.lost = self._said(words).count("?") > words.count("?")
        doc.add_page()

    def _find_font(self) -> None:
        for regular, bold in FONTS:
            path = Path(regular)
            if path.is_file() and path.with_name(bold).is_file():
                self.doc.add_font("Body", "", path)
                self.doc.add_font("Body", "B", path.with_name(bold))
                self.family = "Body"
                self.letters = set(self.doc.fonts["body"].cmap)  # type: ignore[union-attr]
                return

    def draw(self) -> None:
        """Draw all: what to fill in, the tables, notes, how symptoms look, and the feet."""
        self._head()
        for group in self.text.groups:
            self._table(group)
        self._notes()
        if self.text.looks:
            self._title("How it looks")
            for looks in self.text.looks:
                self._looks(looks)
        self._feet()

    def _said(self, text: str) -> str:
        """Return text in letters that the font has."""
        if self.letters is None:
            return transliterated(text)
        return "".join(x if ord(x) in self.letters else transliterated(x) for x in text)

    def _font(self, size: float, bold: bool = False) -> None:
        self.doc.set_font(self.family, "B" if bold else "", size)

    def _paragraph(
        self, text: str, size: float = 11, bold: bool = False, indent: float = 0
    ) -> None:
        self._font(size, bold)
        high = size * 0.45
        width, said = self.width - indent, self._said(text)
        needed = self._lines(said, width, high) * high
        self._room(needed)
        self.doc.set_x(MARGIN + indent)
        self.doc.multi_cell(width, high, said, align="L", new_x="LMARGIN", new_y="NEXT")

    def _lines(self, said: str, width: float, high: float) -> int:
        found = self.doc.multi_cell(width, high, said, align="L", dry_run=True, output="LINES")
        return max(1, len(found))  # type: ignore[arg-type]

    def _room(self, needed: float) -> bool:
        """Begin a page where what comes does not fit on this one; say whether."""
        if self.doc.get_y() + needed <= self.bottom:
            return False
        self.doc.add_page()
        return True

    def _title(self, text: str) -> None:
        self._room(30)
        self.doc.ln(4)
        self._paragraph(text, 13, bold=True)

    def _head(self) -> None:
        self._paragraph(f"{self.text.farm}: {self.text.block}", 17, bold=True)
        self._paragraph(self.text.about)
        for line in LINES:
            self.doc.ln(3)
            gap, y = 4.0, self.doc.get_y() + 8
            wide = (self.width - gap * (len(line) - 1)) / len(line)
            self._font(11)
            for i, words in enumerate(line):
                x = MARGIN + i * (wide + gap)
                self.doc.text(x, y - 1.5, words)
                self.doc.set_line_width(0.4)
                self.doc.line(x, y, x + wide, y)
            self.doc.set_y(y)
        self.doc.ln(3)
        for words in (*HOW, LOST) if self.lost else HOW:
            self._paragraph(words)

    def _table(self, group: tuple[tuple[str, str], ...]) -> None:
        self.doc.ln(3)
        self._room(40)
        self._table_head(group)
        last = 0
        for stop, bed, metres in self.text.stops:
            if self._room(ROW):
                self._table_head(group)
                last = 0
            self._row((str(stop), str(bed), f"{metres:g}"), len(group), bed != last)
            last = bed

    def _table_head(self, group: tuple[tuple[str, str], ...]) -> None:
        self._font(10, bold=True)
        wide = self._wide(len(group))
        said = [(self._said(title), self._said(part)) for title, part in group]
        tall = max(self._lines(title, 2 * wide - 2, 4.5) for title, _ in said) * 4.5
        y, high = self.doc.get_y(), tall + 11.5
        x = MARGIN
        self.doc.set_line_width(THIN)
        for words, width in zip(("Stop", "Bed", "Metres"), FIRST, strict=True):
            self.doc.rect(x, y, width, high)
            self.doc.set_xy(x, y + high - 6)
            self.doc.cell(width, 5, words, align="C")
            x += width
        for title, part in said:
            self._head_of(x, y, wide, tall, title, part)
            x += 2 * wide
        self.doc.set_xy(MARGIN, y + high)

    def _head_of(self, x: float, y: float, wide: float, tall: float, title: str, part: str) -> None:
        high = tall + 11.5
        self.doc.rect(x, y, 2 * wide, high)
        self._thick(x, y, x, y + high)
        self._font(10, bold=True)
        self.doc.set_xy(x + 1, y + 0.8)
        self.doc.multi_cell(2 * wide - 2, 4.5, title, align="C")
        self._font(9)
        self.doc.set_xy(x, y + tall + 0.8)
        self.doc.cell(2 * wide, 4.5, part, align="C")
        for i, words in enumerate(("affected", "of")):
            self.doc.set_xy(x + i * wide, y + tall + 5.8)
            self.doc.cell(wide, 5, words, align="C")

    def _row(self, first: tuple[str, str, str], groups: int, new_bed: bool) -> None:
        y, x, wide = self.doc.get_y(), MARGIN, self._wide(groups)
        self._font(13)
        self.doc.set_line_width(THIN)
        for words, width in zip(first, FIRST, strict=True):
            self.doc.rect(x, y, width, ROW)
            self.doc.set_xy(x, y)
            self.doc.cell(width, ROW, words, align="C")
            x += width
        for _ in range(groups):
            self.doc.rect(x, y, wide, ROW)
            self.doc.rect(x + wide, y, wide, ROW)
            self._thick(x, y, x, y + ROW)
            x += 2 * wide
        if new_bed:
            self._thick(MARGIN, y, MARGIN + self.width, y)
        self.doc.set_xy(MARGIN, y + ROW)

    def _thick(self, *ends: float) -> None:
        self.doc.set_line_width(THICK)
        self.doc.line(*ends)
        self.doc.set_line_width(THIN)

    def _wide(self, groups: int) -> float:
        return (self.width - sum(FIRST)) / (2 * groups)

    def _notes(self) -> None:
        self._room(NOTE_LINES * 9 + 10)
        self._title("Notes (stop, what)")
        self.doc.set_line_width(THIN)
        for _ in range(NOTE_LINES):
            y = self.doc.get_y() + 9
            self.doc.line(MARGIN, y, MARGIN + self.width, y)
            self.doc.set_y(y)

    def _looks(self, looks: Looks) -> None:
        self._room(18)
        self.doc.ln(2)
        self._paragraph(looks.title, bold=True)
        self._paragraph(looks.looks)
        for i, words in enumerate(looks.alike):
            self._paragraph(f"Looks alike: {words}" if not i else f"Also: {words}", 10, indent=5)

    def _feet(self) -> None:
        pages = self.doc.pages_count
        for number in range(1, pages + 1):
            self.doc.page = number
            # fpdf2 writes a font down only when it changes, and knows not what this page has.
            self._font(8)
            self._font(9)
            self.doc.set_xy(MARGIN, self.doc.h - MARGIN - 4)
            self.doc.cell(self.width, 4, f"Walk {self.text.walk}")
            self.doc.set_xy(MARGIN, self.doc.h - MARGIN - 4)
            self.doc.cell(self.width, 4, f"{number} of {pages}", align="R")
