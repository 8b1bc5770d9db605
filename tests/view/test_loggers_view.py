"""Lanes, ages and dropped files of 'Loggers'."""

from __future__ import annotations

import shutil
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rows_help import NOW, ROOT, cut_farm

from riskrules.errors import LogError, RiskRulesError
from riskrules.farm import load_farm
from riskrules.logbook.status import status
from riskrules.logs.mapping import LogMapping, load_mapping
from riskrules.logs.report import ABSENT, STATES, Run, SourceRows, VariableRows
from riskrules.logs.store import LogStore
from riskrules.sources import sources_of
from riskrules.view import loggers, loggers_drop, loggers_store
from riskrules.view.desk import open_desk
from riskrules.view.loggers_figure import figure

MESSY = ROOT / "sample_logs" / "messy"


def lane_of(runs, absent=(), last=100_000, step=100):
    counts = {s: sum(r.rows for r in runs if r.state == s) for s in STATES[2:]}
    rows = 1000
    variable = VariableRows("air_temperature", rows, rows - sum(counts.values()), 0, **counts,
                            runs=tuple(runs))  # fmt: skip
    gone = sum(r.rows for r in absent)
    source = SourceRows("a", "a", "under_cover", step, last, step, rows + gone, rows, 0, 0, gone,
                        tuple(absent), (variable,))  # fmt: skip
    from riskrules.logs.report import LogReport

    report = LogReport((), (), ())
    object.__setattr__(report, "sources", (source,))
    return loggers.lanes(report, "a")[0]


spans = st.lists(
    st.tuples(st.integers(1, 999), st.integers(1, 30), st.sampled_from(STATES[2:])), max_size=25
)


@given(spans)
def test_pieces_cover_all_of_the_time_and_lose_no_row(some):
    runs, at = [], 0
    for start, length, state in sorted(some):
        if start >= at and start + length <= 1000:
            runs.append(Run(start * 100, (start + length) * 100, state, length))
            at = start + length
    lane = lane_of(runs)
    for state in STATES[2:]:
        drawn = sum(p.rows for p in lane.pieces if p.state == state)
        assert drawn == sum(r.rows for r in runs if r.state == state)
    ordered = sorted(lane.pieces, key=lambda p: p.start)
    assert ordered[0].start == 0 and max(p.end for p in ordered) == 100_000
    for before, after in zip(ordered, ordered[1:], strict=False):
        assert after.start <= before.end or before.end == after.start


def test_a_failed_value_and_a_missing_row_are_drawn_as_missing():
    lane = lane_of([Run(500, 700, "failed", 2)], [Run(900, 1100, ABSENT, 2)])
    drawn = {p.state: p.drawn for p in lane.pieces}
    assert drawn["failed"] == drawn[ABSENT] == "missing"
    assert lane.known == 998 / 1002


