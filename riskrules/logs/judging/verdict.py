"""Verdicts: flags, reasons, intervals and notes as they gather while readings are judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.limits import Limits, true_ends
from riskrules.logs.readings import Bits, Ints, Note, Readings, Small
from riskrules.logs.troubles import CAUSES, Flag, Trouble, name_of
from riskrules.logs.variables import Floats

Bools = npt.NDArray[np.bool_]
Message = Callable[[int], str]
"""What is wrong with the value at an index, in the words of a note."""
REFUSED_BY_READER = Trouble.IMPOSSIBLE | Trouble.DISAGREE
"""What a reader has refused already: such a value is a failed one, not a missing one."""


class Verdicts:
    """What is known so far of each value of some readings, whose arrays are never changed."""

    def __init__(self, rows: Readings, limits: Limits) -> None:
        self.rows, self.limits = rows, limits
        self.values, self.cause = dict(rows.values), dict(rows.cause)
        self.low, self.high = dict(rows.low), dict(rows.high)
        self.flags: dict[str, Small] = {}
        self.reasons: dict[str, Bits] = {}
        self.notes: list[Note] = []
        self._copied: set[str] = set()
        any_forecast = bool(rows.forecast.any())
        for name, value in rows.values.items():
            flags = np.full(len(value), int(Flag.PASS), dtype=np.uint8)
            if any_forecast:
                flags[rows.forecast] = Flag.NOT_EVALUATED
            gone = np.isnan(value)
            bits = rows.reasons.get(name)
            if gone.any():
                flags[gone] = Flag.MISSING
                if bits is not None:
                    flags[gone & (bits & int(REFUSED_BY_READER) > 0)] = Flag.FAIL
            self.flags[name] = flags
            self.reasons[name] = np.zeros(len(value), np.uint32) if bits is None else bits.copy()

    def usable(self, name: str) -> Ints:
        """Return the indices of the measured values that nothing has refused yet."""
        return np.flatnonzero(~np.isnan(self.values[name]) & ~self.rows.forecast)

    def fail(self, name: str, at: Ints, trouble: Trouble, message: Message) -> None:
        """Refuse some values, and note it; ``message`` is about the value at an index."""
        if not len(at):
            return
        self._note(name, at, trouble, message, "Kept as unknown")
        self._own(name)
        self.values[name][at] = np.nan
        for ends in (self.low, self.high):
            if name in ends:
                ends[name][at] = np.nan
        self.flags[name][at] = Flag.FAIL
        self.reasons[name][at] |= np.uint32(trouble)
        cause = CAUSES.get(trouble, Cause.DOUBTED)
        self.cause[name][at] |= int(cause)

    def doubt(
        self, name: str, at: Ints, trouble: Trouble, message: Message | None,
        low: Floats | None = None, high: Floats | None = None,
    ) -> None:  # fmt: skip
        """Doubt some values, and note it unless another note has said it.

        Each becomes an interval: the value with the stated doubt of its variable around it, or
        ``low`` to ``high`` where given, joined to the value and to what it was before.
        """
        if not len(at):
            return
        if message is not None:
            self._note(name, at, trouble, message, "Kept, but doubted")
        self._own(name)
        value = self.values[name][at]
        width = self.limits.of(name, self.rows.placed).doubt
        low = value - width if low is None else np.fmin(low, value)
        high = value + width if high is None else np.fmax(high, value)
        self._widen(name, at, low, high)
        flags = self.flags[name]
        flags[at] = np.where(flags[at] < Flag.SUSPECT, Flag.SUSPECT, flags[at])
        self.reasons[name][at] |= np.uint32(trouble)
        self.cause[name][at] |= int(Cause.DOUBTED)

    def put(self, name: str, at: Ints, value: float) -> None:
        """Put another value in the place of some, such as 100 for a humidity above it."""
        self._own(name)
        self.values[name][at] = value

    def _widen(self, name: str, at: Ints, low: Floats, high: Floats) -> None:
        least, most = true_ends(name)
        if name not in self.low:
            self.low[name], self.high[name] = self.values[name].copy(), self.values[name].copy()
        value = self.values[name][at]
        lowest = np.minimum(np.minimum(self.low[name][at], low), value)
        highest = np.maximum(np.maximum(self.high[name][at], high), value)
        self.low[name][at] = np.clip(lowest, least, most)
        self.high[name][at] = np.clip(highest, least, most)

    def _own(self, name: str) -> None:
        """See that the arrays of a variable are ours to change."""
        if name in self._copied:
            return
        self._copied.add(name)
        for columns in (self.values, self.cause, self.low, self.high):
            if name in columns:
                columns[name] = columns[name].copy()  # type: ignore[assignment]

    def _note(self, name: str, at: Ints, trouble: Trouble, message: Message, fate: str) -> None:
        """Note some values, once for each file that they come from."""
        rows = self.rows
        several = len(rows.source) == len(rows) and len(rows.files) > 1
        sources = rows.source[at] if several else np.zeros(len(at), dtype=np.int64)
        for source in np.unique(sources):
            mine = at[sources == source]
            known = rows.files and 0 <= source < len(rows.files)
            line = int(rows.line[mine[0]]) if len(rows.line) == len(rows) else 0
            self.notes.append(
                Note(
                    rows.files[int(source)] if known else "log",
                    line,
                    f"{message(int(mine[0]))}. {fate}",
                    len(mine),
                    trouble=name_of(trouble),
                    variable=name,
                    first=int(rows.time[mine[0]]),
                    last=int(rows.time[mine[-1]]),
                )
            )

    def readings(self) -> Readings:
        """Return the readings as judged."""
        ends: dict[str, Any] = {"low": self.low, "high": self.high}
        return replace(
            self.rows,
            values=self.values,
            cause=self.cause,
            flags=self.flags,
            reasons=self.reasons,
            notes=[*self.rows.notes, *self.notes],
            **ends,
        )
