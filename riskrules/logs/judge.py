"""Judge readings: a sensor that says the same for too long says nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from riskrules.facts.kinds import Cause
from riskrules.logs.readings import Ints, Note, Readings
from riskrules.logs.variables import Floats
from riskrules.packs.model import Threshold

HIGHEST_HONEST_HUMIDITY = 99.0
"""From here on humidity may truly stand still, in fog. [%] (assumption)"""


def judge(rows: Readings, thresholds: Mapping[str, Threshold]) -> Readings:
    """Return the readings with stuck values made unknown, and a note for each kind.

    Parameters
    ----------
    rows : Readings
        In time order.
    thresholds : mapping
        Shared thresholds; ``stuck_temperature`` and ``stuck_humidity`` [h] are used.
    """
    values, cause, notes = dict(rows.values), dict(rows.cause), list(rows.notes)
    for name in rows.values:
        base = name.removesuffix("_outside")
        if base == "air_temperature":
            stuck = _stuck(rows.time, values[name], thresholds["stuck_temperature"].value, np.inf)
        elif base in ("relative_humidity", "dew_point_temperature"):
            most = HIGHEST_HONEST_HUMIDITY if base == "relative_humidity" else np.inf
            stuck = _stuck(rows.time, values[name], thresholds["stuck_humidity"].value, most)
        else:
            continue
        stuck &= ~rows.forecast
        if stuck.any():
            first = int(np.argmax(stuck))
            message = (
                f"{name} stays at {values[name][first]:g} for {int(stuck.sum())} rows; "
                "a stuck sensor. Kept as unknown"
            )
            notes.append(Note(rows.files[0] if rows.files else "log", 0, message))
            values[name] = np.where(stuck, np.nan, values[name])
            cause[name] = cause[name] | np.where(stuck, int(Cause.STUCK), 0)
    return replace(rows, values=values, cause=cause, notes=notes)


def _stuck(time: Ints, column: Floats, hours: float, below: float) -> np.ndarray:
    """Return which values belong to a run of one value that lasts ``hours`` or longer.

    A gap does not end a run: taking a reading away must not make a stuck sensor honest.
    """
    at = np.flatnonzero(~np.isnan(column))
    found = np.zeros(len(column), dtype=bool)
    if len(at) < 2:
        return found
    kept = column[at]
    starts = np.flatnonzero(np.concatenate(([True], kept[1:] != kept[:-1])))
    ends = np.concatenate((starts[1:], [len(kept)])) - 1
    long = (time[at[ends]] - time[at[starts]] >= hours * 3600) & (kept[starts] < below)
    run = np.repeat(long, np.diff(np.concatenate((starts, [len(kept)]))))
    found[at[run]] = True
    return found
