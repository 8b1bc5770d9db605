"""The form opened from the farm's own server, in real Chromium: reach comes and goes."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from riskrules.journal.serve import Farm, Receiver, receive
from riskrules.journal.store import open_journal

from .phone_browser import ARGS, CHROMIUM, GRAY, LEATHER, WALK, opened, planned, tap

pytestmark = pytest.mark.skipif(not CHROMIUM.exists(), reason=f"no {CHROMIUM} here")
TOKEN = "an-invented-token-of-a-test"


@pytest.fixture(scope="module")
def browser(playwright: Any) -> Iterator[Any]:
    made = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
    yield made
    made.close()


@pytest.fixture
def context(browser: Any) -> Iterator[Any]:
    made = browser.new_context(viewport={"width": 390, "height": 844})
    made.set_default_timeout(30_000)
    yield made
    made.close()


@pytest.fixture
def url(tmp_path: Path) -> Path:
    with open_journal(tmp_path / "journal.db") as journal:
        journal.add([planned()])
    return tmp_path / "journal.db"


@pytest.fixture
def receiver(url: Path) -> Iterator[Receiver]:
    with receive(url, token=TOKEN, farm=Farm(name="Invented farm")) as made:
        yield made


def named(context: Any, link: str) -> Any:
    page = opened(context, link)
    page.fill("#who", "Scout One")
    return page


def to(page: Any, name: str) -> None:
    page.evaluate("name => { location.hash = name; }", name)
    page.wait_for_function("name => location.hash === `#${name}`", arg=name)


def told(page: Any, words: str) -> None:
    script = "words => document.getElementById('sent').textContent.includes(words)"
    page.wait_for_function(script, polling=100, arg=words)


def test_a_walk_without_reach_is_sent_when_it_is_back_and_a_change_is_a_correction(
    context: Any, receiver: Receiver
) -> None:
    page = named(context, receiver.link(WALK))
    context.set_offline(True)
    to(page, "stop-1")
    tap(page, f"Looked at all 10, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    to(page, "over")
    tap(page, "Walk is done: send it")
    told(page, "out of reach")
    assert receiver.journal.last() == 1
    context.set_offline(False)
    told(page, "the farm has it all")
    (first,) = receiver.journal.records(kinds=("sighting",))
    to(page, "stop-1")
    tap(page, f"One more: Affected, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    to(page, "over")
    assert receiver.journal.records(kinds=("sighting",)) == [first]
    tap(page, "Counts changed: send again")
    told(page, "the farm has it all")
    history = [stored.record for stored in receiver.journal.history(first.id)]
    assert [(r.replaces, r.why, r.body.affected) for r in history] == [
        (None, "", 1),
        (first.id, "counted again", 3),
    ]


def test_an_answer_lost_on_the_way_doubles_nothing(context: Any, receiver: Receiver) -> None:
    page = named(context, receiver.link(WALK))
    lost = threading.Event()

    def lose(route: Any) -> None:
        if lost.is_set():
            route.continue_()
            return
        lost.set()
        assert route.fetch().status == 200
        route.abort()

    to(page, "stop-1")
    tap(page, "None seen of the rest")
    context.route("**/records", lose)
    to(page, "over")
    tap(page, "Walk is done: send it")
    told(page, "out of reach")
    assert len(receiver.journal.records(kinds=("sighting",))) == 2
    page.evaluate("dispatchEvent(new Event('online'))")
    told(page, "the farm has it all")
    assert receiver.journal.last() == 3 and receiver.journal.differing() == []


def test_row_jobs_and_photos_are_sent_too(context: Any, receiver: Receiver, tmp_path: Path) -> None:
    Image.linear_gradient("L").convert("RGB").save(tmp_path / "leaf.png")
    page = named(context, receiver.link(WALK))
    to(page, "row")
    tap(page, "Cover is on")
    told(page, "the farm has it all")
    assert [r.who for r in receiver.journal.records(kinds=("row_cover",))] == ["Scout One"]
    to(page, "stop-2")
    tap(page, f"None seen, {LEATHER}")
    page.get_by_label(f"Take a photo, {LEATHER}").set_input_files(tmp_path / "leaf.png")
    page.wait_for_selector(".photos img")
    told(page, "once you tap")
    to(page, "over")
    tap(page, "Walk is done: send it")
    told(page, "the farm has it all")
    (seen,) = receiver.journal.records(kinds=("sighting",))
    assert list(seen.body.photos) == receiver.journal.photos()  # type: ignore[union-attr]


def test_what_the_farm_refuses_stays_on_the_phone_with_the_reason(
    context: Any, receiver: Receiver
) -> None:
    receiver.clock = lambda: 1_000_000_000.0
    page = named(context, receiver.link(WALK))
    to(page, "row")
    tap(page, "Sides are up")
    told(page, "has something to say about 1")
    to(page, "over")
    assert "is in the future" in page.inner_text("#answers")
    assert receiver.journal.last() == 1


@pytest.mark.long
def test_a_link_without_its_token_says_how_to_go_on(context: Any, receiver: Receiver) -> None:
    page = named(context, receiver.link(WALK))
    receiver.token = "another-token-since-the-start"
    to(page, "row")
    tap(page, "Sides are up")
    told(page, "open the form by a new link")


def test_the_form_opens_again_without_reach(context: Any, receiver: Receiver) -> None:
    page = named(context, receiver.link(WALK))
    to(page, "stop-1")
    tap(page, f"None seen, {GRAY}")
    page.close()
    context.set_offline(True)
    again = opened(context, f"{receiver.link(WALK)}#list")
    assert "begun" in again.inner_text(".stopList")


@pytest.mark.long
def test_a_server_that_comes_back_gets_what_waited(context: Any, url: Path) -> None:
    with receive(url, token=TOKEN) as first:
        page = named(context, first.link(WALK))
        port = int(first.url.rsplit(":", 1)[1])
    to(page, "stop-1")
    tap(page, f"None seen, {GRAY}")
    to(page, "over")
    tap(page, "Walk is done: send it")
    told(page, "out of reach")
    with receive(url, port=port, token=TOKEN) as second:
        told(page, "the farm has it all")
        assert len(second.journal.records(kinds=("sighting",))) == 1
