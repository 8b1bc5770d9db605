"""What was found before, so that an hour more of log costs little. It never changes the answer.

A match is decided by its own facts alone, unless its rule has an absence. So where some facts
changed, matches of unchanged facts stand, and only changed facts and those that may be tied to
them are evaluated again. Rules with an absence are evaluated whole whenever one of their facts
changed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.engine.compile import Compiled, column_of
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.conditions import Relation, aliases_of
from riskrules.packs.model import Rule

Found = tuple[str, tuple[str, ...], str]
"""Rule, ids of its facts, side."""
NEAR_S = 36 * 3600
"""Facts that follow one another, night after night, lie less far apart. [s] (assumption)"""
TIES = ("overlaps", "within", "follows")


@dataclass(slots=True)
class Past:
    """What one ruleset found before, and which facts have changed since."""

    found: list[Found]
    rules: Compiled
    changed: dict[str, set[str]] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)

    def untouched(self) -> list[Found]:
        """Return the matches none of whose facts changed or went."""
        touched = self.gone.union(*self.changed.values()) if self.changed else self.gone
        return [f for f in self.found if touched.isdisjoint(f[1])]

    def mask(self, facts: Facts, kind: str) -> npt.NDArray[np.bool_]:
        """Return which facts of a kind must be evaluated again: changed, or near to a change."""
        table = facts[kind]
        mine = self.changed.get(kind, set())
        mask = np.array([name in mine for name in table.ids], dtype=bool)
        lo, hi = self._hull(facts)
        for rule in self.rules.rules:
            kinds = list(rule.given.values())
            if len(kinds) < 2 or kind not in kinds or not any(k in self.changed for k in kinds):
                continue
            if len(kinds) > 2 or not tied_in_time(rule):
                return np.ones(len(table), dtype=bool)
            mask |= (table.start[0] < hi + NEAR_S) & (table.end[1] > lo - NEAR_S)
        return mask

    def _hull(self, facts: Facts) -> tuple[int, int]:
        """Return the first start and the last end of all that changed. [s]"""
        lows, highs = [], []
        for kind, names in self.changed.items():
            table = facts[kind]
            at = np.array([i for i, name in enumerate(table.ids) if name in names], dtype=np.int64)
            if len(at):
                lows.append(int(table.start[0][at].min()))
                highs.append(int(table.end[1][at].max()))
        return (min(lows), max(highs)) if lows else (0, 0)


def tied_in_time(rule: Rule) -> bool:
    """Whether each later fact of a rule must overlap, lie in, or follow an earlier one."""
    names = list(rule.given)
    return all(
        any(
            all(
                isinstance(c, Relation) and c.name in TIES and alias in aliases_of(c)
                for c in alternatives
            )
            for alternatives in rule.when
        )
        for alias in names[1:]
    )


class Memory:
    """Keeps, for each block and ruleset, the facts that were evaluated and what was found."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], tuple[Facts, list[Found]]] = {}

    def keep(self, facts: Facts, rules: Compiled, found: list[Found]) -> None:
        """Keep what a ruleset found in a block."""
        self._kept[(_block(facts), rules.key)] = (facts, found)

    def recall(self, facts: Facts, rules: Compiled) -> Past | None:
        """Return what was found before, with what has changed since; None where nothing was."""
        kept = self._kept.get((_block(facts), rules.key))
        if kept is None:
            return None
        past = Past(kept[1], rules)
        for kind, attributes in rules.attributes.items():
            if kind not in facts or kind not in kept[0]:
                return None
            changed, gone = _differences(kept[0][kind], facts[kind], attributes)
            if changed:
                past.changed[kind] = changed
            past.gone |= gone
        return past


def _block(facts: Facts) -> str:
    return next(iter(facts.values())).block if facts else ""


def _differences(
    old: FactTable, new: FactTable, attributes: tuple[str, ...]
) -> tuple[set[str], set[str]]:
    """Return the ids that are new or differ in an attribute, and those that are gone."""
    before = {name: i for i, name in enumerate(old.ids)}
    at = np.array([before.get(name, -1) for name in new.ids], dtype=np.int64)
    differs = at < 0
    same = np.flatnonzero(at >= 0)
    for attribute in attributes:
        a, b = _column(old, attribute)[at[same]], _column(new, attribute)[same]
        differs[same] |= a != b
    changed = {new.ids[i] for i in np.flatnonzero(differs)}
    return changed, set(before).difference(new.ids)


def _column(table: FactTable, attribute: str) -> npt.NDArray[Any]:
    column = column_of(table, attribute)
    return column if isinstance(column, np.ndarray) else np.array(column, dtype=object)
