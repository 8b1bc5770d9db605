"""The journal gives the events that an events file with the same things gives."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.kinds import PARTS, SYMPTOMS
from riskrules.facts.stages import bits
from riskrules.journal.events import counted_events, event_of, events_of
from riskrules.journal.records import (
    Block,
    Checked,
    Film,
    Irrigation,
    JobDone,
    Limit,
    Note,
    Pick,
    Record,
    RowCover,
    Sides,
    Sighting,
    Stages,
    Straw,
    Walk,
    Work,
)
from riskrules.journal.rows import Stored
from riskrules.journal.store import Journal
from riskrules.logs.events import COLUMNS, WORDS, Event, of_block, read_events
from riskrules.science.stages import STAGES

from .small_records import at, corrected, made

DAY = 86_400
NOON = at("2026-06-10 12:00")
SAME = {  # a line of an events file, and the record that says the same
    "stages,60 65": Stages(codes=(65, 60)),
    "row_cover,on": RowCover(what="on"),
    "row_cover,off": RowCover(what="off"),
    "sides,down": Sides(what="down"),
    "sides,up": Sides(what="up"),
    "film,on": Film(what="on"),
    "film,off": Film(what="off"),
    "straw,laid": Straw(what="laid"),
    "straw,removed": Straw(what="removed"),
    "irrigation,drip": Irrigation(method="drip"),
    "irrigation,drip deep": Irrigation(method="drip", depth="deep"),
    "irrigation,overhead brief": Irrigation(method="overhead", depth="brief"),
    "irrigation,overhead frost": Irrigation(method="overhead", depth="frost"),
    "pick,done": Pick(weight_kg=200),
    "pick,planned": Pick(state="planned"),
    "cooled,": Work(what="cooled"),
    "cull,": Work(what="cull"),
    "leaves,": Work(what="leaves"),
    "stalks,": Work(what="stalks"),
    "checked,": Checked(),
    "no_entry,": Limit(what="entry"),
    "no_pick,": Limit(what="pick", set_by="rule"),
}


def file_of(folder: Path, lines: list[list[str]]) -> Path:
    path = folder / "events.csv"
    path.write_text(",".join(COLUMNS) + "\n" + "".join(",".join(x) + "\n" for x in lines))
    return path


def test_each_line_of_an_events_file_has_a_record_that_gives_the_same_event(
    journal: Journal, tmp_path
):
    lines, records = [], []
    for i, (words, body) in enumerate(SAME.items()):
        time, end, block = NOON + i * 60, NOON + DAY + i, ("north", "south", "")[i % 3]
        shown = [datetime.fromtimestamp(t, UTC).isoformat() for t in (time, end)]
        event, what = words.split(",")
        lines.append([shown[0], block, event, what, shown[1], "", "", "said"])
        records.append(made(body, time, end=end, block=block or None))
    for i, (part, symptom) in enumerate((p, s) for p in PARTS for s in SYMPTOMS):
        shown = datetime.fromtimestamp(NOON - i, UTC).isoformat()
        lines.append([shown, "north", "sighting", f"{part} {symptom}", "", str(i), "60", ""])
        body = Sighting(symptom=symptom, part=part, affected=i, examined=60)
        records.append(made(body, NOON - i))
    assert {words.split(",")[0] for words in SAME} | {"sighting"} == set(WORDS)
    journal.add(records)
    expected = read_events(file_of(tmp_path, lines))
    assert len(expected) == len(lines)
    assert events_of(journal) == expected
    for block in ("north", "south"):
        assert events_of(journal, block) == of_block(expected, block)


WRITTEN = st.lists(
    st.tuples(
        st.integers(0, 5),
        st.sampled_from(["", "north", "south"]),
        st.sampled_from([w for w in SAME if not w.startswith("stages")]),
        st.integers(0, 3),
    ),
    max_size=12,
)


@given(WRITTEN)
def test_any_such_lines_give_the_same_events(tmp_path_factory, written):
    table = io.StringIO()
    sheet = csv.writer(table)
    sheet.writerow(COLUMNS)
    versions = []
    for seq, (minute, block, words, more) in enumerate(written, start=1):
        time = NOON + 60 * minute
        shown = [datetime.fromtimestamp(t, UTC).isoformat() for t in (time, time + more)]
        sheet.writerow([shown[0], block, *words.split(","), shown[1], "", "", ""])
        record = made(SAME[words], time, end=time + more, block=block or None)
        versions.append(Stored(seq, NOON, record))
    path = tmp_path_factory.mktemp("events") / "events.csv"
    path.write_text(table.getvalue())
    assert counted_events(versions) == read_events(path)


@pytest.mark.parametrize(
    "body",
    [
        Note(text="deer in the beds"),
        Block(beds=3),
        Walk(pattern="all_beds", per_stop=9, stops=()),
        JobDone(job="open_sides", what="done", day="2026-06-10"),
        Work(what="runners"),
    ],
)
def test_what_is_no_event_gives_none(body):
    """A note does not make the journal current for covers and picks."""
    assert event_of(made(body)) is None


def test_a_symptom_that_rules_do_not_know_is_another():
    body = Sighting(symptom="bird_pecks", part="ripe_fruit", affected=2, examined=50)
    event = event_of(made(body))
    assert event is not None
    assert (event.what, event.affected, event.examined) == ("ripe_fruit other", 2, 50)


def covers(events: list[Event], block: str = "north") -> list[tuple[int, str]]:
    return [(e.time, e.what) for e in of_block(events, block) if e.event == "row_cover"]


def test_what_is_looked_at_and_the_same_is_stated_again(journal: Journal):
    journal.add([made(RowCover(what="on"), NOON), made(Stages(codes=(60, 65)), NOON)])
    journal.add([made(Checked(same=("row_cover", "stages", "film")), NOON + DAY)])
    events = events_of(journal)
    assert covers(events) == [(NOON, "on"), (NOON + DAY, "on")]
    stages = [(e.time, e.stages, e.what) for e in events if e.event == "stages"]
    assert stages == [(NOON, (60, 65), "60 65"), (NOON + DAY, (60, 65), "60 65")]
    assert [e.time for e in events if e.event == "checked"] == [NOON + DAY]
    assert not [e for e in events if e.event == "film"]  # nobody ever said it was on


def test_it_states_the_last_state_before_it_and_none_after(journal: Journal):
    journal.add([made(RowCover(what="on"), NOON), made(RowCover(what="off"), NOON + 2 * DAY)])
    journal.add([made(Checked(same=("row_cover",)), NOON + d * DAY) for d in (-1, 1, 3)])
    assert covers(events_of(journal)) == [
        (NOON, "on"),
        (NOON + DAY, "on"),
        (NOON + 2 * DAY, "off"),
        (NOON + 3 * DAY, "off"),
    ]


def test_a_state_corrected_since_somebody_looked_is_not_stated_again(journal: Journal):
    """She saw that the cover was on; that it is now said to have been off is not what she saw."""
    on = made(RowCover(what="on"), NOON)
    journal.add([on, made(Checked(same=("row_cover",)), NOON + DAY)])
    journal.add([corrected(on, RowCover(what="off"))])
    assert covers(events_of(journal)) == [(NOON, "off")]


def test_a_state_written_down_late_is_not_taken_for_what_somebody_saw(journal: Journal):
    journal.add([made(RowCover(what="on"), NOON)])
    journal.add([made(Checked(same=("row_cover",)), NOON + 2 * DAY)])
    journal.add([made(RowCover(what="off"), NOON + DAY)])
    assert covers(events_of(journal)) == [(NOON, "on"), (NOON + DAY, "off")]


def test_a_state_taken_back_since_somebody_looked_is_not_stated_again(journal: Journal):
    journal.add([made(RowCover(what="off"), NOON), on := made(RowCover(what="on"), NOON + DAY)])
    journal.add([made(Checked(same=("row_cover",)), NOON + 2 * DAY), corrected(on)])
    assert covers(events_of(journal)) == [(NOON, "off")]


def test_of_a_clash_only_the_version_that_counts_is_an_event(journal: Journal):
    on = made(RowCover(what="on"), NOON)
    journal.add([on, corrected(on, RowCover(what="on"), end=NOON + 60)])
    journal.add([corrected(on, RowCover(what="off"))])
    assert covers(events_of(journal)) == [(NOON, "off")]


def test_one_look_at_the_whole_farm_states_each_block_as_it_is(journal: Journal):
    journal.add([made(RowCover(what="off"), NOON, block=None)])
    journal.add([made(RowCover(what="on"), NOON + 60), made(Pick(), block="south")])
    journal.add([made(Checked(same=("row_cover",)), NOON + DAY, block=None)])
    for events in (events_of(journal), events_of(journal, "north")):
        assert covers(events)[-1] == (NOON + DAY, "on")
        assert (NOON + DAY, "off") not in covers(events)
    for events in (events_of(journal), events_of(journal, "south")):
        assert covers(events, "south")[-1] == (NOON + DAY, "off")


def test_events_of_an_earlier_time_are_those_known_then(journal_url: str):
    from riskrules.journal.store import open_journal

    moments = iter((NOON, NOON + DAY))
    with open_journal(journal_url, clock=lambda: next(moments)) as journal:
        on = made(RowCover(what="on"), NOON)
        journal.add([on])
        journal.add([corrected(on)])
        assert covers(events_of(journal, as_known_at=NOON)) == [(NOON, "on")]
        assert events_of(journal) == []


STATES = st.lists(
    st.tuples(
        st.sampled_from([None, "north", "south"]),
        st.integers(0, 6),
        st.one_of(
            st.builds(RowCover, what=st.sampled_from(["on", "off"])),
            st.builds(
                Stages,
                codes=st.lists(st.sampled_from(sorted(STAGES)), min_size=1, max_size=2).map(tuple),
            ),
            st.builds(
                Checked,
                same=st.sampled_from([("row_cover",), ("stages",), ("row_cover", "stages")]),
            ),
        ),
        st.none() | st.integers(0, 8),
    ),
    max_size=9,
)


def state_at(events: list[Event], block: str, kind: str, time: int) -> object:
    own = [e for e in of_block(events, block) if e.event == kind and e.time <= time]
    return (own[-1].what, bits(own[-1].stages), own[-1].time) if own else None


@given(STATES)
def test_one_block_alone_is_in_the_state_it_is_in_among_all(rows):
    versions: list[Stored] = []
    for seq, (block, day, body, replaces) in enumerate(rows, start=1):
        old = versions[replaces] if replaces is not None and replaces < len(versions) else None
        record = made(body, NOON + day * DAY, block=block)
        if old is not None and old.replaced is None:
            record = corrected(old.record, body, block=block)
            versions[replaces] = replace(old, replaced=seq)
        versions.append(Stored(seq, NOON, record))
    everything = counted_events(versions)
    for block in ("north", "south"):
        if not any(s.record.block == block and s.replaced is None for s in versions):
            continue  # a block that no record names is not known by looking at all
        own = [s for s in versions if s.record.block in (None, block)]
        alone = counted_events(own, (), block)
        for kind in ("row_cover", "stages"):
            for day in np.arange(0, 8):
                moment = int(NOON + day * DAY)
                assert state_at(alone, block, kind, moment) == state_at(
                    everything, block, kind, moment
                )


@given(STATES)
def test_looking_never_changes_what_a_state_is_only_how_fresh(rows):
    """Without corrections, taking the looks away leaves the same state, said longer ago."""
    records: list[Record] = [made(b, NOON + d * DAY, block=k) for k, d, b, _ in rows]
    versions = [Stored(i, NOON, r) for i, r in enumerate(records, start=1)]
    plain = [s for s in versions if not isinstance(s.record.body, Checked)]
    looked, unlooked = counted_events(versions), counted_events(plain)
    for block in ("north", "south"):
        for kind in ("row_cover", "stages"):
            for day in range(8):
                moment = NOON + day * DAY
                with_it = state_at(looked, block, kind, moment)
                without = state_at(unlooked, block, kind, moment)
                assert (with_it is None) == (without is None)
                if with_it is not None:
                    assert with_it[:2] == without[:2]
                    assert with_it[2] >= without[2]


def test_identifiers_do_not_matter():
    a = event_of(made(Pick(), NOON, id=UUID(int=1)))
    assert a == event_of(made(Pick(), NOON, id=UUID(int=2)))
