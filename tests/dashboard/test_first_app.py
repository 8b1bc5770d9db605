"""The first start without any data, on the page and in a real browser."""

from __future__ import annotations

import sys

import pytest
from axe import troubles as serious
from dash_help import ROOT, choose, settled, shoot

from dashboard import frame
from dashboard.words import say
from riskrules.farm import load_farm
from riskrules.view.chosen import home
from riskrules.view.first_draft import drafts

sys.path.insert(0, str(ROOT / "tests" / "view"))
from test_first_view import LOG  # noqa: E402


def by_key(elements, key: str):  # type: ignore[no-untyped-def]
    return next(e for e in elements if e.key == key)


def test_one_click_opens_the_sample_farm(app):
    run = app("first", None, "grower")
    assert not run.exception
    by_key(run.button, "sample").click().run()
    assert not run.exception and "invented" in run.success[0].value
    file = frame.farm_file()
    assert file is not None and home() in file.parents
    assert "(invented)" in load_farm(file).text.farm


def test_a_scout_is_refused(app):
    run = app("first", None, "scout")
    assert run.error and not run.button


def test_an_own_farm_in_three_steps(app):
    run = app("first", None, "grower")
    assert by_key(run.button, "make").disabled
    by_key(run.text_input, "farm").set_value("Invented <b>Farm</b>")
    by_key(run.number_input, "latitude").set_value(39.5)
    by_key(run.number_input, "longitude").set_value(-86.0)
    by_key(run.selectbox, "zone").set_value("America/Chicago")
    by_key(run.text_input, "block_0").set_value("Creek beds").run()
    by_key(run.button, "make").click().run()
    assert not run.exception and not run.error, [e.value for e in run.error]
    file = frame.farm_file()
    assert file is not None
    text = load_farm(file).text
    assert (text.farm, text.place.zone) == ("Invented <b>Farm</b>", "America/Chicago")
    assert (file.parent / "journal.db").exists() and (file.parent / "store").is_dir()


def test_the_address_leads_to_what_was_typed(app):
    run = app("first", None, "grower")
    by_key(run.text_input, "farm").set_value("Invented").run()
    by_key(run.text_input, "block_0").set_value("Hill").run()
    draft = run.query_params["draft"]
    again = app("first", None, "grower", draft=draft[0] if isinstance(draft, list) else draft)
    assert by_key(again.text_input, "farm").value == "Invented"
    assert by_key(again.text_input, "block_0").value == "Hill"


def test_without_the_address_it_is_offered_and_thrown_away_by_a_second_tap(app):
    typed = app("first", None, "grower")
    by_key(typed.text_input, "farm").set_value("Invented <b>Farm</b>").run()
    assert len(drafts()) == 1
    run = app("first", None, "grower")
    assert "first_draft" not in run.session_state and not by_key(run.text_input, "farm").value
    [away] = [b for b in run.button if (b.key or "").startswith("away_")]
    away.click().run()
    assert len(drafts()) == 1  # asked again, before anything is lost
    by_key(run.button, away.key).click().run()
    assert not run.exception and drafts() == []


def test_a_made_farm_leaves_no_draft_and_empty_fields(app):
    run = app("first", None, "grower")
    by_key(run.text_input, "farm").set_value("Invented")
    by_key(run.number_input, "latitude").set_value(39.5)
    by_key(run.number_input, "longitude").set_value(-86.0)
    by_key(run.selectbox, "zone").set_value("America/Chicago")
    by_key(run.text_input, "block_0").set_value("Creek beds").run()
    assert len(drafts()) == 1
    by_key(run.button, "make").click().run()
    assert run.success and drafts() == [] and "draft" not in run.query_params
    by_key(run.button, "another").click().run()
    assert not run.exception and not by_key(run.text_input, "farm").value
    assert not by_key(run.text_input, "block_0").value and drafts() == []


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1440])
def test_a_reload_loses_neither_a_word_nor_a_log(server, browser_page, tmp_path, width):
    page = browser_page(width)
    page.goto(f"{server().url}/first")
    settled(page)
    fill(page, say("first.farm"), "Invented Farm")
    fill(page, say("first.latitude"), "39.5")
    fill(page, say("first.longitude"), "-86")
    choose(page, say("first.zone"), "America/Chicago")
    fill(page, say("first.block", n=1), "Creek beds")
    page.locator("input[type=file]").set_input_files(
        {"name": "creek.csv", "mimeType": "text/csv", "buffer": LOG}
    )
    page.get_by_text("creek.csv is kept here").wait_for()
    settled(page)
    mapping = page.get_by_label(say("first.mapping", block="Creek beds"))
    said = mapping.input_value() + "# ours\n"
    fill(page, say("first.mapping", block="Creek beds"), said)
    shoot(page, "first_typed", width)
    assert not serious(page)
    page.reload()
    settled(page)
    page.get_by_text("creek.csv is kept here").wait_for()
    assert page.get_by_label(say("first.farm"), exact=True).input_value() == "Invented Farm"
    assert float(page.get_by_label(say("first.latitude")).input_value()) == 39.5
    assert mapping.input_value() == said
    page.goto(page.url.split("?")[0])  # the page anew, without the address that it had
    settled(page)
    shoot(page, "first_offered", width)
    assert not serious(page)
    page.get_by_role("link", name="Go on with Invented Farm").click()
    page.get_by_text("creek.csv is kept here").wait_for()
    settled(page)
    page.get_by_role("button", name=say("first.make")).click()
    page.get_by_text("3 rows were read").wait_for()  # as many as the log has
    shoot(page, "first_made", width)
    assert not list((tmp_path / "begun").iterdir())


def fill(page, label: str, value: str) -> None:  # type: ignore[no-untyped-def]
    """Type into a field and leave it, which is when the server hears of it."""
    page.get_by_label(label, exact=True).fill(value)
    page.keyboard.press("Control+Enter" if "\n" in value else "Enter")
    page.wait_for_timeout(300)
    settled(page)


@pytest.mark.long
def test_a_cold_start_says_that_the_farm_is_being_read(sample_farm, server, browser_page):
    """The word was there while the page was drawn, and is gone when it stands."""
    page = browser_page(1440)
    page.add_init_script(SEEN)
    page.goto(f"{server(sample_farm).url}/dawn")
    settled(page)
    page.get_by_role("button", name=say("dawn.save_pdf")).wait_for()
    assert page.evaluate("() => window.rrSeen") == [say("frame.reading")]
    page.locator(".rr-reading").wait_for(state="detached")
    page.get_by_text(say("frame.units_degC")).click()
    page.get_by_text("°C").nth(1).wait_for()
    settled(page)
    assert len(page.evaluate("() => window.rrSeen")) == 1  # not at each further turn


SEEN = """window.rrSeen = [];
new MutationObserver(changes => {
  for (const change of changes) for (const node of change.addedNodes) {
    const found = node.querySelector && (node.matches('.rr-reading') ? node
      : node.querySelector('.rr-reading'));
    if (found) window.rrSeen.push(found.innerText.trim());
  }
}).observe(document, {childList: true, subtree: true});"""


@pytest.mark.long
def test_a_first_start_in_a_real_browser(server, browser_page):
    page = browser_page(390)
    page.goto(f"{server().url}/first")
    settled(page)
    shoot(page, "first", 390)
    page.get_by_role("button", name=say("first.open_sample")).click()
    page.get_by_text("The sample farm is open").wait_for()
