"""'In the rows' under AppTest: each tap is in the journal at once, a reload loses nothing."""

from __future__ import annotations

import json
import sys

import pytest
from dash_help import ROOT

from dashboard import scout
from dashboard.words import say

sys.path.insert(0, str(ROOT / "tests" / "view"))
from rows_help import NOW, cut_farm, walk_in  # noqa: E402

from riskrules.journal.store import open_journal  # noqa: E402
from riskrules.view.desk import open_desk  # noqa: E402

KEY = "gray_mold_ripe_fruit_1"


@pytest.fixture
def farm(tmp_path, monkeypatch):
    monkeypatch.setattr(scout, "clock_now", lambda: NOW + 60)
    return cut_farm(tmp_path / "farm")


def journal_of(farm):
    return open_journal(farm.parent / "journal.db")


def by(run, kind, key):
    return next(w for w in getattr(run, kind) if w.key == key)


def where_in(run, name):
    found = run.query_params[name]
    return found[0] if isinstance(found, list) else found


def ok(run):
    assert not run.exception, run.exception
    return run


def test_from_beds_to_a_counted_stop(app, farm):
    run = ok(app("rows", farm, "scout", block="south_beds"))
    next(b for b in run.button if b.label == say("rows.keep")).click()
    ok(run.run())
    next(b for b in run.button if b.label == say("rows.plan")).click()
    ok(run.run())
    assert where_in(run, "stop") == "1"
    by(run, "button", f"more_{KEY}").click()
    ok(run.run())
    with journal_of(farm) as journal:
        kinds = [r.kind for r in journal.records()]
        [seen] = journal.records(kinds=("sighting",))
    assert sorted(kinds) == ["block", "sighting", "walk"]
    assert (seen.body.affected, seen.body.examined, seen.who) == (1, 10, "a test")
    assert any("**1 of 10**" in m.value for m in run.markdown)


def test_a_reload_at_a_stop_shows_what_was_tapped(app, farm):
    with journal_of(farm) as journal:
        walk = walk_in(journal)
    where = {"block": "south_beds", "stop": "4", "walk": str(walk.id)[:13]}
    run = ok(app("rows", farm, "scout", **where))
    for tap in ("more", "more", "less"):
        by(run, "button", f"{tap}_gray_mold_ripe_fruit_4").click()
        ok(run.run())
    by(run, "number_input", "looked_gray_mold_ripe_fruit_4").set_value(8)
    ok(run.run())
    by(run, "text_area", f"note_{str(walk.id)[:8]}_4").set_value("<b>wet</b> *corner*")
    ok(run.run())
    again = ok(app("rows", farm, "scout", **where))
    assert any("**1 of 8**" in m.value for m in again.markdown)
    note = by(again, "text_area", f"note_{str(walk.id)[:8]}_4")
    assert note.value == "<b>wet</b> *corner*"
    assert not [m for m in again.markdown if "<b>wet</b>" in m.value]


def test_none_seen_of_the_rest_counts_both(app, farm):
    with journal_of(farm) as journal:
        walk_in(journal)
    run = ok(app("rows", farm, "scout", block="south_beds", stop="1"))
    by(run, "button", f"more_{KEY}").click()
    ok(run.run())
    next(b for b in run.button if b.label == say("rows.rest_none")).click()
    ok(run.run())
    with journal_of(farm) as journal:
        found = {r.body.symptom: r.body.affected for r in journal.records(kinds=("sighting",))}
    assert found == {"gray_mold": 1, "anthracnose": 0}
    by(run, "button", "next_top").click()
    assert "bed" in ok(run.run()).subheader[0].value
    assert where_in(run, "stop") == "2"


def test_eleven_of_ten_is_refused_in_a_sentence(app, farm):
    with journal_of(farm) as journal:
        walk_in(journal)
    run = ok(app("rows", farm, "scout", block="south_beds", stop="1"))
    by(run, "number_input", f"looked_{KEY}").set_value(1)
    run.run()
    for _ in range(2):
        by(run, "button", f"more_{KEY}").click()
        ok(run.run())
    assert "2 affected of 1 examined" in run.error[0].value.replace("\\", "")
    with journal_of(farm) as journal:
        [seen] = journal.records(kinds=("sighting",))
    assert (seen.body.affected, seen.body.examined) == (1, 1)


