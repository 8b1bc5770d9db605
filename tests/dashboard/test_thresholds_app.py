"""Thresholds: read by all, tried and changed by an adviser, and seen in what steers findings."""

from __future__ import annotations

from datetime import date

import pytest
from dash_help import settled, shoot

from dashboard.words import say
from riskrules.view.desk import open_desk

DAYS = (date(2026, 5, 10), date(2026, 5, 15))
"""Wet days of the invented season."""
KEY = "gray_mold.flower_attention"


def by_key(elements, key: str):  # type: ignore[no-untyped-def]
    return next(e for e in elements if e.key == key)


def opened(app, farm, role):  # type: ignore[no-untyped-def]
    run = app("thresholds", farm, role, pack="gray_mold", threshold=KEY)
    assert not run.exception
    return run


def test_a_reader_reads_and_cannot_change(app, sample_farm):
    run = opened(app, sample_farm, "reader")
    assert any("MacKenzie" in m.value or "attention" in m.value for m in run.markdown)
    assert not [b for b in run.button if b.key in ("save", "look")]
    assert say("thresholds.only_adviser") in [c.value for c in run.caption]


def test_the_server_refuses_a_scout_who_gets_at_the_action(app, sample_farm):
    """Not the missing button refuses, but the action itself."""
    import pytest

    from dashboard.parts.threshold_edit import save
    from riskrules.door.people import Refused
    from riskrules.packs.regions import Change

    opened(app, sample_farm, "scout")
    change = Change(threshold=KEY, value=0.6, unit="1", reason="r", who="w", when="2026-06-01")
    with pytest.raises(Refused):
        save(open_desk(sample_farm), change, None)
    assert open_desk(sample_farm).profile is None


def test_an_adviser_gives_a_reason_or_nothing_is_saved(app, sample_farm):
    run = opened(app, sample_farm, "adviser")
    by_key(run.number_input, f"value_{KEY}_degF").set_value(0.6)
    by_key(run.button, "save").click().run()
    assert [e.value for e in run.error] == [say("thresholds.needs_reason")]
    assert open_desk(sample_farm).profile is None


def test_an_adviser_changes_a_number_and_findings_carry_it(app, sample_farm):
    before = sample_farm.read_text(encoding="utf-8")
    run = opened(app, sample_farm, "adviser")
    by_key(run.number_input, f"value_{KEY}_degF").set_value(0.5)
    by_key(run.text_input, f"reason_{KEY}").set_value("<b>invented</b> walks say so")
    by_key(run.button, "save").click().run()
    assert not run.exception and not run.error
    assert run.success and "version" in run.success[0].value
    desk = open_desk(sample_farm)
    t = desk.book.pack("gray_mold").thresholds["flower_attention"]
    assert t.value == 0.5 and "<b>invented</b> walks say so" in t.origin
    assert sample_farm.read_text(encoding="utf-8").startswith(before)
    assert t.origin.startswith("profile ") and "(a test, " in t.origin


def test_a_first_look_saves_nothing(app, sample_farm):
    run = opened(app, sample_farm, "adviser")
    by_key(run.number_input, f"value_{KEY}_degF").set_value(0.9)
    for field, day in zip(("look_from", "look_to"), DAYS, strict=True):
        by_key(run.date_input, field).set_value(day)
    by_key(run.button, "look").click().run()
    assert not run.exception and not run.error
    assert any("flower" in h.proto.body for h in run.get("html") if "rr-table" in h.proto.body)
    assert any("would go" in t.value for t in run.text)
    assert open_desk(sample_farm).profile is None


@pytest.mark.long
def test_a_change_in_a_real_browser(sample_farm, server, browser_page):
    page = browser_page(1440)
    url = server(sample_farm).url
    page.goto(f"{url}/thresholds?pack=gray_mold&threshold={KEY}")
    settled(page)
    page.get_by_label("New value").fill("0.3")
    page.get_by_label("New value").press("Enter")
    settled(page)
    page.get_by_label("Reason").fill("invented walks")
    page.get_by_label("Reason").press("Enter")
    page.get_by_label("Your name").fill("Invented Adviser")
    page.get_by_label("Your name").press("Enter")
    settled(page)
    page.get_by_role("button", name="Save in the region profile").click()
    page.get_by_text("Saved. The profile is now version").wait_for()
    shoot(page, "thresholds_saved", 1440)
    desk = open_desk(sample_farm)
    found = desk.review(*DAYS).findings
    used = [t for f in found for t in f.thresholds if t.name == "flower_attention"]
    assert used and {t.value for t in used} == {0.3}
    assert all("Invented Adviser" in t.origin and "invented walks" in t.origin for t in used)
    assert all(f.profile.split(" ")[1] == desk.book.profile.split(" ")[1] for f in found)
