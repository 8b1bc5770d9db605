"""Readings made by hand, judged by hand: small enough to count on one's fingers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from riskrules.logs.readings import Note, Readings, Tally
from riskrules.logs.troubles import Flag, Trouble

HOUR = 3600
T0 = 1_777_593_600
"""2026-05-01 00:00 UTC."""
AIR, DAMP = "air_temperature", "relative_humidity"


def judged(
    air: str,
    damp: str | None = None,
    hours: Sequence[int] | None = None,
    reasons: dict[int, Trouble] | None = None,
    notes: Sequence[Note] = (),
    tally: Tally | None = None,
    file: str = "north.csv",
) -> Readings:
    """Hourly readings, one letter a value: p pass, n not evaluated, s suspect, f fail, m missing.

    ``reasons`` are the bits of the air's values by row.
    """
    n = len(air)
    at = np.array(range(1, n + 1) if hours is None else hours, dtype=np.int64)
    values, flags, bits = {}, {}, {}
    for name, word in ((AIR, air), (DAMP, damp)):
        if word is not None:
            flags[name] = np.array([FLAGS[c] for c in word], dtype=np.uint8)
            values[name] = np.array([np.nan if c in "fm" else 10.0 + i
                                     for i, c in enumerate(word)])  # fmt: skip
            bits[name] = np.zeros(n, dtype=np.uint32)
    for row, trouble in (reasons or {}).items():
        bits[AIR][row] |= int(trouble)
    return Readings(
        T0 + at * HOUR, HOUR, values,
        {name: np.zeros(n, dtype=np.int64) for name in values}, np.zeros(n, dtype=bool),
        (file,), list(notes), n, flags=flags, reasons=bits,
        line=np.arange(2, n + 2), source=np.zeros(n, dtype=np.int64),
        spans=np.full(n, HOUR, dtype=np.int64),
        tallies=(tally or Tally(file, n, n, 0, 0, 0),), sensor="low",
    )  # fmt: skip


FLAGS = {"p": Flag.PASS, "n": Flag.NOT_EVALUATED, "s": Flag.SUSPECT, "f": Flag.FAIL,
         "m": Flag.MISSING}  # fmt: skip
