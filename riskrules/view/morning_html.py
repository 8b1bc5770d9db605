"""The morning page as one HTML file that asks for nothing, and the pieces of it that pages show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

from riskrules.view.drawn import Drawn, Say
from riskrules.view.morning import Morning
from riskrules.view.morning_text import Line, morning_lines

TAGS = {"title": "h1", "part": "h2", "head": "h3", "said": "p", "fine": "p", "point": "p",
        "ticks": "p"}  # fmt: skip
POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Lets the file load nothing at all, not even if it were changed by hand."""
CSS = """
body{font:17px/1.45 sans-serif;color:#000;background:#fff;max-width:46rem;margin:1.5rem auto;
padding:0 1rem}
h1{font-size:1.5rem} h2{font-size:1.25rem;border-bottom:2px solid #000;margin-top:1.8rem}
h3{font-size:1.05rem;margin:1.1rem 0 .2rem} p{margin:.3rem 0}
.fine{font-size:.9rem;color:#333} .point{padding-left:1.2rem} .box{font-size:1.2em}
.tick{white-space:nowrap;margin-left:.9rem}
.sev{display:inline-block;border:1.5px solid #000;padding:0 .4rem;margin-right:.4rem;
font-weight:bold;white-space:nowrap}
@media print{body{margin:0;max-width:none;font-size:11pt}h2,h3{break-after:avoid}
p{break-inside:avoid}}
"""


def severity_html(severity: str, looks: Mapping[str, Drawn]) -> str:
    """Return a severity as a box with its shape and word, which needs no colour."""
    s = looks[severity]
    shape = f'<span aria-hidden="true">{escape(s.shape)}</span>'
    return f'<span class="sev">{shape} {escape(s.word)}</span>'


def lines_html(lines: Iterable[Line], looks: Mapping[str, Drawn]) -> str:
    """Return lines as HTML; every text is escaped."""
    return "\n".join(_line(line, looks) for line in lines)


def _line(line: Line, looks: Mapping[str, Drawn]) -> str:
    tag = TAGS[line.kind]
    before = severity_html(line.severity, looks) + " " if line.severity else ""
    ticks = "".join(
        f'<span class="tick"><span class="box" aria-hidden="true">☐</span> {escape(t)}</span>'
        for t in line.ticks
    )
    ticks = f'<br><span class="ticks">{ticks}</span>' if ticks else ""
    return f'<{tag} class="{line.kind}">{before}{escape(line.text)}{ticks}</{tag}>'


def morning_html(m: Morning, say: Say, looks: Mapping[str, Drawn], language: str = "en") -> str:
    """Return the morning page as one self-contained HTML file: no request goes anywhere.

    Parameters
    ----------
    m : Morning
    say : Say
        Gives the texts in the reader's language.
    looks : mapping of Drawn
        By severity, with 'Quiet' and 'Unknown'.
    language : str
        Code of the language, for screen readers.
    """
    title = escape(say("dawn.print_title", farm=m.farm, moment=m.style.moment(m.now)))
    body = lines_html(morning_lines(m, say), looks)
    return (
        f'<!DOCTYPE html>\n<html lang="{escape(language)}">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{CSS}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )
