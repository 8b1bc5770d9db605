"""Things done and seen are written down in a line, in trade words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from riskrules.journal.records import Block, Irrigation, Limit, Note, Pick, Record, Sighting

from .keyboard import Keyboard

PNG = bytes.fromhex("89504e470d0a1a0a") + b"an invented picture"


def test_a_cover_laid_at_a_clock_time_is_of_today_on_the_farms_clock(farm: Keyboard) -> None:
    ran = farm.done("add", "cover", "on", "--block", "north_beds", "--at", "07:30")
    (record,) = farm.records()
    assert (record.kind, record.block, record.who) == ("row_cover", "north_beds", "ann")
    assert farm.local(record.time) == "2026-06-10 07:30"
    assert record.made == farm.now
    assert str(record.id)[:8] in ran.out and "row cover on" in ran.out


@pytest.mark.parametrize(
    ("words", "kind", "said"),
    [
        (("cover", "off"), "row_cover", "row cover off"),
        (("sides", "up"), "sides", "sides up"),
        (("film", "on"), "film", "tunnel film on"),
        (("straw", "laid"), "straw", "straw laid"),
        (("stages", "60", "65", "71"), "stages", "growth stages 60, 65, 71"),
        (("stages", "71,60"), "stages", "growth stages 60, 71"),
        (("irrigation", "drip", "deep"), "irrigation", "water, drip deep"),
        (("irrigation", "overhead"), "irrigation", "water, overhead"),
        (("work", "cull"), "work", "bad fruit culled"),
        (("work", "runners"), "work", "runners cut"),
        (("pick", "--kg", "41"), "pick", "pick done, 41 kg"),
        (("note", "dew", "until", "nine"), "note", "dew until nine"),
        (("job", "lift_row_cover", "put-off"), "job", "job lift_row_cover of 2026-06-10: put off"),
        (("no-entry", "--until", "tomorrow 08:00"), "limit", "no entry until Thu 11 Jun"),
        (("no-pick", "--until", "2026-06-12T08:00"), "limit", "no pick until Fri 12 Jun"),
    ],
)
def test_each_kind_is_kept_and_said_in_trade_words(
    farm: Keyboard, words: tuple[str, ...], kind: str, said: str
) -> None:
    ran = farm.done("add", *words, "--block", "north_beds")
    (record,) = farm.records()
    assert record.kind == kind
    assert said in " ".join(ran.out.split())


def test_a_pick_has_its_hours_and_its_weight(farm: Keyboard) -> None:
    farm.done(
        "add", "pick", "--block", "south_beds", "--from", "06:00", "--to", "09:30", "--kg", 41
    )
    (record,) = farm.records()
    assert record.body == Pick(weight_kg=41)
    assert farm.local(record.time) == "2026-06-10 06:00"
    assert record.end is not None and record.end - record.time == 3.5 * 3600


def test_the_end_of_an_earlier_pick_is_of_its_own_day(farm: Keyboard) -> None:
    farm.done("add", "pick", "-b", "south_beds", "--from", "2026-06-08 06:00", "--to", "09:30")
    (record,) = farm.records()
    assert record.end is not None and farm.local(record.end) == "2026-06-08 09:30"


def test_a_planned_pick_may_be_of_tomorrow(farm: Keyboard) -> None:
    farm.done("add", "pick", "--planned", "-b", "south_beds", "--at", "tomorrow 06:00")
    (record,) = farm.records()
    assert record.body == Pick(state="planned")
    assert farm.local(record.time) == "2026-06-11 06:00"


def test_a_count_of_a_symptom(farm: Keyboard) -> None:
    words = ("add", "seen", "gray_mold", "--part", "flower", "--affected", 3, "--of", 120)
    ran = farm.done(*words, "--pattern", "patches", "-b", "north_beds", "--note", "wet end")
    (record,) = farm.records()
    assert record.body == Sighting(
        symptom="gray_mold", part="flower", affected=3, examined=120, pattern="patches"
    )
    assert record.note == "wet end"
    assert "Gray mold: 3 of 120 flowers, in patches (wet end)" in " ".join(ran.out.split())


def test_none_seen_is_said_as_none_seen_of_so_many(farm: Keyboard) -> None:
    ran = farm.done("add", "seen", "gray_mold", "--affected", 0, "--of", 60, "-b", "north_beds")
    (record,) = farm.records()
    assert isinstance(record.body, Sighting) and record.body.pattern == "none_seen"
    assert "none seen of 60" in ran.out


def test_frost_water_and_limits(farm: Keyboard) -> None:
    farm.at("2026-04-02T04:00")
    farm.done("add", "irrigation", "overhead", "frost", "-b", "north_beds", "--from", "02:00")
    farm.done("add", "no-entry", "--until", "18:00", "--set-by", "rule", "-b", "north_beds")
    water, limit = farm.records()
    assert water.body == Irrigation(method="overhead", depth="frost")
    assert limit.body == Limit(what="entry", set_by="rule")
    assert limit.end is not None and farm.local(limit.end) == "2026-04-02 18:00"


def test_several_blocks_at_once_or_none_of_them(farm: Keyboard) -> None:
    farm.done("add", "sides", "up", "--block", "north_beds,south_beds", "--at", "08:00")
    farm.done("add", "film", "on", "-b", "north_beds", "-b", "south_beds", "--at", "08:00")
    found = farm.records()
    assert sorted((r.kind, r.block) for r in found) == [
        ("film", "north_beds"), ("film", "south_beds"),
        ("sides", "north_beds"), ("sides", "south_beds"),
    ]  # fmt: skip
    assert len({r.id for r in found}) == 4
    said = farm.refused("add", "cover", "on", "-b", "north_beds,west_beds")
    assert said == "no block 'west_beds' here; expected one of north_beds, south_beds"


def test_the_whole_farm_has_to_be_asked_for(farm: Keyboard) -> None:
    ran = farm.run("add", "cover", "on")
    assert ran.code == 2 and "--whole-farm" in ran.err and "north_beds, south_beds" in ran.err
    farm.done("add", "cover", "on", "--whole-farm")
    assert farm.records()[0].block is None


def test_a_farm_of_one_block_need_not_name_it(farm: Keyboard) -> None:
    file = farm.folder / "farm.yaml"
    file.write_text(file.read_text().rsplit("- {block: south", 1)[0])
    ran = farm.done("add", "cover", "on")
    assert farm.records()[0].block == "north_beds" and "the only one" in ran.err


def test_what_a_block_is_like_keeps_what_is_not_said_again(farm: Keyboard) -> None:
    farm.done("add", "block", "north_beds", "--beds", 12, "--bed-length", 60, "--at", "08:00")
    farm.done("add", "block", "north_beds", "--planted", "2025-08-20", "--plants", "day-neutral")
    farm.done("add", "block", "north_beds", "--no-row-covers", "--beds", 11)
    last = farm.records()[-1].body
    assert last == Block(
        beds=11, bed_length=60, planted=date(2025, 8, 20), plants="day_neutral", row_covers=False
    )


def test_the_first_record_makes_the_journal_and_a_wrong_one_does_not(farm: Keyboard) -> None:
    file = farm.folder / "journal.db"
    file.unlink()
    farm.refused("add", "stages", 64, "-b", "north_beds")
    assert "there is no journal" in farm.refused("show")
    assert not file.exists()
    assert "Started a new journal" in farm.done("add", "note", "spring").err
    assert len(farm.records()) == 1


def test_photos_are_kept_with_a_note(farm: Keyboard, tmp_path: Path) -> None:
    picture = tmp_path / "leaf.png"
    picture.write_bytes(PNG)
    ran = farm.done("add", "note", "odd spots", "--photo", picture)
    assert "(1 photo)" in ran.out
    assert "is whole" in farm.done("check").out  # a photo that has not come would be told
    picture.write_bytes(b"no picture")
    assert "leaf.png: the photo is no image" in farm.refused("add", "note", "x", "--photo", picture)
    assert "cannot be read" in farm.refused("add", "note", "x", "--photo", tmp_path / "none.png")


def test_who_is_the_option_then_the_environment_then_the_last_one_here(farm: Keyboard) -> None:
    farm.add("note", "one", "--who", "bo")
    farm.add("note", "two")
    del farm.environment["RISKRULES_WHO"]
    ran = farm.done("add", "note", "three")
    assert {said_by(r): r.who for r in farm.records()} == {
        "one": "bo",
        "two": "ann",
        "three": "ann",
    }
    assert "Written as ann, as last time here" in ran.err


def said_by(record: Record) -> str:
    assert isinstance(record.body, Note)
    return record.body.text


def test_nobody_said_who(farm: Keyboard) -> None:
    del farm.environment["RISKRULES_WHO"]
    assert "expected --who, or RISKRULES_WHO" in farm.refused("add", "note", "one")
    farm.done("add", "note", "one", answers=["cy"])
    assert farm.records()[0].who == "cy"
