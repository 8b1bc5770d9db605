"""Weigh one condition on given facts: does it hold, by how much, and if open, why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from riskrules.facts.kinds import Cause
from riskrules.facts.stages import bits
from riskrules.facts.table import Bounds, Fact
from riskrules.packs.conditions import Compare, Condition, IsFlag, IsWord, Ref
from riskrules.packs.model import Pack, Rule, Threshold

Given = Mapping[str, Fact]


@dataclass(frozen=True, slots=True)
class Weighed:
    """A condition on given facts.

    ``margin`` is how far the fact is beyond the threshold (negative: short of it), taken at the
    end that decides whether the condition surely holds; None where there is no number.
    """

    text: str
    sure: bool
    maybe: bool
    cause: Cause = Cause.NONE
    bounds: Bounds | None = None
    threshold: Threshold | None = None
    margin: float | None = None
    short: float | None = None
    unit: str = ""

    @property
    def open(self) -> bool:
        """Whether it only possibly holds."""
        return self.maybe and not self.sure


def weigh(condition: Condition, given: Given, pack: Pack) -> Weighed:
    """Weigh one condition; see `Weighed`."""
    if isinstance(condition, IsWord):
        word = given[condition.ref.alias].words[condition.ref.name]
        holds = word in condition.words
        return Weighed(condition.text, holds, holds)
    if isinstance(condition, IsFlag):
        b = given[condition.ref.alias].quantities[condition.ref.name]
        sure, maybe = (b.least == 1, b.most == 1)
        if not condition.wanted:
            sure, maybe = (b.most == 0, b.least == 0)
        return Weighed(condition.text, sure, maybe, b.cause, b, unit="flag")
    if isinstance(condition, Compare):
        return _compare(condition, given, pack)
    return _relate(condition.text, condition.name, given[condition.first], given[condition.second])


def _compare(condition: Compare, given: Given, pack: Pack) -> Weighed:
    left = given[condition.left.alias].quantities[condition.left.name]
    cause, threshold = left.cause, None
    if isinstance(condition.right, Ref):
        right = given[condition.right.alias].quantities[condition.right.name]
        cause |= right.cause
    else:
        threshold = pack.threshold(condition.right)
        number = threshold.value if threshold else 0.0
        right = Bounds(number, number, left.unit)
    strict = condition.op in (">", "<")
    if condition.op in (">=", ">"):
        margin, short = left.least - right.most, left.most - right.least
    else:
        margin, short = right.least - left.most, right.most - left.least
    sure = margin > 0 if strict else margin >= 0
    maybe = short > 0 if strict else short >= 0
    return Weighed(
        condition.text, sure, maybe, cause, left, threshold, round(margin, 4), round(short, 4),
        left.unit,
    )  # fmt: skip


def _relate(text: str, name: str, a: Fact, b: Fact) -> Weighed:
    cause = _span_cause(a) | _span_cause(b)
    if name == "overlaps":
        sure = a.start[1] < b.end[0] and b.start[1] < a.end[0]
        maybe = a.start[0] < b.end[1] and b.start[0] < a.end[1]
    elif name == "within":
        sure = a.start[0] >= b.start[1] and a.end[1] <= b.end[0]
        maybe = a.start[1] >= b.start[0] and a.end[0] <= b.end[1]
    elif name == "before":
        sure, maybe = a.end[1] <= b.start[0], a.end[0] <= b.start[1]
    else:
        sure = maybe = True  # follows: the matcher has tied them by their keys
    return Weighed(text, sure, maybe, cause)


def _span_cause(fact: Fact) -> Cause:
    """Return why a fact's start or end is open."""
    if fact.start[0] == fact.start[1] and fact.end[0] == fact.end[1]:
        return Cause.NONE
    found = fact.quantities["exists"].cause
    hours = fact.quantities.get("hours")
    return found | (hours.cause if hours else Cause.NONE)


def weigh_rule(rule: Rule, pack: Pack, given: Given) -> list[Weighed]:
    """Weigh every condition of a rule but its absence: the written ones and the implied."""
    found = [_exists(alias, fact) for alias, fact in given.items()]
    if rule.stages:
        found.append(_stages(rule, given[rule.stages_of]))
    for alternatives in rule.when:
        weighed = [weigh(c, given, pack) for c in alternatives]
        best = max(weighed, key=lambda w: (w.sure, w.maybe))
        found.append(best)
    return found


def _exists(alias: str, fact: Fact) -> Weighed:
    b = fact.quantities["exists"]
    return Weighed(f"{alias} happened", b.least == 1, b.most == 1, b.cause, b, unit="flag")


def _stages(rule: Rule, fact: Fact) -> Weighed:
    wanted = bits(rule.stages)
    text = "stages " + " ".join(map(str, rule.stages)) + f" present in {rule.stages_of}"
    return Weighed(
        text, bool(fact.stages[0] & wanted), bool(fact.stages[1] & wanted), Cause.NO_STAGE
    )
