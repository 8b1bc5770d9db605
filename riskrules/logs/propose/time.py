"""Guess how a log's clock is to be read: its columns, order of dates, zone and step."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from riskrules.errors import LogError
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Ints, Note
from riskrules.logs.times import epoch_unit, to_utc
from riskrules.logs.times.text import parts_of
from riskrules.logs.variables import Floats

NAMES = ("time", "timestamp", "datetime", "date_time")
SAMPLE = 200
"""Rows looked at to tell a column of times. (assumption)"""
MOST = 0.9
"""Share of them that must be times. (assumption)"""
WARMEST_H = 14.5
"""Usual hour of the day's highest air temperature by the sun's clock: two to three hours after
noon. [h] (common practice, no source)"""
COOLEST_H = 5.5
"""Usual hour of the lowest: about sunrise. [h] (common practice, no source)"""
TURNED_H = 3.0
"""A clock that is off by less from the sun's may yet be right: summer time and the place within
its zone make up to about two hours. [h] (assumption)"""
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?(?: ?[ap]\.?m\.?)?", re.IGNORECASE)
_ORDER = re.compile(r"dates are read (day|month|year) first: (.*)")


@dataclass(slots=True)
class Timing:
    """What is known of a log's clock; ``keys`` are those of the mapping that are proved."""

    columns: list[int]
    keys: dict[str, Any] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    open: list[tuple[str, str]] = field(default_factory=list)
    zoned: bool = False
    time: Ints | None = None
    ok: Any = None


def guess_time(raw: RawLog) -> Timing:
    """Return what a table says of its clock."""
    found = Timing(_columns(raw))
    names = [raw.header[i] for i in found.columns]
    if not names:
        found.doubts.append("Which column holds the time? None is named so or looks like it.")
        found.open.append(("time", "[NAME]"))
        return found
    found.keys["time"] = names
    shown = " and ".join(f"'{n}'" for n in names)
    sure = "sure" if _stamps(raw) == found.columns or len(names) > 1 else "likely"
    found.reasons.append(f"time: {shown} ({sure}): dates and clock times stand there")
    rivals = [raw.header[i] for i in _stamps(raw) if i not in found.columns]
    if rivals and len(names) == 1:
        found.doubts.append(f"'{rivals[0]}' holds times too. Is '{names[0]}' the one to use?")
        found.open.append(("time", f"['{rivals[0]}']"))
    _read(raw, found)
    return found


def time_text(raw: RawLog, columns: list[int]) -> Any:
    """Return the text of a table's times, columns joined by a space as the reader does."""
    text = raw.table[columns[0]]
    if len(columns) > 1:
        text = _words(raw.table[columns[0]]).str.cat(
            [_words(raw.table[i]) for i in columns[1:]], sep=" "
        )
    return text.rename(raw.header[columns[0]])


def _words(column: Any) -> Any:
    return column.astype(object).where(column.notna(), "").astype(str)


def _sample(raw: RawLog, at: int) -> list[str]:
    column = raw.table[at].dropna().head(SAMPLE)
    if column.dtype.kind in "iuf":
        return []
    return [str(c).strip() for c in column.tolist()]


def _stamps(raw: RawLog) -> list[int]:
    """Return the columns whose cells are dates."""
    found = []
    for at in range(len(raw.header)):
        cells = _sample(raw, at)
        if cells and parts_of(cells).known.mean() >= MOST:
            found.append(at)
    return found


def _columns(raw: RawLog) -> list[int]:
    stamps = _stamps(raw)
    clocks = [
        at
        for at in range(len(raw.header))
        if (cells := _sample(raw, at))
        and sum(bool(_CLOCK.fullmatch(c)) for c in cells) >= MOST * len(cells)
    ]
    named = [i for i, h in enumerate(raw.header) if h.split("[")[0].strip().lower() in NAMES]
    whole = [i for i in stamps if ":" in "".join(_sample(raw, i)[:5])]
    for chosen in ([i for i in named if i in stamps], whole):
        if chosen and (chosen[0] in whole or not clocks):
            return [chosen[0]]
    if stamps and clocks:
        return [stamps[0], clocks[0]]
    return stamps[:1] or named[:1]


def _read(raw: RawLog, found: Timing) -> None:
    """Read the times, without zone as if in UTC, to find order, offsets and step."""
    text = time_text(raw, found.columns)
    for order in (None, "day_first"):
        mapping = LogMapping(date_order=order) if order else LogMapping()
        try:
            clock = to_utc(text, raw.lines, mapping, "UTC", raw.file)
            break
        except LogError as error:
            message = error.problems[0].message
            found.doubts.append(f"The times cannot be read as they stand: {message}.")
            if "date_order" not in message:
                return
            found.open.append(("date_order", "day_first  # or month_first"))
    else:
        return
    _heed(clock.notes, found)
    found.time, found.ok = clock.time, clock.ok
    found.zoned = _has_offsets(text)
    _zone(raw, found)
    _step(text, found)


