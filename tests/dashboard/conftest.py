"""What the tests of the dashboard share: farms, pages under test, servers and browsers."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).parent)]
from dash_help import ARGS, CHROMIUM, ROOT, WIDTHS, Server, be, copy_sample, start_server  # noqa: E402

os.environ["RISKRULES_STRICT_WORDS"] = "1"
os.environ.setdefault("STREAMLIT_BROWSER_GATHER_USAGE_STATS", "false")


@pytest.fixture(autouse=True)
def fresh(
    monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """Let no farm of another test, or of this computer, be open."""
    import streamlit as st

    from dashboard import frame

    monkeypatch.setenv("RISKRULES_HOME", str(tmp_path_factory.mktemp("home")))
    for name in (frame.FARM, frame.STORE, frame.JOURNAL):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(frame, "_chosen", {})
    st.cache_resource.clear()
    main = sys.modules["__main__"]
    yield
    # A page under test takes the place of the main module, which a process started later runs.
    sys.modules["__main__"] = main


@pytest.fixture
def sample_farm(tmp_path: Path) -> Path:
    """Return the farm file of a copy of the invented sample farm, with a journal of its own."""
    return copy_sample(tmp_path / "farm")


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> Callable[..., object]:
    """Return a function that runs a page under AppTest: ``app("dawn", farm, "scout")``.

    It returns the AppTest after its first run; with a role, the visitor is a device of that role.
    """
    from streamlit.testing.v1 import AppTest

    def run(page: str, farm: Path | None = None, role: str | None = "grower", **query: str):  # type: ignore[no-untyped-def]
        if farm is not None:
            monkeypatch.setenv("RISKRULES_FARM", str(farm))
        be(monkeypatch, role)
        found = AppTest.from_file(str(ROOT / "dashboard" / "pages" / f"{page}.py"))
        found.default_timeout = 60
        for key, value in query.items():
            found.query_params[key] = value
        return found.run()

    return run


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Callable[..., Server]]:
    """Return a function that starts a server for a farm file; it is stopped after the test."""
    children = []

    def start(farm: Path | None = None, **more: str) -> Server:
        made, child = start_server(farm, tmp_path, more)
        children.append(child)
        return made

    yield start
    for child in children:
        child.terminate()
        child.wait(10)


@pytest.fixture(scope="module")
def chromium(playwright) -> Iterator[object]:  # type: ignore[no-untyped-def]
    """Return a browser: Debian's chromium."""
    if not Path(CHROMIUM).exists():
        pytest.skip(f"{CHROMIUM} is not installed")
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
    yield browser
    browser.close()


@pytest.fixture
def browser_page(chromium) -> Iterator[Callable[..., object]]:  # type: ignore[no-untyped-def]
    """Return a function that opens an empty browser page of a width: 390 (touch) or 1440."""
    contexts = []

    def open_page(width: int = 1440, **more: object):  # type: ignore[no-untyped-def]
        context = chromium.new_context(
            viewport={"width": width, "height": WIDTHS.get(width, 900)},
            has_touch=width < 600, ignore_https_errors=True, **more,
        )  # fmt: skip
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        return page

    yield open_page
    for context in contexts:
        context.close()
