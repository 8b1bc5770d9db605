"""What a season's findings foretold held against what scouts saw, counted for one hazard.

A finding is answered where the symptom was seen no sooner and no later after it than the
published latency; it is a false alarm where scouts looked in that time and did not find it. Where
nobody looked, it is neither. A sighting that no finding foretold was missed, unless the log or a
rule left open what was there: then nobody can tell, and it is counted as open.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
import numpy.typing as npt

from riskrules.packs.load import Rulebook
from riskrules.tuning.rows import ProfileResult, SeasonResult

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
DAY_S = 86_400
ENOUGH_EXAMINED = 60
"""Flowers or fruit that a scout must have looked at on a day before 'none' counts as none: as
`enough_examined` of the gray mold pack. (assumption)"""


@dataclass(frozen=True, slots=True)
class Latency:
    """How long after an infection its symptoms show, as published. [d]"""

    hazard: str
    least: float
    most: float
    source: str
    tag: str


@dataclass(frozen=True, slots=True)
class Tally:
    """The counts of one block-season, one profile and one hazard.

    Attributes
    ----------
    answered, unanswered, unlooked : int
        Findings: with a sighting in their window; looked for and not found; not looked for.
    foreseen, missed, open : int
        Days on which the symptom was seen: in the window of a finding; in none; not to be told.
    false_days, quiet_days, open_days : int
        Days on which scouts looked at enough and saw none: in a window; in none; not to be told.
    brier_sum, brier_cases : float, int
        Sum of squared errors of the index, and wet periods, where the index is one number.
    brier_least, brier_most, brier_all : float, float, int
        The same of all wet periods that were looked for, with the index anywhere in its bounds.
    """

    answered: int = 0
    unanswered: int = 0
    unlooked: int = 0
    foreseen: int = 0
    missed: int = 0
    open: int = 0
    false_days: int = 0
    quiet_days: int = 0
    open_days: int = 0
    brier_sum: float = 0.0
    brier_cases: int = 0
    brier_least: float = 0.0
    brier_most: float = 0.0
    brier_all: int = 0

    @property
    def alarms(self) -> int:
        """All findings."""
        return self.answered + self.unanswered + self.unlooked


COLUMNS = tuple(f.name for f in fields(Tally))


def matrix(tallies: Sequence[Tally]) -> Floats:
    """Return tallies as rows of numbers, columns in the order of `COLUMNS`; shape (n, 14)."""
    rows = [[getattr(t, name) for name in COLUMNS] for t in tallies]
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(COLUMNS))


def published_latencies(book: Rulebook) -> dict[str, Latency]:
    """Return the latency of each hazard that has a published one, from shared thresholds.

    Give the packs as they ship: a profile that sets a latency otherwise must not choose by which
    sightings it is judged.
    """
    found = {}
    for name, first in book.shared.items():
        hazard = name.removesuffix("_shows_from")
        last = book.shared.get(f"{hazard}_shows_until")
        if hazard != name and last is not None:
            source = (
                first.source if first.source == last.source else f"{first.source}; {last.source}"
            )
            found[hazard] = Latency(hazard, first.value, last.value, source, first.tag)
    return found


class Spanned(Protocol):
    """Something with a start and an end. [s]"""

    @property
    def start(self) -> int:
        """Return when it begins."""

    @property
    def end(self) -> int:
        """Return when it ends."""


@dataclass(frozen=True, slots=True)
class Walks:
    """Scouting for one symptom, one entry a day: its time [s], and whether any was seen.

    Days with none seen count only where enough was examined.
    """

    time: Floats
    seen: Bools


def walks_of(result: SeasonResult, hazard: str, enough: int = ENOUGH_EXAMINED) -> Walks:
    """Return the days on which a symptom was counted, all parts of the plant taken together."""
    days: dict[int, tuple[int, int, int]] = {}
    for s in result.seen:
        if s.symptom == hazard:
            day = (s.time - result.start) // DAY_S
            time, affected, examined = days.get(day, (s.time, 0, 0))
            days[day] = (time, affected + s.affected, examined + s.examined)
    kept = [(t, a > 0) for _, (t, a, n) in sorted(days.items()) if a > 0 or n >= enough]
    return Walks(
        np.array([t for t, _ in kept], dtype=np.float64), np.array([s for _, s in kept], dtype=bool)
    )


def windows_of(spans: Sequence[Spanned], latency: Latency) -> Floats:
    """Return when each infection would show; shape (n, 2). [s]

    From its start plus the least latency to its end plus the most: the infection may have been
    at any moment between.
    """
    return np.array(
        [(s.start + latency.least * DAY_S, s.end + latency.most * DAY_S) for s in spans],
        dtype=np.float64,
    ).reshape(len(spans), 2)


def inside(windows: Floats, times: Floats) -> Bools:
    """Return whether each time lies in each window; shape (windows, times)."""
    return (times >= windows[:, :1]) & (times <= windows[:, 1:])


def tally(
    result: SeasonResult,
    profile: str,
    latency: Latency,
    rules: Collection[str] | None = None,
    enough: int = ENOUGH_EXAMINED,
) -> Tally:
    """Count one block-season under one profile for the hazard of a latency.

    Parameters
    ----------
    result : SeasonResult
    profile : str
        Name of the profile in the result.
    latency : Latency
    rules : collection of str, optional
        The rules to score, as ``pack.rule``; by default all of the hazard that foretell. What
        any of these leaves open counts as open all the same.
    enough : int
        Flowers or fruit examined on a day before none seen counts as none.
    """
    said, walks = result.profile(profile), walks_of(result, latency.hazard, enough)
    chosen = [f for f in said.findings if _asked(f.rule, f.hazard, f.foretells, latency, rules)]
    hit = inside(windows_of(chosen, latency), walks.time)
    answered = (hit & walks.seen).any(axis=1)
    looked = hit.any(axis=1)
    foreseen = hit.any(axis=0)
    vague = ~foreseen & _open(result, said, walks.time, latency)
    seen, missed = walks.seen, ~foreseen & ~vague
    return Tally(
        int(answered.sum()), int((looked & ~answered).sum()), int((~looked).sum()),
        int((seen & foreseen).sum()), int((seen & missed).sum()), int((seen & vague).sum()),
        int((~seen & foreseen).sum()), int((~seen & missed).sum()), int((~seen & vague).sum()),
        *_brier(said, walks, latency),
    )  # fmt: skip


def _asked(
    rule: str, hazard: str, foretells: bool, latency: Latency, rules: Collection[str] | None
) -> bool:
    return hazard == latency.hazard and foretells and (rules is None or rule in rules)


def _open(result: SeasonResult, said: ProfileResult, times: Floats, latency: Latency) -> Bools:
    """Return where the log or a rule left open whether something should have been foretold."""
    first, last = times - latency.most * DAY_S, times - latency.least * DAY_S
    found = (first < result.logged_from) | (last > result.logged_until)
    for span in (o for o in said.open if o.hazard == latency.hazard):
        found |= (span.start <= last) & (span.end >= first)
    return found


def _brier(
    said: ProfileResult, walks: Walks, latency: Latency
) -> tuple[float, int, float, float, int]:
    """Return the squared errors of the index, read as the chance that the symptom is seen."""
    chances = [c for c in said.chances if c.hazard == latency.hazard]
    hit = inside(windows_of(chances, latency), walks.time)
    looked = hit.any(axis=1)
    answered = np.asarray((hit & walks.seen).any(axis=1))
    outcome = answered[looked].astype(np.float64)
    least = np.array([c.least for c in chances], dtype=np.float64)[looked]
    most = np.array([c.most for c in chances], dtype=np.float64)[looked]
    near = (np.clip(outcome, least, most) - outcome) ** 2
    far = np.maximum((least - outcome) ** 2, (most - outcome) ** 2)
    sure = least == most
    sums = float(near[sure].sum()), int(sure.sum())
    return *sums, float(near.sum()), float(far.sum()), len(outcome)
