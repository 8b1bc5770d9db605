"""A sweep finds a hidden threshold, and says that it can't tell where there is none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from riskrules.errors import PackError
from riskrules.tuning.replay import replay_one, season_facts
from riskrules.tuning.rows import SeasonResult
from riskrules.tuning.scores import split_by_season
from riskrules.tuning.sweep import Axis, Sweep, axis_of, name_of, sweep, sweep_books

from .made_up import BOOK, LATENCY, RULE, at_random, from_hidden, humid_block_season, season

HUMID = "gray_mold.humid_long"
VALUES = (3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
AXIS = axis_of(BOOK, HUMID, VALUES)


def archive(shows: Callable[..., bool], seed: int, n: int = 24) -> list[SeasonResult]:
    rng = np.random.default_rng(seed)
    limits = {name_of([AXIS], (v,)): v for v in AXIS.values}
    return [season(rng, f"b{i % 6}", str(2000 + i // 6), limits, shows) for i in range(n)]


def swept(shows: Callable[..., bool], seed: int, n: int = 24) -> Sweep:
    return sweep(archive(shows, seed, n), [AXIS], LATENCY, draws=200)


@pytest.mark.parametrize("hidden", [5, 8])
def test_the_hidden_threshold_lies_in_the_interval(hidden: float) -> None:
    found = swept(from_hidden(hidden), seed=int(hidden))
    assert found.tells
    ((low, high),) = found.inside
    assert low <= hidden <= high
    assert high - low <= 3
    assert found.chance <= 0.05
    assert f"the present {AXIS.present:g}" in found.said


def noisy(hidden: float, error: float) -> Callable[..., bool]:
    exact = from_hidden(hidden)

    def shows(hours: np.ndarray, day: int, rng: np.random.Generator) -> bool:
        return exact(hours, day, rng) != (rng.random() < error)

    return shows


def test_scouts_who_err_widen_the_interval_and_it_still_holds() -> None:
    sure, unsure = swept(noisy(7, 0.02), seed=3, n=10), swept(noisy(7, 0.35), seed=3, n=10)
    assert sure.tells and unsure.tells
    for found in (sure, unsure):
        assert found.inside[0][0] <= 7 <= found.inside[0][1]
    assert np.ptp(unsure.inside[0]) > np.ptp(sure.inside[0])


def test_sightings_at_random_can_t_be_told() -> None:
    found = swept(at_random, seed=11)
    assert not found.tells
    assert (found.best, found.inside) == (None, None)
    assert found.said.startswith("Can't tell")
    assert found.chance is not None and found.chance > 0.05
    assert len(found.rows) == len(VALUES)  # the table is there all the same


@pytest.mark.long
def test_random_sightings_are_told_from_chance_about_one_time_in_twenty_at_most() -> None:
    wrong = sum(swept(at_random, seed).tells for seed in range(100))
    assert wrong <= 11  # 5 expected; 12 or more have a chance under 1 % (binomial, computed)


@pytest.mark.long
def test_the_hidden_threshold_lies_in_nearly_every_interval() -> None:
    """Ten block-seasons, and scouts who err on three days of ten: intervals are wide, and hold."""
    told = [f.inside[0] for seed in range(100) if (f := swept(noisy(7, 0.3), seed, 10)).inside]
    assert len(told) >= 80
    assert sum(low <= 7 <= high for low, high in told) >= 0.93 * len(told)
    assert np.mean([high - low for low, high in told]) > 0.5  # else nothing was tried


def test_few_sightings_are_too_few_to_choose_by() -> None:
    found = swept(from_hidden(11.9), seed=2, n=8)
    assert not found.tells and "too few sightings" in found.said


def test_a_sweep_without_clean_days_can_t_tell() -> None:
    found = swept(lambda *a: True, seed=1)
    assert not found.tells and "no day without the symptom" in found.said


def test_alarms_fall_as_the_threshold_rises_and_the_present_value_is_marked() -> None:
    found = swept(from_hidden(6), seed=4)
    alarms = [row.alarms for row in found.rows]
    assert alarms == sorted(alarms, reverse=True) and alarms[0] > alarms[-1]
    pod = [row.score.estimate("detection").value for row in found.rows]
    assert pod == sorted(pod, reverse=True)
    assert [row.values for row in found.rows if row.present] == [(6.0,)]
    assert found.axes[0].source and found.axes[0].tag == "assumption"


def test_the_same_seed_gives_the_same_sweep() -> None:
    assert swept(noisy(6, 0.1), 4, n=12) == swept(noisy(6, 0.1), 4, n=12)


def test_what_is_chosen_on_some_seasons_holds_on_others() -> None:
    done = archive(noisy(7, 0.1), seed=8, n=36)
    tune, held = split_by_season(done, seed=1)
    best = sweep(tune, [AXIS], LATENCY, draws=200).best
    assert best is not None
    check = sweep(held, [AXIS], LATENCY, draws=200)
    row = next(r for r in check.rows if r.values == best)
    assert row.score.estimate("skill").low > 0.3


def test_an_axis_keeps_to_the_allowed_range_and_holds_the_present_value() -> None:
    t = BOOK.pack("gray_mold").thresholds["humid_long"]
    axis = axis_of(BOOK, HUMID, steps=5)
    assert axis.values[0] == t.least and axis.values[-1] == t.most and t.value in axis.values
    with pytest.raises(PackError, match="expected 2 to 16 h"):
        axis_of(BOOK, HUMID, [1, 6])
    with pytest.raises(PackError, match="no threshold 'gray_mold.humid'"):
        axis_of(BOOK, "gray_mold.humid", [6])


def test_books_of_a_sweep_differ_in_the_thresholds_alone() -> None:
    other = axis_of(BOOK, "facts.humid", [88, 92])
    books = sweep_books(BOOK, [AXIS, other])
    assert len(books) == len(AXIS.values) * 3  # the present 90 is added
    book = books[name_of([AXIS, other], (8, 88))]
    assert book.pack("gray_mold").thresholds["humid_long"].value == 8
    assert book.value("humid") == 88
    assert all(p.shared["humid"].value == 88 for p in book.packs)
    present = books[name_of([AXIS, other], (6, 90))]
    assert present == BOOK
    with pytest.raises(ValueError, match="one or two at once"):
        sweep_books(BOOK, [])


def test_two_thresholds_at_once_find_both() -> None:
    """Nights must be long, and the rule of a second threshold only adds false alarms below 5."""
    rng = np.random.default_rng(5)
    second = Axis("gray_mold.cover_wet", (3.0, 5.0, 7.0), 3.0, "h", "made up", "assumption")
    axes = [AXIS, second]
    limits = {name_of(axes, (a, b)): max(a, b) for a in AXIS.values for b in second.values}
    done = [season(rng, f"b{i % 6}", str(2000 + i // 6), limits, from_hidden(7)) for i in range(16)]
    found = sweep(done, axes, LATENCY, draws=100)
    assert len(found.rows) == len(AXIS.values) * 3
    assert found.tells
    assert found.inside[0][0] <= 7 <= found.inside[0][1]


def from_logs(hidden: float, n: int, days: int, axis: Axis) -> list[SeasonResult]:
    books = sweep_books(BOOK, [axis], ["gray_mold"])
    rng = np.random.default_rng(5)
    done = []
    for i in range(n):
        one = humid_block_season(rng, f"b{i}", 2020 + i % 4, hidden, days)
        kept = season_facts(one, BOOK)
        done.append(replay_one(one, books, kept={kept.key: kept}))
    return done


def test_a_hidden_threshold_is_found_from_logs_to_sweep() -> None:
    """The whole path: readings, facts, the engine, findings, sightings, scores."""
    axis = axis_of(BOOK, HUMID, [4, 6, 7, 9])
    done = from_logs(7, 8, 70, axis)
    found = sweep(done, [axis], LATENCY, [RULE], draws=200)
    assert found.tells
    assert found.inside[0][0] <= 7 <= found.inside[0][1]
    assert found.best == (7.0,)


@pytest.mark.long
@pytest.mark.parametrize("hidden", [5, 6, 8])
def test_other_hidden_thresholds_are_found_from_logs(hidden: float) -> None:
    axis = axis_of(BOOK, HUMID, VALUES)
    found = sweep(from_logs(hidden, 12, 90, axis), [axis], LATENCY, [RULE])
    assert found.tells
    assert found.inside[0][0] <= hidden <= found.inside[0][1]


def test_a_season_that_was_not_evaluated_is_left_out_and_said() -> None:
    done = archive(from_hidden(6), seed=4)
    broken = [replace(p, state="not evaluated", why="died") for p in done[0].profiles]
    found = sweep([replace(done[0], profiles=tuple(broken)), *done[1:]], [AXIS], LATENCY, draws=50)
    assert "1 block-seasons were not evaluated" in found.said
    assert found.rows[0].score.block_seasons == 23
