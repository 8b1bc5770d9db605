"""Files added in any order against a plain model of what a store is."""

from __future__ import annotations

import hashlib
import math
import shutil
from contextlib import ExitStack
from dataclasses import dataclass

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from riskrules.errors import Problem
from riskrules.logs.readings import Readings
from riskrules.logs.store import LogStore
from tests.store.made import NAMES, START, differences, item, quick_folder, text

CELLS = st.sampled_from(["", "bad", "1", "2.5", "3", "4.25"])
ROWS = st.lists(
    st.tuples(st.integers(0, 5), CELLS, CELLS, st.sampled_from([0, 0, 0, 1])),
    max_size=5, unique_by=lambda r: r[0],
).map(sorted)  # fmt: skip
SENSORS = st.sampled_from(["low", "high"])
WRITTEN = st.integers(1, 4)
SHIFT = {"m1": 0.0, "m2": 100.0}


@dataclass
class File:
    sensor: str
    raw: bytes
    written: int
    mapping: str

    @property
    def sha(self) -> str:
        return hashlib.sha256(self.raw).hexdigest()

    def cells(self, name: str) -> dict[int, tuple[str, bool, int]]:
        """Return by hour the cell of a variable, whether it is a forecast, and its line."""
        found = {}
        for number, line in enumerate(self.raw.decode().split("\n"), start=1):
            cells = line.split(",")
            if cells[0].isdigit():
                found[int(cells[0])] = (cells[1 + NAMES.index(name)], cells[3] == "1", number)
        return found


class Model:
    """Every file by sensor and bytes; nothing is ever removed."""

    def __init__(self) -> None:
        self.files: dict[tuple[str, bytes], File] = {}

    def add(self, file: File) -> None:
        known = self.files.setdefault((file.sensor, file.raw), file)
        known.written = min(known.written, file.written)
        known.mapping = file.mapping

    def counting(self, sensor: str) -> list[File]:
        mine = [f for f in self.files.values() if f.sensor == sensor]
        return [
            f for f in mine
            if not any(g.raw != f.raw and g.raw.startswith(f.raw) for g in mine)
        ]  # fmt: skip

    def trace(self, sensor: str, hour: int, name: str) -> list[tuple[str, int, float]]:
        """Return hash, line and value of each file's row, the one that goes first first."""
        found = []
        for file in self.counting(sensor):
            if hour in file.cells(name):
                cell, forecast, line = file.cells(name)[hour]
                value = math.nan if cell in ("", "bad") else float(cell) + SHIFT[file.mapping]
                place = (not forecast, cell != "", file.written, file.sha)
                found.append((place, (file.sha, line, value)))
        return [f for _, f in sorted(found, key=lambda f: f[0], reverse=True)]


