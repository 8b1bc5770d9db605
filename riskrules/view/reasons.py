"""Why a finding fired, as lines for people: facts, thresholds, how near it was, sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from riskrules.facts.table import Bounds
from riskrules.findings.build import AS_PERCENT
from riskrules.findings.model import Finding, Margin, ThresholdUsed
from riskrules.show import Style


@dataclass(frozen=True, slots=True)
class FactLine:
    """One fact: what it is, when, and its numbers as (name, value, why it is open)."""

    id: str
    kind: str
    when: str
    numbers: tuple[tuple[str, str, str], ...]
    words: tuple[tuple[str, str], ...]
    forecast: bool


@dataclass(frozen=True, slots=True)
class Reasons:
    """A finding taken apart. ``near`` are (condition, value, threshold, how far beyond it)."""

    near: tuple[tuple[str, str, str, str], ...]
    facts: tuple[FactLine, ...]
    thresholds: tuple[ThresholdLine, ...]
    sources: tuple[tuple[str, str], ...]
    basis: str
    deferral: str
    profile: str


@dataclass(frozen=True, slots=True)
class ThresholdLine:
    """A threshold: its name and value, what it means, its source with tag, and who set it."""

    name: str
    value: str
    means: str
    source: str
    tag: str
    origin: str


def reasons_of(f: Finding, style: Style) -> Reasons:
    """Return why a finding fired, from the finding's own data alone."""
    return Reasons(
        tuple(_near(m, style) for m in f.margins),
        tuple(_fact(fact, style) for fact in f.facts),
        tuple(_threshold(t, style) for t in f.thresholds),
        tuple((s["text"], s["tag"]) for s in f.sources),
        f.basis.replace("_", " "),
        f.deferral,
        f.profile,
    )


def _near(m: Margin, style: Style) -> tuple[str, str, str, str]:
    step = "K" if m.unit == "degC" else m.unit
    seen = style.bounds(Bounds(m.least, m.most, m.unit))
    return m.condition, seen, style.value(m.threshold, m.unit), style.value(m.margin, step)


def _threshold(t: ThresholdUsed, style: Style) -> ThresholdLine:
    name = t.name.replace("_", " ")
    return ThresholdLine(name, style.value(t.value, t.unit), t.means, t.source, t.tag, t.origin)


def _fact(fact: Mapping[str, Any], style: Style) -> FactLine:
    numbers = tuple(
        (name.replace("_", " "), _said(name, q, style), ", ".join(q.get("open_because", ())))
        for name, q in fact["quantities"].items()
    )
    words = tuple((k.replace("_", " "), v.replace("_", " ")) for k, v in fact["words"].items())
    if fact["stages"]:
        words += (("stages", " ".join(map(str, fact["stages"]))),)
    when = style.span(*(_seconds(fact[end][0 if end == "start" else 1]) for end in ENDS))
    kind = str(fact["kind"]).replace("_", " ")
    return FactLine(str(fact["id"]), kind, when, numbers, words, bool(fact["forecast"]))


ENDS = ("start", "end")


def _said(name: str, q: Mapping[str, Any], style: Style) -> str:
    bounds = Bounds(q["least"], q["most"], q["unit"])
    return style.percent(bounds) if name in AS_PERCENT else style.bounds(bounds)


def _seconds(iso: str) -> int:
    return int(datetime.fromisoformat(iso).timestamp())


def seconds_of(iso: str) -> int:
    """Return a time of a finding in seconds since 1970 UTC."""
    return _seconds(iso)
