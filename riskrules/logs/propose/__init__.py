"""Propose how a log file is to be read: a mapping with reasons, doubts, and ten rows as read."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.errors import LogError
from riskrules.logs.formats.headers import bracketed
from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.propose.columns import Guess, air_and_water, guess_columns, rain_doubts
from riskrules.logs.propose.text import as_yaml
from riskrules.logs.propose.time import Timing, guess_time, sun_doubt, time_text
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Readings
from riskrules.logs.times.text import parts_of
from riskrules.logs.times.zone import zone_of
from riskrules.logs.variables import OUTSIDE, VARIABLES, understand

ROWS = 10
CODES = (-9999.0, -999.0, -99.0, -99.9, -999.9, -888.88, 9999.0, 999.0, 999.9, 99999.0, -7999.0)
"""Numbers that loggers write for 'missing'. (common practice, no source)"""
_DIVIDED = {"tab": "tab", ";": ";", "|": "|", "spaces": "space", "two or more spaces": "space"}
"""The mapping's word for what a text reader says that it divided cells by."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping that was guessed from a file.

    Attributes
    ----------
    mapping : LogMapping
        What is sure or likely; what is open is left out.
    reasons : list of str
        Why, one for each guess, with how sure it is.
    rows : list of dict
        Up to ten rows as the reader understood them by this mapping: ``line``, ``time`` in ISO
        8601 (with offset where the zone is known), and each variable with its unit.
    doubts : list of str
        What a person must answer.
    text : str
        The mapping as YAML with reasons; doubts stand in it as comments.
    """

    mapping: LogMapping
    reasons: list[str]
    rows: list[dict[str, Any]]
    doubts: list[str]
    text: str


@dataclass(slots=True)
class _Draft:
    """A proposal in the making."""

    keys: dict[str, Any] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)


def propose(path: Path) -> Proposal:
    """Return a proposal for a file; LogError where it holds no table that can be read."""
    from riskrules.logs.formats import open_log

    return propose_tables(open_log(path))


def propose_tables(raws: list[RawLog]) -> Proposal:
    """Return a proposal for the tables of one file: for the one with most that we know."""
    guesses = [(raw, guess_time(raw)) for raw in raws if len(raw.table)]
    if not guesses:
        raise fail(
            raws[0].file if raws else "log", "no table with rows; expected a header and rows"
        )
    ranked = [(raw, timing, guess_columns(raw, set(timing.columns))) for raw, timing in guesses]
    raw, timing, columns = max(ranked, key=lambda r: (bool(r[1].columns), _known(r[2])))
    draft = _Draft()
    if len(ranked) > 1:
        others = ", ".join(r.file for r, _, _ in ranked if r is not raw)
        draft.doubts.append(f"The file has other tables too ({others}); this is for {raw.file}.")
        if "[" in raw.file and raw.file.endswith("]"):
            draft.keys["sheet"] = raw.file.rsplit("[", 1)[1][:-1]
    return _proposed(raw, timing, columns, draft)


def _known(columns: list[Guess]) -> int:
    return sum(g.ours is not None for g in columns)


def _proposed(raw: RawLog, timing: Timing, columns: list[Guess], draft: _Draft) -> Proposal:
    _dialect(raw, draft)
    draft.keys |= timing.keys
    draft.reasons += timing.reasons
    draft.doubts += timing.doubts
    draft.doubts += rain_doubts(raw, columns)
    _columns(raw, columns, draft)
    reasons, doubts = air_and_water(raw, columns)
    draft.reasons += reasons
    draft.doubts += doubts
    _sun(raw, timing, columns, draft)
    _codes(raw, columns, draft)
    mapping = LogMapping.model_validate(draft.keys)
    rows = _rows(raw, mapping, timing, draft)
    text = as_yaml(raw.file, mapping, draft.reasons, draft.doubts, columns, timing.open)
    return Proposal(mapping, draft.reasons, rows, draft.doubts, text)


def _dialect(raw: RawLog, draft: _Draft) -> None:
    """Take over what the format found out: delimiter and decimal sign."""
    for said in raw.said:
        if said.startswith("cells divided by "):
            sign = _DIVIDED.get(said.removeprefix("cells divided by ").strip())
            if sign:
                draft.keys["delimiter"] = sign
                draft.reasons.append(f"delimiter: {sign} (sure): all rows divide alike by it")
        elif said == "decimal commas":
            draft.keys["decimal"] = ","
            draft.reasons.append("decimal: comma (sure): numbers are written with it")
        else:
            draft.reasons.append(f"file: {said}")


def _columns(raw: RawLog, columns: list[Guess], draft: _Draft) -> None:
    """Write the columns that are sure or likely, ask about those that are open."""
    twice = {h for h, n in Counter(raw.header).items() if n > 1}
    written: dict[str, str] = {}
    for guess in columns:
        if guess.header in twice:
            guess.ours, guess.sure = None, "open"
            guess.why = "stands in two columns: they cannot be told apart by name"
        if guess.ours is None:
            draft.doubts.append(_question(guess))
        else:
            draft.reasons.append(f"column: '{guess.header}' is {guess.ours} ({guess.sure}): "
                                 f"{guess.why}")  # fmt: skip
            if guess.ours != bracketed(guess.header):
                written[guess.header] = guess.ours
    # A rival that understands itself must be left out by name, or the reader refuses both.
    for guess in columns:
        found = understand(bracketed(guess.header))
        if guess.ours is None and found is not None and guess.header not in twice:
            written[guess.header] = "ignore"
    if written:
        draft.keys["columns"] = written
    if not any(g.ours for g in columns):
        draft.doubts.append("Which columns hold temperature, humidity, wetness or rain? None is "
                            "understood for sure.")  # fmt: skip


def _question(guess: Guess) -> str:
    options = " or ".join(guess.options) or "something else"
    return f"What is '{guess.header}'? {guess.why}. Write {options}, or ignore."


def _sun(raw: RawLog, timing: Timing, columns: list[Guess], draft: _Draft) -> None:
    """Hold the daily course of the air's temperature against the clock, unless it is in UTC."""
    import pandas as pd

    warm = next((g for g in columns if g.variable.startswith("air_temperature")), None)
    if warm is None or timing.time is None:
        return
    face = timing.time
    if timing.zoned:
        cells = [str(c) for c in time_text(raw, timing.columns).tolist()]
        offset = parts_of([c.strip() for c in cells]).offset
        if not offset.any():
            return
        face = face + offset
    elif draft.keys.get("zone", "").upper() in ("UTC", "GMT", "Z", "+00:00"):
        return
    values = pd.to_numeric(raw.table[warm.at], errors="coerce").to_numpy(dtype=float)
    doubt = sun_doubt(face[timing.ok], values[timing.ok])
    if doubt:
        draft.doubts.append(doubt)


