"""Packs in words: nothing left out, numbers in the units chosen, and back again."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.words import say
from riskrules.errors import PackError
from riskrules.packs.regions import Change
from riskrules.review import shipped_rulebook
from riskrules.show import Style
from riskrules.view.desk import open_desk
from riskrules.view.first_look import season_of
from riskrules.view.region import region_of, save_threshold, undo_threshold
from riskrules.view.thresholds import exact, from_shown, packs_in_words, to_shown

BOOK = shipped_rulebook()
METRIC, US = (Style(ZoneInfo("UTC"), *u) for u in (("degC", "mm"), ("degF", "in")))
UNITS = ["h", "degC", "K", "1", "%", "mm", "mm h-1", "kPa", "degC h", "d", "count"]


@pytest.mark.parametrize("style", [METRIC, US])
def test_every_rule_and_threshold_is_there_with_its_source(style):
    packs = packs_in_words(BOOK, style)
    rules = [r for p in packs for r in p.rules]
    assert {r.key for r in rules} == {r.key for r in BOOK.rules}
    assert all(r.sentence and r.sources and "{" not in r.sentence for r in rules)
    thresholds = {t.key: t for p in packs for t in p.thresholds}
    count = len(BOOK.shared) + sum(len(p.thresholds) for p in BOOK.packs)
    assert len(thresholds) == count
    assert all(t.source and t.tag and t.origin for t in thresholds.values())
    assert not any(t.changed for t in thresholds.values())


def test_each_condition_of_each_rule_is_said():
    words = {r.key: r for p in packs_in_words(BOOK, METRIC) for r in p.rules}
    for rule in BOOK.rules:
        said = words[rule.key]
        assert [len(alts) for alts in said.when] == [len(alts) for alts in rule.when]
        assert (said.unless is None) == (rule.absence is None)
        for alternatives in said.when:
            for part in alternatives:
                assert say(f"thresholds.when_{part.form}", first=part.first, second=part.second)


def test_numbers_are_in_the_units_chosen():
    """26 degC is 78.8 degF; 15 mm/h is 0.5906 in/h; a difference of 2 K is 3.6 degF (by hand)."""
    assert exact(26, "degC", US) == "78.8 °F"
    assert exact(15, "mm h-1", US) == "0.5906 in/h"
    assert exact(2, "K", US) == "3.6 °F"
    assert exact(0, "degC", METRIC) == "0 °C"
    t = next(t for p in packs_in_words(BOOK, US) for t in p.thresholds if t.key == "facts.warm")
    assert (t.shown, t.shown_range) == ("78.8 °F", "68 to 89.6 °F")


@given(st.integers(-400_000, 4_000_000), st.sampled_from(UNITS), st.sampled_from([METRIC, US]))
def test_there_and_back(tenthousandths, unit, style):
    value = tenthousandths / 10_000
    back = from_shown(to_shown(value, unit, style), unit, style)
    coarse = style.rain == "in" and unit.startswith("mm")  # 0.0001 in is 0.0025 mm
    assert back == pytest.approx(value, abs=0.0013 if coarse else 1e-4)
    if style is METRIC:
        assert back == value


FARM = """\
# by hand
farm: Invented Farm   # a comment
place: {latitude: 39.5, longitude: -86.0, zone: UTC}
blocks:
  - {block: bed, logs: [{file: bed.csv}]}
"""
LOG = "time,air_temperature [degC],relative_humidity [%]\n2026-05-01 00:00,12,80\n"


@pytest.fixture
def desk(tmp_path):  # type: ignore[no-untyped-def]
    (tmp_path / "bed.csv").write_text(LOG + "2026-05-01 01:00,12,80\n2026-05-01 02:00,12,80\n")
    (tmp_path / "farm.yaml").write_text(FARM)
    return open_desk(tmp_path / "farm.yaml")


CHANGE = Change(
    threshold="facts.warm", value=24, unit="degC", reason="invented", who="w", when="2026-01-01"
)


def test_the_first_change_begins_a_profile_beside_the_farm(desk):
    assert region_of(desk).chain == ()
    version = save_threshold(desk, CHANGE, None)
    region = region_of(desk)
    assert region.version == version and region.own == {"facts.warm": CHANGE}
    assert desk.book.value("warm") == 24
    assert desk.farm_file.read_text().startswith(FARM)
    assert len(region.versions) == 2
    from riskrules.packs.profile_history import Version

    undo_threshold(desk, "facts.warm", Version("", "x", "w", "facts.warm", "no"), version)
    assert desk.book.value("warm") == 26


def test_a_change_that_is_not_allowed_makes_no_file(desk):
    before = sorted(p.name for p in desk.farm.folder.iterdir())
    with pytest.raises(PackError, match="expected 20 to 32"):
        save_threshold(desk, CHANGE.model_copy(update={"value": 99}), None)
    assert sorted(p.name for p in desk.farm.folder.iterdir()) == before


def test_a_shipped_profile_is_built_on_and_not_edited(desk):
    from riskrules.shipped import rulepacks_folder

    shipped = rulepacks_folder() / "regions" / "humid_valley.yaml"
    before = shipped.read_bytes()
    desk.farm_file.write_text(FARM + f"profile: {shipped}\n")
    save_threshold(desk, CHANGE, region_of(desk).version)
    chain = [link.text.profile for link in region_of(desk).chain]
    assert chain == ["invented_farm", "humid_valley"]
    assert shipped.read_bytes() == before
    assert desk.book.value("warm") == 24 and desk.book.value("join_dry_gap") == 8


def test_somebody_else_was_faster(desk):
    save_threshold(desk, CHANGE, None)
    seen = region_of(desk).version
    save_threshold(desk, CHANGE.model_copy(update={"value": 23}), seen)
    with pytest.raises(PackError, match="somebody changed it"):
        save_threshold(desk, CHANGE.model_copy(update={"value": 22}), seen)


def test_the_season_is_what_was_measured(desk):
    assert [d.isoformat() for d in season_of(desk)] == ["2026-05-01", "2026-05-01"]