def check_against(store: LogStore, model: Model) -> None:
    for sensor in ("low", "high"):
        rows = store.readings("north", sensor)
        hours = sorted({h for f in model.counting(sensor) for h in f.cells(NAMES[0])})
        assert ((rows.time - START) // 3600).tolist() == hours
        for i, hour in enumerate(hours):
            for name in NAMES:
                expected = model.trace(sensor, hour, name)
                traced = store.trace("north", sensor, START + 3600 * hour, name)
                assert [t.wins for t in traced] == [True] + [False] * (len(expected) - 1)
                got = [(t.sha256, t.line, t.value) for t in traced]
                assert np.array_equal([g[2] for g in got], [e[2] for e in expected], equal_nan=True)
                assert [g[:2] for g in got] == [e[:2] for e in expected]
                assert np.array_equal(rows.values[name][i], expected[0][2], equal_nan=True)


class AnyOrder(RuleBasedStateMachine):
    """Add, grow, correct, copy, read by another mapping, set aside: in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = ExitStack()
        self.store = LogStore(self.folder.enter_context(quick_folder()))
        self.model = Model()
        self.asides: set[bytes] = set()

    def teardown(self) -> None:
        self.store.tidy()
        assert self.store.check() == []
        for file in self.model.files.values():
            assert self.store.original(file.sha) == file.raw
        history = self.store.history("north")
        assert {(r.sensor, r.sha256) for r in history} == {
            (f.sensor, f.sha) for f in self.model.files.values()
        }
        self.folder.close()

    def _add(self, *files: File) -> None:
        known = [(f.sensor, f.raw) in self.model.files for f in files]
        items = [
            item(f.raw, "a.csv", f.written, sensor=f.sensor, mapping=f.mapping,
                 shift=SHIFT[f.mapping])
            for f in files
        ]  # fmt: skip
        outcomes = self.store.add(items)
        for file, outcome, was in zip(files, outcomes, known, strict=True):
            self.model.add(file)
            assert outcome.sha256 == file.sha
            assert was or outcome.state != "known" or len(files) > 1

    @rule(sensor=SENSORS, rows=ROWS, written=WRITTEN, comment=st.sampled_from(["", "x"]))
    def add(self, sensor: str, rows: list, written: int, comment: str) -> None:
        self._add(File(sensor, text(rows, comment), written, "m1"))

    @rule(sensor=SENSORS, logs=st.lists(st.tuples(ROWS, WRITTEN), min_size=2, max_size=4))
    def add_many(self, sensor: str, logs: list) -> None:
        self._add(*[File(sensor, text(rows), written, "m1") for rows, written in logs])

    @rule(data=st.data(), cells=st.tuples(CELLS, CELLS), written=WRITTEN)
    def grow(self, data: st.DataObject, cells: tuple[str, str], written: int) -> None:
        if self.model.files:
            old = data.draw(st.sampled_from(list(self.model.files.values())))
            hour = max(old.cells(NAMES[0]), default=-1) + 1
            raw = old.raw + f"{hour},{cells[0]},{cells[1]},0\n".encode()
            self._add(File(old.sensor, raw, written, "m1"))

    @rule(data=st.data(), written=WRITTEN, mapping=st.sampled_from(["m1", "m2"]))
    def again(self, data: st.DataObject, written: int, mapping: str) -> None:
        """Read a known file again, perhaps as a later copy or by another mapping."""
        if self.model.files:
            old = data.draw(st.sampled_from(list(self.model.files.values())))
            before = (self.store.folder / "manifest.jsonl").read_bytes()
            same = mapping == old.mapping and written >= old.written
            self._add(File(old.sensor, old.raw, written, mapping))
            assert not same or (self.store.folder / "manifest.jsonl").read_bytes() == before

    @rule(raw=st.binary(max_size=3))
    def set_aside(self, raw: bytes) -> None:
        outcome = self.store.set_aside("b.csv", raw, [Problem("b.csv", 1, 0, "no log")])
        self.asides.add(raw)
        assert self.store.original(outcome.sha256) == raw

    @rule()
    def open_again(self) -> None:
        self.store = LogStore(self.store.folder, create=False)

    @rule()
    def rebuild(self) -> None:
        """A manifest made anew from the parts says the same of what counts."""
        was = {s: self.store.readings("north", s) for s in ("low", "high")}
        with quick_folder() as other:
            shutil.copytree(self.store.folder, other, dirs_exist_ok=True)
            (other / "manifest.jsonl").write_bytes(b"{}\n")
            again = LogStore.rebuild(other)
            for sensor, rows in was.items():
                assert differences(rows, again.readings("north", sensor)) == []

    @invariant()
    def as_the_model(self) -> None:
        check_against(self.store, self.model)
        for raw in self.asides:
            assert self.store.knows(hashlib.sha256(raw).hexdigest())


AnyOrder.TestCase.settings = settings(
    settings.default, max_examples=settings.default.max_examples // 5,
    stateful_step_count=15,
)  # fmt: skip
TestAnyOrder = AnyOrder.TestCase


@settings(max_examples=settings.default.max_examples // 2)
@given(
    st.lists(st.tuples(ROWS, WRITTEN, SENSORS), min_size=2, max_size=5),
    st.integers(0, 60), st.randoms(use_true_random=False),
)  # fmt: skip
def test_the_same_files_in_any_order_give_the_same(logs: list, cut: int, chance: object) -> None:
    files = [File(s, text(rows), w, "m1") for rows, w, s in logs]
    files.append(File(files[0].sensor, text(logs[0][0][:1]), 2, "m1"))
    found: list[dict[str, Readings]] = []
    traces = []
    for turn in range(2):
        if turn:
            chance.shuffle(files)  # type: ignore[attr-defined]
        with quick_folder() as folder:
            store = LogStore(folder)
            for f in files:
                store.add([item(f.raw, "a.csv", f.written, sensor=f.sensor)])
            found.append({s: store.readings("north", s) for s in ("low", "high")})
            times = [(s, int(t), n) for s in found[0] for t in found[0][s].time for n in NAMES]
            traces.append([[str(x) for x in store.trace("north", *at)] for at in times])
    assert traces[0] == traces[1]
    for sensor in found[0]:
        assert differences(found[0][sensor], found[1][sensor]) == []