def _codes(raw: RawLog, columns: list[Guess], draft: _Draft) -> None:
    """Propose numbers that stand for 'missing': a code that more than one row has."""
    import pandas as pd

    found: Counter[float] = Counter()
    for guess in columns:
        values = pd.to_numeric(raw.table[guess.at], errors="coerce").to_numpy(dtype=float)
        found.update({code: int((values == code).sum()) for code in CODES})
    codes = [f"{code:g}" for code, n in found.items() if n > 1]
    if codes:
        draft.keys["missing"] = codes
        shown = ", ".join(f"{c} ({found[float(c)]:,} times)" for c in codes)
        draft.reasons.append(f"missing: {shown} (likely): loggers write such for no reading")


def _rows(raw: RawLog, mapping: LogMapping, timing: Timing, draft: _Draft) -> list[dict[str, Any]]:
    """Return the first rows as the real reader understands them; a doubt where it refuses."""
    from riskrules.logs.read import read_raw

    placed = timing.zoned or mapping.zone is not None
    try:
        rows = read_raw(raw, mapping, None if placed else "UTC")
    except LogError as error:
        said = " ".join(draft.doubts)
        new = [p.message for p in error.problems if p.message not in said]
        draft.doubts += [f"The reader refuses it so far: {message}." for message in new]
        return []
    return [_row(rows, i, mapping, placed) for i in range(min(ROWS, len(rows)))]


def _row(rows: Readings, i: int, mapping: LogMapping, placed: bool) -> dict[str, Any]:
    """Return one row in words: its line, its time, and its values with their units."""
    shown: dict[str, Any] = {"line": int(rows.line[i]) if len(rows.line) else 0}
    shown["time"] = _time(int(rows.time[i]), mapping, placed)
    for name, values in rows.values.items():
        unit = VARIABLES[name.removesuffix(OUTSIDE)].unit
        known = not np.isnan(values[i])
        shown[name] = f"{values[i]:.6g} {unit}" if known else "unknown"
    return shown


def _time(time: int, mapping: LogMapping, placed: bool) -> str:
    """Return a time in ISO 8601: with offset where the zone is known, else the clock's face."""
    if not placed:
        return datetime.fromtimestamp(time, UTC).replace(tzinfo=None).isoformat()
    if mapping.zone is None:
        return datetime.fromtimestamp(time, UTC).isoformat()
    zone = zone_of(mapping.zone, "")
    place = zone.info or timezone(timedelta(seconds=zone.offset))
    return datetime.fromtimestamp(time, place).isoformat()
