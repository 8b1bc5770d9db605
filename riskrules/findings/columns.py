"""Why matches are open, all matches of a rule at once: the columns' way to weigh conditions.

`riskrules.findings.weigh` says the same of one match, with texts and margins; a season has
thousands of open matches, and of each only the cause is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.facts.stages import bits
from riskrules.facts.table import FactTable
from riskrules.packs.conditions import Compare, Condition, IsFlag, IsWord, Ref
from riskrules.packs.model import Pack, Rule

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rows:
    """Some facts of one table, one for each match: an alias of a rule."""

    table: FactTable
    at: Ints

    def bounds(self, name: str) -> tuple[Floats, Floats, Ints]:
        """Return least, most and cause of a quantity."""
        t = self.table
        return t.least[name][self.at], t.most[name][self.at], t.cause[name][self.at]

    def span(self) -> tuple[Ints, Ints, Ints, Ints]:
        """Return least and most start, least and most end. [s]"""
        (a, b), (c, d) = self.table.start, self.table.end
        return a[self.at], b[self.at], c[self.at], d[self.at]


@dataclass(frozen=True, slots=True)
class Held:
    """Where one condition surely and possibly holds, and the cause where it is open."""

    sure: Bools
    maybe: Bools
    cause: Ints


def open_causes(rule: Rule, pack: Pack, given: Mapping[str, Rows]) -> Ints:
    """Return why each match of a rule is open: the bits of the causes of its open conditions.

    0 where no condition is open; a rule with an absence is then open for want of a journal.

    Parameters
    ----------
    rule : Rule
    pack : Pack
        Of the rule, for its thresholds.
    given : mapping of str to Rows
        The facts of the matches by alias, all of one length.
    """
    weighed = [_flag(rows, "exists", True) for rows in given.values()]
    if rule.stages:
        weighed.append(_stages(rule, given[rule.stages_of]))
    weighed += [_best([_hold(c, given, pack) for c in ways]) for ways in rule.when]
    n = len(next(iter(given.values())).at)
    cause, settled = np.zeros(n, dtype=np.int64), np.ones(n, dtype=np.bool_)
    for held in weighed:
        is_open = held.maybe & ~held.sure
        cause |= np.where(is_open, held.cause, 0)
        settled &= ~is_open
    if rule.absence is not None:
        cause[settled] |= int(Cause.NO_JOURNAL)
    return cause


def _best(held: list[Held]) -> Held:
    """Return, for each match, the alternative that holds best, the first of equals."""
    if len(held) == 1:
        return held[0]
    rank = np.array([2 * h.sure.astype(np.int8) + h.maybe for h in held])
    best = rank.argmax(axis=0)[None]
    sure, maybe, cause = (
        np.take_along_axis(np.array([getattr(h, name) for h in held]), best, axis=0)[0]
        for name in ("sure", "maybe", "cause")
    )
    return Held(sure, maybe, cause)


def _hold(condition: Condition, given: Mapping[str, Rows], pack: Pack) -> Held:
    if isinstance(condition, IsWord):
        rows = given[condition.ref.alias]
        words = rows.table.words[condition.ref.name]
        holds = np.array([words[i] in condition.words for i in rows.at], dtype=np.bool_)
        return Held(holds, holds, np.zeros(len(holds), dtype=np.int64))
    if isinstance(condition, IsFlag):
        return _flag(given[condition.ref.alias], condition.ref.name, condition.wanted)
    if isinstance(condition, Compare):
        return _compare(condition, given, pack)
    return _relate(condition.name, given[condition.first], given[condition.second])


def _flag(rows: Rows, name: str, wanted: bool) -> Held:
    least, most, cause = rows.bounds(name)
    return Held(least == 1, most == 1, cause) if wanted else Held(most == 0, least == 0, cause)


def _compare(condition: Compare, given: Mapping[str, Rows], pack: Pack) -> Held:
    low, high, cause = given[condition.left.alias].bounds(condition.left.name)
    if isinstance(condition.right, Ref):
        low_2, high_2, more = given[condition.right.alias].bounds(condition.right.name)
        cause = cause | more
    else:
        threshold = pack.threshold(condition.right)
        low_2 = high_2 = np.full(len(low), threshold.value if threshold else 0.0)
    if condition.op in (">=", ">"):
        margin, short = low - high_2, high - low_2
    else:
        margin, short = low_2 - high, high_2 - low
    compare = np.greater if condition.op in (">", "<") else np.greater_equal
    return Held(compare(margin, 0.0), compare(short, 0.0), cause)


def _relate(name: str, one: Rows, other: Rows) -> Held:
    a, b = one.span(), other.span()
    cause = _span_cause(one) | _span_cause(other)
    if name == "overlaps":
        return Held((a[1] < b[2]) & (b[1] < a[2]), (a[0] < b[3]) & (b[0] < a[3]), cause)
    if name == "within":
        return Held((a[0] >= b[1]) & (a[3] <= b[2]), (a[1] >= b[0]) & (a[2] <= b[3]), cause)
    if name == "before":
        return Held(a[3] <= b[0], a[2] <= b[1], cause)
    always = np.ones(len(cause), dtype=np.bool_)  # follows: the matcher has tied them by keys
    return Held(always, always, cause)


def _span_cause(rows: Rows) -> Ints:
    """Return why each fact's start or end is open."""
    cause = rows.bounds("exists")[2]
    if "hours" in rows.table.cause:
        cause = cause | rows.bounds("hours")[2]
    a, b, c, d = rows.span()
    return np.where((a == b) & (c == d), 0, cause)


def _stages(rule: Rule, rows: Rows) -> Held:
    wanted, t = bits(rule.stages), rows.table
    sure, maybe = ((s[rows.at] & wanted) != 0 for s in (t.stages_sure, t.stages_possible))
    return Held(sure, maybe, np.full(len(sure), int(Cause.NO_STAGE)))
