"""Sign-in with a local OpenID provider in a real browser, and what each role is refused."""

import os
import subprocess
import sys

import pytest
from dash_help import ROOT, free_port, settled, shoot, wait_for
from oidc_help import provider, secrets_of, sign_in

from dashboard.shell import ENTRIES
from dashboard.words import say

pytestmark = pytest.mark.long
PEOPLE = """people:
- {email: ann@farm.example, role: grower, name: Ann}
- {email: sam@farm.example, role: scout}
- {email: ada@farm.example, role: adviser}
- {email: ron@farm.example, role: reader}
"""
EMAILS = {"ann@farm.example": True, "sam@farm.example": True, "ada@farm.example": True,
          "ron@farm.example": True, "eve@else.example": True}  # fmt: skip
MAY = {
    "ann@farm.example": {"grower", "scout", "adviser", "reader"},
    "sam@farm.example": {"scout", "reader"},
    "ada@farm.example": {"adviser", "reader"},
    "ron@farm.example": {"reader"},
}


@pytest.fixture
def pages(sample_farm, tmp_path):
    """Run the pages with sign-in set up, and return their address."""
    (sample_farm.parent / "people.yaml").write_text(PEOPLE, encoding="utf-8")
    port, log = free_port(), tmp_path / "log.txt"
    url = f"http://localhost:{port}"
    with provider(EMAILS) as known:
        (tmp_path / ".streamlit").mkdir()
        (tmp_path / ".streamlit" / "secrets.toml").write_text(secrets_of(known, url))
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        env |= {"RISKRULES_FARM": str(sample_farm), "RISKRULES_HOME": str(tmp_path)}
        with log.open("wb") as out:
            child = subprocess.Popen(
                [sys.executable, "-m", "streamlit", "run", str(ROOT / "dashboard" / "app.py"),
                 "--server.port", str(port)], stdout=out, stderr=out, env=env, cwd=tmp_path,
            )  # fmt: skip
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", child, log)
            yield url
        finally:
            child.terminate()
            child.wait(10)


@pytest.mark.parametrize("email", MAY)
def test_each_role_gets_its_pages_and_no_other(pages, browser_page, email):
    page = browser_page(1440)
    page.goto(pages + "/people")
    settled(page)
    assert page.locator("h1").inner_text() == say("sign_in.title")
    shoot(page, "sign_in", 1440)
    sign_in(page, pages, email)
    for entry in (e for e in ENTRIES if e.file.exists()):
        page.goto(f"{pages}/{entry.name}")
        settled(page)
        own = page.locator("h1").first.inner_text() == say(f"{entry.name}.title")
        assert own == (entry.role in MAY[email]), entry.name


def test_somebody_not_on_the_list_sees_nothing(pages, browser_page):
    page = browser_page(390)
    sign_in(page, pages, "eve@else.example")
    page.get_by_text("not on the farm's list").wait_for()
    assert page.locator("h1").inner_text() == say("sign_in.title")
    shoot(page, "not_listed", 390)
