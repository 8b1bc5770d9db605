"""A correction is a new record; what it replaces is kept and can be shown."""

from __future__ import annotations

from uuid import uuid4

from riskrules.journal.records import Pick, Record, RowCover, Sighting

from .keyboard import OPEN, Keyboard

B = ("-b", "south_beds")


def pick(farm: Keyboard) -> str:
    return farm.add("pick", *B, "--from", "06:00", "--to", "09:30", "--kg", 41)


def test_a_weight_is_corrected_and_the_old_one_kept(farm: Keyboard) -> None:
    known = pick(farm)
    farm.at("2026-06-10T12:00")
    ran = farm.done(
        "correct", known, "--set", "kg=38.5", "--why", "crates weighed twice", "--who", "bo"
    )
    assert "because: crates weighed twice" in " ".join(ran.out.split())
    (now,) = farm.records()
    assert now.body == Pick(weight_kg=38.5) and now.who == "bo"
    versions = farm.json("show", known)["versions"]
    assert [v["record"]["body"]["weight_kg"] for v in versions] == [41, 38.5]
    assert versions[0]["replaced"] == versions[1]["seq"]
    assert versions[1]["record"]["replaces"] == versions[0]["record"]["id"]
    text = " ".join(farm.done("show", str(now.id)).out.split())
    assert f"{known}" in text and f"replaced by {str(now.id)[:8]}" in text
    assert "Replaces" in text and "crates weighed twice" in text and "12:00" in text


def test_times_blocks_notes_and_states_are_corrected(farm: Keyboard) -> None:
    known = farm.add("cover", "on", "-b", "north_beds", "--at", "07:00")
    right = ("--set", "what=off", "--at", "07:30", *B, "--note", "by two")
    farm.done("correct", known, *right, "--why", "mixed up")
    (now,) = farm.records()
    assert now.body == RowCover(what="off") and now.block == "south_beds" and now.note == "by two"
    assert farm.local(now.time) == "2026-06-10 07:30"


def test_only_the_end_is_corrected(farm: Keyboard) -> None:
    known = pick(farm)
    farm.done("correct", known, "--to", "09:00", "--why", "clock")
    (now,) = farm.records()
    assert farm.local(now.time) == "2026-06-10 06:00"
    assert now.end is not None and farm.local(now.end) == "2026-06-10 09:00"


def test_a_count_and_stages_are_corrected(farm: Keyboard) -> None:
    seen = farm.add("seen", "gray_mold", "--affected", 3, "--of", 120, *B)
    farm.done("correct", seen, "--set", "affected=4", "--set", "of=110", "--why", "recount")
    stages = farm.add("stages", 60, 65, *B)
    farm.done("correct", stages, "--set", "codes=65 71", "--why", "looked again")
    found = {r.kind: r.body for r in farm.records()}
    assert isinstance(found["sighting"], Sighting)
    assert (found["sighting"].affected, found["sighting"].examined) == (4, 110)
    assert found["stages"].codes == (65, 71)  # type: ignore[union-attr]


def test_a_wrong_correction_is_refused(farm: Keyboard) -> None:
    known = pick(farm)
    w = ("--why", "typo")
    said = farm.refused("correct", known, "--set", "weight=38", *w)
    assert said == "--set is 'weight=38'; expected state=..., kg=..."
    assert "nothing is other than before" in farm.refused("correct", known, *w)
    assert "nothing is other than before" in farm.refused("correct", known, "--set", "kg=41", *w)
    assert "expected why" in farm.refused("correct", known, "--set", "kg=3", "--why", " ")
    assert "weight_kg is '-3'" in farm.refused("correct", known, "--set", "kg=-3", *w)
    assert "in the future" in farm.refused("correct", known, "--at", "18:00", "--to", "19:00", *w)
    assert "no block 'west'" in farm.refused("correct", known, "-b", "west", *w)
    assert "no stops" in farm.refused("correct", known, "--stop", "1=2", *w)
    assert "no record 'abcd'" in farm.refused("correct", "abcd", "--set", "kg=3", *w)
    assert "no record's identifier" in farm.refused("correct", "%%%%", "--set", "kg=3", *w)
    assert "4 or more" in farm.refused("correct", known[:3], "--set", "kg=3", *w)


def test_a_record_taken_back_counts_no_more_and_is_still_shown(farm: Keyboard) -> None:
    known = pick(farm)
    farm.at("2026-06-10T12:00")
    farm.done("take-back", known, "--why", "wrong farm")
    assert farm.records() == []
    assert known in farm.done("show", "--all", "--versions").out
    text = " ".join(farm.done("show", known).out.split())
    assert "taken back" in text and "wrong farm" in text
    (before,) = farm.records("--all", "--as-known-at", "11:00")
    assert str(before.id).startswith(known)
    said = farm.refused("correct", known, "--set", "kg=3", "--why", "no")
    assert said == f"{known} was taken back, by ann; expected a record that stands"


def test_an_old_version_is_not_corrected_again(farm: Keyboard) -> None:
    known = pick(farm)
    farm.done("correct", known, "--set", "kg=40", "--why", "a")
    said = farm.refused("take-back", known, "--why", "b")
    assert f"{known} was corrected, in {str(farm.records()[0].id)[:8]}" in said


def test_two_who_changed_the_same_are_told_and_can_settle_it(farm: Keyboard) -> None:
    known = pick(farm)
    farm.done("correct", known, "--set", "kg=40", "--why", "mine")
    (mine,) = farm.records()
    # Bo corrected the same record from a phone, before he saw that.
    theirs = Record(
        id=uuid4(), block="south_beds", time=mine.time, end=mine.end, body=Pick(weight_kg=39),
        who="bo", made=farm.now, replaces=mine.replaces, why="theirs",
    )  # fmt: skip
    with OPEN(farm.folder / "journal.db", clock=lambda: farm.now + 60) as journal:
        journal.add([theirs])
    found = farm.json("show", "--clashes")["clashes"]
    assert [c["counts"] for c in found] == [str(theirs.id)]
    assert "stands beside another version; this counts meanwhile" in " ".join(
        farm.done("show", "--all").out.split()
    )
    text = " ".join(farm.done("show", "--clashes").out.split())
    assert "2 versions" in text and "39 kg" in text and "40 kg" in text
    ran = farm.done("take-back", str(mine.id), "--why", "bo is right")
    assert "Kept" in ran.out
    assert "No clash" in farm.done("show", "--clashes").out
    assert [r.body for r in farm.records()] == [Pick(weight_kg=39)]
