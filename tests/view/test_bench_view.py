"""What the bench shows: what is at hand, what may be tried, and answers as plain values."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from riskrules.review import shipped_jobs, shipped_rulebook
from riskrules.show import Style
from riskrules.tuning.scores import score
from riskrules.tuning.summary import Summary
from riskrules.tuning.sweep import axis_of, name_of, sweep
from riskrules.view import bench, bench_result
from riskrules.view.bench_figure import map_figure, score_figure, sweep_figure
from riskrules.view.desk import open_desk
from tests.tuning.made_farm import make_farm
from tests.tuning.made_up import BOOK, LATENCY, from_hidden, season

KEY = "gray_mold.humid_long"
STYLE = Style(ZoneInfo("UTC"), "degF", "in")
WORDS = {"x": "findings", "y": "foreseen", "now": "now", "no_guide": "no guide"}
KINDS = ("detection", "false alarms", "success", "skill", "brier")


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_farm(tmp_path_factory.mktemp("made") / "farm", 2, (2023, 2024), 45)


def swept(values: tuple[float, ...] = (3.0, 7.0, 11.0), n: int = 20):  # type: ignore[no-untyped-def]
    axis = axis_of(BOOK, KEY, values)
    names = {name_of([axis], (v,)): v for v in axis.values}
    rng = np.random.default_rng(5)
    results = [season(rng, f"b{i}", str(2015 + i % 4), names, from_hidden(7.0)) for i in range(n)]
    return axis, results, sweep(results, [axis], LATENCY, draws=100, shuffles=19)


def test_the_months_are_those_of_the_logs(farm: Path) -> None:
    """45 days from the 1st of April end on the 15th of May."""
    assert bench.months_at_hand(open_desk(farm)) == (4, 5)


def test_the_share_is_that_of_the_season_asked_for(farm: Path) -> None:
    """April is covered whole; of April and May (61 days) the log covers 45."""
    desk = open_desk(farm)
    april = bench.seasons_at_hand(desk, (4, 4))
    assert [(s.season, s.block) for s in april] == [
        ("2023", "bed_0"), ("2023", "bed_1"), ("2024", "bed_0"), ("2024", "bed_1"),
    ]  # fmt: skip
    assert [s.share for s in april] == [1.0] * 4
    both = bench.seasons_at_hand(desk, (4, 5))
    assert [s.share for s in both] == pytest.approx([45 / 61] * 4, abs=1e-4)


def test_counts_are_those_of_the_journal(farm: Path) -> None:
    """Walks begin on day 30 and come every fourth day: four by day 45."""
    found = bench.seasons_at_hand(open_desk(farm), (4, 6))
    assert [s.counts for s in found] == [4] * 4
    assert all(0 <= s.seen <= s.counts for s in found)


def test_a_file_beside_the_farm_that_is_no_profile_is_left_out(farm: Path) -> None:
    (farm.parent / "mine.yaml").write_text(
        "profile: mine\ntitle: <b>Mine</b>\nchanges: []\n", encoding="utf-8"
    )
    (farm.parent / "damaged.yaml").write_text("profile: [\nchanges: ", encoding="utf-8")
    found = {p.name: p for p in bench.profiles_at_hand(open_desk(farm))}
    assert {"mine", "cool_coast", "humid_valley"} == {*found}
    assert found["mine"].changes == 0 and not found["mine"].own


def test_only_what_sightings_can_score_is_varied_over_values() -> None:
    every = {v.words.key: v for v in bench.varied(BOOK, STYLE)}
    assert every[KEY].hazards == ("gray_mold",)
    assert not any("_shows_" in key for key in every)
    assert not any(key.startswith("heat.") for key in every)
    assert {*bench.hazards_scored()}.isdisjoint(bench.hazards_not_scored())


def test_values_lie_within_what_was_given_and_stand_once() -> None:
    assert bench.values_between(8, 6, 3) == (6.0, 7.0, 8.0)
    assert bench.values_between(6, 6, 5) == (6.0,)


def test_a_question_names_the_farm_whole(farm: Path) -> None:
    found = bench.question_of(open_desk(farm), question="Why?", months=(4, 6))
    assert Path(found.farm).is_absolute() and found.months == (4, 6) and found.store is None


def test_changes_are_summed_over_blocks_that_stay_named() -> None:
    summary = Summary("shipped", changes=Counter({
        ("new", "a", "2024-05", "p.r", "came"): 2, ("new", "b", "2024-05", "p.r", "came"): 1,
        ("new", "b", "2024-05", "p.r", "moved"): 4, ("other", "b", "2024-05", "p.r", "went"): 9,
    }))  # fmt: skip
    (row,) = bench_result.changed(summary, "new", {"p.r": "A rule"})
    assert row.title == "A rule" and row.blocks == (("a", 2), ("b", 5))
    assert row.counts == {"came": 3, "went": 0, "moved": 4}


def test_a_job_that_only_one_side_asks_for_costs_nothing_on_the_other() -> None:
    summary = Summary(
        "shipped", hours={("shipped", "open_sides"): 3.0, ("new", "gone_job"): 1.5},
        hours_from={"open_sides": "your own figure", "gone_job": "common practice, no source"},
    )  # fmt: skip
    found = {j.job: j for j in bench_result.jobs(summary, "new", shipped_jobs())}
    assert found["open_sides"].more == -3.0 and found["gone_job"].more == 1.5
    assert found["open_sides"].source == "your own figure"


def test_marks_have_the_present_value_once_and_its_source() -> None:
    axis, _, found = swept()
    made = bench_result.marks(found, STYLE)
    assert [m.words for m in made] == ["3 h", "6 h", "7 h", "11 h"]
    assert [m.present for m in made] == [False, True, False, False]
    (words,) = bench_result.axes(found, STYLE)
    assert words.present == "6 h" and (words.source, words.tag) == (axis.source, axis.tag)


def test_a_lower_number_of_hours_finds_no_fewer_nights() -> None:
    _, _, found = swept()
    alarms = [m.alarms for m in bench_result.marks(found, STYLE)]
    assert alarms == sorted(alarms, reverse=True)


def test_the_figures_show_each_value_and_mark_what_is_no_guide() -> None:
    _, results, found = swept(n=3)
    made = bench_result.marks(found, STYLE)
    assert all("too few" in m.said for m in made)
    fig = sweep_figure(made, WORDS)
    assert len(fig.data[0].x) == len(made) and set(fig.data[0].marker.symbol) == {
        "circle-open", "diamond-open",
    }  # fmt: skip
    one = score(results, made and name_of(found.axes, (7.0,)), "gray_mold", LATENCY, draws=50)
    bars = bench_result.bars([one], "gray_mold")
    names = {k: k for k in KINDS}
    drawn = score_figure(bars, names, WORDS).data[0]
    assert len(drawn.x) == sum(b.value is not None for b in bars)
    assert set(drawn.marker.pattern.shape) == {"/"}


def test_hostile_names_are_no_markup_in_a_figure() -> None:
    _, results, found = swept(n=3)
    one = score(results, name_of(found.axes, (7.0,)), "gray_mold", LATENCY, draws=50)
    hostile = [b.__class__(**{n: getattr(b, n) for n in b.__slots__} | {"of": "<img src=x>"})
               for b in bench_result.bars([one], "gray_mold")]  # fmt: skip
    text = score_figure(hostile, {k: k for k in KINDS}, WORDS).to_json()
    assert "<img" not in text


def test_a_map_has_a_cell_for_each_pair_and_one_frame() -> None:
    first, second = axis_of(BOOK, KEY, (4.0,)), axis_of(BOOK, "gray_mold.flower_attention", (0.3,))
    pairs = [(a, b) for a in first.values for b in second.values]
    names = {name_of([first, second], p): p[0] for p in pairs}
    rng = np.random.default_rng(1)
    results = [season(rng, "b", "2020", names, from_hidden(7.0))]
    found = sweep(results, [first, second], LATENCY, draws=50, shuffles=9)
    made = bench_result.marks(found, STYLE)
    fig = map_figure(made, bench_result.axes(found, STYLE), WORDS)
    assert len(fig.layout.annotations) == len(pairs) and len(fig.layout.shapes) == 1


def test_rules_are_called_by_their_titles() -> None:
    titles = bench_result.titles_of(shipped_rulebook())
    assert titles["gray_mold.humid_night_under_cover"] == "A humid night under the row cover"
