"""A filled sheet: typed, read once or twice, and refused where a line is wrong."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.journal.records import Block, Record
from riskrules.journal.sheet import filled_template, read_filled
from riskrules.journal.sheet_filled import cells_of
from riskrules.journal.store import open_journal
from riskrules.journal.walks import plan_walk
from tests.journal.small_records import at, made

WALK = UUID("6f1c3d3e-0a53-4b57-8a39-0d9c5a8a1f00")
BLOCK = Block(beds=3, bed_length=60.0, plants_per_bed=240)
HEAD = "walk,block,time,who,stop,symptom,part,affected,examined,note"
FIRST = f"{WALK},north,2026-06-10T09:30+00:00,ann,1,gray_mold,ripe_fruit,2,10,near the gate"
GOOD = f"""{HEAD}
{FIRST}
,,,,2,gray_mold,ripe_fruit,0,10,
,,,,3,gray_mold,ripe_fruit,,,
,,,,1,powdery_mildew,leaf,0,10,
,,,,2,powdery_mildew,leaf,0,10,"dry, dusty"
"""


def planned(stops=4) -> Record:
    return made(plan_walk(BLOCK, "random", 7, stops, 10, ["gray_mold", "mucor"]), id=WALK)


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "filled.csv"
    path.write_bytes(text.encode(encoding))
    return path


def read(folder: Path, text: str, **more) -> list[Record]:
    return read_filled(written(folder, text), **more)


def problems(folder: Path, text: str, **more) -> list[str]:
    with pytest.raises(LogError) as caught:
        read(folder, text, **more)
    return [str(problem) for problem in caught.value.problems]


def test_a_sheet_gives_one_record_for_each_symptom_and_part(tmp_path):
    mold, mildew = sorted(read(tmp_path, GOOD), key=lambda r: r.body.symptom)
    assert (mold.block, mold.who, mold.time) == ("north", "ann", at("2026-06-10 09:30"))
    assert (mold.body.affected, mold.body.examined, mold.body.part) == (2, 20, "ripe_fruit")
    assert [(s.stop, s.affected, s.examined) for s in mold.body.stops] == [(1, 2, 10), (2, 0, 10)]
    assert (mold.body.walk, mold.came_by, mold.note) == (WALK, "sheet", "stop 1: near the gate")
    assert mold.body.pattern is None
    assert mildew.body.pattern == "none_seen"
    assert mildew.note == "stop 2: dry, dusty"


def test_a_stop_where_nobody_looked_counts_for_nothing(tmp_path):
    mold = next(r for r in read(tmp_path, GOOD) if r.body.symptom == "gray_mold")
    assert 3 not in [s.stop for s in mold.body.stops]


def test_a_sheet_read_twice_is_kept_once(tmp_path):
    with open_journal(tmp_path / "journal.db") as journal:
        first = journal.add(read(tmp_path, GOOD))
        second = journal.add(read(tmp_path, GOOD))
        assert [kept.state for kept in first] == ["new", "new"]
        assert [kept.state for kept in second] == ["known", "known"]
        assert len(journal.records()) == 2


def test_a_sheet_typed_again_with_another_count_is_told(tmp_path):
    with open_journal(tmp_path / "journal.db") as journal:
        journal.add(read(tmp_path, GOOD))
        again = journal.add(read(tmp_path, GOOD.replace("ripe_fruit,2,10", "ripe_fruit,3,10")))
        assert sorted(kept.state for kept in again) == ["differs", "known"]


def test_another_walk_symptom_or_part_has_another_identifier(tmp_path):
    other = str(UUID(int=1))
    texts = [GOOD, GOOD.replace(str(WALK), other), GOOD.replace("ripe_fruit", "flower")]
    ids = {r.id for text in texts for r in read(tmp_path, text) if r.body.symptom == "gray_mold"}
    assert len(ids) == 3


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_any_spreadsheet_may_have_saved_it(tmp_path, delimiter, encoding, ending):
    rows = list(csv.reader(io.StringIO(GOOD)))
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator=ending).writerows(rows)
    assert read_filled(written(tmp_path, out.getvalue(), encoding)) == read(tmp_path, GOOD)


def filled(template: str, counts: dict[int, tuple[int, int]]) -> str:
    rows = list(csv.DictReader(io.StringIO(template)))
    for number, row in enumerate(rows):
        if number == 0:
            row.update(time="2026-06-10T09:30+00:00", who="ann")
        if number in counts:
            row.update(affected=str(counts[number][0]), examined=str(counts[number][1]))
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


@settings(max_examples=25, deadline=None)
@given(
    st.dictionaries(
        st.integers(0, 7),
        st.integers(1, 99).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
        min_size=1,
    )
)
def test_what_is_written_into_the_template_comes_back(tmp_path_factory, counts):
    folder = tmp_path_factory.mktemp("sheet")
    walk = planned()
    records = read(folder, filled(filled_template(walk), counts), walks=[walk])
    found = {
        (r.body.symptom, s.stop, s.bed): (s.affected, s.examined)
        for r in records
        for s in r.body.stops
    }
    lines = [
        (symptom, stop, bed) for stop, bed, _ in walk.body.stops for symptom in walk.body.symptoms
    ]
    assert found == {lines[number]: count for number, count in counts.items()}
    assert {r.block for r in records} == {"north"}


def test_the_template_has_a_line_for_each_stop_and_symptom():
    rows = list(csv.DictReader(io.StringIO(filled_template(planned()))))
    assert len(rows) == 4 * 2
    assert {row["walk"] for row in rows} == {str(WALK)}
    assert all(row["affected"] == row["examined"] == "" for row in rows)
    with pytest.raises(ValueError, match="the record is a note"):
        filled_template(made())


def test_a_template_with_nothing_filled_in_is_told(tmp_path):
    assert problems(tmp_path, filled_template(planned())) == [
        "filled.csv:1:1: no line has counts; expected affected and examined"
    ]


@dataclass
class Wrong:
    """A change to the good file, where it is told, and what is said."""

    old: str
    new: str
    place: str
    message: str


START = len(f"{WALK},north,2026-06-10T09:30+00:00,ann,1,gray_mold,ripe_fruit,") + 1

WRONG = [
    Wrong(
        "fruit,2,10", "fruit,12,10", f"2:{START}", "12 affected of 10 examined; expected 0 to 10"
    ),
    Wrong("fruit,2,10", "fruit,two,10", f"2:{START}", "affected is 'two'; expected a whole number"),
    Wrong("fruit,2,10", "fruit,-1,10", f"2:{START}", "affected is '-1'; expected a whole number"),
    Wrong("fruit,2,10", "fruit,2.0,10", f"2:{START}", "affected is '2.0'"),
    Wrong("fruit,2,10", "fruit,\u0662,10", f"2:{START}", "expected a whole number"),
    Wrong("fruit,2,10", "fruit,,10", f"2:{START}", "expected a whole number (0 where none was"),
    Wrong("fruit,2,10", "fruit,2,", f"2:{START + 2}", "examined is ''; expected a whole number"),
    Wrong("fruit,2,10", "fruit,0,0", f"2:{START + 2}", "examined is 0; expected 1 or more"),
    Wrong("ripe_fruit,2", "apple,2", f"2:{START - 11}", "part is 'apple'; expected one of flower"),
    Wrong("2,powdery_mildew", "2,powdry_mildew", "6:7", "did you mean 'powdery_mildew'?"),
    Wrong(",,,,2,powdery", ",,,,0,powdery", "6:5", "stop is 0; expected 1 or more"),
    Wrong(",,,,2,powdery", ",,,,1,powdery", "6:5", "stands in line 5 already"),
    Wrong(",,,,2,powdery", ",,,ben,2,powdery", "6:4", "who is 'ben', but 'ann' in line 5"),
    Wrong(",ann,", ",,", "2:67", "who is blank here and above"),
    Wrong(str(WALK), "walk 7", "2:1", "walk is 'walk 7'; expected the identifier printed"),
    Wrong(",north,", ",,", "2:38", "block is blank here and above"),
    Wrong("2026-06-10T09:30+00:00", "", "2:44", "time is blank here and above"),
    Wrong("2026-06-10T09:30+00:00", "10/06/2026", "2:44", "time is '10/06/2026'; expected such as"),
    Wrong("2026-06-10T09:30+00:00", "2026-06-10", "2:44", "a day; expected the hour too"),
    Wrong("T09:30+00:00", "T09:30", "2:44", "has no offset; expected one, or a zone"),
    Wrong("2026-06", "1926-06", "2:44", "expected a year from 1970"),
    Wrong(
        ",,,,3,gray_mold,ripe_fruit,,,",
        ",,,,3,gray_mold,ripe_fruit,,,wet",
        "4:30",
        "a note without counts",
    ),
    Wrong("0,10,\n", "0,10,,,x\n", "3:35", "a cell beyond the header: 'x'"),
]


@pytest.mark.parametrize("wrong", WRONG, ids=lambda w: w.message[:40])
def test_a_wrong_line_is_told_with_its_place(tmp_path, wrong):
    assert wrong.old in GOOD
    said = problems(tmp_path, GOOD.replace(wrong.old, wrong.new, 1))
    assert said[0].startswith(f"filled.csv:{wrong.place}: ")
    assert wrong.message in said[0]


def test_all_wrong_lines_are_told_at_once(tmp_path):
    text = GOOD.replace("fruit,2,10", "fruit,12,10").replace("leaf,0,10", "leaf,0,x")
    assert [p.split(":")[1] for p in problems(tmp_path, text)] == ["2", "5", "6"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty; expected a header"),
        ("walk,stop\n", "1:1: no column 'symptom'; expected walk, stop, symptom"),
        (GOOD.replace("note", "remark", 1), "no column 'remark' in a sheet; expected walk"),
        (GOOD.replace("note", "who", 1), "column 'who' stands twice"),
        (GOOD.replace(',"dry, dusty"', ',"dry'), "6: a quote is not closed"),
    ],
)
def test_a_file_that_is_no_sheet_is_told(tmp_path, text, message):
    assert message in problems(tmp_path, text)[0]


def test_a_known_walk_tells_block_and_beds(tmp_path):
    walk = planned()
    text = GOOD.replace(",north,", ",,")
    mold = next(r for r in read(tmp_path, text, walks=[walk]) if r.body.symptom == "gray_mold")
    assert mold.block == "north"
    assert [s.bed for s in mold.body.stops] == [bed for _, bed, _ in walk.body.stops[:2]]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (",,,,2,gray", ",,,,9,gray", "3:5: stop 9; expected one of 1 to 4"),
        (",north,", ",south,", "2:38: block is 'south'; expected north, as the walk was planned"),
        (str(WALK), str(UUID(int=5)), "2:1: no walk 00000000-0000-0000-0000-000000000005 here"),
    ],
)
def test_a_sheet_that_does_not_fit_its_walk_is_told(tmp_path, old, new, message):
    said = problems(tmp_path, GOOD.replace(old, new, 1), walks=[planned()])
    assert any(message in each for each in said)


def test_times_without_offset_are_of_the_zone(tmp_path):
    text = GOOD.replace("T09:30+00:00", " 09:30")
    assert read(tmp_path, text, zone="Europe/Paris")[0].time == at("2026-06-10 07:30")
    twice = GOOD.replace("2026-06-10T09:30+00:00", "2026-10-25T02:30")
    said = problems(tmp_path, twice, zone="Europe/Paris")
    assert "happens twice or never in Europe/Paris" in said[0]


def test_a_walk_over_some_hours_has_an_end(tmp_path):
    text = GOOD.replace(",,,,2,gray", ",,2026-06-10T11:00+00:00,,2,gray")
    mold = next(r for r in read(tmp_path, text) if r.body.symptom == "gray_mold")
    assert (mold.time, mold.end) == (at("2026-06-10 09:30"), at("2026-06-10 11:00"))


def test_two_walks_may_stand_in_one_file_and_share_nothing(tmp_path):
    other = UUID(int=9)
    more = f"{other},,,,1,mucor,picked_fruit,1,10,\n"
    assert "block is blank here" in problems(tmp_path, GOOD + more)[0]
    more = f"{other},south,2026-06-11T09:30+00:00,ben,1,mucor,picked_fruit,1,10,\n"
    assert [r.block for r in read(tmp_path, GOOD + more)] == ["north", "north", "south"]


plain = st.text(st.characters(codec="utf-8", exclude_characters="\r\x00"), max_size=8)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(plain, min_size=2, max_size=5), min_size=1, max_size=6))
def test_cells_are_those_of_the_csv_module_and_stand_where_they_say(rows):
    # A comma first, so that the comma is the delimiter of the first line.
    rows = [["a", "b", "c", "d", "e", "f"], *rows]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(rows)
    text = out.getvalue()
    found = list(cells_of(text, "x.csv"))
    expected = [[cell.strip() for cell in row] for row in rows]
    assert [[c.text for c in row] for row in found] == [r for r in expected if any(r)]
    lines = text.split("\n")
    for cell in (cell for row in found for cell in row):
        assert lines[cell.line - 1][cell.column - 1] == '"'
