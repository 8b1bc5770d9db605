"""What is written is shown: by day, block and kind, now and as it was known."""

from __future__ import annotations

import pytest
from cli.running import text_of

from .keyboard import OPEN, Keyboard


@pytest.fixture
def written(farm: Keyboard) -> Keyboard:
    """Return a farm with a few days of records."""
    farm.add("note", "long ago", "--at", "2026-05-20T10:00")
    farm.add("cover", "on", "-b", "north_beds", "--at", "2026-06-08T19:00")
    farm.add("cover", "off", "-b", "north_beds", "--at", "2026-06-10T07:00")
    farm.add("pick", "-b", "south_beds", "--at", "2026-06-10T06:00", "--kg", 20)
    return farm


def kinds(farm: Keyboard, *words: object) -> list[str]:
    return [r.kind for r in farm.records(*words)]


def test_days_blocks_and_kinds(written: Keyboard) -> None:
    assert kinds(written, "--all") == ["note", "row_cover", "pick", "row_cover"]
    assert kinds(written, "--from", "2026-01-01") == ["note", "row_cover", "pick", "row_cover"]
    assert kinds(written, "--day", "today") == ["pick", "row_cover"]
    assert kinds(written, "--day", "2026-06-08") == ["row_cover"]
    assert kinds(written, "--from", "2026-06-09", "--to", "2026-06-10") == ["pick", "row_cover"]
    assert kinds(written, "--to", "2026-06-08") == ["note", "row_cover"]
    assert kinds(written, "--all", "--block", "north_beds") == ["note", "row_cover", "row_cover"]
    assert kinds(written, "--all", "--kind", "pick,note") == ["note", "pick"]
    assert kinds(written, "--all", "--kind", "cover") == ["row_cover", "row_cover"]
    # Without any of these: the last week.
    assert [r["body"]["kind"] for r in written.json("show")["records"]] == [
        "row_cover", "pick", "row_cover",
    ]  # fmt: skip


def test_it_reads_by_day(written: Keyboard) -> None:
    lines = written.done("show", "--from", "2026-06-08").out.splitlines()
    assert "Mon 8 Jun 2026" in lines and "Wed 10 Jun 2026" in lines
    assert lines.index("Mon 8 Jun 2026") < lines.index("Wed 10 Jun 2026")
    assert any(line.startswith("   06:00  south_beds: pick done, 20 kg. ann, ") for line in lines)


def test_an_empty_day_is_not_said_to_be_a_day_on_which_nothing_was_done(farm: Keyboard) -> None:
    said = farm.done("show", "--day", "yesterday").out
    assert "Nothing is written there" in said and "does not mean that nothing was done" in said


def test_a_past_state_is_shown_as_it_was_known(written: Keyboard) -> None:
    known = str(written.records("--kind", "pick", "--all")[0].id)
    written.at("2026-06-12T10:00")
    written.done("correct", known, "--set", "kg=25", "--why", "second scale")
    words = ("--all", "--kind", "pick")
    (now,) = written.records(*words)
    (then,) = written.records(*words, "--as-known-at", "2026-06-11T10:00")
    assert (now.body.weight_kg, then.body.weight_kg) == (25, 20)  # type: ignore[union-attr]
    assert written.records(*words, "--as-known-at", "2026-06-01T10:00") == []
    text = written.done("show", "--all", "--as-known-at", "2026-06-11T10:00").out
    assert "as known Thu 11 Jun 10:00" in text and "20 kg" in text and "25 kg" not in text


def test_wrong_questions_are_told(written: Keyboard) -> None:
    assert "no kind 'picks'; expected one of" in written.refused("show", "--kind", "picks")
    assert "no block 'west'" in written.refused("show", "--block", "west")
    assert "--day is 'monday'" in written.refused("show", "--day", "monday")
    assert "no record 'ffff'" in written.refused("show", "ffff")
    ran = written.run("show", "--from", "2026-06-09", "--to", "2026-06-08")
    assert ran.code == 2 and "is before --from" in ran.err


def test_its_json_holds_the_very_records(written: Keyboard) -> None:
    with OPEN(written.folder / "journal.db") as journal:
        assert written.records("--all") == journal.records()
        versions = written.json("show", "--all", "--versions")["versions"]
        assert [v["seq"] for v in versions] == [s.seq for s in journal.versions()]


def test_its_json_is_taken_in_elsewhere_once(written: Keyboard) -> None:
    file = written.folder / "records.json"
    file.write_text(written.done("show", "--all", "--json").out)
    other = ("--journal", written.folder / "other.db")
    assert "4 records, 4 new" in text_of(written.done("import", file, *other))
    assert "0 new, 4 known already" in text_of(written.done("import", file, *other))
    assert written.records("--all", *other) == written.records("--all")
