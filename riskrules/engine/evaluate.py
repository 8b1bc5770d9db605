"""Facts and packs in, matches out: prefilter, assert, collect."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import lru_cache
from importlib.util import find_spec
from typing import Any

import numpy as np

from riskrules.engine.compile import CLOSING, Compiled, column_of, compile_packs
from riskrules.engine.match import Match
from riskrules.engine.process import EngineProcess, shared_engine
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.model import Pack

DURABLE = "durable-rules"
PLAIN = "plain fallback"


def evaluator_name() -> str:
    """Return which evaluator a review runs on here: the engine, or the marked fallback."""
    return DURABLE if find_spec("durable_rules_engine") else PLAIN


def evaluate(
    facts: Facts,
    packs: Sequence[Pack],
    engine: EngineProcess | None = None,
    prefilter: bool = True,
) -> list[Match]:
    """Return which facts of a block satisfy which rules, surely or possibly, in a fixed order.

    Raises
    ------
    EngineCrash
        If the engine's process died twice on these facts.
    EngineError
        If the engine refused rules or facts.
    """
    if evaluator_name() == PLAIN:
        from riskrules.engine.plain import matches

        return matches(facts, packs)
    engine = engine or shared_engine()
    sure: set[tuple[str, tuple[str, ...]]] = set()
    maybe: set[tuple[str, tuple[str, ...]]] = set()
    for rules in compiled(tuple(packs)):
        batch = batch_of(facts, rules, prefilter)
        if batch is None:
            continue
        for name, ids in engine.fired(rules, batch):
            variant = rules.names[name]
            found = (variant.rule.key, tuple(ids[alias] for alias in variant.rule.given))
            (sure if variant.side == "sure" else maybe).add(found)
    return sorted(
        [Match(*found, True) for found in sure] + [Match(*f, False) for f in maybe - sure]
    )


_cache: dict[tuple[int, ...], tuple[tuple[Pack, ...], list[Compiled]]] = {}


def compiled(packs: tuple[Pack, ...]) -> list[Compiled]:
    """Return compiled packs, kept for as long as the same pack objects come back."""
    key = tuple(id(pack) for pack in packs)
    if key not in _cache:
        if len(_cache) > 32:
            _cache.clear()
        _cache[key] = (packs, compile_packs(packs))
    return _cache[key][1]


def batch_of(facts: Facts, rules: Compiled, prefilter: bool = True) -> str | None:
    """Return the JSON batch of a block for one ruleset, or None where no rule could fire."""
    rows: list[dict[str, Any]] = []
    block = ""
    for kind, attributes in sorted(rules.attributes.items()):
        table = facts.get(kind)
        if table is None or not len(table):
            continue
        block = table.block
        chosen = rules.wanted(table) if prefilter else np.arange(len(table))
        rows += _rows(table, attributes, chosen)
    if not rows:
        return None
    rows.append({"kind": CLOSING, "id": "closing", "block": block, "sid": "u"})
    return json.dumps(rows)


def _rows(table: FactTable, attributes: tuple[str, ...], chosen: Any) -> list[dict[str, Any]]:
    columns: dict[str, list[Any]] = {
        "id": [table.ids[i] for i in chosen],
        "kind": [table.kind.name] * len(chosen),
        "sid": ["u"] * len(chosen),
    }
    for attribute in attributes:
        column = column_of(table, attribute)
        if isinstance(column, np.ndarray):
            columns[attribute] = column[chosen].tolist()
        else:
            columns[attribute] = [column[i] for i in chosen]
    names = list(columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]


@lru_cache(maxsize=1)
def engine_version() -> str:
    """Return the evaluator's name with its version."""
    if evaluator_name() == PLAIN:
        return PLAIN
    from importlib.metadata import version

    return f"{DURABLE} {version('durable-rules')}"
