"""The record's pictures, drawn as SVG text that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from riskrules.tuning.scores import Estimate
from riskrules.tuning.summary import Cover
from riskrules.tuning.sweep import Axis, Sweep, SweepRow

WIDE, HIGH = 640, 320
LEFT, RIGHT, TOP, BOTTOM = 64, 24, 20, 48
INK, GREY, MARK, BAND = "#1d1d1f", "#6b6b70", "#a3290a", "#2f5d9b"
SHADES = ("#f2f2f2", "#d3dff0", "#a9c1e0", "#7298c9", "#44719f", "#23466d")
MOST_BLOCKS = 40
"""Blocks that a picture of coverage shows one by one. (assumption)"""


def svg(body: Sequence[str], title: str, high: int = HIGH) -> str:
    """Return a picture that a screen reader can name."""
    said = escape(title)
    return (
        f'<svg viewBox="0 0 {WIDE} {high}" role="img" aria-label="{said}" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{said}</title>{"".join(body)}</svg>'
    )


class Scale:
    """Puts numbers on a length of the picture."""

    def __init__(self, low: float, high: float, start: float, end: float) -> None:
        room = (high - low) or 1.0
        self.low, self.start, self.per = low, start, (end - start) / room

    def at(self, value: float) -> float:
        """Return where a number lies. [px]"""
        return round(self.start + (value - self.low) * self.per, 1)


def text(x: float, y: float, words: str, more: str = "", fill: str = INK) -> str:
    """Return words at a place."""
    return f'<text x="{x:g}" y="{y:g}" fill="{fill}" {more}>{escape(words)}</text>'


def line(x: float, y: float, x2: float, y2: float, colour: str = GREY, more: str = "") -> str:
    """Return a straight line."""
    ends = f'x1="{x:g}" y1="{y:g}" x2="{x2:g}" y2="{y2:g}"'
    return f'<line {ends} stroke="{colour}" {more}/>'


def sweep_chart(found: Sweep) -> str:
    """Return detection against alarms a block-season, one mark a value (or a map of two)."""
    return _curve(found) if len(found.axes) == 1 else _map(found)


def _frame(x: Scale, y: Scale, xs: Sequence[float], ys: Sequence[float]) -> list[str]:
    bottom, right = HIGH - BOTTOM, WIDE - RIGHT
    body = [line(LEFT, bottom, right, bottom, INK), line(LEFT, TOP, LEFT, bottom, INK)]
    for value in xs:
        body.append(text(x.at(value), bottom + 16, f"{value:.3g}", 'text-anchor="middle"', GREY))
    for value in ys:
        at = y.at(value)
        body.append(line(LEFT, at, right, at, "#e2e2e4"))
        body.append(text(LEFT - 6, at + 4, f"{value:.3g}", 'text-anchor="end"', GREY))
    return body


def _curve(found: Sweep) -> str:
    axis = found.axes[0]
    most = max((row.alarms for row in found.rows), default=0.0) or 1.0
    x = Scale(0, most, LEFT, WIDE - RIGHT)
    y = Scale(0, 1, HIGH - BOTTOM, TOP)
    body = _frame(x, y, [0, most / 2, most], [0, 0.5, 1])
    shown = [(row, e) for row in found.rows if (e := row.score.estimate("detection")).value
             is not None]  # fmt: skip
    points = " ".join(f"{x.at(r.alarms):g},{y.at(e.value or 0.0):g}" for r, e in shown)
    body.append(f'<polyline points="{points}" fill="none" stroke="{BAND}"/>')
    for row, estimate in shown:
        body += _point(row, estimate, x, y)
    body.append(_below("findings a block-season"))
    body.append(_beside("sightings foreseen [1]"))
    if not shown:
        body.append(text(WIDE / 2, HIGH / 2, "Nothing to draw: no sighting to tell it from.",
                         'text-anchor="middle"'))  # fmt: skip
    title = f"Detection against findings a block-season for {axis.threshold}"
    now = f"the present value {axis.present:g} {axis.unit} is a square"
    return svg(body, f"{title}; {now}; a hollow mark is no guide")


def _point(row: SweepRow, e: Estimate, x: Scale, y: Scale) -> list[str]:
    at, up = x.at(row.alarms), y.at(e.value or 0.0)
    colour = MARK if row.present else BAND
    body = []
    if e.low is not None and e.high is not None:
        body.append(line(at, y.at(e.low), at, y.at(e.high), colour))
    drawn = f'fill="{"#ffffff" if e.said else colour}" stroke="{colour}"'
    if row.present:
        body.append(f'<rect x="{at - 6:g}" y="{up - 6:g}" width="12" height="12" {drawn}/>')
    else:
        body.append(f'<circle cx="{at:g}" cy="{up:g}" r="4" {drawn}/>')
    words = f"{row.values[0]:g}" + (" now" if row.present else "")
    if at > WIDE - 80:  # there is no room beside it
        return [*body, text(at - 8, up - 8, words, 'text-anchor="end"', colour)]
    return [*body, text(at + 8, up - 8, words, fill=colour)]


def _below(words: str) -> str:
    return text((LEFT + WIDE) / 2, HIGH - 8, words, 'text-anchor="middle"', GREY)


def _beside(words: str) -> str:
    turn = f'text-anchor="middle" transform="rotate(-90 14 {HIGH / 2:g})"'
    return text(14, HIGH / 2, words, turn, GREY)


def _map(found: Sweep) -> str:
    first, second = found.axes
    wide = (WIDE - LEFT - RIGHT) / len(first.values)
    high = (HIGH - TOP - BOTTOM) / len(second.values)
    body = []
    for row in found.rows:
        i, k = first.values.index(row.values[0]), second.values.index(row.values[1])
        x, y = LEFT + i * wide, HIGH - BOTTOM - (k + 1) * high
        body += _cell(row, (x, y, wide, high))
    body += _edges(first, second, wide, high)
    title = f"Detection (number) and findings a block-season (in brackets) by {first.threshold}"
    return svg(body, f"{title} and {second.threshold}; the present pair has a thick frame")


def _cell(row: SweepRow, box: tuple[float, float, float, float]) -> list[str]:
    x, y, wide, high = box
    value = row.score.estimate("detection").value
    fill = "#ffffff" if value is None else SHADES[min(int(value * len(SHADES)), 5)]
    frame = f'stroke="{MARK}" stroke-width="4"' if row.present else 'stroke="#ffffff"'
    ink = "#ffffff" if value is not None and value >= 0.6 else INK
    words = ("?" if value is None else f"{value:.2f}") + f" ({row.alarms:.3g})"
    return [
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="{fill}" {frame}/>',
        text(x + wide / 2, y + high / 2 + 4, words, 'text-anchor="middle" font-size="10"', ink),
    ]


def _edges(first: Axis, second: Axis, wide: float, high: float) -> list[str]:
    body = [
        text(LEFT + (i + 0.5) * wide, HIGH - BOTTOM + 16, f"{v:g}", 'text-anchor="middle"', GREY)
        for i, v in enumerate(first.values)
    ]
    body += [
        text(LEFT - 6, HIGH - BOTTOM - (k + 0.5) * high + 4, f"{v:g}", 'text-anchor="end"', GREY)
        for k, v in enumerate(second.values)
    ]
    below, beside = (f"{a.threshold} [{a.unit}]" for a in (first, second))
    return [*body, _below(below), _beside(beside)]


def interval_chart(estimates: Sequence[tuple[str, Estimate]], title: str) -> str:
    """Return scores as marks with their intervals, one a line, on 0 to 1 (skill from -1)."""
    low = -1.0 if any((e.low or 0) < 0 or (e.value or 0) < 0 for _, e in estimates) else 0.0
    x = Scale(low, 1, 220, WIDE - RIGHT)
    high = 28 * len(estimates) + 40
    body = []
    for value in (low, (low + 1) / 2, 1.0):
        body.append(line(x.at(value), 8, x.at(value), high - 28, "#e2e2e4"))
        body.append(text(x.at(value), high - 10, f"{value:g}", 'text-anchor="middle"', GREY))
    for i, (name, e) in enumerate(estimates):
        body += _interval(name, e, x, 22 + 28 * i)
    return svg(body, title, high)


def _interval(name: str, e: Estimate, x: Scale, y: float) -> list[str]:
    body = [text(212, y + 4, name, 'text-anchor="end"')]
    if e.value is None:
        return [*body, text(x.start + 4, y + 4, e.said or "no value", fill=GREY)]
    if e.low is not None and e.high is not None:
        body.append(line(x.at(e.low), y, x.at(e.high), y, BAND, 'stroke-width="3"'))
    hollow = "#ffffff" if e.said else BAND
    return [
        *body,
        f'<circle cx="{x.at(e.value):g}" cy="{y:g}" r="5" fill="{hollow}" stroke="{BAND}"/>',
    ]


def cover_chart(covers: Sequence[Cover]) -> str:
    """Return how much of each season each block's log covers: the darker, the more."""
    seasons = sorted({c.season for c in covers})
    blocks = sorted({c.block for c in covers})
    if len(blocks) > MOST_BLOCKS:
        return _cover_by_season(covers, seasons)
    wide, high = (WIDE - 160) / max(len(seasons), 1), 20
    body = []
    shares = {(c.block, c.season): c.share for c in covers}
    for k, block in enumerate(blocks):
        body.append(text(150, 30 + k * high + 4, block[:22], 'text-anchor="end"'))
        for i, season in enumerate(seasons):
            body.append(
                _share_box(shares.get((block, season)), 160 + i * wide, 22 + k * high, wide)
            )
    for i, season in enumerate(seasons):
        body.append(text(160 + (i + 0.5) * wide, 14, season, 'text-anchor="middle"', GREY))
    title = "Share of each season that each block's log covers, in percent; - where there is none"
    return svg(body, title, 34 + high * len(blocks))


