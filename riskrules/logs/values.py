"""The values of one column: numbers in our unit, or unknown with the reason why."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.logs.formats.decimals import EITHER, HINT
from riskrules.logs.readings import Bits, Ints, Note, missing_cause
from riskrules.logs.troubles import Trouble, name_of
from riskrules.logs.variables import Column, Floats

SENTINELS = (-9999.0, 9999.0, -999.0, 999.0, 999.9, -999.9, 6999.0, -6999.0, 99999.0, -99999.0,
             9999.9, -9999.9, 32767.0, -32768.0, 65535.0)  # fmt: skip
"""Numbers that loggers write for 'missing', beyond the limits of the variable they stand for.
(common practice, no source)"""
SENTINEL_WORDS = frozenset(
    ["---", "--", "-", "----", "n/a", "na", "#n/a", "nan", "null", "none", "nil", "missing",
     "no data", "nodata", "-nan", "1.#qnan", "-1.#ind", "noval", "error", "err", "fault"]
)  # fmt: skip
"""Words that loggers write for 'missing', in small letters. (common practice, no source)"""
CONVERTED = 9
"""Decimals of a value in another unit: beyond them is what the arithmetic of a computer leaves,
and that must not move an hour across a threshold. (assumption)"""
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,4})?|[-+]?(?:inf|Inf|INF|infinity|Infinity)"

Mask = npt.NDArray[np.bool_]
_Refused = dict[Trouble, tuple[Mask, str]]


@dataclass(slots=True)
class Values:
    """The values of a variable, each array of shape (n,), in its canonical unit.

    ``value`` is NaN where not usable; ``cause`` holds bits of `Cause`, ``reasons`` of `Trouble`.
    An empty cell has a cause and no reason.
    """

    value: Floats
    cause: Ints
    reasons: Bits


class ValueReader:
    """Reads the columns of one file and gathers notes.

    Parameters
    ----------
    file : str
        Name to show.
    lines, time : ndarray of int, shape (n,)
        Line and time [s] of each row.
    missing : list of str
        What a mapping says stands for 'missing'.
    """

    def __init__(self, file: str, lines: Ints, time: Ints, missing: list[str]) -> None:
        self.file, self.lines, self.time = file, lines, time
        self.missing = {m.strip().lower() for m in missing}
        self.numbers = [float(m) for m in self.missing if re.fullmatch(_NUMBER, m, re.ASCII)]
        self.notes: list[Note] = []

    def read(self, raw: Any, column: Column) -> Values:
        """Return the values of a column as it stands in the file."""
        refused: _Refused = {}
        if raw.dtype.kind in "iuf":
            plain = raw.to_numpy(dtype=float)
        else:
            plain = self._parsed(raw, column, refused)
        if self.numbers:
            said = np.isin(plain, self.numbers)
            self._out_of_limits(refused, said, Trouble.SENTINEL, column, plain)
            plain = np.where(said, np.nan, plain)
        with np.errstate(over="ignore", invalid="ignore"):
            value = np.asarray(column.convert(plain), dtype=float)
        if value is not plain:
            value = np.round(value, CONVERTED)  # 78.8 °F is 26 °C, not a hair below it
        v = column.variable
        tolerance = 1e-9 * max(abs(v.least), abs(v.most))
        bad = (value < v.least - tolerance) | (value > v.most + tolerance) | np.isinf(value)
        if bad.any():
            sentinel = bad & np.isin(plain, SENTINELS)
            self._out_of_limits(refused, sentinel, Trouble.SENTINEL, column, plain)
            self._out_of_limits(refused, bad & ~sentinel, Trouble.IMPOSSIBLE, column, plain)
            value = np.where(bad, np.nan, value)
        absent = int(missing_cause(column.name))
        cause = np.where(np.isnan(value), absent, 0).astype(np.int64)
        return Values(value, cause, self._reasons(refused, column, len(value)))

    def _out_of_limits(
        self, refused: _Refused, bad: Mask, trouble: Trouble, column: Column, plain: Floats
    ) -> None:
        v = column.variable
        expected = f"expected {v.least:g} to {v.most:g} {v.unit}"
        if bad.any():
            _add(refused, trouble, bad, f"{plain[np.argmax(bad)]:g}; {expected}")

    def _parsed(self, raw: Any, column: Column, refused: _Refused) -> Floats:
        """Return the numbers in a column of text; NaN for all that is none."""
        import pandas as pd

        text = raw.astype(object).where(raw.notna(), "").astype("str").str.strip()
        text = text.str.replace("\u2212", "-", regex=False)
        some = (text != "").to_numpy(dtype=bool)
        word = some & text.str.lower().isin(SENTINEL_WORDS | self.missing).to_numpy(dtype=bool)
        number = text.str.fullmatch(_NUMBER, flags=re.ASCII).to_numpy(dtype=bool)
        for bad, trouble in (
            (word, Trouble.SENTINEL),
            (some & ~word & ~number, Trouble.NOT_A_NUMBER),
        ):
            if bad.any():
                shown = str(text.iloc[int(np.argmax(bad))])
                hint = f", {HINT}" if re.fullmatch(EITHER, shown) else ""
                _add(refused, trouble, bad, f"{shown[:40]!r}; expected a number{hint}")
        usable = text.where(number & some & ~word, None)
        return np.asarray(pd.to_numeric(usable, errors="coerce").to_numpy(dtype=float))

    def _reasons(self, refused: _Refused, column: Column, n: int) -> Bits:
        """Return the reason of each value, and note each kind once."""
        reasons = np.zeros(n, dtype=np.uint32)
        for trouble, (bad, what) in refused.items():
            reasons[bad] |= np.uint32(trouble)
            first, times = int(np.argmax(bad)), self.time[bad]
            message = f"{column.name} is {what}. Kept as unknown"
            self.notes.append(
                Note(self.file, int(self.lines[first]), message, int(bad.sum()),
                     trouble=name_of(trouble), variable=column.name,
                     first=int(times.min()), last=int(times.max()))
            )  # fmt: skip
        return reasons


def _add(refused: _Refused, trouble: Trouble, bad: Mask, what: str) -> None:
    """Add rows refused for a trouble; what is shown is the first of them."""
    old, shown = refused.get(trouble, (bad, what))
    refused[trouble] = (old | bad, what if np.argmax(bad) < np.argmax(old) else shown)


def forecast_rows(raw: Any, file: str, lines: Ints) -> tuple[Mask, list[Note]]:
    """Return which rows are a forecast; a word that we don't know may mean one, and is noted."""
    words = raw.astype(object).where(raw.notna(), "0").astype(str).str.strip().str.lower()
    yes = words.isin(["1", "1.0", "true", "yes"]).to_numpy()
    odd = ~yes & ~words.isin(["0", "0.0", "false", "no", ""]).to_numpy()
    notes = []
    if odd.any():
        shown = str(raw[odd].iloc[0])[:40]
        message = f"forecast is {shown!r}; expected 0 or 1. Taken as a forecast"
        notes.append(Note(file, int(lines[int(np.argmax(odd))]), message, int(odd.sum())))
    return np.asarray(yes | odd), notes
