"""Matches in, findings out: episodes, sentences, margins, CAP terms, and merged unknowns."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.engine.match import Match
from riskrules.facts.stages import codes
from riskrules.facts.table import Fact, Facts, FactTable
from riskrules.findings.causes import words_of
from riskrules.findings.model import (
    CERTAINTIES,
    DEFERRAL,
    Finding,
    Margin,
    ThresholdUsed,
    UnknownFinding,
    plain,
)
from riskrules.findings.weigh import Given, Weighed, weigh_rule
from riskrules.packs.check import PLACEHOLDER
from riskrules.packs.load import Rulebook
from riskrules.packs.model import Pack, Rule
from riskrules.show import Style

DAY_S = 86_400
AS_PERCENT = ("incidence", "life_used")
"""Shares that people say in hundredths."""
NOT_HASHED = ("hash", "status", "urgency", "margins")
MENDED = {"borrowed": "partly_borrowed", "filled": "partly_filled", "doubted": "partly_doubted"}
"""What a finding rests on where some of its readings are not the block's own and sound."""
BASES = ("forecast", "partly_forecast", "estimated", *MENDED.values(), "measured")
"""What a finding can rest on, the weakest first."""
OF_THE_CLOCK = ("age", "hours_left")
"""Quantities that change from one hour to the next though nothing happened."""


