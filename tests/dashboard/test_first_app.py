"""The first start without any data, on the page and in a real browser."""

from __future__ import annotations

from dash_help import settled, shoot

from dashboard import frame
from dashboard.words import say
from riskrules.farm import load_farm
from riskrules.view.chosen import home


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


def test_the_address_keeps_what_was_said(app):
    run = app("first", None, "grower")
    by_key(run.text_input, "farm").set_value("Invented").run()
    draft = run.query_params["draft"]
    again = app("first", None, "grower", draft=draft[0] if isinstance(draft, list) else draft)
    assert by_key(again.text_input, "farm").value == "Invented"


def test_a_first_start_in_a_real_browser(server, browser_page):
    page = browser_page(390)
    page.goto(f"{server().url}/first")
    settled(page)
    shoot(page, "first", 390)
    page.get_by_role("button", name=say("first.open_sample")).click()
    page.get_by_text("The sample farm is open").wait_for()
