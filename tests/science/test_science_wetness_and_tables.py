"""Properties of wetness proxies, the generic model, hour tables, degree-days and stages."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.science import degree_days, generic_infection, hour_tables, stages, wetness
from riskrules.science.generic_infection import ROWS, InfectionRow


def test_dry_air_is_dry_and_saturated_air_is_wet():
    # One public copy has the first test of the tree the wrong way round.
    for wind in (0.0, 1.0, 2.0, 3.0, 6.0):
        assert wetness.wet_by_tree(20.0, 40.0, wind) == 0
        assert wetness.wet_by_tree(20.0, 99.0, wind) == 1


def test_the_misprinted_branch_could_never_say_wet():
    # Public copies print 0.0046 RH where only 0.0046 RH² can reach the threshold of 37.
    t, rh, u = np.meshgrid(np.linspace(0, 40, 41), np.linspace(87.8, 100, 30), np.linspace(2.5, 12))
    rest = 0.7921 * np.sqrt(t) - 2.3889 * u - 0.0390 * t * u
    rest += 1.0613 * u * wetness.dew_point_depression(t, rh)
    assert (rest + 0.0046 * rh).max() < 2.0
    assert (rest + 0.0046 * rh**2).max() > 37.0
    assert wetness.wet_by_tree(20.0, 95.0, 3.0) == 1


def test_the_doubtful_branch_is_unknown_only_between_its_two_humidities():
    found = wetness.wet_by_tree(15.0, [87.0, 87.8, 89.9, 90.0], 3.0)
    assert found[[0, 3]].tolist() == [0, 1]
    assert np.isnan(found[1:3]).all()


@given(st.floats(0, 35), st.floats(30, 99), st.floats(0, 2.4))
def test_more_humid_air_never_turns_the_calm_branch_dry(temperature, humidity, wind):
    drier, wetter = wetness.wet_by_tree(temperature, [humidity, humidity + 1], wind)
    assert drier <= wetter


@pytest.mark.parametrize(
    ("temperature", "humidity", "wind"),
    [(-0.1, 95, 1), (np.nan, 95, 1), (15, np.nan, 1), (15, 101, 1), (15, 95, np.nan), (15, 95, -1)],
)
def test_the_tree_is_unknown_without_its_inputs(temperature, humidity, wind):
    assert np.isnan(wetness.wet_by_tree(temperature, humidity, wind))


def test_missing_humidity_is_never_dry():
    assert np.isnan(wetness.wet_by_humidity([np.nan, -1, 101])).all()
    assert np.isnan(wetness.wetness_graded([np.nan, -1, 101])).all()
    assert np.isnan(wetness.wet_by_potato_tree(15.0, np.nan, 1.0))
    assert np.isnan(wetness.wet_by_potato_tree(15.0, 90.0, np.nan))


def test_the_potato_tree_follows_its_printed_order():
    t, dpd = 15.0, float(wetness.dew_point_depression(15.0, 90.0))
    calm_wind = 1.0
    expected = 0.08572 * t * dpd - 1.10271 * calm_wind * dpd < 0.34791
    assert wetness.wet_by_potato_tree(15.0, 90.0, calm_wind) == expected
    assert wetness.wet_by_potato_tree(30.0, 83.0, 0.0) == 0


@given(st.sampled_from(list(ROWS)), st.floats(-10, 45))
def test_generic_response_is_a_share_and_hours_are_within_their_limits(name, temperature):
    row = ROWS[name]
    response = generic_infection.temperature_response(temperature, row)
    assert 0 <= response <= 1 + 1e-12
    needed = generic_infection.hours_needed(temperature, row)
    assert needed == np.inf or row.least_hours - 1e-9 <= needed <= row.cap


def test_generic_model_keeps_nan():
    assert np.isnan(generic_infection.hours_needed(np.nan, ROWS["apple_scab"]))


def test_unknown_most_hours_are_estimated():
    row = InfectionRow("x", 1, 20, 35, 6, None, None, "assumption")
    assert row.cap == pytest.approx(3.8 + 3.0 * 6)


@pytest.mark.parametrize(
    ("numbers", "message"),
    [((20, 20, 35, 6, 40), "expected rising"), ((1, 20, 35, 50, 40), "expected 0 to 40")],
)
def test_impossible_rows_are_refused(numbers, message):
    with pytest.raises(ValueError, match=message):
        InfectionRow("x", *numbers, None, "assumption")


def test_wet_periods_join_across_short_equal_and_unknown_gaps():
    found = generic_infection.joins_across([3.0, 13.0, 13.1, np.nan], 13.0)
    assert found.tolist() == [True, True, False, True]
    with pytest.raises(ValueError, match="expected 0 or more"):
        generic_infection.joins_across(-1.0, 13.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("45:15 56:13 50:11", "key 50 follows 56"),  # a magazine copy misprints 46 as 56
        ("55:8 57:12 57:7", "key 57 follows 57"),  # and 48 as 57
        ("5:37/48", "has 2 columns; expected 1"),
        ("5:-1", "hours below 0"),
        ("5:nan", "hours below 0"),
        ("five:3", "is no row"),
        ("5", "is no row"),
        ("1-2-3:4", "expected 1"),
    ],
)
def test_a_wrong_table_is_refused(text, message):
    with pytest.raises(ValueError, match=message):
        hour_tables.load_hour_table("a", text, ("h",), "°F", "nowhere", "assumption")


@given(st.floats(-10, 110))
def test_lookup_is_a_row_of_its_neighbours_or_nan(key):
    table = hour_tables.APPLE_SCAB_LEAST
    found = hour_tables.lookup(table, key, "hours")
    if not table.keys[0] <= key <= table.keys[-1]:
        assert np.isnan(found)
        return
    below = max(each for each in table.keys if each <= key)
    above = min(each for each in table.keys if each >= key)
    neighbours = [table.hours[table.keys.index(each)][0] for each in (below, above)]
    assert found == min(neighbours)


def test_lookup_refuses_an_unknown_column_and_keeps_nan():
    with pytest.raises(ValueError, match="no column 'light'; expected one of hours"):
        hour_tables.lookup(hour_tables.APPLE_SCAB_LEAST, 50, "light")
    assert np.isnan(hour_tables.lookup(hour_tables.APPLE_SCAB_LEAST, np.nan, "hours"))


day = st.tuples(st.floats(-30, 50), st.floats(-30, 50)).map(sorted)
WAYS = (
    degree_days.average,
    degree_days.single_triangle,
    degree_days.single_sine,
    degree_days.irish_rule,
)


@given(day, st.floats(-10, 20))
def test_degree_days_are_never_negative_and_never_above_the_hottest(extremes, base):
    least, most = extremes
    for way in WAYS:
        found = way(least, most, base)
        assert -1e-9 <= found <= max(0.0, most - base) + 1e-9


@given(day, st.floats(-10, 20))
def test_sine_is_the_area_under_a_sine(extremes, base):
    least, most = extremes
    phase = (np.arange(20_000) + 0.5) / 20_000 * 2 * np.pi
    curve = (least + most) / 2 + (most - least) / 2 * np.sin(phase)
    area = np.maximum(curve - base, 0).mean()
    assert degree_days.single_sine(least, most, base) == pytest.approx(area, abs=1e-4)


@given(day)
def test_all_ways_agree_when_the_whole_day_is_above_the_base(extremes):
    least, most = extremes
    expected = (least + most) / 2 - (least - 1)
    for way in WAYS:
        assert way(least, most, least - 1) == pytest.approx(expected)


def test_an_almost_flat_day_does_not_overflow():
    # Found by Hypothesis: a span of 2e-309 °C divided where its result is not even used.
    for way in WAYS:
        assert way(0.0, 2.225073858507203e-309, -1.0) == pytest.approx(1.0)
        assert way(0.0, 0.0, [-1.0, 0.0, 1.0]).tolist() == [1, 0, 0]


def test_a_day_upside_down_is_refused_and_a_missing_one_stays_missing():
    for way in WAYS:
        with pytest.raises(ValueError, match="least temperature 9 is above"):
            way(9.0, 8.0, 3.0)
        assert np.isnan(way(np.nan, 8.0, 3.0))
        assert np.isnan(way(1.0, np.nan, 3.0))


@pytest.mark.parametrize("code", [63, 69, 75, 79])
def test_codes_that_the_scale_lacks_are_unknown(code):
    assert not stages.is_code(code)
    assert stages.group_of(code) is None
    with pytest.raises(ValueError, match=f"no growth stage {code}; expected one of 55"):
        stages.describe(code)


def test_every_code_is_in_one_group_and_every_group_holds_codes():
    grouped = [code for codes in stages.GROUPS.values() for code in codes]
    assert sorted(grouped) == sorted(stages.STAGES)


def test_recalled_codes_are_tagged_memory():
    assert stages.tag_of(99) == "memory"
    assert stages.tag_of(65) == "read"
