"""Properties of cold, overhead water, keeping and heat."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.science import air, cold, heat, keeping, overhead_water, stages
from riskrules.science.provenance import SourcedNumber, by_name

codes = st.sets(st.integers(0, 99))


@given(codes, codes)
def test_one_more_stage_never_makes_the_cold_check_laxer(some, more):
    if some:
        assert cold.part_at_risk(some | more).critical >= cold.part_at_risk(some).critical


@given(codes)
def test_a_doubtful_set_is_never_colder_than_its_known_part(some):
    unknown = any(not stages.is_code(code) for code in some)
    found = cold.part_at_risk(some)
    if unknown or not some:
        assert found.critical == cold.critical_temperature("open_flower").critical


def test_every_stage_that_we_know_has_a_part_at_risk():
    for code in stages.STAGES:
        found = cold.part_at_risk([code])
        assert found.source
        assert "unknown" not in found.note


def test_a_stage_that_is_certain_speaks_before_an_assumed_one():
    assert cold.part_at_risk({65, 67, 69}).tag == "read"
    assert cold.part_at_risk({67}).tag == "assumption"
    assert cold.part_at_risk({99}).tag == "memory"


def test_conflicting_sources_stay_visible():
    assert "sources differ down to -3.3" in cold.part_at_risk({58}).note
    assert [round(each.critical, 1) for each in cold.sources_of("tight_bud")] == [
        -3.9,
        -5.5,
        -5.6,
        -5.6,
    ]


def test_an_unknown_part_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match="no critical temperature for 'root'; expected one of"):
        cold.critical_temperature("root")


def test_shortfall_below_critical():
    assert cold.below_critical([-3.0, 0.0], -1.0).tolist() == [2.0, 0.0]
    assert np.isnan(cold.below_critical(np.nan, -1.0))
    with pytest.raises(ValueError, match="critical is nan"):
        cold.below_critical(0.0, float("nan"))


@given(st.floats(-20, 0))
def test_start_by_wet_bulb_is_where_the_wet_bulb_freezes(dew):
    start = overhead_water.start_temperature_by_wet_bulb(dew)
    humidity = air.relative_humidity_from_dew_point(start, dew)
    assert air.wet_bulb(start, humidity) == pytest.approx(0, abs=1e-9)


@given(st.floats(-8.3, -1.1), st.floats(-8.3, -1.1))
def test_drier_air_never_starts_later(one, other):
    dry, moist = min(one, other), max(one, other)
    table = overhead_water.start_temperature_from_table
    assert table(dry) >= table(moist)


def test_between_two_rows_water_starts_as_in_the_drier_one():
    assert overhead_water.start_temperature_from_table(-3.0) == 1.6  # row -3.8, Ontario [read]
    assert overhead_water.start_temperature_from_table(-1.2) == 0.5  # row -1.7, Ontario [read]


@pytest.mark.parametrize("dew", [-8.4, -1.0, np.nan])
def test_the_start_table_says_nothing_outside_itself(dew):
    assert np.isnan(overhead_water.start_temperature_from_table(dew))


def test_one_third_rule_only_near_freezing():
    assert np.isnan(overhead_water.one_third_wet_bulb([11.0, -6.0, 1.0], [0.0, -9.0, 2.0])).all()
    assert np.isnan(overhead_water.start_temperature_by_wet_bulb(0.1))


@given(st.floats(-0.5, 20), st.floats(-0.5, 20))
def test_warmer_fruit_never_ages_slower(one, other):
    cool, warm = min(one, other), max(one, other)
    for slow, fast in zip(
        keeping.keeping_rate_bounds(cool), keeping.keeping_rate_bounds(warm), strict=True
    ):
        assert slow <= fast + 1e-12


@given(st.floats(-60, 60))
def test_rates_are_bounds(temperature):
    lo, hi = keeping.keeping_rate_bounds(temperature)
    assert 0 <= lo <= hi + 1e-12
    least, most = keeping.keeping_days_bounds(temperature)
    assert 0 <= least <= most


def test_untested_temperatures_have_no_upper_rate():
    lo, hi = keeping.keeping_rate_bounds([-3.0, 20.1, 35.0, np.nan])
    assert np.isinf(hi).all()
    assert lo == pytest.approx([0, 10, 10, 0])


def test_warm_hours_add_up_whatever_their_pattern():
    at_once = keeping.share_of_life_used([4.0, 20.0], [18.0, 2.0])
    in_parts = keeping.share_of_life_used([2.0, 20.0, 2.0], [18.0, 2.0, 18.0])
    assert at_once == pytest.approx(in_parts)


def test_a_missing_temperature_leaves_the_share_open():
    lo, hi = keeping.share_of_life_used([6.0, 1.0], [20.0, np.nan])
    assert lo == pytest.approx(6 * 10 / 168)
    assert hi == np.inf
    assert keeping.share_of_life_used([0.0], [np.nan]) == (0.0, 0.0)


@pytest.mark.parametrize("hours", [[-1.0], [np.nan]])
def test_impossible_hours_are_refused(hours):
    with pytest.raises(ValueError, match="expected 0 or more"):
        keeping.share_of_life_used(hours, [5.0])


def test_degree_hours_count_only_what_is_above():
    found = heat.degree_hours([[25, 31, 35], [20, 20, np.nan]], 30.0, 0.5)
    assert found[0] == 3.0
    assert np.isnan(found[1])
    assert heat.degree_hours(31.0, 30.0) == 1.0
    with pytest.raises(ValueError, match="expected 0 or more"):
        heat.degree_hours([31.0], 30.0, -1.0)


@given(st.lists(st.floats(-20, 50), min_size=1, max_size=20), st.floats(0, 40))
def test_degree_hours_fall_with_a_higher_base(values, base):
    assert heat.degree_hours(values, base) >= heat.degree_hours(values, base + 1)


def test_two_numbers_of_one_name_are_refused():
    number = SourcedNumber("a", 1.0, "h", "what", "source", "read")
    with pytest.raises(ValueError, match="named twice: a"):
        by_name(number, number)


def test_every_sourced_number_has_source_unit_and_tag():
    for facts in (heat.THRESHOLDS, keeping.DELAY_FACTS, keeping.MOLD_FACTS):
        assert all(fact.source and fact.unit and fact.tag for fact in facts.values())
