"""The picture of the README: the dawn page of the sample farm, at the morning of its last row."""

from __future__ import annotations

import io
import os

import pytest
from dash_help import ROOT, copy_sample, settled, start_server
from PIL import Image, ImageChops

from dashboard.words import say
from riskrules.view.desk import open_desk

pytestmark = pytest.mark.long
PICTURE = ROOT / "dashboard" / "picture.png"
MOST_BYTES = 200_000
SIZE = (1440, 900)
COLOURS = 128
"""Enough for text, a few fills and soft edges."""


@pytest.fixture
def dawn_url(tmp_path):
    """Run the pages of the sample farm, whose clock says ten minutes after its last row."""
    farm = copy_sample(tmp_path / "farm")
    made, child = start_server(farm, tmp_path, clock=open_desk(farm).now + 600)
    yield f"{made.url}/dawn"
    child.terminate()
    child.wait(10)


def taken(page, url) -> Image.Image:
    page.goto(url)
    settled(page)
    page.get_by_role("button", name=say("dawn.save_pdf")).wait_for()
    page.locator(".rr-reading").wait_for(state="detached")
    settled(page)
    page.evaluate("() => document.fonts.ready.then(() => true)")
    page.wait_for_timeout(1000)
    return Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")


def packed(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def test_the_picture_is_steady_small_and_says_that_all_is_invented(dawn_url, browser_page):
    page = browser_page(SIZE[0])
    first = taken(page, dawn_url)
    assert first.size == SIZE
    text = page.locator("[data-testid=stMain]").inner_text()
    assert "(invented)" in text and say("dawn.last_night") in text
    assert say("frame.old", age="", moment="")[:19] not in text  # the clock is that of the farm
    assert ImageChops.difference(first, taken(page, dawn_url)).getbbox() is None
    data = packed(first)
    assert len(data) < MOST_BYTES
    if os.environ.get("RISKRULES_README_PICTURE") == "1":
        PICTURE.write_bytes(data)


def test_the_picture_that_is_there_is_one_of_this_test():
    with Image.open(PICTURE) as found:
        assert found.size == SIZE
    assert PICTURE.stat().st_size < MOST_BYTES
