"""Small packs and facts made by hand, and the raw engine in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from riskrules.facts.kinds import KINDS
from riskrules.facts.stages import ALL
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.load import check_pack
from riskrules.packs.marked import Marked
from riskrules.packs.model import Pack

HOUR, ZERO = 3600, 1_777_593_600
PRELUDE = """
import json
import durable_rules_engine as engine
from durable.engine import Ruleset
class Stub:
    def get_action(self, name): raise LookupError(name)
def built(rules):
    runnable = {n: {"all": c, "run": lambda c: None} for n, c in rules.items()}
    return Ruleset("raw", Stub(), runnable)
def messages(rules, text):
    code, state = engine.assert_facts(rules._handle, text)
    started = engine.start_action_for_state(rules._handle, state)
    message = started[1] if started else None
    while message:
        yield message
        message = engine.complete_and_start_action(rules._handle, state)
def fired(rules, facts):
    text = facts if isinstance(facts, str) else json.dumps(facts)
    return [next(iter(json.loads(m))) for m in messages(rules, text)]
def fact(kind, name, **more): return {"kind": kind, "id": name, "sid": "u", "block": "b", **more}
wet, done, last = fact("wet", "w"), fact("done", "d"), fact("closing", "c")
blocked = {"b$not": {"$and": [{"kind": "done"}, {"block": {"a": "block"}}]}}
"""


def raw(code: str, patience: float = 30) -> Any:
    """Run code on the raw engine in a process of its own; return what it prints as JSON."""
    run = [sys.executable, "-W", "ignore", "-c", PRELUDE + code]
    ended = subprocess.run(run, capture_output=True, text=True, timeout=patience)
    assert ended.returncode == 0, ended.stderr[-2000:]
    return json.loads(ended.stdout)


def rule(name: str, given: dict[str, str], when: list[str], **more: Any) -> dict[str, Any]:
    return {
        "rule": name, "title": "Invented", "given": given, "when": when,
        "finding": {"hazard": "heat", "severity": "Minor", "sentence": "Invented."},
        "sources": [{"text": "invented for a test", "tag": "assumption"}], **more,
    }  # fmt: skip


def pack(*rules: dict[str, Any], **thresholds: float) -> Pack:
    """Return a checked pack; every threshold is in hours."""
    limits = {
        name: {"value": value, "unit": "h", "range": [0, 99_999], "source": "invented for a test",
               "tag": "assumption"}
        for name, value in thresholds.items()
    }  # fmt: skip
    data = {"pack": "traps", "title": "Invented", "thresholds": limits, "rules": list(rules)}
    return check_pack(Marked("traps.yaml", json.dumps(data)), {})


def table(kind: str, rows: Sequence[Mapping[str, Any]], block: str = "b") -> FactTable:
    """Return facts of a kind from ``start`` and ``end`` in hours, words, and numbers."""
    of = KINDS[kind]
    n = len(rows)
    start, end = (
        np.array([ZERO + HOUR * row.get(x, y) for row in rows], dtype=np.int64)
        for x, y in (("start", 0), ("end", 1))
    )
    ids = [row.get("id", f"{kind}/{i}") for i, row in enumerate(rows)]
    found = FactTable(of, block, ids, (start, start), (end, end))
    for q in of.all_quantities:
        column = np.array([row.get(q.name, 1.0) for row in rows], dtype=np.float64)
        found.least[q.name], found.most[q.name] = column, column.copy()
        found.cause[q.name] = np.zeros(n, dtype=np.int64)
    for word, values in of.words.items():
        found.words[word] = [row.get(word, values[0]) for row in rows]
    found.key = [row.get("key", f"key {i}") for i, row in enumerate(rows)]
    found.previous = [row.get("previous", f"key {i - 1}") for i, row in enumerate(rows)]
    found.stages_sure = found.stages_possible = np.full(n, ALL, dtype=np.int64)
    found.forecast = np.zeros(n, dtype=np.bool_)
    return found


def facts(**tables: Sequence[Mapping[str, Any]]) -> Facts:
    return {kind: table(kind, rows) for kind, rows in tables.items()}
