"""Readings that are intervals: doubted, filled in or borrowed. Their facts widen and say why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.facts.kinds import Cause
from riskrules.facts.table import Facts
from riskrules.logs.limits import load_limits
from riskrules.logs.readings import Readings
from riskrules.logs.ready import lend, make_ready

from .hand import air, bounds, facts, log, night_to

FIRST = "2026-06-10 00:00"
LIMITS = load_limits()


def doubted(rows: Readings, name: str, at: list[int], width: float) -> Readings:
    """Return readings of which some are doubted by so much either way, as if judged."""
    low, high = rows.values[name].copy(), rows.values[name].copy()
    low[at] -= width
    high[at] += width
    cause = rows.cause[name].copy()
    cause[at] |= int(Cause.DOUBTED)
    flags = {n: np.ones(len(rows), dtype=np.uint8) for n in rows.values}
    return replace(
        rows, low={name: low}, high={name: high}, cause={**rows.cause, name: cause}, flags=flags
    )


def test_the_lowest_temperature_of_a_night_is_as_wide_as_its_doubted_reading() -> None:
    values = [15.0 + 0.1 * (i % 3) for i in range(48)]
    values[26] = 9.0  # 01:00 to 02:00 of the 11th
    rows = doubted(log(FIRST, t=values), "air_temperature", [26], 2)
    night = night_to(facts(rows), "2026-06-11")
    assert bounds(night, "lowest_temperature") == (7, 11)
    assert night.quantities["lowest_temperature"].cause == Cause.DOUBTED
    length = night.quantities["length"].least
    assert night.shares["air_temperature"]["doubted"] == pytest.approx(1 / length, rel=1e-4)
    assert sum(night.shares["air_temperature"].values()) == pytest.approx(1)


def test_humid_hours_count_a_doubted_reading_only_as_far_as_it_surely_is_humid() -> None:
    rh = [60.0 + 0.1 * (i % 3) for i in range(48)]
    rh[25], rh[26] = 92.0, 97.0
    rows = doubted(log(FIRST, t=air(48), rh=rh), "relative_humidity", [25, 26], 5)
    assert bounds(night_to(facts(rows), "2026-06-11"), "humid_hours") == (1, 2)


def test_an_interval_of_no_width_changes_nothing() -> None:
    rh = [60.0 + i % 37 for i in range(72)]
    rows = log(FIRST, t=air(72), rh=rh)
    (plain,) = make_ready([rows])
    wide = doubted(rows, "relative_humidity", [], 5)
    assert same(facts(plain), facts(wide))


def same(a: Facts, b: Facts) -> bool:
    """Return whether all bounds are equal."""
    return all(
        t.ids == b[kind].ids
        and all((t.least[q] == b[kind].least[q]).all() for q in t.least)
        and all((t.most[q] == b[kind].most[q]).all() for q in t.most)
        for kind, t in a.items()
    )


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_whatever_a_doubted_value_truly_was_every_bound_contains_it(data: st.DataObject) -> None:
    n = 60
    t = np.array(air(n), dtype=float) + data.draw(st.floats(-5, 15))
    rh = np.array([data.draw(st.integers(600, 1000)) / 10 for _ in range(n)])
    at = sorted(data.draw(st.sets(st.integers(0, n - 1), max_size=6)))
    width = 4.0
    truth_t, truth_rh = t.copy(), rh.copy()
    for i in at:
        truth_t[i] += data.draw(st.floats(-width, width))
    truth = log(FIRST, t=truth_t.tolist(), rh=truth_rh.tolist())
    truth = replace(truth, flags={k: np.ones(n, dtype=np.uint8) for k in truth.values})
    wide = doubted(log(FIRST, t=t.tolist(), rh=rh.tolist()), "air_temperature", at, width)
    one, other = facts(truth), facts(wide)
    for kind in ("night", "day"):
        for name in one[kind].least:
            assert (other[kind].least[name] <= one[kind].least[name] + 2e-4).all(), name
            assert (other[kind].most[name] >= one[kind].most[name] - 2e-4).all(), name


def test_a_borrowed_reading_fills_a_hole_with_its_width_and_its_share() -> None:
    own = [15.0 + 0.1 * (i % 3) for i in range(48)]
    gone: list[float | None] = [*own]
    gone[25:29] = [None] * 4
    rows, other = make_ready(
        [log(FIRST, t=gone), log(FIRST, t=[12.0 + 0.2 * (i % 5) for i in range(48)])]
    )
    night = night_to(facts([rows, lend(other, ["air_temperature"], LIMITS)]), "2026-06-11")
    width = LIMITS.of("air_temperature").borrowed
    low, high = bounds(night, "lowest_temperature")
    assert low == pytest.approx(12.0 - width) and high == 15.0
    assert night.quantities["lowest_temperature"].cause & Cause.BORROWED
    assert night.shares["air_temperature"]["borrowed"] == pytest.approx(
        4 / night.quantities["length"].least, rel=1e-4
    )
