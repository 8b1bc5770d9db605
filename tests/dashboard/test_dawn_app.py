"""The morning page: marks kept in the journal at once, roles, no journal, and a real browser."""

import time
from uuid import uuid4

import pytest
from dash_help import settled, shoot
from dawn_farm import short_sample

from riskrules.journal.records import Checked, JobDone, Record, RowCover, TakenBack
from riskrules.journal.store import open_journal
from riskrules.view.desk import open_desk


@pytest.fixture
def sample_farm(tmp_path):
    """The invented sample farm with the logs of its last weeks, and an empty journal."""
    return short_sample(tmp_path / "farm")


MARK = "mark_read_thermometer_north_beds"


def marks(farm):
    with open_journal(farm.parent / "journal.db") as journal:
        return [(r.block, r.body.job, r.body.what, r.came_by) for r in journal.counting()
                if isinstance(r.body, JobDone)]  # fmt: skip


def text_of(run):
    return " ".join(h.proto.body for h in run.html)


def test_sentences_are_those_of_the_review(app, sample_farm):
    run = app("dawn", sample_farm)
    assert not run.exception
    review = open_desk(sample_farm).review()
    text = text_of(run)
    for found in review.findings[:6]:
        assert found.sentence in text
    for item in review.work.items:
        assert item.job.words in text


def test_a_tap_is_in_the_journal_and_undone_by_a_correction(app, sample_farm):
    run = app("dawn", sample_farm)
    run.segmented_control(key=MARK).set_value("done").run()
    assert not run.exception
    assert marks(sample_farm) == [("north_beds", "read_thermometer", "done", "dashboard")]
    assert run.segmented_control(key=MARK).value == "done"
    assert "kept in the journal" in text_of(run)
    run.segmented_control(key=MARK).set_value("put_off").run()
    assert marks(sample_farm) == [("north_beds", "read_thermometer", "put_off", "dashboard")]
    run.segmented_control(key=MARK).set_value(None).run()
    assert marks(sample_farm) == []
    with open_journal(sample_farm.parent / "journal.db") as journal:
        every = journal.since()
    assert len(every) == 3 and isinstance(every[-1].record.body, TakenBack)


def test_a_mark_survives_a_reload(app, sample_farm):
    app("dawn", sample_farm).segmented_control(key=MARK).set_value("not_here").run()
    assert app("dawn", sample_farm).segmented_control(key=MARK).value == "not_here"


def test_same_as_yesterday(app, sample_farm):
    """The sample's creek beds were last said uncovered in May: stale after 60 days by the pack."""
    run = app("dawn", sample_farm)
    run.button(key="same_creek_beds").click().run()
    assert not run.exception
    with open_journal(sample_farm.parent / "journal.db") as journal:
        found = journal.counting(block="creek_beds")
    assert [(r.kind, r.body.what) for r in found] == [("row_cover", "off")]
    assert not [b for b in run.button if b.key == "same_creek_beds"]


def test_nothing_else_was_done(app, sample_farm):
    run = app("dawn", sample_farm)
    run.button(key="nothing_else").click().run()
    with open_journal(sample_farm.parent / "journal.db") as journal:
        assert [type(r.body) for r in journal.counting()] == [Checked]


def at_clock(monkeypatch, farm, after):
    """Let it be some seconds after the last row of the farm's logs; return the row's time."""
    row = open_desk(farm).now
    monkeypatch.setattr(time, "time", lambda: float(row + after))
    return row


def test_what_is_noted_since_the_last_row_is_on_the_page_and_counts(app, sample_farm, monkeypatch):
    """Noted at 07:10 in the rows, looked at at 07:12, with a last reading of 07:00."""
    row = at_clock(monkeypatch, sample_farm, 720)
    run = app("dawn", sample_farm)
    assert "Noted" not in text_of(run)
    with open_journal(sample_farm.parent / "journal.db") as journal:
        journal.add([Record(id=uuid4(), block="north_beds", time=row + 600, made=row + 600,
                            who="ann", body=RowCover(what="off"))])  # fmt: skip
    run.run()
    assert not run.exception
    assert "Tue 20 Oct 07:10, north_beds: row cover off" in text_of(run)
    assert "is counted on this page" in text_of(run)
    assert "Noted Tue 20 Oct 07:10: row cover off. If that was this job" in text_of(run)
    run.segmented_control(key="mark_lift_row_cover_north_beds").set_value("done").run()
    assert "If that was this job" not in text_of(run)


