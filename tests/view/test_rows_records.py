"""Taps become records and corrections; nothing is overwritten, nothing is lost."""

from __future__ import annotations

from uuid import uuid5
from zoneinfo import ZoneInfo

import pytest
from rows_help import HAND, NOW, fresh, walk_in

from riskrules.farm import BlockText, LogText
from riskrules.journal.records import RECORD, Record
from riskrules.journal.sheet import filled_template, read_filled
from riskrules.journal.symptoms import load_symptoms
from riskrules.journal.view import view_of
from riskrules.view import rows_records as rr
from riskrules.view.rows_keep import entry_time, from_address, keep, waiting
from riskrules.view.rows_quick import holding, last_written, one_taps, values_of, water_body

KEY = ("gray_mold", "ripe_fruit")
SYMPTOMS = load_symptoms()


@pytest.fixture
def journal(tmp_path):
    with fresh(tmp_path) as opened:
        yield opened


def view(journal, now=NOW + 60):
    return view_of(journal, now, ZoneInfo("America/Indiana/Indianapolis"), ["south_beds"])


def tap(journal, walk, stop, count, key=KEY, hand=HAND):
    values = rr.counted(journal, walk, key, stop, count, hand)
    return values and keep(journal, view(journal, hand.made), SYMPTOMS, [values])


def test_first_tap_has_the_identifier_of_walk_symptom_and_part(journal):
    walk = walk_in(journal)
    assert tap(journal, walk, 3, (1, 10)).kept
    record = rr.standing(journal, walk)[KEY]
    assert record.id == uuid5(walk.id, "gray_mold/ripe_fruit")
    assert (record.time, record.who, record.came_by) == (NOW, "Ann", "dashboard")
    bed = next(bed for n, bed, _ in walk.body.stops if n == 3)
    assert record.body.stops[0].bed == bed


def test_the_identifier_is_that_of_the_typed_sheet(journal, tmp_path):
    """The page, the paper sheet and the phone must meet in one record."""
    walk = walk_in(journal)
    tap(journal, walk, 1, (2, 10))
    rows = filled_template(walk, SYMPTOMS).splitlines()
    cells = rows[1].split(",")
    cells[2:4], cells[9:11] = ["2026-06-20T23:00:00-04:00", "Ann"], ["2", "10"]
    (tmp_path / "s.csv").write_text("\n".join([rows[0], ",".join(cells)]))
    [typed] = read_filled(tmp_path / "s.csv", SYMPTOMS, [walk])
    assert typed.id == rr.standing(journal, walk)[KEY].id


def test_taps_are_corrections_with_sums(journal):
    walk = walk_in(journal)
    for stop, count in ((1, (0, 10)), (2, (3, 10)), (2, (4, 9))):
        tap(journal, walk, stop, count, hand=rr.Hand("Ann", NOW + stop * 60, NOW + stop * 60))
    record = rr.standing(journal, walk)[KEY]
    assert (record.body.affected, record.body.examined) == (4, 19)
    assert (record.time, record.end) == (NOW + 60, NOW + 120)
    history = journal.history(record.id)
    assert len(history) == 3 and history[0].record.body.affected == 0
    assert not journal.clashes() and not journal.check()


def test_a_count_taken_away_and_counted_again(journal):
    walk = walk_in(journal)
    tap(journal, walk, 1, (1, 10))
    tap(journal, walk, 1, None)
    assert rr.standing(journal, walk) == {}
    assert not journal.counting(kinds=("sighting",))
    tap(journal, walk, 1, (2, 10))
    assert rr.standing(journal, walk)[KEY].body.affected == 2
    assert len(journal.history(uuid5(walk.id, "/".join(KEY)))) == 3


def test_no_change_makes_no_record(journal):
    walk = walk_in(journal)
    tap(journal, walk, 1, (1, 10))
    assert rr.counted(journal, walk, KEY, 1, (1, 10), HAND) is None
    assert rr.counted(journal, walk, KEY, 2, None, HAND) is None


def test_more_affected_than_examined_is_refused_in_a_sentence(journal):
    walk = walk_in(journal)
    found = tap(journal, walk, 1, (11, 10))
    assert found.wrong == ("11 affected of 10 examined; expected 0 to 10",) and not found.kept
    assert rr.standing(journal, walk) == {}


def test_pattern_and_photos_stay_when_more_is_counted(journal):
    walk = walk_in(journal)
    tap(journal, walk, 1, (1, 10))
    photo = "a" * 64
    values = rr.with_more(journal, walk, KEY, HAND, {"pattern": "edge", "photos": (photo,)})
    assert keep(journal, view(journal), SYMPTOMS, [values]).kept
    tap(journal, walk, 2, (5, 10))
    body = rr.standing(journal, walk)[KEY].body
    assert (body.pattern, body.photos) == ("edge", (photo,))


def test_none_seen_everywhere_says_so(journal):
    walk = walk_in(journal)
    tap(journal, walk, 1, (0, 10))
    assert rr.standing(journal, walk)[KEY].body.pattern == "none_seen"
    tap(journal, walk, 2, (1, 10))
    assert rr.standing(journal, walk)[KEY].body.pattern is None


