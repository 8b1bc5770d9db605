"""A threshold over its range, or two at once: detection against alarms, and which value fits.

The value that fits best is the one with the most skill (detection less the share of clean days
that lay in a window). It is told only if sightings fit it better than sightings shuffled between
block-seasons would fit the best of all values tried: with enough values, some fits by chance.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from riskrules.errors import PackError, Problem
from riskrules.facts.table import DECIMALS
from riskrules.packs.load import SHARED, Rulebook
from riskrules.packs.model import Pack, Threshold
from riskrules.tuning.rows import SeasonResult
from riskrules.tuning.scores import DRAWS, LEVEL, Estimate, Score, resampled, score, skill, too_few
from riskrules.tuning.tally import (
    COLUMNS,
    DAY_S,
    Bools,
    Floats,
    Latency,
    matrix,
    tally,
    walks_of,
    windows_of,
)

SHUFFLES = 199
"""How often sightings are shuffled: the least chance that can be told is 1 in 200."""
CHANCE = 0.05
"""A fit that shuffled sightings reach more often than this may be chance. (common practice, no
source)"""
STEPS = 9
_DAYS = [COLUMNS.index(c) for c in ("foreseen", "missed", "false_days", "quiet_days")]


@dataclass(frozen=True, slots=True)
class Axis:
    """The values of one threshold that are tried, ``pack.name``, in order.

    ``origin`` says who set the present value: the pack, or a profile.
    """

    threshold: str
    values: tuple[float, ...]
    present: float
    unit: str
    source: str
    tag: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class SweepRow:
    """One setting: a value for each axis, its scores, and what it costs a block-season."""

    name: str
    values: tuple[float, ...]
    present: bool
    score: Score
    alarms: float
    crew_hours: float


@dataclass(frozen=True, slots=True)
class Sweep:
    """A table to draw, and what it says.

    ``best`` is the setting with the most skill, ``inside`` the interval of each axis in which
    the best of the drawn block-seasons lies; both None where nothing can be told. ``chance`` is
    how often shuffled sightings fit as well.
    """

    axes: tuple[Axis, ...]
    rows: tuple[SweepRow, ...]
    best: tuple[float, ...] | None
    inside: tuple[tuple[float, float], ...] | None
    chance: float | None
    tells: bool
    said: str


def threshold_of(book: Rulebook, name: str) -> Threshold:
    """Return a threshold by ``pack.name``; PackError if there is none."""
    pack, _, short = name.partition(".")
    tables = {SHARED: book.shared} | {p.name: p.thresholds for p in book.packs}
    if short not in tables.get(pack, {}):
        known = ", ".join(sorted(f"{p}.{n}" for p, t in tables.items() for n in t))
        raise PackError([Problem("sweep", 0, 0, f"no threshold '{name}'; expected one of {known}")])
    return tables[pack][short]


def axis_of(
    book: Rulebook, name: str, values: Sequence[float] | None = None, steps: int = STEPS
) -> Axis:
    """Return an axis: given values, or even steps over the allowed range; the present one too.

    Raises
    ------
    PackError
        If there is no such threshold, or a value is outside the range that the pack allows.
    """
    t = threshold_of(book, name)
    chosen = np.linspace(t.least, t.most, steps).tolist() if values is None else list(values)
    wrong = [v for v in chosen if not t.least <= v <= t.most]
    if wrong:
        message = f"'{name}' at {wrong[0]:g}; expected {t.least:g} to {t.most:g} {t.unit}"
        raise PackError([Problem("sweep", 0, 0, message)])
    every = tuple(sorted({round(float(v), DECIMALS) for v in [*chosen, t.value]}))
    return Axis(name, every, t.value, t.unit, t.source, t.tag, t.origin)


def name_of(axes: Sequence[Axis], values: Sequence[float]) -> str:
    """Return the name of a setting, by which its profile goes in a replay."""
    return ", ".join(f"{a.threshold}={v:.12g}" for a, v in zip(axes, values, strict=True))


def sweep_books(
    book: Rulebook, axes: Sequence[Axis], packs: Collection[str] | None = None
) -> dict[str, Rulebook]:
    """Return a rulebook for every setting, to be given to `riskrules.tuning.replay.replay_one`.

    Parameters
    ----------
    book : Rulebook
    axes : sequence of Axis
        One or two.
    packs : collection of str, optional
        Only these packs' rules, which is quicker; jobs and hours are then of these alone.
    """
    if not 1 <= len(axes) <= 2:
        raise ValueError(f"{len(axes)} thresholds; expected one or two at once")
    if packs is not None:
        book = only_packs(book, packs)
    settings = product(*(axis.values for axis in axes))
    return {name_of(axes, values): _with(book, axes, values) for values in settings}


def only_packs(book: Rulebook, packs: Collection[str]) -> Rulebook:
    """Return a rulebook of some packs alone."""
    return replace(book, packs=tuple(p for p in book.packs if p.name in packs))


def _with(book: Rulebook, axes: Sequence[Axis], values: Sequence[float]) -> Rulebook:
    for axis, value in zip(axes, values, strict=True):
        old = threshold_of(book, axis.threshold)
        if value != old.value:
            book = _changed(book, axis.threshold, replace(old, value=value, origin="sweep"))
    return book


def _changed(book: Rulebook, name: str, new: Threshold) -> Rulebook:
    pack = name.partition(".")[0]
    if pack == SHARED:
        shared = book.shared | {new.name: new}
        return replace(
            book, shared=shared, packs=tuple(replace(p, shared=shared) for p in book.packs)
        )

    def put(p: Pack) -> Pack:
        return replace(p, thresholds=p.thresholds | {new.name: new}) if p.name == pack else p

    return replace(book, packs=tuple(put(p) for p in book.packs))


def sweep(
    results: Sequence[SeasonResult],
    axes: Sequence[Axis],
    latency: Latency,
    rules: Collection[str] | None = None,
    draws: int = DRAWS,
    shuffles: int = SHUFFLES,
    seed: int = 0,
) -> Sweep:
    """Return the table of a sweep from block-seasons that were replayed with `sweep_books`.

    Parameters
    ----------
    results : sequence of SeasonResult
        Each with a profile for every setting, named by `name_of`.
    axes : sequence of Axis
    latency : Latency
        Of the hazard that is scored.
    rules : collection of str, optional
        By default all of the hazard that foretell.
    draws, shuffles, seed : int
        Of the resampling and the shuffling.
    """
    settings = list(product(*(axis.values for axis in axes)))
    names = [name_of(axes, values) for values in settings]
    done = [r for r in results if all(r.profile(n).state == "done" for n in names)]
    rows = tuple(_row(done, axes, values, latency, rules, draws, seed) for values in settings)
    tallies = [[tally(r, n, latency, rules) for n in names] for r in done]
    counts = (
        np.stack([matrix(t) for t in tallies]) if done else np.zeros((0, len(names), len(COLUMNS)))
    )
    why = _too_few(counts)
    left = (
        f" {len(results) - len(done)} block-seasons were not evaluated."
        if len(done) < len(results)
        else ""
    )
    if why:
        return Sweep(tuple(axes), rows, None, None, None, False, f"Can't tell: {why}.{left}")
    chance = by_chance(done, names, latency, rules, shuffles, seed)
    best = _best(counts, settings, axes)
    inside = best_inside(counts, settings, draws, seed)
    tells, said = _said(axes, best, inside, chance)
    if not tells:
        return Sweep(tuple(axes), rows, None, None, chance, False, said + left)
    return Sweep(tuple(axes), rows, best, inside, chance, True, said + left)


def _row(
    results: Sequence[SeasonResult], axes: Sequence[Axis], values: Sequence[float],
    latency: Latency, rules: Collection[str] | None, draws: int, seed: int,
) -> SweepRow:  # fmt: skip
    name = name_of(axes, values)
    found = score(results, name, latency.hazard, latency, rules, draws=draws, seed=seed)
    n = max(len(results), 1)
    hours = sum(r.profile(name).crew_hours for r in results)
    present = all(v == a.present for a, v in zip(axes, values, strict=True))
    return SweepRow(name, tuple(values), present, found, found.total.alarms / n, hours / n)


def _best(
    counts: Floats, settings: Sequence[tuple[float, ...]], axes: Sequence[Axis]
) -> tuple[float, ...]:
    """Return the setting with the most skill; of equals the present one, or else the first."""
    skills = skill(counts.sum(axis=0))
    equal = [s for s, x in zip(settings, skills, strict=True) if x >= skills.max() - 1e-12]
    present = tuple(axis.present for axis in axes)
    return present if present in equal else equal[0]


def _too_few(counts: Floats) -> str:
    """Return why nothing can be told: too few sightings, or days on which none was seen."""
    if not len(counts):
        return "no block-season was evaluated"
    total = counts.sum(axis=0)
    n = int((counts[..., _DAYS].sum(axis=(1, 2)) > 0).sum())
    reasons = [too_few(row, n) for row in total]
    if any(reasons):
        return next(r for r in reasons if r)
    if np.isnan(skill(total)).any():
        return "scouts noted no day without the symptom, so that no alarm can be false"
    return ""


def best_inside(
    counts: Floats, settings: Sequence[Sequence[float]], draws: int, seed: int
) -> tuple[tuple[float, float], ...]:
    """Return for each axis the interval of the best value over drawn block-seasons.

    Where several settings are equally good in a draw, the whole of them counts.

    Parameters
    ----------
    counts : ndarray, shape (block-seasons, settings, columns)
    settings : sequence, shape (settings, axes)
    draws, seed : int
    """
    skills = skill(resampled(counts, draws, seed))
    skills = skills[~np.isnan(skills).any(axis=1)]
    top = skills >= skills.max(axis=1, keepdims=True) - 1e-12
    found = []
    edge = (1 - LEVEL) / 2
    for values in np.array(settings, dtype=np.float64).T:
        low = np.where(top, values, np.inf).min(axis=1)
        high = np.where(top, values, -np.inf).max(axis=1)
        found.append((_at(low, edge, "lower"), _at(high, 1 - edge, "higher")))
    return tuple(found)


def _at(values: Floats, share: float, method: str) -> float:
    return float(np.quantile(values, share, method=method))  # type: ignore[call-overload]


def by_chance(
    results: Sequence[SeasonResult],
    names: Sequence[str],
    latency: Latency,
    rules: Collection[str] | None,
    shuffles: int,
    seed: int,
) -> float:
    """Return how often sightings shuffled between block-seasons fit some setting as well.

    The sightings of one block-season are held, on the same days of the season, against the
    findings of another: what both owe to the time of year stays, what one owes to the other goes.
    """
    seen, clean, covered = _by_day(results, names, latency, rules)
    generator = np.random.default_rng(seed)
    reached = _most_skill(covered, seen, clean)
    hits = 1
    for _ in range(shuffles):
        order = generator.permutation(len(results))
        hits += int(_most_skill(covered, seen[order], clean[order]) >= reached - 1e-12)
    return hits / (shuffles + 1)


def _by_day(
    results: Sequence[SeasonResult], names: Sequence[str], latency: Latency,
    rules: Collection[str] | None,
) -> tuple[Floats, Floats, Bools]:  # fmt: skip
    """Return days seen and days clean, shape (n, days); days in a window, (settings, n, days)."""
    days = max((r.end - r.start) // DAY_S + 2 for r in results)
    seen, clean = np.zeros((len(results), days)), np.zeros((len(results), days))
    covered = np.zeros((len(names), len(results), days), dtype=bool)
    for i, r in enumerate(results):
        walks = walks_of(r, latency.hazard)
        at = ((walks.time - r.start) // DAY_S).astype(int)
        seen[i, at[walks.seen]] = 1
        clean[i, at[~walks.seen]] = 1
        for k, name in enumerate(names):
            spans = [f for f in r.profile(name).findings if f.hazard == latency.hazard
                     and f.foretells and (rules is None or f.rule in rules)]  # fmt: skip
            for a, z in (windows_of(spans, latency) - r.start) // DAY_S:
                covered[k, i, max(int(a), 0) : max(int(z) + 1, 0)] = True
    return seen, clean, covered


def _most_skill(covered: Bools, seen: Floats, clean: Floats) -> float:
    """Return the skill of the best setting."""
    found = (covered * seen).sum(axis=(1, 2)) / max(seen.sum(), 1)
    wrong = (covered * clean).sum(axis=(1, 2)) / max(clean.sum(), 1)
    return float((found - wrong).max())


def _said(
    axes: Sequence[Axis],
    best: Sequence[float],
    inside: Sequence[tuple[float, float]],
    chance: float,
) -> tuple[bool, str]:
    """Return whether anything can be told, and the sentence."""
    if chance > CHANCE:
        return False, (
            f"Can't tell: shuffled sightings fit some value as well in {chance:.0%} of the tries."
        )
    parts, wide = [], True
    for axis, value, (low, high) in zip(axes, best, inside, strict=True):
        wide = wide and low <= axis.values[0] and high >= axis.values[-1]
        where = "inside" if low <= axis.present <= high else "outside"
        parts.append(
            f"{axis.threshold} fits best at {value:g} {axis.unit} "
            f"({low:g} to {high:g}); the present {axis.present:g} lies {where}"
        )
    if wide:
        return False, "Can't tell the values apart: each may be the best."
    return True, "; ".join(parts) + ". Score it on seasons that it was not chosen by."


def skill_of(row: SweepRow) -> Estimate:
    """Return the skill of a setting."""
    return row.score.estimate("skill")


def rows_by_values(found: Sweep) -> Mapping[tuple[float, ...], SweepRow]:
    """Return the rows of a sweep by their values, to draw a line or a map."""
    return {row.values: row for row in found.rows}