def test_nothing_else_was_done_counts_at_once(app, sample_farm, monkeypatch):
    at_clock(monkeypatch, sample_farm, 300)
    run = app("dawn", sample_farm)
    before = text_of(run)
    run.button(key="nothing_else").click().run()
    assert not run.exception
    assert "all blocks: Nothing else was done" in text_of(run)
    assert text_of(run).count("journal does not say") < before.count("journal does not say")


@pytest.mark.parametrize("role", ["reader", "adviser"])
def test_others_see_but_do_not_mark(app, sample_farm, role):
    run = app("dawn", sample_farm, role)
    assert not run.exception and not run.segmented_control
    assert "Read a thermometer" in text_of(run)


def test_a_role_lost_between_two_taps_is_refused(app, sample_farm, monkeypatch):
    from dash_help import be

    run = app("dawn", sample_farm, "scout")
    be(monkeypatch, "reader")
    run.segmented_control(key=MARK).set_value("done").run()
    assert marks(sample_farm) == []


def test_without_a_journal_one_is_made_with_one_tap(app, tmp_path):
    farm = short_sample(tmp_path / "bare")
    farm.write_text(farm.read_text().replace("journal: journal.db\n", ""))
    run = app("dawn", farm)
    assert not run.segmented_control
    run.button(key="make_journal").click().run()
    assert not run.exception
    assert farm.read_text().endswith("journal: journal.db\n")
    run.segmented_control(key=MARK).set_value("done").run()
    assert len(marks(farm)) == 1


def test_hours_and_blocks_are_kept_by_the_address(app, sample_farm):
    run = app("dawn", sample_farm, h="3", b="hill_beds")
    assert run.number_input(key="crew").value == 3
    assert "2\\.8 of 3 h filled" in " ".join(m.value for m in run.markdown)
    assert run.segmented_control and all(s.key.endswith("hill_beds") for s in run.segmented_control)


def test_hours_that_are_no_number(app, sample_farm):
    run = app("dawn", sample_farm, h="nan")
    assert not run.exception and run.number_input(key="crew").value is None


def test_dawn_in_a_browser(sample_farm, server, browser_page):
    """From the review to a job marked done and found in the journal, at the width of a phone."""
    site = server(sample_farm)
    page = browser_page(390)
    page.goto(f"{site.url}/dawn")
    settled(page)
    page.get_by_text("Last night, the worst first").wait_for()
    why = page.locator("summary").first
    why.click()
    facts = page.locator("details details summary").first
    facts.click()
    assert page.locator("details details").get_by_text("Threshold", exact=False).first.is_visible()
    done = page.locator(f".st-key-{MARK} button").first
    done.click()
    page.get_by_text("kept in the journal", exact=False).first.wait_for()
    assert marks(sample_farm) == [("north_beds", "read_thermometer", "done", "dashboard")]
    page.reload()
    settled(page)
    page.get_by_text("kept in the journal", exact=False).first.wait_for()
    shoot(page, "dawn", 390)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= 390
    wide = browser_page(1440)
    wide.goto(f"{site.url}/dawn?h=3")
    settled(wide)
    wide.get_by_text("2.8 of 3 h filled", exact=False).wait_for()
    shoot(wide, "dawn", 1440)


def test_a_warm_page_is_quick(app, sample_farm):
    """Aim 0.3 s; the machine of the tests may be busy, so six times that is let through."""
    run = app("dawn", sample_farm)
    best = 9.0
    for _ in range(3):
        start = time.perf_counter()
        run.run()
        best = min(best, time.perf_counter() - start)
    assert best < 1.8
