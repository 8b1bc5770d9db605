"""Replays of the bench: one at a time, stopped and gone on with, whole whatever happens."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path

import pytest

from riskrules.errors import RiskRulesError
from riskrules.tuning.apart import kept_apart
from riskrules.tuning.kept import ReplayStop
from riskrules.tuning.record import html_of
from riskrules.tuning.record_file import read_record
from riskrules.tuning.run_asked import command_of, main
from riskrules.tuning.runs import Bench, Progress, Question, Run, asked_in, own_lock, put
from riskrules.tuning.sweep import axis_of, name_of
from tests.tuning.made_farm import make_farm
from tests.tuning.made_up import BOOK, LATENCY, from_hidden, season

KEY = "gray_mold.humid_long"
PATIENCE_S = 90


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_farm(tmp_path_factory.mktemp("made") / "farm", 1, (2023, 2024), 45)


@pytest.fixture
def bench(farm: Path) -> Bench:
    """Return a bench without replays; what was done before is kept by content."""
    found = Bench(farm)
    for path in sorted(found.asked.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    return found


def question(farm: Path, **more: object) -> Question:
    return Question(str(farm), "Six or eight?", months=(4, 6), when="2026-06-01", **more)  # type: ignore[arg-type]


def waited(bench: Bench, name: str, *states: str) -> Run:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        run = bench.find(name)
        assert run is not None
        if run.state in states:
            return run
        time.sleep(0.1)
    raise AssertionError(run)


def laid(bench: Bench, asked: Question, number: int = 1) -> Path:
    folder = bench.asked / f"2026-06-01_{number}"
    folder.mkdir(parents=True)
    put(folder / "asked.json", asked)
    return folder


def test_what_was_asked_comes_back_as_it_was(bench: Bench, farm: Path) -> None:
    asked = question(farm, vary=((KEY, (6.0, 8.0)),), seasons=("2023",), chosen_by=("2023",))
    assert asked_in(laid(bench, asked)) == asked


def test_the_answer_is_there_as_page_and_as_data_and_both_say_the_same(
    bench: Bench, farm: Path
) -> None:
    folder = laid(bench, question(farm, vary=((KEY, (6.0, 8.0)),), hazard="gray_mold"))
    assert main([str(folder)]) == 0
    run = bench.find(folder.name)
    assert run is not None and run.state == "done"
    record = read_record(run.data)
    assert html_of(record) == run.record.read_text(encoding="utf-8")
    # A night that is long at eight hours is long at six too: a higher number brings no finding.
    swept = record.swept[0]
    higher = name_of(record.sweeps[0].axes, (8.0,))
    assert swept.changed(higher, "came") == 0
    assert swept.findings_of(higher) == swept.findings_of(swept.base) - swept.changed(
        higher, "went"
    )
    # The farm is left as it was: its own logs, no store named in it.
    assert "store" not in farm.read_text(encoding="utf-8")


def test_a_replay_that_cannot_be_says_why(bench: Bench, farm: Path) -> None:
    folder = laid(bench, question(farm, vary=(("gray_mold.nothing", ()),)))
    assert main([str(folder)]) == 1
    run = bench.find(folder.name)
    assert run is not None and run.state == "failed"
    assert "no threshold 'gray_mold.nothing'" in run.progress.said


def test_one_that_says_it_works_and_holds_no_lock_was_broken_off(bench: Bench, farm: Path) -> None:
    folder = laid(bench, question(farm))
    put(folder / "progress.json", Progress("working", pid=os.getpid()))
    found = bench.find(folder.name)
    assert found is not None and found.state == "broken off"
    with own_lock(folder):
        found = bench.find(folder.name)
        assert found is not None and found.state == "working"


def test_a_second_one_is_refused_and_leaves_nothing(bench: Bench, farm: Path) -> None:
    bench.asked.mkdir(parents=True, exist_ok=True)
    with bench.lock, pytest.raises(ReplayStop, match="one runs at a time"):
        bench.start(question(farm))
    assert bench.runs() == []


def test_names_from_outside_open_no_other_folder(bench: Bench) -> None:
    for name in ("..", "../asked", "2026-06-01_1/../..", "", "2026-06-01_x"):
        assert bench.find(name) is None
        with pytest.raises(ReplayStop):
            bench.go_on(name)


def test_a_damaged_question_is_left_out_of_the_list(bench: Bench, farm: Path) -> None:
    folder = laid(bench, question(farm))
    (folder / "asked.json").write_text("{", encoding="utf-8")
    assert bench.runs() == []
    with pytest.raises(ReplayStop, match="cannot be read"):
        asked_in(folder)


def test_a_damaged_record_is_told(tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    with pytest.raises(RiskRulesError, match="cannot be read"):
        read_record(path)
    path.write_text(json.dumps({"format": "other"}), encoding="utf-8")
    with pytest.raises(RiskRulesError, match="replay record 1"):
        read_record(path)


def test_the_newest_is_first_also_after_nine(bench: Bench, farm: Path) -> None:
    for n in (2, 10, 1):
        laid(bench, question(farm), n)
    assert [r.id.partition("_")[2] for r in bench.runs()] == ["10", "2", "1"]


def test_the_command_has_hostile_words_quoted() -> None:
    said = command_of(Question("a b.yaml", "it's; rm -rf /", blocks=("bed_0",)))
    assert "--farm 'a b.yaml'" in said and """'it'"'"'s; rm -rf /'""" in said


def test_a_value_is_chosen_on_some_seasons_and_scored_on_others() -> None:
    """Nights of seven hours are the truth; the seasons kept apart must say so too."""
    axis = axis_of(BOOK, KEY, (3.0, 7.0, 11.0))
    names = {name_of([axis], (v,)): v for v in axis.values}
    rng = __import__("numpy").random.default_rng(5)
    results = [season(rng, f"b{i}", str(2015 + i % 4), names, from_hidden(7.0)) for i in range(40)]
    found = kept_apart(results, [axis], LATENCY, ("2015", "2016"))
    assert found.chosen_on == ("2015", "2016") and found.scored_on == ("2017", "2018")
    assert found.chosen == (7.0,) and found.best is not None and found.present is not None
    assert {*found.best.seasons} == {"2017", "2018"}
    alone = kept_apart([r for r in results if r.season == "2015"], [axis], LATENCY)
    assert alone.best is None and "Only one season" in alone.said


@pytest.mark.long
def test_stopped_it_goes_on_and_says_what_one_run_through_would_have(
    bench: Bench, farm: Path, tmp_path: Path
) -> None:
    wide = question(farm, vary=((KEY, tuple(float(v) for v in range(2, 11))),), hazard="gray_mold")
    run = bench.start(wide)
    with pytest.raises(ReplayStop, match="one runs at a time"):
        bench.start(wide)
    bench.stop(run.id)
    assert waited(bench, run.id, "stopped", "done").state == "stopped"
    bench.go_on(run.id)
    assert waited(bench, run.id, "done", "failed").state == "done"
    other = make_farm(tmp_path / "farm", 1, (2023, 2024), 45)
    folder = laid(Bench(other), question(other, vary=wide.vary, hazard="gray_mold"))
    assert main([str(folder)]) == 0
    a, b = read_record(run.data), read_record(folder / "record.json")
    assert (a.sweeps, a.scores) == (b.sweeps, b.scores)
    assert (a.summary, a.swept) == (b.summary, b.swept)


@pytest.mark.long
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_killed_it_is_broken_off_and_goes_on(bench: Bench, farm: Path) -> None:
    run = bench.start(question(farm, vary=(("gray_mold.wet_onset", (4.0, 5.0)),)))
    os.kill(run.progress.pid, signal.SIGKILL)
    assert waited(bench, run.id, "broken off").progress.pid == run.progress.pid
    assert not run.record.exists()
    bench.go_on(run.id)
    assert waited(bench, run.id, "done", "failed").state == "done"


def test_the_shipped_profile_scores_as_the_present_value_of_a_sweep(
    bench: Bench, farm: Path
) -> None:
    """They are the same rules on the same logs: other hazards' unknowns change neither."""
    region = Path(__file__).resolve().parents[2] / "rulepacks" / "regions" / "humid_valley.yaml"
    asked = question(farm, vary=((KEY, (8.0,)),), hazard="gray_mold", profiles=(str(region),))
    folder = laid(bench, asked)
    assert main([str(folder)]) == 0
    record = read_record(folder / "record.json")
    shipped = next(s for s in record.scores if s.profile == "shipped")
    present = next(row for row in record.sweeps[0].rows if row.present)
    assert (shipped.total, shipped.estimates) == (present.score.total, present.score.estimates)


def test_under_a_profile_its_values_are_the_present_ones(bench: Bench, farm: Path) -> None:
    """The shipped example of a humid valley sets eight hours."""
    region = Path(__file__).resolve().parents[2] / "rulepacks" / "regions" / "humid_valley.yaml"
    asked = question(farm, vary=((KEY, (6.0,)),), hazard="gray_mold", under=str(region))
    folder = laid(bench, asked)
    assert main([str(folder)]) == 0
    record = read_record(folder / "record.json")
    (axis,) = record.sweeps[0].axes
    assert (axis.present, axis.values) == (8.0, (6.0, 8.0)) and "humid_valley" in axis.origin
    assert [s.profile for s in record.scores] == ["shipped", "humid_valley"]
    valley = record.scores[1]
    present = next(row for row in record.sweeps[0].rows if row.present)
    assert (valley.total, valley.estimates) == (present.score.total, present.score.estimates)
