"""The examples of a rule, run: small invented facts, and what the rule must say to them.

An example maps an alias to values and says what it ``gives``: fires, quiet or unknown. What it
leaves out is anywhere within its physical limits (a time is 0 to 1 h, ``exists`` and
``journal_current`` are true, ``basis`` is measured, another word is none). Facts of a chained kind
follow each other in the order of ``given``. An absent fact that is left out isn't there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from riskrules.engine.match import Match
from riskrules.errors import PackError, Problem
from riskrules.facts.kinds import Kind
from riskrules.facts.stages import ALL, bits
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.check import kinds_now, meant
from riskrules.packs.model import Pack, Rule
from riskrules.science.stages import is_code

Outcome = Literal["fires", "quiet", "unknown"]
OUTCOMES: tuple[Outcome, ...] = ("fires", "quiet", "unknown")
Matcher = Callable[[Facts, Sequence[Pack]], Sequence[Match]]
"""What evaluates packs over the facts of one block."""

BLOCK = "example"
HOUR = 3600
ZERO = 978_307_200
"""The arbitrary zero of an example's hours: 2001-01-01 00:00 UTC. [s since 1970]"""
DEFAULTS = {"start": 0, "end": 1, "exists": True, "journal_current": True}
Bounds = tuple[float, float]


class ExampleError(ValueError):
    """An example that cannot be read; its words say what was expected."""


def run_example(
    rule: Rule,
    pack: Pack,
    example: Mapping[str, Any],
    matcher: Matcher,
    kinds: Mapping[str, Kind] | None = None,
) -> Outcome:
    """Return what a rule gives to an example, by an evaluator of packs over facts.

    Raises
    ------
    PackError
        If the example speaks of what the rule or its facts don't have.
    """
    facts = example_facts(rule, example, kinds)
    found = [m for m in matcher(facts, [replace(pack, rules=(rule,))]) if m.rule == rule.key]
    if any(match.sure for match in found):
        return "fires"
    return "unknown" if found else "quiet"


def example_facts(
    rule: Rule, example: Mapping[str, Any], kinds: Mapping[str, Kind] | None = None
) -> Facts:
    """Return an example's facts as tables, one for each kind that the rule speaks of.

    Raises
    ------
    PackError
        With the rule's line, and what was expected.
    """
    try:
        return _facts(rule, example, kinds_now() if kinds is None else kinds)
    except ExampleError as error:
        where = f"example of rule '{rule.name}': {error}"
        raise PackError([Problem(f"{rule.pack}.yaml", rule.line, 0, where)]) from None


def _facts(rule: Rule, example: Mapping[str, Any], kinds: Mapping[str, Kind]) -> Facts:
    given = dict(rule.given)
    absent = rule.absence.alias if rule.absence else None
    if rule.absence:
        given[rule.absence.alias] = rule.absence.kind
    for alias in example:
        if alias not in (*given, "gives"):
            raise ExampleError(f"no fact '{alias}' is given{meant(alias, given)}")
    if example.get("gives") not in OUTCOMES:
        raise ExampleError(f"gives is {example.get('gives')!r}; expected {', '.join(OUTCOMES)}")
    facts: Facts = {}
    for name in dict.fromkeys(given.values()):
        aliases = [a for a, k in given.items() if k == name and (a != absent or a in example)]
        facts[name] = _table(kinds[name], {a: _values(example, a) for a in aliases})
    return facts


def _values(example: Mapping[str, Any], alias: str) -> dict[str, Any]:
    values = example.get(alias) or {}
    if not isinstance(values, Mapping):
        raise ExampleError(f"{alias} is {values!r}; expected a mapping of values")
    return DEFAULTS | dict(values)


def _table(kind: Kind, rows: Mapping[str, dict[str, Any]]) -> FactTable:
    known = (*(q.name for q in kind.all_quantities), *kind.words, "start", "end", "stages")
    for alias, values in rows.items():
        for name in values:
            if name not in known:
                raise ExampleError(f"{kind.name} '{alias}' has no '{name}'{meant(name, known)}")
    each = list(rows.values())
    size = len(each)
    table = FactTable(kind, BLOCK, list(rows), _times(each, "start"), _times(each, "end"))
    for q in kind.all_quantities:
        bounds = [_bounds(q.name, row.get(q.name, "unknown"), (q.least, q.most)) for row in each]
        table.least[q.name] = np.array([b[0] for b in bounds], dtype=np.float64)
        table.most[q.name] = np.array([b[1] for b in bounds], dtype=np.float64)
        table.cause[q.name] = np.zeros(size, dtype=np.int64)
    for name, allowed in kind.words.items():
        table.words[name] = [_word(name, row, allowed) for row in each]
    table.key = list(rows)
    table.previous = ["", *list(rows)[:-1]] if kind.chained and rows else [""] * size
    stages = [_stages(row.get("stages", "unknown")) for row in each]
    table.stages_sure = np.array([s[0] for s in stages], dtype=np.int64)
    table.stages_possible = np.array([s[1] for s in stages], dtype=np.int64)
    table.forecast = np.array([row.get("basis") == "forecast" for row in each], dtype=np.bool_)
    return table


def _times(rows: Sequence[Mapping[str, Any]], name: str) -> tuple[Any, Any]:
    bounds = [_bounds(name, row[name], (-1e6, 1e6)) for row in rows]
    seconds = [[round(ZERO + HOUR * bound[i]) for bound in bounds] for i in (0, 1)]
    return np.array(seconds[0], dtype=np.int64), np.array(seconds[1], dtype=np.int64)


def _bounds(name: str, value: Any, limits: Bounds) -> Bounds:
    """Return the least and most of a value: a number, yes or no, ``[least, most]``, unknown."""
    if value == "unknown":
        return limits
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2 or any(not isinstance(each, int | float) for each in pair):
        expected = "a number, true, false, [least, most] or unknown"
        raise ExampleError(f"{name} is {value!r}; expected {expected}")
    least, most = float(pair[0]), float(pair[1])
    if not limits[0] <= least <= most <= limits[1]:
        expected = f"least to most within {limits[0]:g} to {limits[1]:g}"
        raise ExampleError(f"{name} is {least:g} to {most:g}; expected {expected}")
    return least, most


def _word(name: str, row: Mapping[str, Any], allowed: Sequence[str]) -> str:
    word = row.get(name, "measured" if name == "basis" else "")
    if name in row and word not in allowed:
        raise ExampleError(f"{name} is {word!r}; expected one of {', '.join(allowed)}")
    return str(word)


def _stages(value: Any) -> tuple[int, int]:
    if value == "unknown":
        return 0, ALL
    if not isinstance(value, list) or not all(isinstance(c, int) and is_code(c) for c in value):
        raise ExampleError(f"stages are {value!r}; expected a list of BBCH codes, or unknown")
    return bits(value), bits(value)
