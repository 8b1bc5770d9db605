"""An old events file goes into the journal: each line once, and facts see the same events."""

from __future__ import annotations

from pathlib import Path

import pytest

from riskrules.errors import LogError
from riskrules.journal.container import import_csv
from riskrules.journal.events import events_of
from riskrules.journal.records import Irrigation, Limit, Pick, Sighting, Stages, Work
from riskrules.journal.store import open_journal
from riskrules.logs.events import read_events

HEADER = "time,block,event,what,end,affected,examined,note\n"


def written(folder: Path, *lines: str, name: str = "events.csv") -> Path:
    path = folder / name
    path.write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("name", ["events.csv", "typical_year/events.csv"])
def test_the_journal_tells_the_events_of_the_file_that_it_took_in(sample_logs, tmp_path, name):
    path = sample_logs / name
    records = import_csv(path, "America/New_York")
    with open_journal(tmp_path / "a.db") as journal:
        assert {k.state for k in journal.add(records)} == {"new"}
        assert events_of(journal) == read_events(path, "America/New_York")
        assert {k.state for k in journal.add(import_csv(path, "America/New_York"))} == {"known"}
        assert journal.last() == len(records)


def test_each_line_becomes_the_record_that_it_says(tmp_path):
    path = written(
        tmp_path,
        "2026-05-01T08:00,north,stages,60 65,,,,",
        "2026-05-01T09:00,,irrigation,overhead frost,2026-05-01T10:00,,,cold",
        "2026-05-02T08:00,north,pick,,,,,",
        "2026-05-02T09:00,north,sighting,ripe_fruit gray_mold,,3,40,by the ditch",
        "2026-05-02T10:00,north,no_entry,,2026-05-03T10:00,,,",
        "2026-05-02T11:00,north,cooled,,,,,",
    )
    found = import_csv(path, "Europe/Paris", ["north"])
    assert [r.body for r in found] == [
        Stages(codes=(60, 65)),
        Irrigation(method="overhead", depth="frost"),
        Pick(state="done"),
        Sighting(part="ripe_fruit", symptom="gray_mold", affected=3, examined=40),
        Limit(what="entry", set_by="label"),
        Work(what="cooled"),
    ]
    # 08:00 in Paris in May is 06:00 UTC; 1777615200 by `date -u -d 2026-05-01T06:00 +%s`.
    assert found[0].time == 1_777_615_200
    assert [r.block for r in found[:2]] == ["north", None]
    assert [r.note for r in found[1:4]] == ["cold", "", "by the ditch"]
    assert {r.came_by for r in found} == {"import"}


def test_a_line_is_the_same_record_wherever_it_stands_and_however_it_is_written(tmp_path):
    one = written(tmp_path, "2026-05-01T08:00,north,row_cover,on,,,,", name="a.csv")
    two = written(
        tmp_path,
        "2026-04-01T08:00Z,north,film,on,,,,",
        "2026-05-01T06:00:00+00:00, north ,ROW_COVER, On,,,,",
        "",
        "2026-05-01T08:00+02:00,north,row_cover,on,,,,",
        "2026-05-01T08:00+02:00,south,row_cover,on,,,,",
        "2026-05-01T08:00+02:00,north,row_cover,on,,,,windy",
        name="b.csv",
    )
    first, second = import_csv(one, "Europe/Paris"), import_csv(two)
    assert len(second) == 4
    assert second[1] == first[0]
    assert len({r.id for r in second}) == 4


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("2026-05-01T08:00Z,north,sighting,leaf other,,12,10,", "12 affected of 10 examined"),
        ("2026-05-01T08:00Z,west,checked,,,,,", "no block 'west' in the farm file; expected north"),
        ("2026-05-01T08:00Z,north,stages,66,,,,", "stage '66'; expected BBCH codes"),
        ("2026-05-01T08:00,north,checked,,,,,", "has no offset"),
        ("2026-05-01T08:00Z,north,checked,,,,," + "x" * 4001, "note .*at most 4000 characters"),
        (
            "2026-05-01T08:00Z,north,sighting,leaf other,,1,99999999,",
            "examined is '99999999': .*10",
        ),
    ],
)
def test_a_line_that_cannot_be_used_is_named_and_nothing_is_taken(tmp_path, line, said):
    path = written(tmp_path, "2026-05-01T08:00Z,north,checked,,,,,", line)
    with pytest.raises(LogError, match=f"events.csv:3: .*{said}"):
        import_csv(path, None, ["north"])


def test_a_block_whose_name_no_journal_takes_is_named(tmp_path):
    path = written(tmp_path, "2026-05-01T08:00Z,North 2,checked,,,,,")
    with pytest.raises(LogError, match="events.csv:2: block is 'North 2'"):
        import_csv(path)
