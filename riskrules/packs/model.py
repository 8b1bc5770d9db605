"""What a pack file may say: the schema of packs, and the pack as the rest of the code sees it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from riskrules.packs.conditions import Condition

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
Tag = Literal[
    "read", "second-hand", "memory", "computed", "assumption", "common practice, no source"
]
Severity = Literal["Extreme", "Severe", "Moderate", "Minor", "Unknown"]
Certainty = Literal["Observed", "Likely", "Possible", "Unlikely", "Unknown"]
Hazard = Literal[
    "gray_mold",
    "anthracnose",
    "leather_rot",
    "postharvest_mold",
    "heat",
    "cold",
    "tip_burn",
    "journal",
]
Unit = Literal["h", "degC", "K", "1", "%", "mm", "mm h-1", "kPa", "degC h", "d", "count"]


class Strict(BaseModel):
    """A mapping that refuses keys it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(Strict):
    """Where a statement comes from, and how we know it."""

    text: str
    tag: Tag


class ThresholdText(Strict):
    """A named number of a pack."""

    value: float
    unit: Unit
    range: tuple[float, float]
    source: str
    tag: Tag
    means: str = ""


class AbsenceText(Strict):
    """A fact that must not be there: the rule fires unless it is."""

    given: dict[Name, str] = Field(min_length=1, max_length=1)
    when: list[str] = []


class FindingText(Strict):
    """What a rule says when it fires."""

    hazard: Hazard
    severity: Severity
    certainty: Certainty = "Likely"
    sentence: str
    looks_ahead: bool = False
    protection_choice: bool = False


class RuleText(Strict):
    """One rule as written."""

    rule: Name
    title: str
    given: dict[Name, str] = Field(min_length=1, max_length=3)
    when: list[str] = Field(min_length=1)
    unless: AbsenceText | None = None
    stages: list[int] = []
    stages_of: str = ""
    finding: FindingText
    jobs: list[Name] = []
    cautions: list[Name] = []
    sources: list[Source] = Field(min_length=1)
    examples: list[dict[str, Any]] = []


class PackText(Strict):
    """A pack file as written."""

    pack: Name
    title: str
    about: str = ""
    thresholds: dict[Name, ThresholdText] = {}
    rules: list[RuleText] = []


@dataclass(frozen=True, slots=True)
class Threshold:
    """A named number with all that says where it comes from."""

    name: str
    value: float
    unit: str
    least: float
    most: float
    source: str
    tag: str
    origin: str
    means: str = ""


@dataclass(frozen=True, slots=True)
class Absence:
    """A checked absence: the alias, its kind and its conditions (each a tuple of alternatives)."""

    alias: str
    kind: str
    when: tuple[tuple[Condition, ...], ...]


@dataclass(frozen=True, slots=True)
class Rule:
    """A checked rule. ``when`` holds one tuple of alternatives a condition: all must hold."""

    pack: str
    name: str
    title: str
    given: dict[str, str]
    when: tuple[tuple[Condition, ...], ...]
    absence: Absence | None
    stages: tuple[int, ...]
    stages_of: str
    text: RuleText
    line: int
    in_a_row: bool = False

    @property
    def anchor(self) -> str:
        """The alias whose fact the finding hangs on: the first given."""
        return next(iter(self.given))

    @property
    def key(self) -> str:
        """``pack.rule``, unique over all packs."""
        return f"{self.pack}.{self.name}"


@dataclass(frozen=True, slots=True)
class Pack:
    """A checked pack: its own thresholds, and those it may borrow from the shared file."""

    name: str
    title: str
    about: str
    file: str
    thresholds: dict[str, Threshold]
    rules: tuple[Rule, ...]
    shared: dict[str, Threshold] = field(default_factory=dict)

    def threshold(self, name: str) -> Threshold | None:
        """Return a threshold by name, the pack's own before the shared ones."""
        return self.thresholds.get(name) or self.shared.get(name)