def test_two_clients_that_correct_the_same_version(journal):
    """Both stand; the later counts, and the page goes on from that one."""
    walk = walk_in(journal)
    tap(journal, walk, 1, (1, 10))
    both = [rr.counted(journal, walk, KEY, 2, (n, 10), HAND) for n in (2, 3)]
    kept = [k for v in both for k in keep(journal, view(journal), SYMPTOMS, [v]).kept]
    assert kept[1].clash
    assert rr.standing(journal, walk)[KEY].body.affected == 4


def test_notes_of_a_stop(journal):
    walk = walk_in(journal)
    values = rr.noted(journal, walk, 2, "wet ): corner", (), HAND)
    keep(journal, view(journal), SYMPTOMS, [values])
    record = rr.note_at(journal, walk, 2)
    assert rr.note_words(record) == "wet ): corner"
    assert record.body.text.startswith("Stop 2 (bed ")
    assert rr.noted(journal, walk, 2, "wet ): corner", (), HAND) is None
    keep(journal, view(journal), SYMPTOMS, [rr.noted(journal, walk, 2, " ", (), HAND)])
    assert rr.note_at(journal, walk, 2) is None


def test_doubts_are_asked_and_kept_on_yes(journal):
    pick = values_of("south_beds", {"kind": "pick"}, HAND)  # at 23:00
    found = keep(journal, view(journal), SYMPTOMS, [pick])
    assert found.asked and not found.kept and journal.last() == 0
    assert keep(journal, view(journal), SYMPTOMS, [pick], sure=True).kept


def test_a_day_that_was_chosen_is_not_asked_about(journal):
    old = rr.Hand("Ann", NOW, NOW + 90 * 86_400)
    values = values_of("south_beds", {"kind": "row_cover", "what": "on"}, old)
    assert keep(journal, view(journal, old.made), SYMPTOMS, [values]).asked
    assert keep(journal, view(journal, old.made), SYMPTOMS, [values], looks_back=True).kept
    assert journal.records()[0].made == old.made


def test_one_wrong_record_keeps_all_out(journal):
    some = [values_of("south_beds", {"kind": "work", "what": "runners"}, rr.Hand("A", 9, 9)),
            values_of("elsewhere", {"kind": "work", "what": "cull"}, HAND)]  # fmt: skip
    found = keep(journal, view(journal), SYMPTOMS, some)
    assert "no block 'elsewhere'" in found.wrong[0] and journal.last() == 0


def test_what_waits_survives_in_the_address():
    made = RECORD.validate_python(values_of("south_beds", {"kind": "pick"}, HAND))
    [again] = from_address(waiting([made]), "Ann", "south_beds")
    assert again == made


@pytest.mark.parametrize("text", ["", "{", "[1]", "[" * 5000, "[{}]", '[{"id": 3}]', "x" * 30_000])
def test_an_address_is_anybodys_text(text):
    assert from_address(text, "Ann", "south_beds") == ()


def test_an_address_speaks_for_nobody_else():
    made = RECORD.validate_python(values_of("south_beds", {"kind": "pick"}, HAND))
    [again] = from_address(waiting([made]), "Bob", "south_beds")
    assert again.who == "Bob"
    assert from_address(waiting([made]), "Bob", "north_beds") == ()
    forged = rr.back(made, HAND, "because")
    assert from_address(waiting([forged]), "Bob", "south_beds") == ()


def test_entry_time():
    day = 86_400
    assert entry_time(NOW, NOW + 3 * day) == (NOW + 3 * day, False)  # a silent logger moves nothing
    assert entry_time(NOW, NOW + 31 * day) == (NOW, True)
    assert entry_time(NOW + 31 * day, NOW) == (NOW, False)


def test_quick_records_are_those_a_block_can_have(journal):
    open_bed = BlockText(block="b", logs=[LogText(file="b.csv")], tunnel="open", row_covers=True)
    names = [n for n, _ in one_taps(open_bed, "covers")]
    assert "sides_up" not in names and "row_cover_on" in names
    for part in ("covers", "work"):
        for _, body in one_taps(BlockText(block="b", logs=[LogText(file="b.csv")]), part):
            assert isinstance(RECORD.validate_python(values_of("b", body, HAND)), Record)
    for way in ("drip", "drip_brief", "drip_deep", "overhead", "overhead_frost"):
        RECORD.validate_python(values_of("b", water_body(way), HAND))


def test_states_hold_since_they_were_first_said(journal):
    from riskrules.journal.events import events_of

    for hours, what in ((0, "on"), (1, "off"), (2, "off")):
        at = rr.Hand("Ann", NOW + hours * 3600, NOW + hours * 3600)
        body = {"kind": "row_cover", "what": what}
        journal.add([RECORD.validate_python(values_of("south_beds", body, at))])
    held = holding(events_of(journal), "south_beds", NOW + 9 * 3600)["row_cover"]
    assert (held.what, held.since) == ("off", NOW + 3600)
    assert holding(events_of(journal), "south_beds", NOW)["row_cover"].what == "on"
    assert len(last_written(journal.records(), "south_beds", 2)) == 2