class Lookup:
    """Finds facts by id, and keeps them as records once asked for."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._rows: dict[str, dict[str, int]] = {}
        self._spans: dict[str, list[tuple[int, int, int, int]]] = {}
        self._kept: dict[str, Fact] = {}
        self._records: dict[str, dict[str, Any]] = {}

    def span(self, name: str) -> tuple[int, int, int, int]:
        """Return least start, most start, least end, most end of a fact. [s]"""
        kind, i = self._at(name)
        if kind not in self._spans:
            t = self._facts[kind]
            columns = [c.tolist() for c in (*t.start, *t.end)]
            self._spans[kind] = list(zip(*columns, strict=True))
        return self._spans[kind][i]

    def fact(self, name: str) -> Fact:
        """Return a fact as a record; KeyError if there is none of that id."""
        if name not in self._kept:
            table, i = self._at(name)
            self._kept[name] = self._facts[table].fact(i)
        return self._kept[name]

    def record(self, name: str, style: Style) -> dict[str, Any]:
        """Return a fact as plain values, made once however many findings speak of it."""
        if name not in self._records:
            self._records[name] = fact_record(self.fact(name), style)
        return self._records[name]

    def bases(self, name: str, now: int) -> set[str]:
        """Return what a fact rests on: one word or several of `BASES`."""
        kind, i = self._at(name)
        table = self._facts[kind]
        found = {table.words["basis"][i] if "basis" in table.words else "measured"}
        if table.start[0][i] >= now:
            found.add("forecast")
        for parts in table.shares.values():
            found |= {word for part, word in MENDED.items() if part in parts and parts[part][i]}
        return found

    def rows(self, kind: str, names: Iterable[str]) -> tuple[FactTable, npt.NDArray[np.int64]]:
        """Return the table of a kind and the positions of facts in it."""
        at = self._positions(kind)
        return self._facts[kind], np.fromiter((at[name] for name in names), dtype=np.int64)

    def gaps(self, variable: str, start: int, end: int) -> list[tuple[int, int]]:
        """Return where a variable has no usable reading within a stretch, in order. [s]"""
        table = self._facts.get("log_gap")
        if table is None:
            return []
        columns = (table.start[0].tolist(), table.end[0].tolist(), table.words["variable"])
        found = [
            (max(a, start), min(z, end))
            for a, z, word in zip(*columns, strict=True)
            if word == variable and a < end and z > start
        ]
        return sorted(found)

    def _at(self, name: str) -> tuple[str, int]:
        kind = name.partition("/")[0]
        return kind, self._positions(kind)[name]

    def _positions(self, kind: str) -> dict[str, int]:
        if kind not in self._rows:
            self._rows[kind] = {id_: i for i, id_ in enumerate(self._facts[kind].ids)}
        return self._rows[kind]


@dataclass(frozen=True, slots=True)
class Episode:
    """Matches of one rule that belong together: one finding. Times in seconds."""

    rule: Rule
    sure: bool
    start: int
    end: int
    matches: tuple[Match, ...]


@dataclass(frozen=True, slots=True)
class Scene:
    """What all findings of a block share."""

    block: str
    book: Rulebook
    lookup: Lookup
    style: Style
    now: int
    window: tuple[int, int]


def span_of(match: Match, rule: Rule, lookup: Lookup) -> tuple[int, int]:
    """Return the time a match speaks of: its anchor's, and that of all facts in a row with it.

    For a match that surely holds it is the part that surely happened.
    """
    names = match.facts if rule.in_a_row else match.facts[:1]
    spans = [lookup.span(name) for name in names]
    if match.sure and all(s[1] < s[2] for s in spans):
        return min(s[1] for s in spans), max(s[2] for s in spans)
    return min(s[0] for s in spans), max(s[3] for s in spans)


def episodes(matches: Iterable[Match], scene: Scene) -> list[Episode]:
    """Group matches by rule and anchor, keep what touches the window, join what overlaps.

    Where an anchor surely fires with some facts and possibly with others, it fires.
    """
    rules = {rule.key: rule for rule in scene.book.rules}
    by_rule: dict[str, dict[str, list[Match]]] = {}
    for match in matches:
        by_rule.setdefault(match.rule, {}).setdefault(match.facts[0], []).append(match)
    lo, hi = scene.window
    found = []
    for key, anchors in by_rule.items():
        pieces = _pieces(rules[key], anchors, scene.lookup)
        if any(start < hi and max(end, start + 1) > lo for _, start, end, _ in pieces):
            joined = _joined(rules[key], pieces)
            found += [e for e in joined if e.start < hi and max(e.end, e.start + 1) > lo]
    return sorted(found, key=lambda e: (e.rule.key, e.sure, e.start, e.end))


Piece = tuple[bool, int, int, tuple[Match, ...]]
"""Whether it surely fires, start, end [s], and the matches of one anchor."""


def _pieces(rule: Rule, anchors: dict[str, list[Match]], lookup: Lookup) -> list[Piece]:
    """Return one piece for each anchor of a rule, before any are joined."""
    pieces: list[Piece] = []
    for same in anchors.values():
        sure = any(m.sure for m in same)
        kept = tuple(m for m in same if m.sure == sure)
        start, end = span_of(kept[0], rule, lookup)
        for m in kept[1:] if rule.in_a_row else ():  # else they share the anchor's span
            first, last = span_of(m, rule, lookup)
            start, end = min(start, first), max(end, last)
        pieces.append((sure, start, end, kept))
    return pieces


def _joined(rule: Rule, pieces: list[Piece]) -> list[Episode]:
    """Join pieces that overlap and are alike in being sure."""
    runs: list[tuple[bool, int, int, list[Match]]] = []
    for sure, start, end, matches in sorted(pieces):
        if runs and runs[-1][0] == sure and start < runs[-1][2]:
            _, first, last, so_far = runs.pop()
            so_far.extend(matches)
            runs.append((sure, first, max(last, end), so_far))
        else:
            runs.append((sure, start, end, [*matches]))
    return [Episode(rule, *run[:3], tuple(run[3])) for run in runs]


def given_of(match: Match, rule: Rule, lookup: Lookup) -> Given:
    """Return the facts of a match by the aliases of its rule."""
    return {a: lookup.fact(name) for a, name in zip(rule.given, match.facts, strict=True)}


def latest_of(episode: Episode, lookup: Lookup) -> Match:
    """Return the match by which an episode is told: the one whose anchor begins last."""
    return max(episode.matches, key=lambda m: (lookup.span(m.facts[0])[0], m.facts))


def finding_of(episode: Episode, scene: Scene) -> Finding:
    """Return the finding of an episode that fires.

    Its sentence and margins are those of the episode's latest match.
    """
    rule, pack = episode.rule, scene.book.pack(episode.rule.pack)
    latest = latest_of(episode, scene.lookup)
    given = given_of(latest, rule, scene.lookup)
    weighed = weigh_rule(rule, pack, given)
    names = sorted({name for m in episode.matches for name in m.facts})
    text = rule.text.finding
    basis = basis_of(latest.facts, scene)
    made = Finding(
        id=identity(rule.key, scene.block, episode.start, scene.style),
        rule=rule.key,
        title=rule.title,
        hazard=text.hazard,
        block=scene.block,
        start=scene.style.iso(episode.start),
        end=scene.style.iso(episode.end),
        severity=text.severity,
        urgency=_urgency(episode, scene, text.looks_ahead),
        certainty=certainty_of(text.certainty, basis),
        sentence=sentence_of(rule, pack, given, scene.style),
        basis=basis,
        facts=tuple(scene.lookup.record(name, scene.style) for name in names),
        thresholds=_thresholds(rule, pack, weighed),
        margins=_margins(weighed),
        jobs=tuple(rule.text.jobs),
        cautions=tuple(rule.text.cautions),
        sources=tuple({"text": s.text, "tag": s.tag} for s in rule.text.sources),
        deferral=DEFERRAL if text.protection_choice else "",
        profile=scene.book.profile,
    )
    return replace(made, hash=content_hash(made))


def identity(rule: str, block: str, start: int, style: Style) -> str:
    """Return the identity of a finding: its rule, block, and the start of its episode."""
    return f"{rule}@{block}@{style.iso(start)}"


def content_hash(made: Finding | UnknownFinding) -> str:
    """Return a hash of what a finding says; what changes with the clock alone is left out.

    Margins are left out too: they follow from facts and thresholds.
    """
    body = {k: v for k, v in plain(made).items() if k not in NOT_HASHED}
    if isinstance(made, Finding):  # what a version changed is in the thresholds
        body["profile"] = made.profile.split(" ", 1)[0]
    body["facts"] = [
        fact
        | {"quantities": {k: q for k, q in fact["quantities"].items() if k not in OF_THE_CLOCK}}
        for fact in body.get("facts", ())
    ]
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()[:16]


def fact_record(fact: Fact, style: Style) -> dict[str, Any]:
    """Return a fact as plain values for JSON: bounds, units, causes in words."""
    quantities = {
        name: {"least": b.least, "most": b.most, "unit": b.unit}
        | ({"open_because": words_of(b.cause)} if not b.certain else {})
        for name, b in fact.quantities.items()
    }
    return {
        "id": fact.id,
        "kind": fact.kind,
        "start": [style.iso(t) for t in fact.start],
        "end": [style.iso(t) for t in fact.end],
        "quantities": quantities,
        "words": fact.words,
        "stages": list(codes(fact.stages[0])),
        "forecast": fact.forecast,
    } | ({"rests_on": _rounded(fact.shares)} if fact.shares else {})


def _rounded(shares: Mapping[str, Mapping[str, float]]) -> dict[str, dict[str, float]]:
    return {
        name: {part: round(x, 4) for part, x in parts.items()} for name, parts in shares.items()
    }


def sentence_of(rule: Rule, pack: Pack, given: Given, style: Style) -> str:
    """Return a rule's sentence with the facts' numbers in it."""

    def fill(match: Any) -> str:
        alias, dot, name = match[1].partition(".")
        if not dot:
            threshold = pack.threshold(alias)
            return style.value(threshold.value, threshold.unit) if threshold else match[0]
        fact = given[alias]
        if name in ("start", "end"):
            return style.moment((fact.start if name == "start" else fact.end)[0])
        if name == "stages":
            return " ".join(map(str, codes(fact.stages[0]))) or "not recorded"
        if name in fact.words:
            return fact.words[name].replace("_", " ")
        if name in AS_PERCENT:
            return style.percent(fact.quantities[name])
        return style.bounds(fact.quantities[name])

    said = " ".join(PLACEHOLDER.sub(fill, rule.text.finding.sentence).split())
    return said[:1].upper() + said[1:]


def basis_of(facts: Iterable[str], scene: Scene) -> str:
    """Return what a finding rests on at its weakest, forecast being weaker than estimated."""
    words = set().union(*(scene.lookup.bases(name, scene.now) for name in facts))
    return next(word for word in BASES if word in words)


def certainty_of(most: str, basis: str) -> str:
    """Return a rule's certainty, lowered by what it rests on."""
    cap = {"measured": "Observed", "forecast": "Possible"}.get(basis, "Likely")
    return CERTAINTIES[max(CERTAINTIES.index(most), CERTAINTIES.index(cap))]


