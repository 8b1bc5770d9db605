"""Findings, unknowns and what a review says of each block."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Literal

State = Literal["fires", "unknown"]
Status = Literal["", "new", "revised", "withdrawn", "same"]
SEVERITIES = ("Extreme", "Severe", "Moderate", "Minor", "Unknown")
CERTAINTIES = ("Observed", "Likely", "Possible", "Unlikely", "Unknown")
DEFERRAL = "Whether anything is sprayed is not decided here: the label and a local adviser decide."


@dataclass(frozen=True, slots=True)
class ThresholdUsed:
    """A threshold that made a finding fire, with all that says where it comes from."""

    name: str
    value: float
    unit: str
    source: str
    tag: str
    origin: str
    means: str


@dataclass(frozen=True, slots=True)
class Margin:
    """How far a fact was from what a condition asks. Positive: beyond it."""

    condition: str
    least: float
    most: float
    threshold: float
    margin: float
    unit: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a rule says about a block and a span of time."""

    id: str
    rule: str
    title: str
    hazard: str
    block: str
    start: str
    end: str
    severity: str
    urgency: str
    certainty: str
    sentence: str
    basis: str
    facts: tuple[dict[str, Any], ...]
    thresholds: tuple[ThresholdUsed, ...]
    margins: tuple[Margin, ...]
    jobs: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[dict[str, str], ...]
    deferral: str = ""
    profile: str = ""
    hash: str = ""
    status: Status = ""


@dataclass(frozen=True, slots=True)
class UnknownFinding:
    """What could not be told, all that one cause leaves open taken together."""

    id: str
    block: str
    start: str
    end: str
    causes: tuple[str, ...]
    sentence: str
    settle: tuple[str, ...]
    rules: tuple[str, ...]
    worst_severity: str
    hash: str = ""
    status: Status = ""


@dataclass(frozen=True, slots=True)
class BlockState:
    """What a review says of one block as a whole."""

    block: str
    state: Literal["findings", "quiet", "unknown", "not evaluated"]
    sentence: str
    now: str
    logged_from: str
    logged_until: str
    facts: int
    notes: dict[str, int] = field(default_factory=dict)


def plain(made: Any) -> dict[str, Any]:
    """Return a record as a mapping, its inner records too, without copying what is plain."""
    found = {}
    for f in fields(made):
        value = getattr(made, f.name)
        if isinstance(value, tuple):
            value = [plain(item) if is_dataclass(item) else item for item in value]
        found[f.name] = value
    return found
