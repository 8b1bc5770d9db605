"""The morning page as a PDF in black and white, drawn with fpdf2."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from riskrules.errors import RiskRulesError
from riskrules.findings.model import SEVERITIES
from riskrules.journal.sheet_print import FONTS, transliterated
from riskrules.view.drawn import Say
from riskrules.view.morning import Morning
from riskrules.view.morning_text import Line, morning_lines

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN = 14.0
BOX = 3.6
"""Side of a box to tick. [mm]"""
SIZES = {"title": 17, "part": 14, "head": 11.5, "said": 11, "fine": 9, "point": 10, "ticks": 11}
SPACE = {"title": 0, "part": 5, "head": 2.5, "said": 0.5, "fine": 0.5, "point": 0.5, "ticks": 1.5}
"""Points of each kind of line, and the room before it. [mm]"""
BOLD = ("title", "part", "head")


def morning_pdf(m: Morning, say: Say, paper: Literal["A4", "Letter"] = "A4") -> bytes:
    """Return the morning page as a PDF: the same lines as in HTML, without any colour.

    A severity is its word after as many filled squares as it is severe; Unknown is a crossed one.

    Raises
    ------
    RiskRulesError
        If fpdf2 is not installed.
    """
    try:
        from fpdf import FPDF
    except ModuleNotFoundError:
        message = "a PDF needs the package fpdf2, which is not installed; the HTML file does not"
        raise RiskRulesError(message) from None
    doc = FPDF(format=paper)
    doc.set_creation_date(datetime.fromtimestamp(m.now, UTC))
    lines = morning_lines(m, say)
    _Sheet(doc, say, lines).draw(lines)
    return bytes(doc.output())


class _Sheet:
    """A PDF while it is drawn, from the top of each page down."""

    def __init__(self, doc: FPDF, say: Say, lines: Sequence[Line]) -> None:
        self.doc, self.say = doc, say
        doc.set_margin(MARGIN)
        doc.c_margin = 0
        doc.set_auto_page_break(False)
        doc.set_title(lines[0].text)
        self.width, self.bottom = doc.w - 2 * MARGIN, doc.h - MARGIN - 6
        self.family = "Helvetica"
        self.letters: set[int] | None = None
        self.widths: dict[tuple[str, float, str], float] = {}
        words = " ".join(w for line in lines for w in (line.text, *line.ticks))
        if any(ord(letter) > 255 for letter in words):
            self._find_font()
        doc.add_page()

    def _find_font(self) -> None:
        """Take a font of the system, where there is one: it has letters that a PDF's own has not.

        It takes seconds to cut down to the letters in use, so a text in Latin-1 does without.
        """
        for regular, bold in FONTS:
            path = Path(regular)
            if path.is_file() and path.with_name(bold).is_file():
                self.doc.add_font("Body", "", path)
                self.doc.add_font("Body", "B", path.with_name(bold))
                self.family = "Body"
                self.letters = set(self.doc.fonts["body"].cmap)  # type: ignore[union-attr]
                return

    def draw(self, lines: Sequence[Line]) -> None:
        """Draw all lines, and the number of each page."""
        for line in lines:
            self._draw(line)
        for number in range(1, self.doc.pages_count + 1):
            self.doc.page = number
            self.doc.set_font(self.family, "", 8.5)
            self.doc.set_font(self.family, "", 9)
            self.doc.set_xy(MARGIN, self.doc.h - MARGIN)
            of = self.say("dawn.print_page", number=number, pages=self.doc.pages_count)
            self.doc.cell(self.width, 4, self._said(of), align="R")

    def _said(self, text: str) -> str:
        """Return text in letters that the font has."""
        if self.letters is None:
            return transliterated(text)
        return "".join(x if ord(x) in self.letters else transliterated(x) for x in text)

    def _draw(self, line: Line) -> None:
        size = SIZES[line.kind]
        high = size * 0.46
        indent = 5.0 if line.kind == "point" else 0.0
        self.doc.set_font(self.family, "B" if line.kind in BOLD else "", size)
        word = self.say(f"severity.{line.severity}") if line.severity else ""
        said = self._said(f"{word}. {line.text}" if word else line.text)
        mark = 3.2 * max(_squares(line.severity), 1) + 1 if line.severity else 0.0
        width = self.width - indent - mark
        parts = self._wrapped(said, width)
        ticks = 7.0 if line.ticks else 0.0
        more = 14.0 if line.kind in BOLD else 0.0
        tall = len(parts) * high + ticks
        if self.doc.get_y() + SPACE[line.kind] + tall + more > self.bottom:
            self.doc.add_page()
        else:
            self.doc.ln(SPACE[line.kind])
        y = self.doc.get_y()
        self._squares_at(MARGIN + indent, y + high / 2, line.severity)
        self.doc.set_xy(MARGIN + indent + mark, y)
        self._flow(parts, width, high, MARGIN + indent + mark)
        if line.ticks:
            self._ticks(line.ticks)

    def _wrapped(self, said: str, width: float) -> list[str]:
        """Break a text into lines that fit; fpdf2's own way is quadratic in their length."""
        lines, room = [""], width
        space = self._wide(" ")
        for word in said.split():
            for piece in self._pieces(word, width):
                wide = self._wide(piece)
                if lines[-1] and wide + space <= room:
                    lines[-1] += f" {piece}"
                    room -= space + wide
                elif lines[-1]:
                    lines.append(piece)
                    room = width - wide
                else:
                    lines[-1] = piece
                    room = width - wide
        return lines

    def _pieces(self, word: str, width: float) -> list[str]:
        """Return a word, in pieces where it is wider than a line."""
        if self._wide(word) <= width:
            return [word]
        count = int(self._wide(word) // width) + 2
        size = max(1, len(word) // count)
        return [word[i : i + size] for i in range(0, len(word), size)]

    def _wide(self, text: str) -> float:
        """Return how wide a text is in the font that is set. [mm]"""
        key = (self.doc.font_style, self.doc.font_size_pt, text)
        if key not in self.widths:
            self.widths[key] = float(self.doc.get_string_width(text))
        return self.widths[key]

    def _flow(self, parts: Sequence[str], width: float, high: float, x: float) -> None:
        """Write a paragraph line by line, over as many pages as it takes."""
        for part in parts:
            if self.doc.get_y() + high > self.bottom:
                self.doc.add_page()
            self.doc.set_x(x)
            self.doc.cell(width, high, part, new_x="LMARGIN", new_y="NEXT")

    def _squares_at(self, x: float, y: float, severity: str) -> None:
        side, count = 2.6, _squares(severity)
        self.doc.set_line_width(0.3)
        for i in range(count):
            self.doc.rect(x + 3.2 * i, y - side / 2, side, side, style="F")
        if severity and not count:
            self.doc.rect(x, y - side / 2, side, side)
        if severity == "Unknown":
            self.doc.line(x, y + side / 2, x + side, y - side / 2)
            self.doc.line(x, y - side / 2, x + side, y + side / 2)

    def _ticks(self, ticks: Sequence[str]) -> None:
        y, x = self.doc.get_y() + 1.2, MARGIN + 5
        self.doc.set_font(self.family, "", 10)
        self.doc.set_line_width(0.4)
        for words in ticks:
            said = self._said(words)
            self.doc.rect(x, y, BOX, BOX)
            self.doc.text(x + BOX + 1.5, y + BOX - 0.4, said)
            x += BOX + 1.5 + self.doc.get_string_width(said) + 8
        self.doc.set_y(y + BOX + 1.5)


def _squares(severity: str) -> int:
    """Return how many filled squares stand for a severity; none for Unknown and Quiet."""
    if severity not in SEVERITIES or severity == "Unknown":
        return 0
    return len(SEVERITIES) - 1 - SEVERITIES.index(severity)
