"""The head of every page, the refusals, and the words."""

import doctest
import importlib
import re
import string

import pytest
from dash_help import ROOT, settled, shoot
from streamlit.testing.v1 import AppTest

from dashboard import words
from dashboard.frame import plain
from dashboard.shell import ENTRIES


def test_without_a_farm_a_page_says_so(app):
    run = app("people", None, "grower")
    assert not run.exception
    assert run.title[0].value == words.say("people.title")


def test_the_whole_app_runs(sample_farm, monkeypatch):
    monkeypatch.setenv("RISKRULES_FARM", str(sample_farm))
    run = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60).run()
    assert not run.exception


@pytest.mark.parametrize("role", ["scout", "adviser", "reader"])
def test_people_is_for_the_grower(app, sample_farm, role):
    run = app("people", sample_farm, role)
    assert [e.value for e in run.error] == [words.say("frame.refused", roles="grower", role=role)]


def test_nobody_sees_nothing(app, sample_farm):
    run = app("people", sample_farm, None)
    assert len(run.error) == 1 and not run.button


def test_every_text_asked_for_is_there():
    """Keys written out in the code must be in the files of words."""
    known = words.known("en")
    missing = []
    for path in sorted((ROOT / "dashboard").rglob("*.py")):
        for key in re.findall(r'\bsay\(\s*"([a-z_]+\.[A-Za-z_.]+)"', path.read_text("utf-8")):
            if key not in known:
                missing.append(f"{path.name}: {key}")
    for entry in ENTRIES:
        if entry.file.exists() and f"{entry.name}.title" not in known:
            missing.append(entry.name)
    assert not missing


def test_a_missing_text_is_an_error():
    with pytest.raises(KeyError, match="no such"):
        words.say("no such.text")


def test_plain_escapes_all_marks():
    """CommonMark: a backslash before ASCII punctuation makes it plain (memory: its 2.4)."""
    marks = set(string.punctuation) - set("',%/;?@")
    assert all(plain(c) == f"\\{c}" for c in marks)


@pytest.mark.parametrize("module", ["frame", "look", "who", "words", "shell"])
def test_doctests(module):
    found = doctest.testmod(importlib.import_module(f"dashboard.{module}"))
    assert not found.failed


@pytest.mark.long
def test_the_first_page_in_a_real_browser(sample_farm, server, browser_page):
    page = browser_page(1440)
    page.goto(server(sample_farm).url)
    settled(page)
    assert page.locator("h1").first.is_visible()
    shoot(page, "start", 1440)


@pytest.mark.long
def test_every_address_leads_to_its_page(sample_farm, server, browser_page):
    """The first visitor after a start, too, and the page where one begins."""
    page = browser_page(1440)
    url = server(sample_farm).url
    for name in ("people", "dawn", ""):
        page.goto(f"{url}/{name}")
        settled(page)
        page.wait_for_url(f"**/{name or 'dawn'}**")
        page.get_by_role("heading", level=1, name=words.say(f"{name or 'dawn'}.title")).wait_for()
        assert not page.get_by_role("dialog").count()
    assert page.get_by_role("link", name=words.say("people.title")).count() == 1
