"""Models and tables: every sheet is drawn, with its limits first."""

from __future__ import annotations

import pytest
from dash_help import settled, shoot

from riskrules.science.cards import models


@pytest.mark.parametrize("card", models(), ids=lambda c: c.module)
def test_each_model_is_drawn(app, card):
    run = app("models", None, "reader", model=card.module)
    assert not run.exception
    assert card.limits.split(";")[0].split(",")[0][:12] in run.warning[0].value.replace("\\", "")


@pytest.mark.long
def test_the_chart_in_a_real_browser(server, browser_page):
    page = browser_page(1440)
    page.goto(f"{server().url}/models?model=gray_mold_flower")
    settled(page)
    page.wait_for_selector(".js-plotly-plot .legend")
    assert page.get_by_text("not tested").count() >= 1
    shoot(page, "models_gray_mold", 1440)
