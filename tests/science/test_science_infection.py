"""Properties of the infection models: bounds hold, wetness never helps, slips stay out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.science import anthracnose_fruit, gray_mold_flower, leather_rot

MODELS = {
    "gray mold": (
        gray_mold_flower.flower_infection_index,
        gray_mold_flower.flower_infection_bounds,
        1.0,
    ),
    "anthracnose": (
        anthracnose_fruit.fruit_infection_index,
        anthracnose_fruit.fruit_infection_bounds,
        1.0,
    ),
    "leather rot": (leather_rot.leather_rot_level, leather_rot.leather_rot_bounds, 3.0),
}
each_model = pytest.mark.parametrize("model", MODELS)
# Edges of the guards are drawn on purpose: they are where a bound goes wrong.
EDGES = [4.0, 5.0, 6.0, 9.9, 10.0, 17.0, 20.42, 25.0, 26.5, 30.0, 30.1, 35.0]
temperatures = st.sampled_from(EDGES) | st.floats(-40, 60)
hours = st.sampled_from([0.0, 1.0, 2.0, 32.0, 51.0]) | st.floats(0, 120)
shares = st.sampled_from([0.0, 1.0]) | st.floats(0, 1)


def between(lo: float, hi: float, share: float) -> float:
    return min(max(lo + share * (hi - lo), lo), hi)


@each_model
@given(temperatures, temperatures, hours, hours, shares, shares)
def test_bounds_contain_the_index_of_any_point_of_the_box(model, t1, t2, w1, w2, ts, ws):
    index, bounds, most = MODELS[model]
    t_lo, t_hi, w_lo, w_hi = min(t1, t2), max(t1, t2), min(w1, w2), max(w1, w2)
    lo, hi = bounds(t_lo, t_hi, w_lo, w_hi)
    found = index(between(t_lo, t_hi, ts), between(w_lo, w_hi, ws))
    assert 0 <= lo <= hi <= most
    assert np.isnan(found) or lo - 1e-12 <= found <= hi + 1e-12


@each_model
def test_bounds_are_reached_inside_the_box(model):
    index, bounds, _ = MODELS[model]
    lo, hi = bounds(12.0, 28.0, 1.5, 9.0)
    grid = index(*np.meshgrid(np.linspace(12, 28, 1601), np.linspace(1.5, 9, 76)))
    assert lo == pytest.approx(grid.min(), abs=1e-6)
    assert hi == pytest.approx(grid.max(), abs=1e-6)


@each_model
@given(temperatures, hours, hours)
def test_more_wetness_never_lowers_the_index(model, temperature, w1, w2):
    index, _, _ = MODELS[model]
    dry, wet = index(temperature, min(w1, w2)), index(temperature, max(w1, w2))
    assert np.isnan(wet) or dry <= wet


@each_model
@given(temperatures, temperatures, hours, hours)
def test_a_wider_box_never_has_narrower_bounds(model, t1, t2, w1, w2):
    _, bounds, _ = MODELS[model]
    t_lo, t_hi, w_lo, w_hi = min(t1, t2), max(t1, t2), min(w1, w2), max(w1, w2)
    lo, hi = bounds(t_lo, t_hi, w_lo, w_hi)
    wide_lo, wide_hi = bounds(t_lo - 1, t_hi + 1, w_lo / 2, w_hi + 1)
    assert wide_lo <= lo
    assert wide_hi >= hi


@each_model
@given(temperatures)
def test_no_wet_hour_gives_zero_at_any_temperature(model, temperature):
    index, bounds, _ = MODELS[model]
    assert index(temperature, 0.0) == 0
    assert bounds(temperature, temperature, 0.0, 0.0) == (0, 0)


@each_model
@pytest.mark.parametrize("temperature", [-40.0, 2.0, 31.0, 60.0, np.nan])
def test_what_was_never_tested_is_unknown_not_low(model, temperature):
    index, bounds, most = MODELS[model]
    assert np.isnan(index(temperature, 10.0))
    lo, hi = bounds(temperature, temperature, 10.0, 10.0)
    assert (lo, hi) == (0, most)


@each_model
def test_everything_unknown_gives_the_widest_bounds(model):
    _, bounds, most = MODELS[model]
    assert bounds(np.nan, np.nan, np.nan, np.nan) == (0, most)
    assert bounds(-40, 60, 0, 1e5) == (0, most)
    assert bounds(-np.inf, np.inf, 0, np.inf) == (0, most)


@each_model
def test_missing_hours_at_a_known_temperature_leave_all_open(model):
    index, bounds, most = MODELS[model]
    lo, hi = bounds(20.0, 20.0, np.nan, np.nan)
    assert (lo, hi) == (0, most)
    assert np.isnan(index(20.0, np.nan))


@pytest.mark.parametrize(
    ("model", "longest"),
    [
        ("gray mold", 32.0),  # Bulger 1987, abstract: wetness up to 32 h [read]
        ("anthracnose", 51.0),  # Wilson 1990, abstract: wetness 0.5-51 h [read]
        ("leather rot", 5.0),  # Grove 1985, abstract: wetness 0-5 h [read]
    ],
)
def test_beyond_the_longest_tested_wetness_the_index_may_be_higher(model, longest):
    index, bounds, most = MODELS[model]
    for t in (10.0, 15.0, 30.0):
        assert index(t, longest + 5) == index(t, longest)
        lo, hi = bounds(t, t, longest + 5, longest + 5)
        assert lo == bounds(t, t, longest, longest)[0]
        if model != "leather rot":  # a band of our own, which stays at its edge
            assert hi == most
    if model != "leather rot":
        assert index(15.0, longest - 2) < index(15.0, longest)


@each_model
def test_negative_hours_are_refused(model):
    index, bounds, _ = MODELS[model]
    with pytest.raises(ValueError, match="hours_wet is -1; expected 0 or more"):
        index(20.0, [3.0, -1.0])
    with pytest.raises(ValueError, match="expected 0 or more"):
        bounds(20.0, 20.0, -1.0, 3.0)


@each_model
@pytest.mark.parametrize(
    ("box", "message"),
    [
        ((21, 20, 1, 2), "least temperature is 21; expected at most 20"),
        ((20, 21, 3, 2), "least hours_wet is 3; expected at most 2"),
    ],
)
def test_a_box_upside_down_is_refused(model, box, message):
    _, bounds, _ = MODELS[model]
    with pytest.raises(ValueError, match=message):
        bounds(*box)


@each_model
def test_arrays_give_what_their_elements_give(model):
    index, bounds, _ = MODELS[model]
    rng = np.random.default_rng(7)
    t, w = rng.uniform(-5, 40, (3, 50)), rng.uniform(0, 60, (3, 50))
    lo, hi = bounds(t, t + 2, w, w + 3)
    assert lo.shape == hi.shape == index(t, w).shape == (3, 50)
    assert lo[1, 7] == bounds(t[1, 7], t[1, 7] + 2, w[1, 7], w[1, 7] + 3)[0]
    assert hi[2, 9] == bounds(t[2, 9], t[2, 9] + 2, w[2, 9], w[2, 9] + 3)[1]


@given(st.floats(5, 30), st.floats(0.1, 32))
def test_every_term_of_gray_mold_carries_the_wet_hours(temperature, wet):
    # A transcription slip writes T³ without W: then the logit does not start at -4.268.
    index = gray_mold_flower.flower_infection_index(temperature, wet)
    slope = (np.log(index / (1 - index)) + 4.268) / wet
    assert slope == pytest.approx(-0.0901 + 0.0294 * temperature - 2.35e-5 * temperature**3)


def test_the_cube_is_a_power_not_an_exclusive_or():
    # A transcription slip writes T^3 where that means exclusive or: 20 ^ 3 is 23, not 8000.
    slipped = -0.0901 + 0.0294 * 20 - 2.35e-5 * (20 ^ 3)
    assert gray_mold_flower.slope_per_hour(20) == pytest.approx(-0.0901 + 0.588 - 0.188)
    assert abs(gray_mold_flower.slope_per_hour(20) - slipped) > 0.18


def test_between_four_and_ten_degrees_anthracnose_is_at_most_that_at_ten():
    at_ten = anthracnose_fruit.fruit_infection_index(10.0, 24.0)
    for t in (4.1, 6.0, 9.9):
        assert np.isnan(anthracnose_fruit.fruit_infection_index(t, 24.0))
        assert anthracnose_fruit.fruit_infection_bounds(t, t, 24.0, 24.0) == (0, at_ten)
    assert anthracnose_fruit.bare_equation(6.0, 51.0) > 2 * at_ten


@pytest.mark.parametrize("observed", anthracnose_fruit.OBSERVED_ZEROS)
def test_an_observed_zero_holds_only_at_its_own_temperature(observed):
    bounds = anthracnose_fruit.fruit_infection_bounds
    assert bounds(observed, observed, 24.0, 24.0) == (0, 0)
    for t in (observed - 0.01, observed + 0.01):
        assert np.isnan(anthracnose_fruit.fruit_infection_index(t, 24.0))
        assert bounds(t, t, 24.0, 24.0)[1] > 0


@pytest.mark.parametrize("module", [gray_mold_flower, anthracnose_fruit])
@given(t=st.floats(10, 30), wanted=st.floats(0.05, 0.95))
def test_hours_to_reach_an_index_reach_it(module, t, wanted):
    wet = module.hours_to_reach(t, wanted)
    if np.isnan(wet):
        assert module.bare_equation(t, module.TESTED_HOURS) < wanted + 1e-9
    else:
        assert module.bare_equation(t, wet) == pytest.approx(wanted)


def test_hours_are_unknown_outside_the_curve():
    assert np.isnan(gray_mold_flower.hours_to_reach(4.9, 0.1))
    assert np.isnan(anthracnose_fruit.hours_to_reach(9.9, 0.1))
    assert np.isnan(gray_mold_flower.hours_to_reach(20.0, [0.0, 1.0, 1.5])).all()


def test_leather_rot_calls_no_wet_period_safe():
    t, w = np.meshgrid(np.linspace(6, 30, 49), np.linspace(0.1, 6, 60))
    assert (leather_rot.leather_rot_level(t, w) >= 1).all()


def test_only_more_than_an_hour_is_severe():
    # Grove 1985, abstract: more than 1 h [read]
    assert leather_rot.leather_rot_level(21.0, [1.0, 1.001]).tolist() == [1, 3]


def test_facts_of_ripe_fruit_and_sporangia_are_tagged():
    facts = [*anthracnose_fruit.RIPE_FRUIT.values(), *leather_rot.SPORANGIA.values()]
    assert {fact.tag for fact in facts} == {"read"}