def test_a_doubt_is_asked_survives_a_reload_and_is_kept_on_yes(app, farm):
    run = ok(app("rows", farm, "scout", block="south_beds", do="write"))
    next(b for b in run.button if b.label == say("rows.picked")).click()
    ok(run.run())
    assert any("by night" in m.value for m in run.markdown)  # it is 23:00
    with journal_of(farm) as journal:
        assert journal.last() == 0
    waits = where_in(run, "ask")
    again = ok(app("rows", farm, "scout", block="south_beds", do="write", ask=waits))
    next(b for b in again.button if b.label == say("rows.yes")).click()
    ok(again.run())
    assert "ask" not in again.query_params
    with journal_of(farm) as journal:
        assert [r.kind for r in journal.records()] == ["pick"]


def test_quick_records_and_taking_one_back(app, farm):
    run = ok(app("rows", farm, "scout", block="south_beds", do="write"))
    by(run, "button", "do_sides_up").click()
    ok(run.run())
    with journal_of(farm) as journal:
        [up] = journal.records()
    assert (up.body.what, up.block, up.came_by) == ("up", "south_beds", "dashboard")
    by(run, "button", f"back_{up.id}").click()
    ok(run.run())
    with journal_of(farm) as journal:
        assert journal.counting() == [] and journal.last() == 2


def test_stale_states_are_confirmed(app, farm):
    from riskrules.view.rows_quick import values_of
    from riskrules.view.rows_records import RECORD, Hand

    old = Hand("Ann", NOW - 40 * 86_400, NOW - 40 * 86_400)
    with journal_of(farm) as journal:
        body = {"kind": "row_cover", "what": "on"}
        journal.add([RECORD.validate_python(values_of("south_beds", body, old))])
    run = ok(app("rows", farm, "scout", block="south_beds", do="write"))
    by(run, "button", "still_row_cover").click()
    ok(run.run())
    assert not [b for b in run.button if b.key == "still_row_cover"]
    with journal_of(farm) as journal:
        [said] = journal.records(kinds=("checked",))
    assert (said.body.same, said.time) == (("row_cover",), NOW + 60)


PNG = bytes.fromhex("89504e470d0a1a0a") + b"of a fruit"


def test_photos_go_with_the_count_or_with_the_note(app, farm):
    with journal_of(farm) as journal:
        walk_in(journal)
    run = ok(app("rows", farm, "scout", block="south_beds", stop="1"))
    box = f"file_{KEY}"
    by(run, "file_uploader", box).set_value(("../../x.png", PNG, "image/png"))
    ok(run.run())
    with journal_of(farm) as journal:
        [note] = journal.records(kinds=("note",))
        assert note.body.text.endswith("): photo") and len(note.body.photos) == 1
        assert journal.photo(note.body.photos[0]).data == PNG
    by(run, "button", f"more_{KEY}").click()
    ok(run.run())
    by(run, "file_uploader", box).set_value(("x.png", PNG + b"2", "image/png"))
    ok(run.run())
    with journal_of(farm) as journal:
        [seen] = journal.records(kinds=("sighting",))
        assert journal.photo(seen.body.photos[0]).data == PNG + b"2"
    by(run, "file_uploader", box).set_value(("x.png", b"<script>", "image/png"))
    ok(run.run())
    assert "no image" in run.error[0].value
    with journal_of(farm) as journal:
        assert len(journal.photos()) == 2


