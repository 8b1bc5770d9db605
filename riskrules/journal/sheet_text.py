"""What stands on a walk sheet, as plain words; HTML and PDF only set it."""

from __future__ import annotations

from dataclasses import dataclass

from riskrules.journal.records import Record, Walk
from riskrules.journal.symptoms import SymptomList

AT_ONCE = 4
"""Symptoms side by side in one table, so that boxes stay wide enough. [count] (assumption)"""
BLANK = 3
"""Columns without a name where the walk names no symptom. [count] (assumption)"""
HOW = (
    "Write how many are affected and how many you looked at. None seen: write 0.",
    "Nobody looked: leave both boxes empty. Other plant part than printed: say so in the notes.",
)
LINES = (("Date", "From", "To"), ("Who",), ("Weather, plants wet or dry",))
"""What to fill in by hand, line by line."""
NOTE_LINES = 4


@dataclass(frozen=True, slots=True)
class Looks:
    """A symptom as explained at the end of the sheet."""

    title: str
    looks: str
    alike: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetText:
    """A sheet: ``groups`` of columns, each (symptom, part) as shown; one table a group."""

    farm: str
    block: str
    walk: str
    about: str
    stops: tuple[tuple[int, int, float], ...]
    groups: tuple[tuple[tuple[str, str], ...], ...]
    looks: tuple[Looks, ...]


def counted_on(walk: Walk, symptoms: SymptomList) -> tuple[tuple[str, str], ...]:
    """Return the symptoms of a walk, each with the part that it is counted on.

    Raises
    ------
    ValueError
        If a symptom is not listed.
    """
    for symptom in walk.symptoms:
        if said := symptoms.refusal(symptom):
            raise ValueError(said)
    return tuple((s, symptoms.symptoms[s].parts[0]) for s in dict.fromkeys(walk.symptoms))


def walk_of(record: Record) -> Walk:
    """Return the plan in a record of a walk; ValueError where it is of another kind."""
    if not isinstance(record.body, Walk):
        raise ValueError(f"the record is a {record.kind}; expected a walk")
    return record.body


def sheet_text(block: str, walk: Record, symptoms: SymptomList, farm: str) -> SheetText:
    """Return what stands on the sheet of a walk.

    Raises
    ------
    ValueError
        If the record is no walk, has no stops, or names a symptom that is not listed.
    """
    plan = walk_of(walk)
    if not plan.stops:
        raise ValueError("a walk without stops; expected one or more")
    columns = counted_on(plan, symptoms)
    named = [(symptoms.title(s), symptoms.part_title(p)) for s, p in columns]
    shown = named or [("Symptom ________", "Part ________")] * BLANK
    count = -(-len(shown) // AT_ONCE)
    wide = -(-len(shown) // count)
    groups = tuple(tuple(shown[i : i + wide]) for i in range(0, len(shown), wide))
    looks = tuple(_looks(s, symptoms) for s, _ in columns)
    about = f"{len(plan.stops)} stops, look at {plan.per_stop} at each. {_pattern(plan)}."
    return SheetText(farm, block, str(walk.id), about, plan.stops, groups, looks)


def _looks(symptom: str, symptoms: SymptomList) -> Looks:
    found = symptoms.symptoms[symptom]
    return Looks(found.title, found.looks, tuple(a.tell for a in found.look_alikes))


def _pattern(plan: Walk) -> str:
    words = {
        "random": "Stops drawn at random",
        "zigzag": "Stops along a zigzag",
        "all_beds": "Stops in all beds",
    }[plan.pattern]
    return words if plan.seed is None else f"{words} (seed {plan.seed})"
