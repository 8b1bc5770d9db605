"""What a run found, summed up in one pass over its results, so that memory stays bounded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from sys import intern
from typing import Any

from riskrules.tuning.replay import changes
from riskrules.tuning.rows import FindingRow, ProfileResult, SeasonResult, What

ChangeKey = tuple[str, str, str, str, What]
"""Profile, block, month, rule, and what became of the finding."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What the logs of one block-season cover, and how often somebody looked.

    ``share`` is that of the season, as far as it has passed, that the own log covers. [1]
    """

    block: str
    season: str
    share: float
    readings: int
    sightings: int
    unknowns: int


@dataclass(slots=True)
class Summary:
    """Counts over all block-seasons.

    Attributes
    ----------
    covers : list of Cover
    findings, unknowns : Counter
        By profile and rule; by profile and cause.
    changes : Counter
        By `ChangeKey`, against the profile ``base``.
    hours : dict
        Crew hours by profile and job. [h]
    hours_from : dict
        Whose figure the hours of one time are, by job.
    slim : list of SeasonResult
        With what scoring needs alone.
    """

    base: str
    covers: list[Cover] = field(default_factory=list)
    findings: Counter[tuple[str, str]] = field(default_factory=Counter)
    unknowns: Counter[tuple[str, str]] = field(default_factory=Counter)
    changes: Counter[ChangeKey] = field(default_factory=Counter)
    hours: dict[tuple[str, str], float] = field(default_factory=dict)
    hours_from: dict[str, str] = field(default_factory=dict)
    slim: list[SeasonResult] = field(default_factory=list)

    def add(self, result: SeasonResult, hazards: Collection[str]) -> None:
        """Count one block-season in; ``hazards`` are those that will be scored."""
        vague = len(result.profile(self.base).unknowns)
        self.covers.append(
            Cover(
                result.block, result.season, result.logged_share, result.readings,
                len(result.seen), vague,
            )
        )  # fmt: skip
        for profile in result.profiles:
            self._count(profile)
            if profile.name != self.base:
                for row in changes(result.profile(self.base), profile):
                    self.changes[profile.name, row.block, row.month, row.rule, row.what] += 1
        self.slim.append(slimmed(result, hazards))

    def _count(self, profile: ProfileResult) -> None:
        name = profile.name
        self.findings.update((name, f.rule) for f in profile.findings)
        for u in profile.unknowns:
            self.unknowns.update((name, cause) for cause in u.causes.split("; "))
        for job in profile.jobs:
            at = name, job.job
            self.hours[at] = self.hours.get(at, 0.0) + job.hours
            self.hours_from[job.job] = job.hours_from

    def hours_of(self, profile: str) -> float:
        """Return the crew hours of a profile. [h]"""
        return round(sum(h for (name, _), h in self.hours.items() if name == profile), 1)

    def changed(self, profile: str, what: What) -> int:
        """Return how many findings came, went or moved under a profile."""
        return sum(n for key, n in self.changes.items() if (key[0], key[4]) == (profile, what))

    def causes_of(self, profile: str) -> list[tuple[str, int]]:
        """Return why something could not be told under a profile, the most often first."""
        found = [(cause, n) for (name, cause), n in self.unknowns.items() if name == profile]
        return sorted(found, key=lambda c: (-c[1], c[0]))

    def findings_of(self, profile: str) -> int:
        """Return how many findings a profile had."""
        return sum(n for (name, _), n in self.findings.items() if name == profile)


def summarize(results: Iterable[SeasonResult], base: str, hazards: Collection[str]) -> Summary:
    """Return the summary of results; ``base`` names the profile that others are held against."""
    found = Summary(base)
    for result in results:
        found.add(result, hazards)
    return found


def slimmed(result: SeasonResult, hazards: Collection[str]) -> SeasonResult:
    """Return a result with only what scores of some hazards rest on, words held once."""
    profiles = tuple(_slim_profile(p, hazards) for p in result.profiles)
    return replace(result, block=intern(result.block), profiles=profiles)


def _slim_profile(profile: ProfileResult, hazards: Collection[str]) -> ProfileResult:
    kept = [f for f in profile.findings if f.hazard in hazards and f.foretells]
    return replace(
        profile,
        findings=tuple(_slim_finding(f) for f in kept),
        unknowns=(),
        open=tuple(o for o in profile.open if o.hazard in hazards),
        chances=tuple(c for c in profile.chances if c.hazard in hazards),
    )


def _slim_finding(f: FindingRow) -> FindingRow:
    words: dict[str, Any] = {
        n: intern(getattr(f, n))
        for n in ("rule", "hazard", "block", "season", "month", "severity", "certainty")
    }
    return replace(f, id="", **words)


def missing_of(covers: Sequence[Cover], least: float = 0.9) -> list[Cover]:
    """Return the block-seasons whose log covers less than a share, the worst first."""
    return sorted((c for c in covers if c.share < least), key=lambda c: (c.share, c.block))
