"""A value chosen on some seasons and scored on others, so that the score does not flatter."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from riskrules.tuning.rows import SeasonResult
from riskrules.tuning.scores import Estimate, Score, score, split_by_season
from riskrules.tuning.sweep import Axis, name_of, sweep
from riskrules.tuning.tally import Latency


@dataclass(frozen=True, slots=True)
class Apart:
    """What became of a value that some seasons chose, on seasons that had no say in it.

    ``chosen`` is None where those seasons tell no value from another; ``best`` and ``present``
    are then None too. ``said`` is the whole in one sentence.
    """

    chosen_on: tuple[str, ...]
    scored_on: tuple[str, ...]
    chosen: tuple[float, ...] | None
    best: Score | None
    present: Score | None
    said: str


def kept_apart(
    results: Sequence[SeasonResult],
    axes: Sequence[Axis],
    latency: Latency,
    chosen_by: Collection[str] = (),
) -> Apart:
    """Choose a setting on some seasons and score it on the others.

    Parameters
    ----------
    results : sequence of SeasonResult
        Replayed with `riskrules.tuning.sweep.sweep_books`.
    axes : sequence of Axis
    latency : Latency
    chosen_by : collection of str
        The seasons to choose by; where they are none or all of the seasons, half of them is drawn.
    """
    seasons = sorted({r.season for r in results})
    if len(seasons) < 2:
        said = "Only one season is there: none can be kept apart to score a chosen value on."
        return Apart(tuple(seasons), (), None, None, None, said)
    first = tuple(r for r in results if r.season in chosen_by)
    rest = tuple(r for r in results if r.season not in chosen_by)
    if not first or not rest:
        first, rest = split_by_season(results)
    on, other = (tuple(sorted({r.season for r in part})) for part in (first, rest))
    found = sweep(first, axes, latency)
    if found.best is None:
        said = f"Chosen on {', '.join(on)} alone, no value stands out: {found.said}"
        return Apart(on, other, None, None, None, said)
    settings = (found.best, tuple(a.present for a in axes))
    best, present = (
        score(rest, name_of(axes, values), latency.hazard, latency) for values in settings
    )
    return Apart(on, other, found.best, best, present, _said(on, other, axes, best, present))


def _said(
    on: Sequence[str], other: Sequence[str], axes: Sequence[Axis], best: Score, present: Score
) -> str:
    """Return what the seasons kept apart say of the chosen setting and of the present one."""
    seasons = f"Chosen on {', '.join(on)}: {best.profile}."
    if present.profile == best.profile:
        return f"{seasons} That is the present value, so nothing speaks for another."
    a, b = (s.estimate("skill") for s in (best, present))
    said = a.said or b.said
    more = f" ({said})" if said else ""
    return (
        f"{seasons} On {', '.join(other)}, which had no say in it, its skill is {_number(a)}, "
        f"that of the present {_number(b)}{more}."
    )


def _number(e: Estimate) -> str:
    if e.value is None:
        return "not to be told"
    if e.low is None or e.high is None:
        return f"{e.value:.2f}"
    return f"{e.value:.2f} ({e.low:.2f} to {e.high:.2f})"
