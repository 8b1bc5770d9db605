"""The open list of symptoms: how each looks, on which parts, and what looks alike.

Ours are in ``rulepacks/symptoms.yaml``. A farm adds symptoms in a file of its own, written the
same way; it adds no plant parts, which rules and counts know by name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.kinds import PARTS, SYMPTOMS
from riskrules.journal.records import Record, Sighting
from riskrules.packs.check import meant
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import Marked, read_marked
from riskrules.packs.model import Name, Strict, Tag
from riskrules.shipped import rulepacks_folder

Part = Literal[PARTS]  # type: ignore[valid-type]
Said = Annotated[str, Field(min_length=1, max_length=400)]


class LookAlike(Strict):
    """Another symptom that is taken for this one, and how to tell them apart."""

    symptom: Name
    tell: Said
    source: Said
    tag: Tag


class Symptom(Strict):
    """A symptom; the first of its parts is the one that a walk counts it on."""

    title: Annotated[str, Field(min_length=1, max_length=60)]
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    looks: Said
    source: Said
    tag: Tag
    look_alikes: tuple[LookAlike, ...] = ()


class PartText(Strict):
    """A plant part: its name for people, and what counts as one."""

    title: Annotated[str, Field(min_length=1, max_length=60)]
    looks: Said
    source: Said
    tag: Tag


class SymptomsText(Strict):
    """A symptoms file as written."""

    parts: dict[Part, PartText] = {}
    symptoms: dict[Name, Symptom]


@dataclass(frozen=True, slots=True)
class SymptomList:
    """All symptoms that may be seen, ours first; and the plant parts."""

    symptoms: Mapping[str, Symptom]
    parts: Mapping[str, PartText]

    def title(self, symptom: str) -> str:
        """Return the name of a symptom for people; of one not listed, its words."""
        found = self.symptoms.get(symptom)
        return found.title if found else symptom.replace("_", " ").capitalize()

    def part_title(self, part: str) -> str:
        """Return the name of a part for people."""
        found = self.parts.get(part)
        return found.title if found else part.replace("_", " ").capitalize()

    def refusal(self, symptom: str) -> str:
        """Return why a symptom cannot be written down; empty where it is listed."""
        if symptom in self.symptoms:
            return ""
        hint = meant(symptom, self.symptoms)
        expected = f"expected one of {', '.join(self.symptoms)}, or a line for it in the farm's own"
        return f"no symptom '{symptom}'{hint or f'; {expected} list'}"

    def refuse(self, record: Record) -> list[str]:
        """Return one sentence where a record is a sighting of a symptom not listed."""
        if not isinstance(record.body, Sighting):
            return []
        said = self.refusal(record.body.symptom)
        return [said] if said else []


def for_facts(symptom: str) -> str:
    """Return the symptom as rules know it: itself, or 'other'.

    >>> for_facts("gray_mold"), for_facts("powdery_mildew")
    ('gray_mold', 'other')
    """
    return symptom if symptom in SYMPTOMS else "other"


def load_symptoms(own: Path | None = None) -> SymptomList:
    """Load our list, and the farm's own after it.

    Parameters
    ----------
    own : Path, optional
        A YAML file with ``symptoms``, written as in ours.

    Raises
    ------
    PackError
        With every problem of the farm's file: what is missing, a name that is in our list already,
        a part or look-alike that there is none of.
    """
    ours = _shipped()
    if own is None:
        return ours
    doc = read_marked(own)
    text = _text(doc)
    names = {**ours.symptoms, **text.symptoms}
    problems = [
        doc.problem(("symptoms", name), f"'{name}' is in the list already; expected another name")
        for name in text.symptoms
        if name in ours.symptoms
    ]
    if text.parts:
        problems.append(doc.problem(("parts",), "parts; expected none, a farm adds only symptoms"))
    problems += _unknown_look_alikes(doc, text, names)
    if problems:
        raise PackError(problems)
    return SymptomList(MappingProxyType(names), ours.parts)


@lru_cache(maxsize=1)
def _shipped() -> SymptomList:
    doc = read_marked(rulepacks_folder() / "symptoms.yaml")
    text = _text(doc)
    problems = _unknown_look_alikes(doc, text, text.symptoms)
    for known, given, where in (
        (SYMPTOMS, text.symptoms, "symptoms"),
        (PARTS, text.parts, "parts"),
    ):
        missing = [name for name in known if name not in given]
        problems += [
            doc.problem((where,), f"'{name}' is missing; rules know it") for name in missing
        ]
    if problems:
        raise PackError(problems)
    return SymptomList(MappingProxyType(text.symptoms), MappingProxyType(dict(text.parts)))


def _text(doc: Marked) -> SymptomsText:
    try:
        return SymptomsText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None


def _unknown_look_alikes(
    doc: Marked, text: SymptomsText, names: Mapping[str, Symptom]
) -> list[Problem]:
    return [
        doc.problem(
            ("symptoms", name, "look_alikes", i, "symptom"),
            f"no symptom '{alike.symptom}'{meant(alike.symptom, names)}",
        )
        for name, symptom in text.symptoms.items()
        for i, alike in enumerate(symptom.look_alikes)
        if alike.symptom not in names
    ]
