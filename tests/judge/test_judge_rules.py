"""What must hold of every judged log, whatever was in it."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.kinds import Cause
from riskrules.logs.judge import judge
from riskrules.logs.limits import true_ends
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Flag, Trouble

from .hand import PLACE, RH, WET, T, log, moving, same
from .random_rows import random_rows, without

seeds = st.integers(0, 2**32 - 1)


def judged(rows: Readings) -> Readings:
    return judge(rows, place=PLACE)


@given(seed=seeds)
def test_flags_reasons_causes_and_intervals_agree(seed: int) -> None:
    raw = random_rows(seed)
    rows = judged(raw)
    for name, value in rows.values.items():
        flags, reasons, cause = rows.flags[name], rows.reasons[name], rows.cause[name]
        gone = np.isnan(value)
        assert (gone == np.isin(flags, [Flag.FAIL, Flag.MISSING])).all()
        assert (cause[gone] != 0).all()
        assert (reasons[np.isin(flags, [Flag.FAIL, Flag.SUSPECT])] != 0).all()
        suspect = flags == Flag.SUSPECT
        assert (cause[suspect] & int(Cause.DOUBTED) > 0).all()
        clean = np.isin(flags, [Flag.PASS, Flag.NOT_EVALUATED])
        assert (cause[clean] == 0).all() and (reasons[clean] == 0).all()
        low, high = rows.least(name)[~gone], rows.most(name)[~gone]
        least, most = true_ends(name)
        assert (low <= value[~gone]).all() and (value[~gone] <= high).all()
        assert (low[~suspect[~gone]] == high[~suspect[~gone]]).all()
        assert (low >= least).all() and (high <= most).all()
        kept = np.where(raw.values[name] > 100, 100, raw.values[name]) if name == RH else (
            raw.values[name])  # fmt: skip
        assert np.array_equal(value[~gone], kept[~gone])
        assert not np.isin(flags[rows.forecast], [Flag.PASS, Flag.SUSPECT]).any()


@given(seed=seeds)
def test_judging_is_pure_idempotent_and_blind_to_the_order_of_variables(seed: int) -> None:
    raw = random_rows(seed)
    before = copy.deepcopy(raw)
    once = judged(raw)
    assert same(raw, before)
    assert same(judged(once), once)
    names = list(raw.values)[::-1]
    turned = replace(raw, values={n: raw.values[n] for n in names})
    assert same(judged(turned), once)
    assert len(judged(once).notes) == len(once.notes)


@given(seed=seeds, holes=seeds, share=st.sampled_from([0.02, 0.2, 0.6]))
def test_readings_taken_away_never_make_the_rest_say_something_else(
    seed: int, holes: int, share: float
) -> None:
    raw = random_rows(seed)
    less, left = without(raw, holes, share)
    full, poor = judged(raw), judged(less)
    for name in raw.values:
        a, b = full.least(name)[left], full.most(name)[left]
        c, d = poor.least(name), poor.most(name)
        known = ~np.isnan(a) & ~np.isnan(c)
        assert (c[known] <= b[known]).all() and (a[known] <= d[known]).all()


@given(seed=seeds, lost=st.integers(0, 500))
def test_one_reading_lost_leaves_a_dead_sensor_dead(seed: int, lost: int) -> None:
    raw = random_rows(seed)
    name = list(raw.values)[lost % len(raw.values)]
    full = judged(raw)
    less = replace(raw, values=dict(raw.values))
    less.values[name] = raw.values[name].copy()
    less.values[name][lost % len(raw)] = np.nan
    poor = judged(less)
    dead = int(Trouble.STUCK | Trouble.NEVER_DRIES | Trouble.NEVER_WETS)
    for each in raw.values:
        was = full.reasons[each] & dead > 0
        # Rain that nobody measured is no rain: a sensor that it accused may be sound after all.
        if name.startswith("thickness") and each.startswith("surface"):
            continue
        # A humidity between two runs that is lost may join them, and fog hides what it says.
        assert np.isnan(poor.values[each][was]).all(), (each, name, lost % len(raw))


@given(long=st.integers(13, 40), seed=seeds)
def test_a_stuck_run_of_which_half_the_time_is_seen_is_stuck(long: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    values: list[float | None] = [*moving(15, 20), *[17.5] * long, *moving(15, 20)]
    lost = rng.random(long) < 0.7
    for i in np.flatnonzero(lost).tolist():
        values[20 + i] = None
    seen = np.flatnonzero(~lost)
    rows = judge(log(**{T: values}))
    if len(seen) and seen[-1] - seen[0] >= 6:
        assert np.isnan(rows.values[T][20 : 20 + long]).all()
    assert not np.isnan(rows.values[T][:20]).any()


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_logs_of_hardly_any_rows_are_judged(n: int) -> None:
    rows = judge(log(**{T: [15.0] * n, RH: [101.0] * n, WET: [0.5] * n}), place=PLACE)
    assert {k: len(v) for k, v in rows.flags.items()} == {T: n, RH: n, WET: n}


def test_a_log_of_days_is_not_stuck_because_its_step_is_long() -> None:
    rows = judge(log(24, **{T: [15.0, 15.0, 15.0, 15.2]}))
    assert (rows.flags[T] == Flag.PASS).all()


def test_a_log_that_is_all_missing_is_all_missing() -> None:
    rows = judge(log(**{T: [None] * 5, RH: [None] * 5, WET: [None] * 5}), place=PLACE)
    assert all((f == Flag.MISSING).all() for f in rows.flags.values())
    forecast = judge(log(forecast=5, **{T: [1.0] * 5, RH: [2.0] * 5, WET: [1.0] * 5}), place=PLACE)
    assert all((f == Flag.NOT_EVALUATED).all() for f in forecast.flags.values())