def _share_box(share: float | None, x: float, y: float, wide: float) -> str:
    shade = "#ffffff" if share is None else SHADES[min(int(share * len(SHADES)), 5)]
    ink = "#ffffff" if share is not None and share >= 0.6 else INK
    words = "-" if share is None else f"{share * 100:.0f}"
    box = f'<rect x="{x:g}" y="{y:g}" width="{wide - 2:g}" height="18" fill="{shade}"/>'
    return box + text(x + wide / 2, y + 13, words, 'text-anchor="middle" font-size="10"', ink)


def _cover_by_season(covers: Sequence[Cover], seasons: Sequence[str]) -> str:
    """Return the least, the middle and the most share that is covered, by season."""
    x = Scale(0, 1, 160, WIDE - RIGHT)
    body = [text(x.at(v), 14, f"{v * 100:g} %", 'text-anchor="middle"', GREY) for v in (0, 0.5, 1)]
    for i, season in enumerate(seasons):
        shares = sorted(c.share for c in covers if c.season == season)
        y = 32 + 20 * i
        body.append(text(150, y + 4, f"{season} ({len(shares)})", 'text-anchor="end"'))
        body.append(line(x.at(shares[0]), y, x.at(shares[-1]), y, BAND, 'stroke-width="3"'))
        middle = shares[len(shares) // 2]
        body.append(f'<circle cx="{x.at(middle):g}" cy="{y:g}" r="5" fill="{BAND}"/>')
    title = "Share of the season that logs cover: least to most of all blocks, a dot at the middle"
    return svg(body, title, 48 + 20 * len(seasons))