def _heed(notes: list[Note], found: Timing) -> None:
    """Take over what the reading of the times proved, and what it doubts."""
    for note in notes:
        if proof := _ORDER.search(note.message):
            found.keys["date_order"] = f"{proof[1]}_first"
            found.reasons.append(f"date_order: {proof[1]} first (sure): {proof[2]}, "
                                 f"line {note.row}")  # fmt: skip
        elif note.trouble == "clock_reset":
            found.doubts.append(note.message[0].upper() + note.message[1:] + ".")


def _has_offsets(text: Any) -> bool:
    """Return whether times carry offsets, or count from 1970 UTC: they need no zone then."""
    if epoch_unit(str(text.name)):
        return True
    if text.dtype.kind == "M":
        return getattr(text.dtype, "tz", None) is not None
    cells = [str(c).strip() for c in text.dropna().head(SAMPLE).tolist()]
    return bool(cells) and bool(parts_of(cells).zoned.any())


def _zone(raw: RawLog, found: Timing) -> None:
    if found.zoned:
        found.reasons.append("zone: none needed (sure): each time carries its offset")
    elif raw.zone is not None:
        found.keys["zone"] = raw.zone
        found.reasons.append(f"zone: {raw.zone} (sure): the file says so itself")
    else:
        found.doubts.append("In which zone does the logger's clock run, and does it follow summer "
                            "time? Nothing in the file says so.")  # fmt: skip
        found.open.append(("zone", "Europe/Paris  # a name, UTC, or an offset such as +01:00"))
        found.open.append(("clock", "standard  # where the clock does not follow summer time"))


def _step(text: Any, found: Timing) -> None:
    assert found.time is not None
    steps = np.diff(np.sort(found.time[found.ok]))
    steps = steps[steps > 0]
    if not len(steps):
        found.reasons.append("interval: not known from a single time")
        return
    usual = int(np.median(steps))
    share = float((steps == usual).mean())
    found.reasons.append(f"interval: {_span(usual)} (sure): {share:.0%} of the steps")
    if usual < 1800:
        return
    late = text.dtype.kind not in "Miuf" and any(
        " 24:00" in str(c) or "T24:00" in str(c) for c in text.tolist()
    )
    if late:
        found.keys["stamp"] = "end"
        found.reasons.append("stamp: end (likely): the day's last row is at 24:00")
        return
    found.doubts.append(f"Does a row's time mark the end or the start of its {_span(usual)}? "
                        "Taken as the end; nothing in the file tells.")  # fmt: skip
    found.open.append(("stamp", "start"))


def _span(seconds: int) -> str:
    for unit, size in (("h", 3600), ("min", 60)):
        if seconds % size == 0:
            return f"{seconds // size} {unit}"
    return f"{seconds} s"


def sun_doubt(face: Ints, values: Floats) -> str | None:
    """Return a doubt where the day's warmest and coolest hour speak against the clock.

    Parameters
    ----------
    face : ndarray of int, shape (n,)
        What the clock shows. [s]
    values : ndarray, shape (n,)
        Air temperature, in any unit.
    """
    good = np.isfinite(values)
    hour = face[good] % 86_400 // 3600
    days = len(np.unique(face[good] // 86_400))
    if days < 3 or len(np.unique(hour)) < 20:
        return None
    total = np.bincount(hour, weights=values[good], minlength=24)
    mean = total / np.maximum(np.bincount(hour, minlength=24), 1)
    warm, cool = int(np.argmax(mean)), int(np.argmin(mean))
    at = np.array([(face[good] % 86_400)[hour == h].mean() / 3600 for h in (warm, cool)])
    off = (at - [WARMEST_H, COOLEST_H] + 12) % 24 - 12
    if np.abs(off).min() < TURNED_H or off[0] * off[1] < 0:
        return None
    hours = round(float(off.mean()) * 2) / 2
    return (
        f"By the log's clock it is warmest at about {warm}:00 and coolest at about {cool}:00; by "
        f"the sun that is usually at 14:00 to 15:00 and before sunrise. The clock seems to be "
        f"about {abs(hours):g} hours {'ahead of' if hours > 0 else 'behind'} local time. Is it in "
        "UTC, or in another zone?"
    )
