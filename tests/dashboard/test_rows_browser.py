"""'In the rows' and 'Loggers' in a real browser, at a phone's width and a desk's."""

from __future__ import annotations

import sys

import pytest
from axe import troubles as serious
from dash_help import ROOT, choose, settled, shoot

from dashboard.words import say

sys.path.insert(0, str(ROOT / "tests" / "view"))
from rows_help import cut_farm, walk_in  # noqa: E402
from test_loggers_view import STRANGE  # noqa: E402

from riskrules.journal.store import open_journal  # noqa: E402
from riskrules.logs.mapping import load_mapping  # noqa: E402
from riskrules.view.desk import open_desk  # noqa: E402

LIE = "2026-06-20T22:30"


@pytest.fixture
def farm(tmp_path):
    made = cut_farm(tmp_path / "farm")
    with open_journal(made.parent / "journal.db") as journal:
        walk_in(journal, stops=6)
    return made


def wide(page) -> bool:
    """Whether something sticks out at the side."""
    return page.evaluate(
        "() => { const m = document.querySelector('[data-testid=stMain]');"
        " return m.scrollWidth > m.clientWidth + 1; }"
    )


@pytest.mark.long
def test_a_tap_is_kept_and_a_reload_shows_it(farm, server, browser_page):
    page = browser_page(390)
    url = server(farm).url
    page.goto(f"{url}/rows?block=south_beds&who=Ann&stop=2&at={LIE}")
    settled(page)
    page.get_by_role("button", name=say("rows.tap_more")).first.click()
    page.get_by_text("1 of 10").wait_for()
    page.reload()
    settled(page)
    page.get_by_text("1 of 10").wait_for()
    assert not wide(page)
    with open_journal(farm.parent / "journal.db") as journal:
        [seen] = journal.records(kinds=("sighting",))
    assert (seen.who, seen.body.stops[0].stop) == ("Ann", 2)


@pytest.mark.long
def test_a_sighting_at_stops_raises_a_finding(farm, server, browser_page):
    page = browser_page(390)
    url = server(farm).url
    page.goto(f"{url}/rows?block=south_beds&who=Ann&stop=1&at={LIE}")
    settled(page)
    shoot(page, "rows_stop", 390)
    for stop in range(1, 7):
        page.get_by_text(say("rows.stop", stop=stop, all=6, bed="", metres="")[:13]).wait_for()
        for n in (1, 2, 3):
            page.get_by_role("button", name=say("rows.tap_more")).first.click()
            page.get_by_text(f"{n} of 10").first.wait_for()
            settled(page)
        page.get_by_role("button", name=say("rows.rest_none")).click()
        page.get_by_text("none seen").first.wait_for()
        settled(page)
        label = say("rows.next") if stop < 6 else say("rows.to_end")
        page.get_by_role("button", name=label).first.click()
    page.get_by_text(say("rows.sum_done")).wait_for()
    settled(page)
    shoot(page, "rows_end", 390)
    page.goto(f"{url}/dawn")
    settled(page)
    found = {(f.rule, f.block): f.sentence for f in open_desk(farm).review().findings}
    sentence = found["gray_mold.sighting_confirms", "south_beds"]
    assert sentence[:40] in page.locator("[data-testid=stMain]").inner_text()


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("part", ["walk", "write", "along", "plan"])
def test_every_part_fits_and_is_accessible(farm, server, browser_page, width, part):
    page = browser_page(width)
    where = "walk&walk=new" if part == "plan" else part
    page.goto(f"{server(farm).url}/rows?block=south_beds&who=Ann&at={LIE}&do={where}")
    settled(page)
    page.wait_for_timeout(500)
    shoot(page, f"rows_{part}", width)
    assert not page.locator("[data-testid=stException]").count()
    assert not wide(page)
    assert not serious(page)


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1440])
def test_a_log_dropped_mapped_and_reported(farm, server, browser_page, width):
    page = browser_page(width)
    page.goto(f"{server(farm).url}/loggers?lb=south_beds")
    settled(page)
    page.wait_for_timeout(1500)
    shoot(page, "loggers", width)
    assert not wide(page) and not serious(page)
    page.locator("input[type=file]").set_input_files(
        {"name": "strange.csv", "mimeType": "text/csv", "buffer": STRANGE}
    )
    page.get_by_text(say("loggers.mapping_about")).wait_for()
    settled(page)
    choose(page, say("loggers.sensor"), "south_beds, south_beds")
    page.get_by_text(say("loggers.rows_why")).wait_for()
    settled(page)
    choose(page, say("loggers.column", header="T [F]"), "Air temperature [°F]")
    choose(page, say("loggers.column", header="Batt"), say("loggers.column_ignore"))
    page.get_by_text("48 of 48 rows would be kept").wait_for()
    settled(page)
    shoot(page, "loggers_drop", width)
    assert not wide(page) and not serious(page)
    page.get_by_text("71.1 °F").wait_for()  # as it stands in the file: 71,1
    [beside] = (farm.parent / "dropped").glob("*.mapping.yaml")
    assert load_mapping(beside).columns == {
        "T [F]": "air_temperature [degF]", "Hum": "relative_humidity [%]", "Batt": "ignore",
    }  # fmt: skip
    page.get_by_role("button", name=say("loggers.read_in")).click()
    page.get_by_text("48 of 48 rows are kept").wait_for(timeout=60_000)
    files = {f.file: f.in_use for f in open_desk(farm).report().files if f.block == "south_beds"}
    assert 48 in files.values() and len(files) == 2


@pytest.mark.long
def test_a_stop_is_counted_by_keyboard_alone(farm, server, browser_page):
    page = browser_page(1440)
    page.goto(f"{server(farm).url}/rows?block=south_beds&who=Ann&stop=1&at={LIE}")
    settled(page)
    page.get_by_role("button", name=say("rows.tap_more")).first.focus()
    page.keyboard.press("Enter")
    page.get_by_text("1 of 10").wait_for()
    for _ in range(200):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.innerText") == say("rows.rest_none"):
            break
    else:
        pytest.fail("the Tab key does not reach the button")
    page.keyboard.press("Enter")
    page.get_by_text(say("rows.progress", done=1, all=6)).wait_for()
