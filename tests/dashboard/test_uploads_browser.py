"""What is too large, or unpacks to too much, is refused with a sentence, and the page lives on."""

from __future__ import annotations

import sys
import zipfile

import pytest
from dash_help import ROOT, settled, shoot
from share_help import paired, shared

from dashboard.words import say
from riskrules.door.start import UPLOAD_MB

sys.path.insert(0, str(ROOT / "tests" / "view"))
from test_first_view import LOG  # noqa: E402
from test_loggers_view import STRANGE  # noqa: E402

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """Return a log that is one row larger than what is taken in."""
    path = tmp_path_factory.mktemp("large") / "large.csv"
    head, row = b"time,air_temperature [degC]\n", b"2026-05-01 00:00,12.0\n"
    path.write_bytes(head + row * (UPLOAD_MB * 1024 * 1024 // len(row) + 1))
    assert path.stat().st_size > UPLOAD_MB * 1024 * 1024
    return path


@pytest.fixture(scope="module")
def bomb(tmp_path_factory):
    """Return a zip of a quarter of a megabyte that holds 256 megabytes."""
    path = tmp_path_factory.mktemp("bomb") / "bomb.zip"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("log.csv", "w") as member,
    ):
        for _ in range(256):
            member.write(b"0" * 1_000_000)
    assert path.stat().st_size < 1_000_000
    return path


def test_loggers_refuse_both_through_the_front_and_take_the_next_log(
    sample_farm, tmp_path, browser_page, large, bomb
):
    with shared(sample_farm, tmp_path, "--share", "--role", "grower") as run:
        page = browser_page(390)
        paired(page, run.code)
        settled(page)
        page.goto(f"{run.front}/loggers")
        settled(page)
        box = page.locator("input[type=file]")
        box.set_input_files(large)
        page.get_by_text(f"must be {UPLOAD_MB}.0MB or smaller").wait_for()
        shoot(page, "loggers_too_large", 390)
        assert not list(sample_farm.parent.rglob("drop_*"))
        box.set_input_files(bomb)
        page.get_by_text("unpacks to more than").wait_for()
        settled(page)
        shoot(page, "loggers_bomb", 390)
        assert not page.locator("[data-testid=stException]").count()
        goes_on(page)


def goes_on(page) -> None:
    """Give a sound log to the page that refused another: it is understood."""
    again = page.get_by_role("button", name=say("loggers.drop_other"))
    if again.count():
        again.click()
        settled(page)
    page.locator("input[type=file]").set_input_files(
        {"name": "strange.csv", "mimeType": "text/csv", "buffer": STRANGE}
    )
    page.get_by_text(say("loggers.mapping_about")).wait_for()
    settled(page)
    assert not page.locator("[data-testid=stException]").count()


def test_begin_refuses_a_large_log_and_what_is_none_and_takes_the_next(
    server, browser_page, tmp_path, large, bomb
):
    page = browser_page(1440)
    page.goto(f"{server(STREAMLIT_SERVER_MAX_UPLOAD_SIZE=str(UPLOAD_MB)).url}/first")
    settled(page)
    page.get_by_label(say("first.block", n=1)).fill("Creek beds")
    page.keyboard.press("Enter")
    box = page.locator("input[type=file]")
    box.wait_for(state="attached")
    settled(page)
    box.set_input_files(large)
    page.get_by_text(f"must be {UPLOAD_MB}.0MB or smaller").wait_for()
    sheet = tmp_path / "sheet.xlsx"
    sheet.write_bytes(bomb.read_bytes())
    box.set_input_files(sheet)
    page.get_by_text(say("first.log_wrong", block="Creek beds")).wait_for()
    settled(page)
    shoot(page, "first_bomb", 1440)
    assert page.get_by_role("button", name=say("first.make")).is_disabled()
    box.set_input_files({"name": "creek.csv", "mimeType": "text/csv", "buffer": LOG})
    page.get_by_text(say("first.rows", block="Creek beds")).wait_for()
    settled(page)
    assert not page.get_by_text(say("first.log_wrong", block="Creek beds")).count()
