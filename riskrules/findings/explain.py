"""Why a rule fired, or did not: the first condition that failed, the values, and by how much."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

from riskrules.engine.match import Match
from riskrules.facts.table import Fact, Facts
from riskrules.findings.build import Scene, span_of
from riskrules.findings.causes import words_of
from riskrules.findings.weigh import Weighed, weigh, weigh_rule
from riskrules.packs.conditions import Relation
from riskrules.packs.model import Pack, Rule
from riskrules.show import Style

MOST_PARTNERS = 40
"""How many facts of a kind around the date are tried as partners. (assumption)"""


@dataclass(frozen=True, slots=True)
class Explanation:
    """How a rule fared on one set of facts around a date.

    ``answer`` is fires, unknown or quiet; ``failed`` the first condition that does not hold (or
    is open), None where all hold; ``blocked_by`` a fact that an absence forbids.
    """

    rule: str
    title: str
    answer: str
    facts: tuple[Fact, ...]
    weighed: tuple[Weighed, ...]
    failed: Weighed | None = None
    blocked_by: str = ""
    missing_kind: str = ""


def explain_rule(
    rule: Rule, facts: Facts, scene: Scene, matches: Iterable[Match]
) -> list[Explanation]:
    """Explain a rule over the scene's window: every match, or else the nearest miss."""
    pack = scene.book.pack(rule.pack)
    lo, hi = scene.window
    found = []
    for match in matches:
        if match.rule != rule.key:
            continue
        start, end = span_of(match, rule, scene.lookup)
        if start < hi and max(end, start + 1) > lo:
            given = {a: scene.lookup.fact(n) for a, n in zip(rule.given, match.facts, strict=True)}
            weighed = tuple(weigh_rule(rule, pack, given))
            opened = next((w for w in weighed if w.open), None)
            answer = "fires" if match.sure else "unknown"
            found.append(Explanation(rule.key, rule.title, answer, tuple(given.values()), weighed,
                                     None if match.sure else opened))  # fmt: skip
    return found or [_nearest(rule, pack, facts, scene)]


def _nearest(rule: Rule, pack: Pack, facts: Facts, scene: Scene) -> Explanation:
    """Return the set of facts around the window that came furthest, and where it failed."""
    pools: list[list[Fact]] = []
    for i, kind in enumerate(rule.given.values()):
        pool = [f for f in facts[kind] if _near(f, scene.window, 0 if i == 0 else 3 * 86_400)]
        if not pool:
            return Explanation(rule.key, rule.title, "quiet", (), (), missing_kind=kind)
        pools.append(pool[:MOST_PARTNERS])
    best: Explanation | None = None
    best_score = (-1, -1.0)
    for combination in itertools.product(*pools):
        given = dict(zip(rule.given, combination, strict=True))
        if not _chained(rule, given):
            continue
        weighed = weigh_rule(rule, pack, given)
        held = next((i for i, w in enumerate(weighed) if not w.maybe), len(weighed))
        short = weighed[held].short if held < len(weighed) else 0.0
        score = (held, -abs(short or 0.0))
        if score > best_score:
            best_score = score
            failed = weighed[held] if held < len(weighed) else None
            blocked = "" if failed else _blocker(rule, pack, facts, given)
            best = Explanation(rule.key, rule.title, "quiet", combination, tuple(weighed), failed,
                               blocked)  # fmt: skip
    return best or Explanation(rule.key, rule.title, "quiet", (), (), missing_kind="facts in a row")


def _near(fact: Fact, window: tuple[int, int], slack: int) -> bool:
    return fact.start[0] < window[1] + slack and max(fact.end[1], fact.start[0] + 1) > (
        window[0] - slack
    )


def _chained(rule: Rule, given: dict[str, Fact]) -> bool:
    """Whether facts that must come in a row do: the later starts within two days after."""
    for alternatives in rule.when:
        for c in alternatives:
            if isinstance(c, Relation) and c.name == "follows":
                gap = given[c.first].start[0] - given[c.second].start[0]
                if not 0 < gap < 36 * 3600:
                    return False
    return True


def _blocker(rule: Rule, pack: Pack, facts: Facts, given: dict[str, Fact]) -> str:
    """Return the id of a fact that an absence forbids, or nothing."""
    if rule.absence is None:
        return ""
    for fact in facts[rule.absence.kind]:
        both = {**given, rule.absence.alias: fact}
        if all(any(weigh(c, both, pack).maybe for c in alts) for alts in rule.absence.when):
            return fact.id
    return ""


def in_words(w: Weighed, style: Style) -> str:
    """Return a weighed condition as a sentence with its values and how far it was."""
    if w.bounds is None or w.unit == "flag":
        state = "holds" if w.sure else "open" if w.maybe else "does not hold"
        more = f" ({', '.join(words_of(w.cause))})" if w.open and w.cause else ""
        return f"{w.text}: {state}{more}"
    said = style.bounds(w.bounds)
    if w.threshold is None:
        state = "holds" if w.sure else "open" if w.maybe else "does not hold"
        return f"{w.text}: {said}, {state}"
    limit = f"{w.threshold.name} = {style.value(w.threshold.value, w.threshold.unit)}"
    if w.sure:
        return f"{w.text}: {said}; {limit}; beyond it by {style.value(w.margin or 0, _step(w))}"
    if w.maybe:
        return f"{w.text}: {said}; {limit}; open ({', '.join(words_of(w.cause))})"
    return f"{w.text}: {said}; {limit}; short by {style.value(-(w.short or 0), _step(w))}"


def _step(w: Weighed) -> str:
    """Return the unit of a difference: kelvin for temperatures."""
    return "K" if w.unit == "degC" else w.unit
