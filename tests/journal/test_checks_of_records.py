"""What is wrong gets one clear sentence, what is doubtful a question; what is fine neither."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from riskrules.journal.checks import doubts, refuse
from riskrules.journal.records import (
    Block,
    Checked,
    Irrigation,
    Limit,
    Note,
    Pick,
    Record,
    RowCover,
    Sides,
    Sighting,
    Stages,
    Straw,
    TakenBack,
    Work,
    canonical,
)
from riskrules.journal.store import Journal
from riskrules.journal.view import View, view_of

from .small_records import at, corrected, made

NOW = at("2026-06-10 12:00")
BLOCKS = {"north": Block(planted=date(2026, 4, 1)), "south": None}


def view(*records: Record, zone: str = "UTC") -> View:
    return View(sorted(records, key=lambda r: r.time), BLOCKS, NOW, ZoneInfo(zone))


def written(**changes: object) -> dict[str, object]:
    """The plain values of a sighting, some of them changed."""
    body = Sighting(symptom="gray_mold", part="flower", affected=1, examined=10)
    plain = canonical(made(body, NOW))
    inner = {k.removeprefix("body_"): v for k, v in changes.items() if k.startswith("body_")}
    outer = {k: v for k, v in changes.items() if not k.startswith("body_")}
    return plain | {"body": plain["body"] | inner} | outer


FINE = [
    made(Pick(weight_kg=300), "2026-06-10 08:00"),
    made(Pick(state="planned"), "2026-06-12 08:00", made=NOW),
    made(RowCover(what="on"), "2026-06-09 20:00"),
    made(Irrigation(method="overhead", depth="frost"), "2026-04-20 03:00"),
    made(Limit(what="entry"), "2026-06-10 11:00", end=NOW + 86_400),
    made(Note(text="all well"), NOW + 600, block=None),
    made(Work(what="cooled"), "2026-06-09 23:30"),
    made(Stages(codes=(65,)), NOW),
    made(Checked(), NOW),
]


@pytest.mark.parametrize("record", FINE, ids=lambda r: r.kind)
def test_a_plain_record_is_neither_refused_nor_asked_about(record):
    assert refuse(record, view()) == []
    assert doubts(record, view()) == []


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (
            made(Pick(), "2026-03-31 09:00"),
            "a pick on 2026-03-31 09:00, before north was planted on 2026-04-01",
        ),
        (
            made(Note(text="x"), NOW + 601),
            "the time 2026-06-10 12:10 is in the future; it is 2026-06-10 12:00 now",
        ),
        (made(Pick(), NOW, block="west"), "no block 'west' here; expected one of north, south"),
        (
            made(Block(beds=2), NOW, block=None),
            "a block without a name; expected one such as north_beds",
        ),
        (
            made(Note(text="a\0"), NOW),
            "body.text holds a NUL character; expected text without it",
        ),
        (
            written(body_affected=12),
            "12 affected of 10 examined; expected 0 to 10",
        ),
        (written(end=NOW - 1), "the end is before the time"),
        (
            written(body={"kind": "stages", "codes": [60, 69]}),
            "69 is no BBCH code of strawberry; expected such as 60 65 71",
        ),
        (written(body_examined="ten"), None),
        (written(who=""), None),
        (written(colour="red"), "'colour' is no part of such a record"),
        ({k: v for k, v in written().items() if k != "who"}, "who is missing"),
        (
            written(body={"kind": "limit", "what": "entry"}),
            "a limit without end; expected the time until which it holds",
        ),
        (
            written(replaces="12345678-1234-4234-8234-123456789012"),
            "a correction without a reason; expected why",
        ),
        (
            written(body={"kind": "irrigation", "method": "drip", "depth": "frost"}),
            "frost water by drip; expected overhead",
        ),
    ],
)
def test_what_is_wrong_is_refused_in_one_sentence(record, said):
    (found,) = refuse(record, view())
    assert "\n" not in found and "Error" not in found and "http" not in found
    if said is not None:
        assert found == said


def test_a_wrong_value_is_shown_with_its_place():
    (found,) = refuse(written(body_examined="ten"), view())
    assert found.startswith("examined is 'ten'; input should be a valid integer")


def test_every_wrong_thing_is_said_at_once():
    found = refuse(made(Pick(), "2026-03-01 09:00", block="west", note="\0"), view())
    assert len(found) == 2
    assert len(refuse(written(who="", body_examined="ten"), view())) == 2


def test_planting_day_and_pick_are_compared_on_the_farms_clock():
    """23:30 UTC of the day before is already the planting day in Kyiv, not in Chicago."""
    pick = made(Pick(), "2026-03-31 23:30")
    assert refuse(pick, view(zone="Europe/Kyiv")) == []
    assert len(refuse(pick, view(zone="America/Chicago"))) == 1


def test_no_block_is_unknown_before_the_first_one_is_recorded():
    assert refuse(made(Pick(), NOW), View([], {}, NOW)) == []


ON = made(RowCover(what="on"), "2026-06-09 20:00")
NO_ENTRY = made(Limit(what="entry"), "2026-06-09 20:00", end=at("2026-06-10 18:00"))
NO_PICK = made(Limit(what="pick"), "2026-06-09 20:00", end=at("2026-06-10 18:00"))
PICKED = made(Pick(weight_kg=90), "2026-06-10 08:00")
FLOWERS = made(Stages(codes=(60, 65)), "2026-06-08 08:00")


@pytest.mark.parametrize(
    ("record", "before", "question"),
    [
        (made(Pick(), "2026-06-10 03:10"), (), "a pick at 03:10, by night?"),
        (made(Work(what="cull"), "2026-06-09 22:00"), (), "work by hand at 22:00, by night?"),
        (
            made(RowCover(what="on"), NOW),
            (ON,),
            "the row cover is on since 2026-06-09 20:00 already, by the journal?",
        ),
        (
            made(Straw(what="laid"), NOW),
            (made(Straw(what="laid"), NOW - 86_400, block=None),),
            "straw lies under the fruit since 2026-06-09 12:00 already, by the journal?",
        ),
        (
            made(Pick(), "2026-06-10 09:00"),
            (NO_ENTRY,),
            "'no entry' holds until 2026-06-10 18:00: was anybody in there before?",
        ),
        (
            made(Work(what="leaves"), "2026-06-10 09:00"),
            (NO_ENTRY,),
            "'no entry' holds until 2026-06-10 18:00: was anybody in there before?",
        ),
        (
            made(Pick(), "2026-06-10 09:00"),
            (NO_PICK,),
            "'no pick' holds until 2026-06-10 18:00: was anybody in there before?",
        ),
        (
            made(Irrigation(method="overhead", depth="frost"), "2026-06-10 10:00"),
            (),
            "overhead water against frost at 10:00, by day?",
        ),
        (
            made(Irrigation(method="drip"), "2026-06-08 08:00", end=at("2026-06-09 09:00")),
            (),
            "water for 25 hours without a break?",
        ),
        (
            made(Pick(weight_kg=2000), "2026-06-10 08:00"),
            (),
            "2,000 kg from one block in one pick?",
        ),
        (
            made(Stages(codes=(60,)), "2026-03-20 08:00"),
            (),
            "growth stages before north was planted on 2026-04-01?",
        ),
        (
            made(Note(text="x"), "2026-05-01 08:00", made=NOW),
            (),
            "2026-05-01 08:00 was 40 days before this was written; the right day?",
        ),
        (
            made(Note(text="x"), NOW, made=NOW + 601),
            (),
            "written at 2026-06-10 12:10, which is still to come: is the clock it was written "
            "by right?",
        ),
        (
            made(Pick(state="planned"), "2026-06-09 08:00", made=NOW),
            (),
            "a pick planned for 2026-06-09 08:00, which is past: was it done?",
        ),
        (
            made(Pick(weight_kg=90), "2026-06-10 08:04"),
            (PICKED,),
            "scout wrote the same at 2026-06-10 08:00: entered twice?",
        ),
        (
            corrected(PICKED, Pick(weight_kg=9)),
            (),
            "it corrects a record that does not count here: the right one?",
        ),
        (
            corrected(PICKED, Stages(codes=(65,))),
            (PICKED,),
            "it corrects a record of kind pick into one of kind stages?",
        ),
        (
            made(Pick(), "2026-06-10 08:00"),
            (FLOWERS,),
            "a pick, though no ripe fruit was there by the growth stages of 2026-06-08 08:00?",
        ),
        (
            made(Block(planted=date(2026, 6, 11)), NOW),
            (PICKED,),
            "north planted on 2026-06-11? The journal has a pick there on 2026-06-10 08:00",
        ),
    ],
)
def test_what_is_doubtful_is_asked_about_and_not_refused(record, before, question):
    assert refuse(record, view(*before)) == []
    assert doubts(record, view(*before)) == [question]


@pytest.mark.parametrize(
    ("record", "before"),
    [
        (made(Pick(), "2026-06-10 05:00"), ()),
        (made(Pick(), "2026-06-09 21:59"), ()),
        (made(RowCover(what="off"), NOW), (ON,)),
        (made(RowCover(what="on"), NOW, block="south"), (ON,)),
        (made(RowCover(what="on"), "2026-06-09 19:00"), (ON,)),
        (made(Pick(), "2026-06-10 18:00", made=NOW), (NO_ENTRY, NO_PICK)),
        (made(Work(what="leaves"), "2026-06-10 09:00"), (NO_PICK,)),
        (made(Irrigation(method="overhead", depth="frost"), "2026-06-10 09:59"), ()),
        (made(Irrigation(method="drip"), "2026-06-08 08:00", end=at("2026-06-09 08:00")), ()),
        (made(Pick(weight_kg=1999.9), "2026-06-10 08:00"), ()),
        (made(Pick(weight_kg=90), "2026-06-10 08:06"), (PICKED,)),
        (made(Pick(weight_kg=91), "2026-06-10 08:04"), (PICKED,)),
        (corrected(PICKED, Pick(weight_kg=9)), (PICKED,)),
        (corrected(PICKED, TakenBack()), (PICKED,)),
        (made(Sides(what="down"), NOW), (ON,)),
    ],
)
def test_what_is_just_not_doubtful_is_not_asked_about(record, before):
    assert doubts(record, view(*before)) == []


def test_the_view_of_a_journal_holds_what_counts_and_the_blocks_of_both(journal: Journal):
    journal.add([made(Block(planted=date(2026, 4, 1)), "2026-03-01 08:00")])
    journal.add([old := made(RowCover(what="on"), NOW), made(Pick(), NOW)])
    journal.add([corrected(old)])
    seen = view_of(journal, NOW, blocks=["west"])
    assert [r.kind for r in seen.records] == ["block", "pick"]
    assert set(seen.blocks) == {"north", "west"}
    assert refuse(made(Pick(), "2026-03-15 08:00"), seen) != []
    assert refuse(made(Pick(), NOW, block="west"), seen) == []
    assert doubts(made(RowCover(what="on"), NOW), seen) == []
