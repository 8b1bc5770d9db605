"""CLIPS through clipspy, arranged as kindly as we know: built once, reset for each block."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Literal

import clips
import numpy as np
from clips._clips import lib
from clips.common import environment_builder
from clips.values import clips_value

from benchmarks.clips_rules import ROW, clips_rules
from riskrules.engine.compile import Compiled, column_of
from riskrules.engine.match import Match
from riskrules.facts.table import Facts, FactTable

How = Literal["slots", "cffi", "text"]
"""How facts are asserted: clipspy's own call a fact, its C functions, or one text of all."""
HOWS: tuple[How, ...] = ("slots", "cffi", "text")
ROUTER = b"python-error-router"
Columns = dict[str, list[Any]]


class Clips:
    """One CLIPS environment that holds the shipped rules."""

    def __init__(self, compiled: Sequence[Compiled], how: How = "text") -> None:
        self._compiled = compiled
        self._rules = clips_rules(compiled)
        self._folder = tempfile.TemporaryDirectory()
        self._out = Path(self._folder.name) / "found"
        self._env = clips.Environment()
        for construct in (*self._rules.templates, *self._rules.rules):
            self._env.build(construct)
        put: dict[How, Callable[[str, Columns], None]] = {
            "slots": self._by_slots, "cffi": self._by_cffi, "text": self._by_text,
        }  # fmt: skip
        self._put = put[how]

    def close(self) -> None:
        """Give back the file; the environment goes when nothing holds this any more."""
        self._folder.cleanup()

    def evaluate(self, facts: Facts, prefilter: bool = True) -> list[Match]:
        """Return what `riskrules.engine.evaluate.evaluate` returns, found by CLIPS."""
        self._env.reset()
        for kind, attributes in self._rules.slots.items():
            table = facts.get(kind)
            if table is None or not len(table):
                continue
            chosen = self._wanted(table) if prefilter else np.arange(len(table))
            if len(chosen):
                self._put(kind, columns_of(table, attributes, chosen))
        self._run()
        return self._matches(facts)

    def _run(self) -> None:
        """Fire all; clipspy's router, which asks Python about each piece written, rests."""
        env = self._env._env
        self._env.eval(f'(open "{self._out}" found "w")')
        lib.DeactivateRouter(env, ROUTER)
        try:
            self._env.run()
        finally:
            lib.ActivateRouter(env, ROUTER)
        self._env.eval("(close found)")

    def _wanted(self, table: FactTable) -> Any:
        """Return the facts that some rule of some pack may want: our own prefilter."""
        kind = table.kind.name
        found = [c.wanted(table) for c in self._compiled if kind in c.attributes]
        return np.unique(np.concatenate(found))

    def _matches(self, facts: Facts) -> list[Match]:
        sure: set[tuple[str, tuple[str, ...]]] = set()
        maybe: set[tuple[str, tuple[str, ...]]] = set()
        for line in self._out.read_text(encoding="ascii").splitlines():
            number, *rows = map(int, line.split())
            variant = self._rules.variants[number]
            kinds = variant.rule.given.values()
            ids = tuple(facts[k].ids[i] for k, i in zip(kinds, rows, strict=True))
            (sure if variant.side == "sure" else maybe).add((variant.rule.key, ids))
        found = [Match(*f, True) for f in sure] + [Match(*f, False) for f in maybe - sure]
        return sorted(found)

    def _by_slots(self, kind: str, columns: Columns) -> None:
        template = self._env.find_template(kind)
        names = list(columns)
        for row in zip(*columns.values(), strict=True):
            template.assert_fact(**dict(zip(names, row, strict=True)))

    def _by_cffi(self, kind: str, columns: Columns) -> None:
        """Assert by clipspy's own C functions, each slot name and value made once."""
        env, put, done = self._env._env, lib.FBPutSlot, lib.FBAssert
        builder = environment_builder(env, "fact")
        made: dict[type, dict[Any, Any]] = {int: {}, float: {}, str: {}}
        slots = [(name.encode(), made[type(column[0])]) for name, column in columns.items()]
        lib.FBSetDeftemplate(builder, kind.encode())
        for row in zip(*columns.values(), strict=True):
            for (name, known), value in zip(slots, row, strict=True):
                cell = known.get(value)
                if cell is None:
                    cell = known[value] = clips_value(env, value)
                put(builder, name, cell)
            if not done(builder):
                raise RuntimeError(f"CLIPS refused a {kind}")

    def _by_text(self, kind: str, columns: Columns) -> None:
        """Load all facts of a kind as one text, which CLIPS parses in C."""
        form = f"({kind} {' '.join(f'({name} {{}})' for name in columns)})".format
        written = [_written(column) for column in columns.values()]
        self._env.load_facts("\n".join(form(*row) for row in zip(*written, strict=True)))


def _written(column: list[Any]) -> list[Any]:
    return [f'"{value}"' for value in column] if isinstance(column[0], str) else column


def columns_of(table: FactTable, attributes: Sequence[str], chosen: Any) -> Columns:
    """Return a table's columns as values of Python: whole numbers as integers, as ours do."""
    columns: Columns = {ROW: chosen.tolist()}
    for attribute in attributes:
        column = column_of(table, attribute)
        if isinstance(column, np.ndarray):
            whole = column.dtype.kind != "f" or not (column % 1).any()
            columns[attribute] = (column[chosen].astype(np.int64) if whole else column[chosen]
                                  ).tolist()  # fmt: skip
        else:
            columns[attribute] = [column[i] for i in chosen.tolist()]
    return columns
