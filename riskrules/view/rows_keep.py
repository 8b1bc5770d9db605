"""Keep records in the journal: refused in a sentence, asked about where doubtful, else kept."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from riskrules.farm import Farm
from riskrules.journal.checks import doubts, refuse
from riskrules.journal.records import RECORD, Record, canonical
from riskrules.journal.store import Journal, Kept
from riskrules.journal.symptoms import SymptomList
from riskrules.journal.view import View
from riskrules.view.rows_records import KEEPING

PAST_S = 30 * 86_400
"""Logs that ended longer ago are a season looked back on. [s] (assumption, as the checks have)"""
MOST_ASKED = 20_000
"""Characters of a record that waits for an answer in the page's address. (assumption)"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of records: kept, or not, with what is wrong or asked."""

    kept: tuple[Kept, ...] = ()
    wrong: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    records: tuple[Record, ...] = field(default=())


def entry_time(data_end: int, clock: int, typed: int | None = None) -> tuple[int, bool]:
    """Return of which moment entries are, and whether that looks back. [s since 1970 UTC]

    What somebody typed goes first. Else the clock, unless the logs ended so long ago that a past
    season is looked at: then their end. A silent logger of a few days never moves an entry.

    Examples
    --------
    >>> entry_time(100, 200), entry_time(0, 40 * 86_400), entry_time(9, 9_000_000, 7)
    ((200, False), (0, True), (7, True))
    """
    if typed is not None:
        return typed, True
    if clock - data_end > PAST_S:
        return data_end, True
    return clock, False


def view_for(journal: Journal, farm: Farm, clock: int) -> View:
    """Return what records are checked against: all that stands, by one reading of the journal."""
    known = dict.fromkeys(b.block for b in farm.text.blocks)
    return View(journal.records(), known | journal.blocks(), clock, farm.zone)


def keep(
    journal: Journal,
    view: View,
    symptoms: SymptomList,
    items: Sequence[Record | Mapping[str, Any]],
    sure: bool = False,
    looks_back: bool = False,
    only_look: bool = False,
) -> Outcome:
    """Keep records, all or none, if nothing is wrong and nothing doubtful is unanswered.

    Parameters
    ----------
    items : sequence of Record or mapping
        Records, or values that may be none.
    sure : bool
        Somebody has answered 'yes, keep it'.
    looks_back : bool
        The day was chosen by a person, so that its age is not asked about again.
    only_look : bool
        Keep nothing; say what would be wrong or asked.
    """
    records: list[Record] = []
    wrong: list[str] = []
    asked: list[str] = []
    seen = View(view.records, view.blocks, view.now, view.zone)
    for item in items:
        said = refuse(item, seen)
        record = None if said else _record(item)
        if record is not None:
            said = symptoms.refuse(record)
        wrong += said
        if record is None or said:
            continue
        asked += _doubts(record, seen, looks_back)
        records.append(record)
        seen = View([*seen.records, record], seen.blocks, seen.now, seen.zone)
    if wrong:
        return Outcome(wrong=tuple(wrong))
    if only_look or (asked and not sure):
        return Outcome(asked=tuple(asked), records=tuple(records))
    with KEEPING:
        return Outcome(kept=tuple(journal.add(records)), records=tuple(records))


def _doubts(record: Record, view: View, looks_back: bool) -> list[str]:
    """Return what is doubtful; of a correction that goes on counting, nothing is asked again."""
    if record.replaces is not None and record.kind in ("sighting", "note", "taken_back"):
        return []
    asked = record.model_copy(update={"made": record.time}) if looks_back else record
    return doubts(asked, view)


def _record(item: Record | Mapping[str, Any]) -> Record:
    return item if isinstance(item, Record) else RECORD.validate_python(dict(item))


def waiting(records: Sequence[Record]) -> str:
    """Return records that wait for an answer as text for the page's address."""
    return json.dumps([canonical(r) for r in records], separators=(",", ":"))


def from_address(text: str, who: str, block: str) -> tuple[Record, ...]:
    """Return the records of a page's address; empty where it holds none that can be believed.

    An address is anybody's text: what comes of it is shown and asked about, is said to be of the
    one who answers, of the block that is open, and corrects nothing.
    """
    if not text or len(text) > MOST_ASKED:
        return ()
    try:
        rows = json.loads(text)
        made = [RECORD.validate_json(json.dumps({**row, "who": who})) for row in rows]
    except (ValueError, TypeError, ValidationError, RecursionError):
        return ()
    fits = all(r.block in (None, block) and r.replaces is None for r in made)
    return tuple(made) if fits else ()
