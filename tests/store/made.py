"""Small logs for the tests of the store, made here: nothing in them was measured."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.facts.kinds import Cause
from riskrules.logs.readings import PER_ROW, PER_VALUE, Note, Readings, Tally, missing_cause
from riskrules.logs.store import Incoming
from riskrules.logs.troubles import Trouble

START = 1_767_225_600 - 3 * 3600
"""Three hours before 2026 in UTC, so that a few rows lie in two years."""
NAMES = ("air_temperature", "relative_humidity")
HEADER = "time,air_temperature [degC],relative_humidity [%],forecast"


@contextlib.contextmanager
def quick_folder() -> Iterator[Path]:
    """Yield a folder for one of many examples: in memory where there is one, as flushing costs."""
    memory = "/dev/shm"
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as name:
        yield Path(name)


def text(rows: list[tuple[int, str, str, int]], comment: str = "") -> bytes:
    """Return a log of rows (hour, temperature, humidity, forecast); '' is an empty cell."""
    lines = [f"# {comment}"] if comment else []
    lines += [HEADER, *(f"{h},{t},{r},{f}" for h, t, r, f in rows)]
    return ("\n".join(lines) + "\n").encode()


def parse(raw: bytes, file: str, shift: float = 0.0) -> Readings:
    """Read such a log: 'bad' is a cell that is no number; hours count from START."""
    lines = raw.decode().split("\n")
    at = lines.index(HEADER) + 1
    rows = [line.split(",") for line in lines[at:] if line.strip()]
    n = len(rows)
    values, cause, reasons = {}, {}, {}
    for i, name in enumerate(NAMES, start=1):
        cells = [r[i] for r in rows]
        number = [np.nan if c in ("", "bad") else float(c) + shift for c in cells]
        values[name] = np.array(number, dtype=float)
        absent = int(missing_cause(name))
        cause[name] = np.where(np.isnan(values[name]), absent, 0).astype(np.int64)
        bad = [int(Trouble.NOT_A_NUMBER) if c == "bad" else 0 for c in cells]
        reasons[name] = np.array(bad, dtype=np.uint32)
    return Readings(
        time=np.array([START + 3600 * int(r[0]) for r in rows], dtype=np.int64),
        step=3600, values=values, cause=cause, reasons=reasons,
        forecast=np.array([r[3] == "1" for r in rows], dtype=bool),
        files=(file,), rows_read=n,
        line=np.arange(n, dtype=np.int64) + at + 1, source=np.zeros(n, dtype=np.int64),
        tallies=(Tally(file, n, n, 0, 0, 0),),
    )  # fmt: skip


def item(
    raw: bytes, file: str = "a.csv", written: int = 1, block: str = "north",
    sensor: str = "low", mapping: str = "", shift: float = 0.0,
) -> Incoming:  # fmt: skip
    """Return a log on its way into the store."""
    return Incoming(block, sensor, file, raw, written, parse(raw, file, shift), mapping)


def random_readings(seed: int, n: int, sensor: str = "low") -> Readings:
    """Return readings in which everything that can be there is there, or not, by chance."""
    draw = np.random.default_rng(seed)
    steps = draw.choice([60, 600, 3600, 10_800, 40 * 86_400], n)
    time = START + np.cumsum(steps).astype(np.int64)
    rows = Readings(
        time, int(draw.integers(60, 4000)), {}, {}, draw.random(n) < draw.choice([0, 0.3])
    )
    for name in draw.choice([*NAMES, "surface_wetness", "wind_speed_outside"], 2, replace=False):
        name = str(name)
        value = np.round(draw.normal(10, 9, n), int(draw.integers(0, 17)))
        value[draw.random(n) < 0.2] = np.nan
        value[draw.random(n) < 0.05] = -0.0
        rows.values[name] = value
        rows.cause[name] = np.where(np.isnan(value), int(missing_cause(name)), 0).astype(np.int64)
        if draw.random() < 0.5:
            rows.cause[name] |= draw.choice([0, int(Cause.DISAGREE), int(Cause.DOUBTED)], n)
        if draw.random() < 0.7:
            rows.reasons[name] = draw.choice([0, 1 << 8, 1 << 31], n).astype(np.uint32)
        if draw.random() < 0.5:
            rows.low[name], rows.high[name] = value.copy(), value + draw.choice([0, 1.5])
        if draw.random() < 0.3:
            rows.origin[name] = draw.integers(0, 3, n).astype(np.uint8)
    if draw.random() < 0.8:
        rows.line = np.cumsum(draw.integers(1, 4, n)).astype(np.int64)
        rows.source = draw.integers(0, 2, n).astype(np.int64)
    if draw.random() < 0.4:
        rows.spans = steps.astype(np.int64)
    rows.files = ("däy \udcff.csv", "b.zip/c.csv")
    rows.rows_read, rows.sensor = n + 3, sensor
    rows.placed = str(draw.choice(["under_cover", "outside", "in_bed"]))
    rows.tallies = (Tally("a.csv", n, n, 0, 0, 0), Tally("b.zip/c.csv", 3, 0, 1, 1, 1))
    note = Note("a.csv", 3, "wind_speed is 'calm'", 4, True, "not_a_number", "wind_speed", 1, 9)
    rows.notes = [note, Note("a.csv", 0, "said once", doubts=False)]
    return rows


def differences(a: Readings, b: Readings) -> list[str]:
    """Return where two readings are not the same to the last bit."""
    found = []
    for f in dataclasses.fields(Readings):
        one, two = getattr(a, f.name), getattr(b, f.name)
        if f.name in PER_VALUE:
            if list(one) != list(two):
                found.append(f"{f.name}: {list(one)} and {list(two)}")
            found += [f"{f.name} of {n}" for n in one if n in two and not _same(one[n], two[n])]
        elif f.name in PER_ROW:
            if not _same(one, two):
                found.append(f.name)
        elif one != two:
            found.append(f"{f.name}: {one} and {two}")
    return found


def _same(a: Any, b: Any) -> bool:
    return a.dtype == b.dtype and a.shape == b.shape and a.tobytes() == b.tobytes()
