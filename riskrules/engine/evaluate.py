"""Facts and packs in, matches out: prefilter, assert, collect."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from typing import Any

import numpy as np

from riskrules.engine.compile import AS, CLOSING, Compiled, column_of, compile_packs
from riskrules.engine.match import Match
from riskrules.engine.memory import Found, Memory
from riskrules.engine.process import EngineProcess, shared_engine
from riskrules.errors import EngineError
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.model import Pack

DURABLE = "durable-rules"
PLAIN = "plain fallback"


def evaluator_name() -> str:
    """Return which evaluator a review runs on here: the engine, or the marked fallback.

    On Python 3.13 and later the engine can be installed but not imported.
    """
    loads = sys.version_info < (3, 13) and find_spec("durable_rules_engine")
    return DURABLE if loads else PLAIN


def evaluate(
    facts: Facts,
    packs: Sequence[Pack],
    engine: EngineProcess | None = None,
    prefilter: bool = True,
    memory: Memory | None = None,
) -> list[Match]:
    """Return which facts of a block satisfy which rules, surely or possibly, in a fixed order.

    Parameters
    ----------
    facts : Facts
        Of one block.
    packs : sequence of Pack
    engine : EngineProcess, optional
        By default the one of this process.
    prefilter : bool
        Keep facts that satisfy the single-fact part of no rule from the engine.
    memory : Memory, optional
        What was found before; it makes a small change cheap and never changes the answer.

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
    for table in facts.values():
        _in_order(table)
    engine = engine or shared_engine()
    sure: set[tuple[str, tuple[str, ...]]] = set()
    maybe: set[tuple[str, tuple[str, ...]]] = set()
    with ThreadPoolExecutor(1) as ask:  # the next batch is made while the engine has this one
        asked = [
            _ask(facts, rules, engine, prefilter, memory, ask) for rules in compiled(tuple(packs))
        ]
        for a in asked:
            for rule, names, side in _found(facts, a, memory):
                (sure if side == "sure" else maybe).add((rule, names))
    return sorted(
        [Match(*found, True) for found in sure] + [Match(*f, False) for f in maybe - sure]
    )


def _in_order(table: FactTable) -> None:
    """Refuse bounds that are no numbers in order: comparing them would quietly give 'no'."""
    columns = {q: (table.least[q], table.most[q]) for q in table.least}
    for name, (least, most) in {**columns, "start": table.start, "end": table.end}.items():
        wrong = np.flatnonzero(~(least <= most))
        if len(wrong):
            i = wrong[0]
            shown = f"{name} is {least[i]} to {most[i]}"
            raise EngineError(f"{table.ids[i]}: {shown}; expected least <= most")


@dataclass(frozen=True, slots=True)
class _Asked:
    """One ruleset's question to the engine, and what memory has of the answer."""

    rules: Compiled
    kept: list[Found]
    fired: Future[list[tuple[str, dict[str, str]]]] | None


def _ask(
    facts: Facts,
    rules: Compiled,
    engine: EngineProcess,
    prefilter: bool,
    memory: Memory | None,
    ask: ThreadPoolExecutor,
) -> _Asked:
    """Ask what one ruleset finds, leaving out what a change since cannot have touched."""
    chosen = {kind: rules.wanted(facts[kind]) if prefilter else np.arange(len(facts[kind]))
              for kind in sorted(rules.attributes) if kind in facts}  # fmt: skip
    kept: list[Found] = []
    past = memory.recall(facts, rules) if memory is not None else None
    if past is not None and not past.changed and not past.gone:
        return _Asked(rules, past.found, None)
    if past is not None and not rules.has_absence:
        kept = past.untouched()
        chosen = {kind: part for kind, rows in chosen.items()
                  if len(part := rows[past.mask(facts, kind)[rows]])}  # fmt: skip
    batch = batch_of(facts, rules, chosen)
    return _Asked(rules, kept, ask.submit(engine.fired, rules, batch) if batch else None)


def _found(facts: Facts, asked: _Asked, memory: Memory | None) -> list[Found]:
    """Return what one ruleset finds, once the engine has answered."""
    fresh = _decoded(facts, asked.rules, asked.fired.result()) if asked.fired else []
    found = list({*asked.kept, *fresh})
    if memory is not None:
        memory.keep(facts, asked.rules, found)
    return found


def _decoded(facts: Facts, rules: Compiled, fired: list[tuple[str, dict[str, str]]]) -> list[Found]:
    ids = {rules.short[kind]: facts[kind].ids for kind in rules.attributes if kind in facts}
    plans = {name: (v.rule.key, [AS + a for a in v.rule.given], v.side)
             for name, v in rules.names.items()}  # fmt: skip
    found: list[Found] = []
    for name, known in fired:
        key, aliases, side = plans[name]
        parts = [known[a].partition(".") for a in aliases]
        found.append((key, tuple(ids[kind][int(row)] for kind, _, row in parts), side))
    return found


_cache: dict[tuple[int, ...], tuple[tuple[Pack, ...], list[Compiled]]] = {}


def compiled(packs: tuple[Pack, ...]) -> list[Compiled]:
    """Return compiled packs, kept for as long as the same pack objects come back."""
    key = tuple(id(pack) for pack in packs)
    if key not in _cache:
        if len(_cache) > 256:
            _cache.clear()
        _cache[key] = (packs, compile_packs(packs))
    return _cache[key][1]


def batch_of(facts: Facts, rules: Compiled, chosen: Mapping[str, Any] | None = None) -> str | None:
    """Return the JSON batch of a block for one ruleset, or None where no rule could fire.

    ``chosen`` gives the positions of the facts by kind; by default those of the prefilter.
    """
    rows: list[str] = []
    block = ""
    for kind, attributes in sorted(rules.attributes.items()):
        table = facts.get(kind)
        if table is None or not len(table) or (chosen is not None and kind not in chosen):
            continue
        block = table.block
        at = chosen[kind] if chosen is not None else rules.wanted(table)
        rows += _rows(table, attributes, at, rules.short)
    if not rows:
        return None
    named = f'"{rules.short["block"]}":{json.dumps(block)}'
    rows.append(f'{{"id":"{CLOSING}","kind":"{CLOSING}","sid":"u",{named}}}')
    return f"[{','.join(rows)}]"


def _rows(
    table: FactTable, attributes: tuple[str, ...], chosen: Any, short: dict[str, str]
) -> list[str]:
    """Return facts as JSON texts, the id first: one template a kind, one column at a time."""
    kind = short[table.kind.name]
    columns: list[list[Any]] = [chosen.tolist()]
    for attribute in attributes:
        column = column_of(table, attribute)
        if isinstance(column, np.ndarray):
            columns.append(_plain(column[chosen]))
        else:
            columns.append([_quoted(column[i]) for i in chosen])
    named = "".join(f',"{short[a]}":%s' for a in attributes)
    template = f'{{"id":"{kind}.%s","kind":"{kind}","sid":"u"{named}}}'
    return [template % row for row in zip(*columns, strict=True)]


@lru_cache(maxsize=4096)
def _quoted(word: str) -> str:
    return json.dumps(word)


def _plain(column: Any) -> list[Any]:
    """Return numbers of Python, whole ones as integers (shorter JSON, and never an exponent)."""
    if column.dtype.kind == "f" and not (column % 1).any():
        column = column.astype(np.int64)
    found: list[Any] = column.tolist()
    return found


@lru_cache(maxsize=1)
def engine_version() -> str:
    """Return the evaluator's name with its version."""
    if evaluator_name() == PLAIN:
        return PLAIN
    from importlib.metadata import version

    return f"{DURABLE} {version('durable-rules')}"
