"""Random readings with random faults, all invented."""

from __future__ import annotations

import numpy as np

from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Trouble

from .hand import DEW, OUT, RAIN, RH, WET, T, log


def random_rows(seed: int) -> Readings:
    """Return four to twelve days of weather in which sensors fail in some of the known ways."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(96, 290))
    h = np.arange(1, n + 1)
    peak = 2 if rng.random() < 0.2 else 14
    t = 14 + 8 * np.cos((h - peak) * np.pi / 12) + rng.normal(0, 0.5, n)
    rh = np.clip(80 - 2.5 * (t - 14) + rng.normal(0, 4, n), 5, 100)
    columns = {
        T: t, RH: rh, DEW: t - (100 - rh) / 5 + rng.normal(0, 0.3, n),
        WET: np.where(rh > 92, rng.uniform(0.5, 1, n), rng.uniform(0, 0.2, n)),
        RAIN: np.where(rng.random(n) < 0.06, rng.uniform(0.2, 9, n), 0.0),
        OUT: t - 1 + rng.normal(0, 0.4, n),
    }  # fmt: skip
    for _ in range(int(rng.integers(1, 6))):
        name = str(rng.choice(list(columns)))
        first, long = int(rng.integers(n)), int(rng.integers(1, 60))
        part = slice(first, first + long)
        kind = rng.integers(5)
        if kind == 0:
            columns[name][part] = columns[name][first]
        elif kind == 1:
            columns[name][first] += rng.normal(0, 40)
        elif kind == 2:
            columns[name][part] = np.nan
        elif kind == 3:
            columns[RH][part] = rng.uniform(97, 110, len(columns[RH][part]))
        else:
            columns[WET][part] = rng.choice([0.0, 1.0])
    placed = str(rng.choice(["under_cover", "outside"]))
    ahead = int(rng.choice([0, 24]))
    rows = log(placed=placed, forecast=ahead, **{k: np.round(v, 2) for k, v in columns.items()})
    for name, column in rows.values.items():
        bits = rng.choice([0, int(Trouble.SENTINEL), int(Trouble.IMPOSSIBLE)], n)
        rows.reasons[name] = np.where(np.isnan(column), bits, 0).astype(np.uint32)
    return rows


def without(rows: Readings, seed: int, share: float) -> tuple[Readings, np.ndarray]:
    """Return the readings with some values or rows taken away, and which rows are left."""
    rng = np.random.default_rng(seed)
    keep = np.ones(len(rows), dtype=bool)
    if rng.random() < 0.5:
        keep = rng.random(len(rows)) >= share
        keep[rng.integers(len(rows))] = True
        return rows.only(keep), np.flatnonzero(keep)
    less = rows.only(keep)
    for name, column in less.values.items():
        gone = rng.random(len(rows)) < share
        less.values[name] = np.where(gone, np.nan, column)
    return less, np.flatnonzero(keep)
