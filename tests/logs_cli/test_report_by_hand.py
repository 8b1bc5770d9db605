"""The log report of readings made by hand: every number can be counted from the letters."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from riskrules.errors import Problem, RiskRulesError
from riskrules.logs import report as model
from riskrules.logs.gaps import fill_gaps
from riskrules.logs.limits import load_limits
from riskrules.logs.readings import Note, Tally
from riskrules.logs.ready import lend
from riskrules.logs.report import FORMAT, STATES, FileRows, LogReport, Run, VariableRows, only_block
from riskrules.logs.report.count import Judged, log_report
from riskrules.logs.report.plain import as_plain, dumps
from riskrules.logs.report.runs import MOST_RUNS
from riskrules.logs.troubles import WORDS, Trouble, name_of
from riskrules.schema_files import schema

from .by_hand import AIR, DAMP, HOUR, T0, judged

SCHEMA = schema("log_report")
CHECKER = Draft202012Validator(SCHEMA)
LETTERS = dict(zip("pnsfm", STATES, strict=False))


def of_one(rows, block="north", **more) -> LogReport:
    return log_report([Judged(block, rows.sensor, rows)], **more)


def air(report: LogReport) -> VariableRows:
    return next(v for v in report.sources[0].variables if v.variable == AIR)


@given(st.text("pnsfm", min_size=1, max_size=60), st.data())
def test_every_value_is_counted_once_and_drawn_where_it_is(word, data):
    gaps = data.draw(st.lists(st.integers(1, 4), min_size=len(word), max_size=len(word)))
    hours = np.cumsum(gaps).tolist()
    report = of_one(judged(word, hours=hours))
    found = air(report)
    for letter, state in LETTERS.items():
        assert found.of(state) == word.count(letter)
    source = report.sources[0]
    expected = range(hours[0], hours[-1] + 1)
    assert source.steps == len(expected)
    assert source.absent == len(set(expected) - set(hours))
    drawn = {}
    for run in (*found.runs, *source.runs):
        for step in range((run.start - T0) // HOUR + 1, (run.end - T0) // HOUR + 1):
            assert step not in drawn
            drawn[step] = run.state
    letters = dict(zip(hours, word, strict=True))
    for step in expected:
        state = LETTERS[letters[step]] if step in letters else "absent"
        assert drawn.get(step) == (None if state in STATES[:2] else state)


def test_doubted_rows_are_those_with_any_value_suspect_or_failed():
    report = of_one(judged("pspfmp", damp="ppspmf"))
    assert report.files[0].doubted == len({1, 2, 3, 5})
    assert report.blocks[0].doubted == 4 and report.blocks[0].missing == 2


def test_the_fates_of_rows_are_those_of_the_tally_and_must_add_up():
    tally = Tally("north.csv", 9, 4, 2, 2, 1)
    found = of_one(judged("pppp", tally=tally)).files[0]
    assert (found.read, found.kept, found.refused, found.repeated, found.blank) == (9, 4, 2, 2, 1)
    for wrong in (replace(tally, read=10), replace(tally, kept=3, read=8)):
        with pytest.raises(RiskRulesError, match="does not add up|counts wrongly"):
            of_one(judged("pppp", tally=wrong))


@pytest.mark.parametrize("change", ["passed", "missing", "rows"])
def test_a_variable_whose_states_do_not_add_up_is_refused(change):
    good = air(of_one(judged("ppmmps")))
    with pytest.raises(RiskRulesError, match="does not add up"):
        replace(good, **{change: getattr(good, change) + 1})
    with pytest.raises(RiskRulesError, match="drawn"):
        replace(good, passed=good.passed - 1, missing=good.missing + 1)


def test_a_report_whose_parts_do_not_fit_each_other_is_refused():
    good = of_one(judged("ppmm"))
    other = FileRows("x.csv", "north", "low", 1, 1, 0, 0, 0, 1, 0, 0)
    with pytest.raises(RiskRulesError, match="in use"):
        replace(good, files=(*good.files, other))
    with pytest.raises(RiskRulesError, match="sensor is not in"):
        replace(good, files=(*good.files, replace(other, sensor="high")))
    with pytest.raises(RiskRulesError, match="absent"):
        replace(good.sources[0], runs=(Run(T0, T0 + HOUR, "absent", 1),))


def test_readings_that_were_not_judged_are_refused():
    rows = judged("ppp")
    with pytest.raises(RiskRulesError, match="not judged"):
        of_one(replace(rows, flags={}))


@pytest.mark.parametrize(("flag", "words"), [(1, "passed"), (3, "suspect"), (7, "flag 7")])
def test_a_flag_that_contradicts_its_value_is_refused(flag, words):
    rows = judged("pmp")
    rows.flags[AIR][1] = flag
    with pytest.raises(RiskRulesError, match=words):
        of_one(rows)
    rows = judged("ppp")
    rows.flags[AIR][1] = 4
    with pytest.raises(RiskRulesError, match="failed"):
        of_one(rows)


def test_filled_values_and_added_rows_are_counted_apart():
    rows = judged("pppmpppp", hours=[1, 2, 3, 4, 5, 8, 9, 10])
    report = of_one(fill_gaps(rows, 3.0, load_limits()))
    source, found = report.sources[0], air(report)
    assert (source.added, source.absent, source.rows, source.steps) == (2, 0, 10, 10)
    assert (found.filled, found.missing, found.passed) == (3, 0, 7)
    assert report.files[0].in_use == 8 and report.blocks[0].filled == 3
    assert [(r.start, r.end, r.rows) for r in found.runs] == [
        (T0 + 3 * HOUR, T0 + 4 * HOUR, 1),
        (T0 + 5 * HOUR, T0 + 7 * HOUR, 2),
    ]


def test_only_what_a_block_used_of_its_neighbour_is_counted_as_borrowed():
    own = judged("ppmfpp", hours=[1, 2, 3, 4, 7, 8])
    theirs = judged("pppspppmp", damp="p" * 9, file="south.csv")
    lent = lend(theirs, [AIR], load_limits())
    report = log_report([Judged("north", "low", own), Judged("north", "low", lent)])
    found = {s.sensor: s for s in report.sources}
    borrowed = found["low of a neighbour"]
    assert borrowed.rows == borrowed.added == 5  # at 3, 4, 5, 6 and 9
    assert [(v.variable, v.borrowed) for v in borrowed.variables] == [(AIR, 5)]
    assert [f.file for f in report.files] == ["north.csv"]
    assert report.blocks[0].borrowed == 5 and report.blocks[0].in_use == 6


def test_rows_that_gave_way_to_a_later_file_are_still_accounted_for():
    rows = judged("pppppp")
    rows.files = ("old.csv", "new.csv", "gone.csv")
    rows.source = np.array([0, 0, 1, 1, 1, 1])
    rows.tallies = (Tally("old.csv", 5, 4, 1, 0, 0), Tally("new.csv", 4, 4, 0, 0, 0),
                    Tally("gone.csv", 3, 3, 0, 0, 0))  # fmt: skip
    found = {f.file: (f.kept, f.in_use, f.replaced) for f in of_one(rows).files}
    assert found == {"old.csv": (4, 2, 2), "new.csv": (4, 4, 0), "gone.csv": (3, 0, 3)}


def test_two_files_of_one_name_stay_apart():
    rows = judged("ppps")
    rows.files = ("a.csv", "a.csv")
    rows.source = np.array([0, 1, 1, 1])
    rows.tallies = (Tally("a.csv", 2, 2, 0, 0, 0), Tally("a.csv", 3, 3, 0, 0, 0))
    found = [(f.kept, f.in_use, f.replaced, f.doubted) for f in of_one(rows).files]
    assert found == [(2, 1, 1, 0), (3, 3, 0, 1)]


def test_mixed_steps_are_each_as_long_as_their_row_says():
    rows = judged("pppp", hours=[1, 2, 8, 11])
    rows.spans = np.array([1, 1, 3, 3]) * HOUR
    found = of_one(rows).sources[0]
    assert [(r.start, r.end, r.rows) for r in found.runs] == [(T0 + 2 * HOUR, T0 + 5 * HOUR, 1)]


def test_a_step_that_reaches_back_beyond_the_row_before_is_drawn_from_that_row():
    rows = judged("ppm")
    rows.spans = np.array([1, 1, 3]) * HOUR
    assert [(r.start, r.end) for r in air(of_one(rows)).runs] == [(T0 + 2 * HOUR, T0 + 3 * HOUR)]


def test_a_row_with_a_refused_value_stays_doubted_when_that_was_filled_in():
    rows = judged("ppfpmp", reasons={2: Trouble.SPIKE})
    report = of_one(fill_gaps(rows, 3.0, load_limits()))
    assert air(report).filled == 2 and air(report).failed == 0
    assert report.files[0].doubted == 1


def test_troubles_have_count_first_and_last_time_and_an_example():
    note = Note("north.csv", 4, "air_temperature is 99; expected -40 to 60 degC", 2,
                trouble="impossible", variable=AIR)  # fmt: skip
    refused = Note("north.csv", 9, "time is 'soon'; expected ISO 8601. Row left out", 2,
                   trouble="no_time", first=None)  # fmt: skip
    remark = Note("north.csv", 1, "column 'batt' is none that we know; left out", doubts=False)
    bits = {2: Trouble.IMPOSSIBLE, 4: Trouble.IMPOSSIBLE, 5: Trouble.SPIKE | Trouble.JUMP}
    tally = Tally("north.csv", 9, 7, 2, 0, 0)
    rows = judged("ppfpfsp", reasons=bits, notes=[note, refused, remark], tally=tally)
    report = of_one(rows, row_text=lambda file, line: f"{file} row {line}")
    found = {t.trouble: t for t in report.troubles}
    assert set(found) == {"impossible", "spike", "jump", "no_time"}
    one = found["impossible"]
    assert (one.count, one.variable, one.by_file) == (2, AIR, {"north.csv": 2})
    assert (one.first, one.last) == (T0 + 3 * HOUR, T0 + 5 * HOUR)
    assert one.example.says == note.message and one.example.line == 4
    assert one.example.row == "north.csv row 4"
    assert found["spike"].example.line == 7 and found["spike"].example.says == WORDS[Trouble.SPIKE]
    assert (found["no_time"].count, found["no_time"].first) == (2, None)
    assert report.remarks == (remark,)


def test_a_year_of_alternating_trouble_stays_small_enough_to_draw():
    rows = judged("pm" * 17_520)
    found = air(of_one(rows))
    assert found.missing == 17_520 == sum(r.rows for r in found.runs)
    assert 100 < len(found.runs) <= MOST_RUNS
    assert all(a.end <= b.start for a, b in zip(found.runs, found.runs[1:], strict=False))
    assert len(dumps(of_one(rows), "", ZoneInfo("UTC"))) < 40_000


def test_one_block_of_a_report_is_a_report():
    both = log_report([Judged("north", "low", judged("ppm")), Judged("", "station", judged("ps"))],
                      aside=[Problem("bad.csv", 0, 0, "empty")])  # fmt: skip
    assert [b.block for b in both.blocks] == ["north", ""]
    part = only_block(both, "north")
    assert [s.block for s in part.sources] == ["north"] and len(part.files) == 1
    with pytest.raises(RiskRulesError, match="no block 'east'; expected one of north"):
        only_block(both, "east")


def test_the_json_is_of_the_schema_with_the_keys_of_the_code():
    rows = judged("ppfsm", damp="npppp", hours=[1, 2, 3, 6, 7], reasons={2: Trouble.IMPOSSIBLE})
    plain = as_plain(of_one(rows, aside=[Problem("b.csv", 3, 0, "empty")]), "Two Beds (invented)",
                     ZoneInfo("America/Chicago"))  # fmt: skip
    assert not [e.message for e in CHECKER.iter_errors(plain)]
    assert plain["format"] == FORMAT == SCHEMA["properties"]["format"]["const"]
    assert plain["sources"][0]["first"] == "2026-04-30T20:00:00-05:00"
    defs = {"file": model.FileRows, "block": model.BlockRows, "source": model.SourceRows,
            "variable": model.VariableRows, "trouble": model.TroubleRows,
            "example": model.Example}  # fmt: skip
    for name, cls in defs.items():
        keys = {f.name for f in fields(cls)}
        assert set(SCHEMA["$defs"][name]["properties"]) == keys, name
        assert set(SCHEMA["$defs"][name]["required"]) == keys
    names = [name_of(t) for t in Trouble if t]
    assert Counter(SCHEMA["$defs"]["trouble"]["properties"]["trouble"]["enum"]) == Counter(names)
    assert {name_of(t) for t in WORDS} == set(names)
    plain["files"][0]["kept"] = -1
    assert list(CHECKER.iter_errors(plain))


def test_humidity_has_states_of_its_own():
    report = of_one(judged("pppp", damp="mmsp"))
    damp = next(v for v in report.sources[0].variables if v.variable == DAMP)
    assert (damp.missing, damp.suspect, damp.passed) == (2, 1, 1)
    assert air(report).runs == ()