def _urgency(episode: Episode, scene: Scene, looks_ahead: bool) -> str:
    """Return CAP urgency from when the episode is, seen from 'now'."""
    if episode.start > scene.now + DAY_S:
        return "Future"
    if episode.start > scene.now:
        return "Expected"
    if looks_ahead and episode.end > scene.now - DAY_S:
        return "Future"
    return "Immediate" if episode.end >= scene.now - DAY_S else "Past"


def _thresholds(rule: Rule, pack: Pack, weighed: Sequence[Weighed]) -> tuple[ThresholdUsed, ...]:
    used = {w.threshold.name: w.threshold for w in weighed if w.threshold}
    for inside in PLACEHOLDER.findall(rule.text.finding.sentence):
        threshold = pack.threshold(inside)
        if threshold:
            used.setdefault(threshold.name, threshold)
    return tuple(
        ThresholdUsed(t.name, t.value, t.unit, t.source, t.tag, t.origin, t.means)
        for t in used.values()
    )


def _margins(weighed: Sequence[Weighed]) -> tuple[Margin, ...]:
    return tuple(
        Margin(w.text, w.bounds.least, w.bounds.most, w.threshold.value, w.margin, w.unit)
        for w in weighed
        if w.threshold and w.bounds and w.margin is not None
    )