def test_a_filled_sheet_comes_back_once(app, farm):
    from riskrules.journal.sheet import filled_template

    with journal_of(farm) as journal:
        rows = filled_template(walk_in(journal)).splitlines()
    cells = rows[1].split(",")
    cells[2:4], cells[9:11] = ["2026-06-20T22:00", "=cmd()"], ["2", "10"]
    data = "\n".join([rows[0], ",".join(cells)]).encode()
    for words in ("1 new, 0 known", "0 new, 1 known"):
        run = ok(app("rows", farm, "scout", block="south_beds", do="along"))
        by(run, "file_uploader", "rows_back").set_value(("s.csv", data, "text/csv"))
        ok(run.run())
        next(b for b in run.button if b.label == say("rows.back_take")).click()
        ok(run.run())
        assert words in run.success[0].value
    run = ok(app("rows", farm, "scout", block="south_beds", do="along"))
    wrong = data.replace(b",2,10", b",12,10")
    by(run, "file_uploader", "rows_back").set_value(("s.csv", wrong, "text/csv"))
    ok(run.run())
    next(b for b in run.button if b.label == say("rows.back_take")).click()
    ok(run.run())
    assert "12 affected of 10" in "".join(m.value for m in run.markdown)


def test_a_reader_is_refused_by_the_server(app, farm):
    run = app("rows", farm, "reader")
    assert run.error and not run.button


def test_a_refused_action_is_refused_even_if_the_page_was_open(app, farm, monkeypatch):
    from dash_help import be

    run = ok(app("rows", farm, "scout", block="south_beds", do="write"))
    be(monkeypatch, "reader")
    by(run, "button", "do_sides_up").click()
    run.run()
    with journal_of(farm) as journal:
        assert journal.last() == 0


def test_a_forged_address_keeps_nothing_by_itself(app, farm):
    forged = json.dumps([{"id": "x"}])
    ok(app("rows", farm, "scout", block="south_beds", ask=forged, stop="9" * 9, walk="'", also="/",
           at="9999-01-01T00:00", looked="x:0"))  # fmt: skip
    with journal_of(farm) as journal:
        assert journal.last() == 0


def test_without_a_journal_a_scout_is_told_who_makes_one(app, tmp_path):
    run = ok(app("rows", cut_farm(tmp_path / "farm", journal=False), "scout"))
    assert say("journal_offer.reader") in [i.value for i in run.info]
    assert "make_journal" not in [b.key for b in run.button]


def test_without_a_journal_a_grower_makes_one_with_a_tap(app, tmp_path):
    farm = cut_farm(tmp_path / "farm", journal=False)
    run = ok(app("rows", farm, "grower"))
    ok(run.button(key="make_journal").click().run())
    with journal_of(farm) as journal:
        assert journal.last() == 0
    assert "make_journal" not in [b.key for b in run.button]


def test_an_old_season_is_looked_back_on(app, farm, monkeypatch):
    monkeypatch.setattr(scout, "clock_now", lambda: NOW + 90 * 86_400)
    run = ok(app("rows", farm, "scout", block="south_beds", do="write"))
    by(run, "button", "do_sides_up").click()
    ok(run.run())
    with journal_of(farm) as journal:
        [up] = journal.records()
    assert (up.time, up.made) == (NOW, NOW + 90 * 86_400)


@pytest.mark.long
def test_a_sighting_tapped_here_is_on_the_desk_at_once(app, farm):
    """South beds: symptoms are due and nobody looked, until somebody does."""
    desk = open_desk(farm)
    before = {(f.rule, f.block) for f in desk.review().findings}
    assert ("gray_mold.symptoms_due_nobody_looked", "south_beds") in before
    with journal_of(farm) as journal:
        walk_in(journal)
    for stop in (1, 2, 3, 4, 5, 6):
        where = {"block": "south_beds", "stop": str(stop), "at": "2026-06-20T22:30"}
        run = ok(app("rows", farm, "scout", **where))
        by(run, "number_input", f"looked_gray_mold_ripe_fruit_{stop}").set_value(20)
        run.run()
        by(run, "button", f"more_gray_mold_ripe_fruit_{stop}").click()
        ok(run.run())
    after = {(f.rule, f.block) for f in desk.review().findings}
    assert ("gray_mold.sighting_confirms", "south_beds") in after
