"""A whole year of real weather as a farm: the pages that read logs load with all of it."""

from __future__ import annotations

import shutil

import pytest
from axe import troubles as serious
from dash_help import ROOT, WIDTHS, settled, shoot, start_server

from dashboard.words import say
from riskrules.errors import LogError
from riskrules.logs.typical_year import locate, read_typical_year

pytestmark = pytest.mark.long
HOURS = 8760
"""Of a year that is no leap year."""
PAGES = {"dawn": "dawn", "course": "course?span=0", "loggers": "loggers"}


@pytest.fixture(scope="module")
def year_server(tmp_path_factory):
    """Run the pages of the typical year of Greensboro, with invented events, and a journal."""
    try:
        locate("pvlib:723170TYA.CSV")
    except LogError as error:
        pytest.skip(str(error))
    folder = tmp_path_factory.mktemp("year")
    shutil.copytree(ROOT / "sample_logs" / "typical_year", folder / "farm")
    made, child = start_server(folder / "farm" / "farm.yaml", folder)
    yield made
    child.terminate()
    child.wait(10)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_page(year_server, browser_page, name, width):
    page = browser_page(width)
    page.set_default_timeout(120_000)
    page.goto(f"{year_server.url}/{PAGES[name]}")
    settled(page)
    page.locator(".rr-reading").wait_for(state="detached")
    page.wait_for_timeout(1500)
    shoot(page, f"year_{name}", width)
    assert page.locator("h1").inner_text() == say(f"{name}.title")
    assert not page.locator("[data-testid=stException], [data-testid=stAlertContentError]").count()
    assert not serious(page)
    if name == "loggers":
        rows = read_typical_year(locate("pvlib:723170TYA.CSV"))
        assert len(rows) == HOURS and f"{HOURS:,}" in page.locator("body").inner_text()
    if name == "course":
        drawn = page.evaluate(
            "() => document.querySelector('.js-plotly-plot')._fullLayout.xaxis.range"
        )
        assert drawn[0][:7] <= "2025-01" and drawn[1][:7] >= "2025-12"
