"""What a replay returns: small plain rows of a block-season, times in seconds since 1970 UTC."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

What = Literal["came", "went", "moved"]


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding of a replay. Times in seconds since 1970 UTC.

    ``month`` is that of its start on the farm's clock ('2025-06'). ``foretells`` says whether it
    rests on weather and work alone, so that a later sighting may answer it. ``index_least`` and
    ``index_most`` bound the infection index of its hazard; None where it has none.
    """

    id: str
    rule: str
    hazard: str
    block: str
    season: str
    month: str
    start: int
    end: int
    severity: str
    certainty: str
    foretells: bool
    index_least: float | None
    index_most: float | None


@dataclass(frozen=True, slots=True)
class UnknownRow:
    """What a replay could not tell. ``causes`` and ``rules`` are joined by '; '."""

    id: str
    block: str
    season: str
    month: str
    start: int
    end: int
    causes: str
    rules: str
    hazards: str


@dataclass(frozen=True, slots=True)
class OpenRow:
    """A stretch in which some rule of a hazard that foretells could not be told. [s]

    Unlike an `UnknownRow` it knows of no other hazard, and ends where the rules' own facts end.
    """

    hazard: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class JobRow:
    """A job over a season: on how many days findings asked for it, and what that would cost.

    A job counts once a day, however many findings ask for it. ``hours_from`` says whose figure
    the hours of one time are. [h]
    """

    job: str
    block: str
    season: str
    month: str
    days: int
    hours: float
    hours_from: str


@dataclass(frozen=True, slots=True)
class ChanceRow:
    """The infection index of one wet period with fitting stages: what a Brier score judges."""

    hazard: str
    start: int
    end: int
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class SeenRow:
    """One count of a symptom by a scout. [s since 1970 UTC]"""

    time: int
    symptom: str
    part: str
    affected: int
    examined: int


@dataclass(frozen=True, slots=True)
class ProfileResult:
    """What one profile would have said. ``name`` is the caller's, ``profile`` name and version.

    ``state`` is 'done' or 'not evaluated'; ``why`` says why not.
    """

    name: str
    profile: str
    block: str
    season: str
    state: Literal["done", "not evaluated"]
    why: str
    findings: tuple[FindingRow, ...]
    unknowns: tuple[UnknownRow, ...]
    chances: tuple[ChanceRow, ...]
    jobs: tuple[JobRow, ...]
    open: tuple[OpenRow, ...] = ()

    @property
    def crew_hours(self) -> float:
        """Hours of all jobs. [h]"""
        return round(sum(job.hours for job in self.jobs), 2)


@dataclass(frozen=True, slots=True)
class SeasonResult:
    """One block-season under every profile, in order of the profiles' names.

    ``logged_share`` is the share of the season, as far as it has passed, that the own log covers;
    ``logged_from`` and ``logged_until`` are the first and last measured row. [s]
    """

    block: str
    season: str
    zone: str
    start: int
    end: int
    logged_from: int
    logged_until: int
    logged_share: float
    readings: int
    seen: tuple[SeenRow, ...]
    profiles: tuple[ProfileResult, ...]

    def profile(self, name: str) -> ProfileResult:
        """Return what one profile said; KeyError if it was not replayed."""
        for result in self.profiles:
            if result.name == name:
                return result
        raise KeyError(name)


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A finding that came, went or moved between two profiles. Times None where it is not."""

    block: str
    season: str
    month: str
    rule: str
    hazard: str
    what: What
    start_before: int | None
    end_before: int | None
    start_after: int | None
    end_after: int | None
