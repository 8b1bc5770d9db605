"""Scores of findings against sightings, each with its interval over block-seasons.

Detection is counted in sightings (days on which the symptom was seen), false alarms in findings,
as one sighting may answer many findings. Where each finding has one sighting the scores are those
of the usual table of four. All resampling is of whole block-seasons, as what happens within one
hangs together.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskrules.science.sampling import wilson_interval
from riskrules.tuning.rows import SeasonResult
from riskrules.tuning.tally import COLUMNS, ENOUGH_EXAMINED, Floats, Latency, Tally, matrix, tally

DRAWS = 2000
LEVEL = 0.95
FEWEST_SEEN = 10
"""Days with a sighting below which a score is no guide. (assumption)"""
FEWEST_SEASONS = 8
"""Block-seasons with a case below which an interval is no guide. (assumption)"""
MOST_UNDEFINED = 0.05
"""Share of draws without a value above which there is no interval. (assumption)"""
_AT = {name: i for i, name in enumerate(COLUMNS)}
Statistic = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Estimate:
    """One score with what it leaves open. None: there is no value.

    ``low`` and ``high`` are the ends of the 95 % interval from resampling block-seasons. ``least``
    and ``most`` are what the score would be if all that nobody could tell fell one way or the
    other. ``said`` is empty, or says why the number is no guide.
    """

    name: str
    value: float | None
    low: float | None
    high: float | None
    least: float | None
    most: float | None
    cases: int
    block_seasons: int
    said: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """All scores of one profile for one hazard; ``said`` where it is not scored, or a warning."""

    profile: str
    hazard: str
    latency: Latency | None
    rules: tuple[str, ...]
    total: Tally
    estimates: tuple[Estimate, ...]
    seasons: tuple[str, ...]
    block_seasons: int
    said: tuple[str, ...]

    def estimate(self, name: str) -> Estimate:
        """Return one score by name: detection, false alarms, success, skill or brier."""
        return next(e for e in self.estimates if e.name == name)


def _ratio(over: Floats, under: Floats) -> Floats:
    """Return a quotient, NaN where there is nothing to divide by."""
    out = np.full(np.shape(under), np.nan)
    found: Floats = np.divide(over, under, out=out, where=np.asarray(under > 0))
    return found


def detection(counts: Floats) -> Floats:
    """Return the probability of detection: sightings foreseen of all that can be told. [1]

    ``counts`` has the columns of `COLUMNS` last.
    """
    seen = counts[..., _AT["foreseen"]]
    return _ratio(seen, seen + counts[..., _AT["missed"]])


def false_alarm_ratio(counts: Floats) -> Floats:
    """Return the false-alarm ratio: findings looked for and not answered, of those looked for."""
    wrong = counts[..., _AT["unanswered"]]
    return _ratio(wrong, wrong + counts[..., _AT["answered"]])


def critical_success(counts: Floats) -> Floats:
    """Return the critical success index from detection and false-alarm ratio. [1]

    1 / (1 / POD + 1 / (1 - FAR) - 1), which is hits / (hits + misses + false alarms) where each
    finding has one sighting (computed). 0 where nothing was foreseen.
    """
    some = counts[..., _AT["missed"]] + counts[..., _AT["unanswered"]]
    return _success(detection(counts), 1 - false_alarm_ratio(counts), some > 0)


def _success(pod: Floats, right: Floats, some: npt.ArrayLike) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        both = 1 / (1 / pod + 1 / right - 1)
    return np.where((pod > 0) & (right > 0), both, np.where(some, 0.0, np.nan))


def skill(counts: Floats) -> Floats:
    """Return detection less the share of clean days that lay in a window. [1]

    0 where no better than chance, 1 at best (Peirce 1884, Science 4:453, memory).
    """
    wrong = counts[..., _AT["false_days"]]
    return detection(counts) - _ratio(wrong, wrong + counts[..., _AT["quiet_days"]])


def brier(counts: Floats) -> Floats:
    """Return the mean squared error of the index where it is one number (Brier 1950, memory)."""
    return _ratio(counts[..., _AT["brier_sum"]], counts[..., _AT["brier_cases"]])


STATISTICS: dict[str, tuple[Statistic, tuple[str, ...]]] = {
    "detection": (detection, ("foreseen", "missed")),
    "false alarms": (false_alarm_ratio, ("answered", "unanswered")),
    "success": (critical_success, ("foreseen", "missed", "unanswered")),
    "skill": (skill, ("foreseen", "missed", "false_days", "quiet_days")),
    "brier": (brier, ("brier_cases",)),
}
"""Each score, and the counts that are its cases."""


def resampled(counts: Floats, draws: int = DRAWS, seed: int = 0) -> Floats:
    """Return the sums over block-seasons drawn with replacement; shape (draws, ...).

    Parameters
    ----------
    counts : ndarray, shape (n, ...)
        One row a block-season.
    draws, seed : int
        How often, and where the generator starts: the same seed gives the same draws.
    """
    n = len(counts)
    weights = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=draws)
    return np.tensordot(weights.astype(np.float64), counts, axes=(1, 0))


def interval(
    counts: Floats, statistic: Statistic, draws: int = DRAWS, seed: int = 0
) -> tuple[float, float, float]:
    """Return the ends of an interval over block-seasons, and the share of draws without a value.

    They are percentiles of the draws. Where every draw says the same, resampling cannot see how
    unsure that is: the ends are then Wilson's for as many cases as there are block-seasons. Both
    are NaN where no draw has a value.
    """
    values = statistic(resampled(counts, draws, seed))
    good = values[~np.isnan(values)]
    if not len(good):
        return np.nan, np.nan, 1.0
    edge = (1 - LEVEL) / 2
    low, high = (float(x) for x in np.quantile(good, (edge, 1 - edge)))
    if high - low < 1e-12:
        n = len(counts)
        a, z = wilson_interval(np.array([min(max(low, 0.0), 1.0) * n]), np.array([n]))
        low, high = min(low, float(a[0])), max(high, float(z[0]))
    return low, high, 1 - len(good) / draws


def _estimate(name: str, counts: Floats, draws: int, seed: int) -> Estimate:
    statistic, columns = STATISTICS[name]
    cases = counts[:, [_AT[c] for c in columns]].sum(axis=1)
    used = counts[cases > 0]
    total = counts.sum(axis=0)
    least, most = (_number(x) for x in _bounds(name, total))
    n = len(used)
    if not n:
        return Estimate(name, None, None, None, least, most, 0, 0, "nothing to tell it from")
    value = _number(statistic(total))
    low, high, undefined = interval(counts, statistic, draws, seed)
    said = too_few(total, n)
    if not said and undefined > MOST_UNDEFINED:
        said = f"too few sightings to tell: {undefined:.0%} of the draws have none"
    return Estimate(
        name, value, _number(low), _number(high), least, most, int(cases.sum()), n, said
    )


def too_few(total: Floats, block_seasons: int) -> str:
    """Return why the counts are too few to tell anything, or nothing."""
    seen = int(total[_AT["foreseen"]] + total[_AT["missed"]])
    if seen < FEWEST_SEEN:
        return f"too few sightings to tell: {seen}; expected {FEWEST_SEEN} or more"
    if block_seasons < FEWEST_SEASONS:
        return (
            f"too few sightings to tell: they are of {block_seasons} block-seasons; "
            f"expected {FEWEST_SEASONS} or more"
        )
    return ""


def _number(x: Floats | float) -> float | None:
    return None if np.isnan(x) else round(float(x), 6)


def _bounds(name: str, total: Floats) -> tuple[float, float]:
    """Return a score if all that is open fell against it, and in its favour."""
    t = dict(zip(COLUMNS, total.tolist(), strict=True))
    all_seen = t["foreseen"] + t["missed"] + t["open"]
    all_found = t["answered"] + t["unanswered"] + t["unlooked"]
    pod = _share(t["foreseen"], t["foreseen"] + t["open"], all_seen)
    far = _share(t["unanswered"], t["unanswered"] + t["unlooked"], all_found)
    if name == "detection":
        return pod
    if name == "false alarms":
        return far
    if name == "brier":
        return _share(t["brier_least"], t["brier_most"], t["brier_all"])
    if name == "success":
        some = np.bool_(all_seen + all_found > 0)
        ends = [
            _success(np.array(a), np.array(1 - b), some)
            for a, b in zip(pod, far[::-1], strict=True)
        ]
        return float(ends[0]), float(ends[1])
    days = t["false_days"] + t["quiet_days"] + t["open_days"]
    wrong = _share(t["false_days"], t["false_days"] + t["open_days"], days)
    return pod[0] - wrong[1], pod[1] - wrong[0]


def _share(least: float, most: float, of: float) -> tuple[float, float]:
    return (least / of, most / of) if of else (np.nan, np.nan)


def score(
    results: Sequence[SeasonResult],
    profile: str,
    hazard: str,
    latency: Latency | None,
    rules: Collection[str] | None = None,
    tuned_on: Collection[str] = (),
    draws: int = DRAWS,
    seed: int = 0,
    enough: int = ENOUGH_EXAMINED,
) -> Score:
    """Score one profile for one hazard over block-seasons.

    Parameters
    ----------
    results : sequence of SeasonResult
    profile, hazard : str
    latency : Latency or None
        As published; None: the hazard is not scored, and the score says so.
    rules : collection of str, optional
        By default all of the hazard that foretell.
    tuned_on : collection of str
        Seasons by which the profile was chosen: a warning is said where they are scored too.
    draws, seed : int
        Of the resampling.
    enough : int
        See `tally`.
    """
    seasons = tuple(sorted({r.season for r in results}))
    if latency is None:
        said = f"{hazard} is not scored: it has no published time from infection to symptoms"
        return Score(profile, hazard, None, (), Tally(), (), seasons, len(results), (said,))
    done = [r for r in results if r.profile(profile).state == "done"]
    tallies = [tally(r, profile, latency, rules, enough) for r in done]
    counts = matrix(tallies)
    used = _rules_of(done, profile, hazard, rules)
    estimates = tuple(_estimate(name, counts, draws, seed) for name in STATISTICS)
    whole = Tally(
        *(type(getattr(Tally(), c))(x) for c, x in zip(COLUMNS, counts.sum(0), strict=True))
    )
    return Score(
        profile, hazard, latency, used, whole, estimates, seasons, len(done),
        tuple(_notes(results, len(done), whole, seasons, tuned_on)),
    )  # fmt: skip


def _rules_of(
    results: Sequence[SeasonResult], profile: str, hazard: str, rules: Collection[str] | None
) -> tuple[str, ...]:
    """Return the rules whose findings were scored."""
    found = {f.rule for r in results for f in r.profile(profile).findings
             if f.hazard == hazard and f.foretells}  # fmt: skip
    return tuple(sorted(found if rules is None else found & {*rules}))


def _notes(
    results: Sequence[SeasonResult],
    done: int,
    whole: Tally,
    seasons: Sequence[str],
    tuned_on: Collection[str],
) -> list[str]:
    found = [same_seasons(tuned_on, seasons), too_few(matrix([whole])[0], done)]
    if len(results) > done:
        found.append(f"{len(results) - done} block-seasons were not evaluated, and are left out")
    if whole.unlooked:
        found.append(f"{whole.unlooked} of {whole.alarms} findings: nobody looked in their time")
    if whole.open:
        many = "sighting" if whole.open == 1 else "sightings"
        found.append(f"{whole.open} {many}: the log or a rule leaves open what was due")
    return [note for note in found if note]


def same_seasons(tuned: Collection[str], scored: Collection[str]) -> str:
    """Return a warning where a profile is scored on seasons by which it was chosen, or nothing."""
    both = sorted({*tuned} & {*scored})
    if not both:
        return ""
    return (
        f"Chosen and scored on the same seasons ({', '.join(both)}): the score flatters. "
        "Keep some seasons apart to score on."
    )


def split_by_season(
    results: Sequence[SeasonResult], share: float = 0.5, seed: int = 0
) -> tuple[tuple[SeasonResult, ...], tuple[SeasonResult, ...]]:
    """Return the results in two: to choose by, and to score on; no season is in both.

    Whole seasons are drawn, with all their blocks, as blocks of one season share its weather.

    Raises
    ------
    ValueError
        If there are fewer than two seasons, or the share leaves one side empty.
    """
    seasons = sorted({r.season for r in results})
    n = round(share * len(seasons))
    if not 0 < n < len(seasons):
        raise ValueError(f"{len(seasons)} seasons, {share:.0%} to choose by; expected some in each")
    drawn = {str(s) for s in np.random.default_rng(seed).permutation(seasons)[:n]}
    return (
        tuple(r for r in results if r.season in drawn),
        tuple(r for r in results if r.season not in drawn),
    )
