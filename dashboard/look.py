"""How things look: one colour scale, each severity with its word and shape, Unknown hatched."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from dashboard.words import say
from riskrules.view.scale import colour, ink_on

INK, PAPER, FAINT, LINE = "#1d1a1c", "#ffffff", "#5d555a", "#8d858a"
"""Text, ground, secondary text and lines. (our own choice; contrast of the texts is tested)"""
HATCH = "repeating-linear-gradient(135deg,#ffffff 0 5px,#b9b2b6 5px 7px)"
PLUM, SOFT = colour(0.92), "#f8f3ea"


@dataclass(frozen=True, slots=True)
class Severity:
    """How one severity is drawn: its place on the scale, its shape, and Plotly's name of it."""

    name: str
    share: float | None
    shape: str
    symbol: str

    @property
    def fill(self) -> str:
        """The fill; that of Unknown is plain under its hatching."""
        return PAPER if self.share is None else colour(self.share)

    @property
    def ink(self) -> str:
        """The colour of text on the fill."""
        return ink_on(self.fill)

    @property
    def word(self) -> str:
        """What people call it."""
        return say(f"severity.{self.name}")

    @property
    def pattern(self) -> str:
        """Plotly's pattern shape: hatched for Unknown, none else."""
        return "/" if self.name == "Unknown" else ""


SEVERITY = {
    s.name: s
    for s in (
        Severity("Extreme", 1.0, "◆", "diamond"),
        Severity("Severe", 0.72, "▲", "triangle-up"),
        Severity("Moderate", 0.44, "●", "circle"),
        Severity("Minor", 0.18, "○", "circle-open"),
        Severity("Unknown", None, "▨", "square-x-open"),
        Severity("Quiet", 0.0, "–", "line-ew-open"),
    )
}
"""By the severities of findings, and 'Quiet' for a block of which the log covers all."""


def chip(severity: str, text: str = "") -> str:
    """Return HTML of a severity: shape and word on its fill, and a text that is escaped."""
    s = SEVERITY[severity]
    words = f'<span class="rr-shape" aria-hidden="true">{s.shape}</span> {escape(s.word)}'
    more = f" {escape(text)}" if text else ""
    return f'<span class="rr-chip rr-{s.name.lower()}">{words}</span>{more}'


def css() -> str:
    """Return the style sheet of all pages, as an HTML element."""
    chips = "\n".join(
        f".rr-{s.name.lower()}{{background:{HATCH if s.share is None else s.fill};color:{s.ink}}}"
        for s in SEVERITY.values()
    )
    return f"<style>{BASE}{chips}</style>"


def reading_html() -> str:
    """Return HTML of the word that the farm is being read, over the page, seen after a moment."""
    words = escape(say("frame.reading"))
    turning = '<span aria-hidden="true"></span>'
    return f'{READING}<p class="rr-reading" role="status">{turning}{words}</p>'


READING = f"""<style>
[data-testid=stElementContainer]:has(.rr-reading){{position:absolute}}
.rr-reading{{position:fixed;top:40vh;left:50%;transform:translateX(-50%);z-index:9;margin:0;
display:flex;align-items:center;gap:.7rem;width:max-content;max-width:86vw;padding:.8rem 1.2rem;
background:{PAPER};color:{INK};border:1px solid {LINE};border-radius:.3rem;font-size:1.06rem;
opacity:0;animation:rr-seen 0s .5s forwards}}
.rr-reading span{{flex:none;width:1.3rem;height:1.3rem;border:3px solid {LINE};
border-top-color:{PLUM};border-radius:50%;animation:rr-turn 1s linear infinite}}
@keyframes rr-seen{{to{{opacity:1}}}} @keyframes rr-turn{{to{{transform:rotate(1turn)}}}}
@media (prefers-reduced-motion:reduce){{.rr-reading span{{animation:none}}}}
</style>"""
BASE = f"""
.rr-chip{{display:inline-block;padding:.1rem .55rem;border:1px solid {LINE};border-radius:.2rem;
font-weight:600;white-space:nowrap}}
.rr-unknown{{text-shadow:0 0 3px #fff,0 0 3px #fff,0 0 3px #fff}}
.rr-said{{font-size:1.06rem;line-height:1.45;color:{INK}}}
.rr-faint{{color:{FAINT}}}
a.rr-link{{color:{PLUM};display:inline-flex;align-items:center;min-height:2.75rem}}
.stApp h1{{font-size:1.7rem;padding-top:0}} .stApp h2{{font-size:1.3rem}}
.stApp h3{{font-size:1.1rem}}
[data-testid=stCaptionContainer],[data-testid=stCaptionContainer] *{{
color:{FAINT}!important;opacity:1!important}}
.block-container{{padding-top:4.4rem;padding-bottom:3rem}}
.stButton button,.stDownloadButton button,.stFormSubmitButton button{{min-height:2.75rem}}
.rr-big .stButton button{{min-height:4rem;font-size:1.2rem}}
:focus-visible{{outline:3px solid {PLUM}!important;outline-offset:2px}}
@media (max-width:640px){{
.block-container{{padding-left:.8rem;padding-right:.8rem}}
.stApp h1{{font-size:1.4rem}}
}}
@media print{{[data-testid=stSidebar],[data-testid=stHeader],.stButton{{display:none!important}}}}
"""