def test_one_doubted_step_of_a_year_is_still_drawn():
    year = 365 * 86_400
    lane = lane_of([Run(year // 2, year // 2 + 900, "suspect", 1)], last=year, step=900)
    assert [p.rows for p in lane.pieces if p.drawn == "doubted"] == [1]


@pytest.fixture
def messy(tmp_path):
    shutil.copytree(MESSY, tmp_path / "messy")
    return tmp_path / "messy" / "farm.yaml"


def test_lanes_of_messy_logs_tell_what_the_report_tells(messy):
    desk = open_desk(messy)
    report = desk.report()
    worst = loggers.sums(report)[0]
    assert worst.block == "shed_beds" and worst.made > 0.5  # its humidity is a neighbour's
    for source in report.sources:
        found = [x for x in loggers.lanes(report, source.block) if x.sensor == source.sensor]
        assert [x.variable for x in found] == [v.variable for v in source.variables]
        for lane, v in zip(found, source.variables, strict=True):
            assert sum(lane.counts.values()) == v.rows + source.absent
    assert {t.trouble for t in loggers.troubles_of(report, "gate_beds")}


def test_the_figure_is_on_the_farms_clock_and_escapes(messy):
    desk = open_desk(messy)
    some = loggers.lanes(desk.report(), "gate_beds")
    names = dict.fromkeys(loggers.DRAWN, "x")
    zone = ZoneInfo("America/Indiana/Indianapolis")
    made = figure(some, zone, names, lambda x: "<b>" + x.variable, lambda x, p: "<i>")
    assert {t.marker.pattern.shape for t in made.data} == {"", ".", "x", "/"}
    assert all(y.startswith("&lt;b>") for t in made.data for y in t.y)
    first = min(t.base[0] for t in made.data if len(t.base))
    # The log's first row is that of midnight, and a step of an hour ends at it.
    assert first.isoformat() == "2026-06-13T23:00:00"


def test_ages_are_those_of_the_status_of_a_store(tmp_path):
    farm_file = cut_farm(tmp_path / "farm")
    desk = open_desk(farm_file)
    now = NOW + 7 * 3600
    before = {(a.block, a.sensor): a for a in loggers.ages(desk.farm, desk.logs, now)}
    store = loggers_store.begin_store(farm_file)
    told = {(s.block, s.sensor): s for s in status(load_farm(farm_file), store, now).sources}
    assert before.keys() == told.keys()
    for key, age in before.items():
        assert (age.state, age.last) == (told[key].state, told[key].last), key
        assert age.age_s == pytest.approx(told[key].age_h * 3600)
    assert loggers.ages(desk.farm, [], now)[0].state == "never"
    assert loggers.ages(desk.farm, desk.logs, NOW - 9000)[0].state == "ahead"


STRANGE = (
    "When;T (F);Hum;Batt\n"
    + "".join(f"{d:02d}/06/2026 {h:02d}:00;{70 + h % 9},{h % 10};{60 + h};3,1\n"
              for d in (21, 22) for h in range(24))
).encode()  # fmt: skip


def test_a_dropped_file_lies_under_a_name_of_our_own(tmp_path):
    for name in ("../../etc/passwd", "a.exe", "x\x00.csv", ".mapping.yaml", "CON", ""):
        dropped = loggers_drop.put(tmp_path, STRANGE, name)
        assert dropped.path.parent == tmp_path / "dropped"
        assert dropped.path.read_bytes() == STRANGE
    assert len(list((tmp_path / "dropped").iterdir())) == 1
    assert loggers_drop.found(tmp_path, dropped.known) == dropped
    for known in ("..", "../x", "*", "0" * 16, dropped.known[:8], ""):
        assert loggers_drop.found(tmp_path, known) is None


def test_empty_and_huge_files_are_refused(tmp_path, monkeypatch):
    with pytest.raises(RiskRulesError, match="empty"):
        loggers_drop.put(tmp_path, b"", "a.csv")
    monkeypatch.setattr(loggers_drop, "LIMIT", 10)
    with pytest.raises(RiskRulesError, match="expected at most 10"):
        loggers_drop.put(tmp_path, b"x" * 11, "a.csv")
    assert not (tmp_path / "dropped").exists()


@given(
    st.dictionaries(st.text(min_size=1, max_size=12), st.sampled_from(loggers_drop.choices()[1:]),
                    max_size=4),
    st.lists(st.text(alphabet="-9.nNaA#\"'\\:", min_size=1, max_size=5), max_size=3),
)  # fmt: skip
def test_a_mapping_is_written_so_that_it_loads_back(tmp_path_factory, columns, missing):
    made = LogMapping(columns=columns, missing=missing, time=["a: b"], decimal=",", sheet="1e3")
    path = tmp_path_factory.mktemp("m") / "m.yaml"
    try:
        text = loggers_drop.as_yaml(made).encode()
    except UnicodeEncodeError:
        return
    path.write_bytes(text)
    again = load_mapping(path)
    if not any("\ud800" <= c <= "\udfff" for h in columns for c in h):
        assert again == made


def test_dropped_mapped_and_read_into_the_store(tmp_path):
    """A file that nobody can read without help; corrected by a person; read, reported, reviewed."""
    farm_file = cut_farm(tmp_path / "farm", journal=False)
    farm = load_farm(farm_file)
    dropped = loggers_drop.put(farm.folder, STRANGE, "strange.csv")
    source = loggers_store.source_named(farm, "south_beds", "south_beds")
    proposal = loggers_drop.proposed(dropped)
    mapping = loggers_drop.corrected(
        loggers_drop.mapping_of(dropped, proposal), time=["When"], zone="", clock="local",
        columns={"T (F)": "air_temperature [degF]", "Hum": "relative_humidity [%]",
                 "Batt": "ignore"},
        stamp="end", date_order="day_first", missing="", decimal=",", delimiter=";",
    )  # fmt: skip
    loggers_drop.save(dropped, mapping)
    read = loggers_drop.as_read(farm, source, dropped)
    assert not read.wrong and (read.read, read.kept) == (48, 48)
    assert read.rows[0]["time"] == "2026-06-21 00:00:00-04:00"
    assert read.rows[0]["air_temperature"] == "21.11 °C"  # 70 °F: (70 - 32) / 1.8
    assert read.rows[1]["air_temperature"] == "21.72 °C"  # 71.1 °F
    store = loggers_store.begin_store(farm_file)
    taken = loggers_store.read_in(farm_file, store, source, dropped.path)
    assert (taken.state, taken.rows, taken.read) == ("new", 48, 48)
    desk = open_desk(farm_file)
    files = [f for f in desk.report().files if f.block == "south_beds"]
    assert sum(f.in_use for f in files if f.file == dropped.path.name) == 48
    assert {f.file for f in files} == {"south_beds.csv", dropped.path.name}
    assert desk.now == 1_782_183_600  # 2026-06-22 23:00 there, the last row of the file


def test_begun_twice_is_one_store_and_loses_nothing(tmp_path):
    farm_file = cut_farm(tmp_path / "farm", journal=False)
    plain = farm_file.read_text()
    before = {s.block: s.rows for s in open_desk(farm_file).report().sources}
    loggers_store.begin_store(farm_file)
    assert farm_file.read_text() == plain + "store: store\n"
    loggers_store.begin_store(farm_file)
    assert farm_file.read_text().count("store:") == 1
    after = {s.block: s.rows for s in open_desk(farm_file).report().sources}
    assert before == after


def test_a_folder_that_is_no_store_is_left_alone(tmp_path):
    farm_file = cut_farm(tmp_path / "farm", journal=False)
    plain = farm_file.read_text()
    (tmp_path / "farm" / "store").mkdir()
    (tmp_path / "farm" / "store" / "letter.txt").write_text("dear")
    with pytest.raises(LogError):
        loggers_store.begin_store(farm_file)
    assert farm_file.read_text() == plain
    assert (tmp_path / "farm" / "store" / "letter.txt").read_text() == "dear"


def test_a_broken_file_is_set_aside_with_its_report(messy):
    farm = load_farm(messy)
    dropped = loggers_drop.put(farm.folder, b"time,air_temperature [degC]\nnever,1\n", "b.csv")
    source = sources_of(farm)[3]
    assert loggers_drop.as_read(farm, source, dropped).wrong
    store = loggers_store.begin_store(messy)
    assert isinstance(store, LogStore)
    taken = loggers_store.read_in(messy, store, source, dropped.path)
    assert taken.state == "aside"
    assert [a.file for a in store.asides()] == [dropped.path.name]
    assert open_desk(messy).report().aside


def test_what_the_farm_file_says_goes_first_and_is_told(messy):
    farm = load_farm(messy)
    dropped = loggers_drop.put(farm.folder, (MESSY / "hall_beds.csv").read_bytes(), "h.csv")
    loggers_drop.save(dropped, LogMapping(date_order="month_first", decimal=","))
    source = loggers_store.source_named(farm, "hall_beds", "hall_beds")
    says = loggers_drop.farm_says(farm, source, dropped)
    assert says["date_order"] == "day_first" and "columns" in says
    assert not loggers_drop.as_read(farm, source, dropped).wrong


def test_a_wrong_zone_is_said_where_the_rows_would_stand(messy):
    farm = load_farm(messy)
    dropped = loggers_drop.put(farm.folder, STRANGE, "s.csv")
    loggers_drop.save(dropped, LogMapping(zone="Nowhere/Town"))
    source = loggers_store.source_named(farm, "gate_beds", "gate_beds")
    assert "Nowhere/Town" in loggers_drop.as_read(farm, source, dropped).wrong[0]
    with pytest.raises(RiskRulesError, match="date_order"):
        loggers_drop.corrected(LogMapping(), columns={}, time=[], zone="", clock="local",
                               stamp="end", date_order="backwards", missing="", decimal="",
                               delimiter="")  # fmt: skip
