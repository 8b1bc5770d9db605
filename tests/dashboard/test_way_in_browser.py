"""Who gets in through the encrypted front, as a real process and in a real browser."""

from __future__ import annotations

import io
import sys

import numpy as np
import pytest
import zxingcpp
from dash_help import ROOT, free_port, settled, shoot
from oidc_help import provider, secrets_of, sign_in
from PIL import Image
from share_help import paired, shared

from dashboard.shell import ENTRIES
from dashboard.words import say
from riskrules.door.devices import Devices, devices_file
from riskrules.journal.store import open_journal

sys.path.insert(0, str(ROOT / "tests" / "view"))
from rows_help import cut_farm, walk_in  # noqa: E402

pytestmark = pytest.mark.long
PEOPLE = """people:
- {email: ann@farm.example, role: grower, name: Ann}
- {email: sam@farm.example, role: scout}
"""
GRAY = "Gray mold: ripe fruit"
BLOCKS = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
"""Which of its two halves a character of a terminal fills: with light, on a dark screen."""


# --- people who sign in through the front


@pytest.fixture
def by_people(sample_farm, tmp_path):
    """Run the command with --share and --sign-in before a local provider; yield the front."""
    (sample_farm.parent / "people.yaml").write_text(PEOPLE, encoding="utf-8")
    port = free_port()
    emails = {"sam@farm.example": True, "ann@farm.example": False, "eve@else.example": True}
    with provider(emails) as known:
        (tmp_path / ".streamlit").mkdir()
        text = secrets_of(known, f"https://127.0.0.1:{port}")
        (tmp_path / ".streamlit" / "secrets.toml").write_text(text, encoding="utf-8")
        with shared(sample_farm, tmp_path, "--share", "--sign-in", port=port) as found:
            assert found.code is None and "people sign in there" in found.printed
            yield found.front


def test_a_person_of_the_list_sees_the_pages_of_their_role_alone(by_people, browser_page):
    page = browser_page(1440)
    page.goto(f"{by_people}/people")
    settled(page)
    assert page.locator("h1").inner_text() == say("sign_in.title")
    sign_in(page, by_people, "sam@farm.example")
    shoot(page, "front_signed_in", 1440)
    listed = page.get_by_test_id("stSidebar").inner_text()
    for entry in (e for e in ENTRIES if e.file.exists()):
        own = entry.role in ("scout", "reader")
        title = say(f"{entry.name}.title")
        assert (title in listed) == own, entry.name
        page.goto(f"{by_people}/{entry.name}")
        settled(page)
        assert (page.locator("h1").first.inner_text() == title) == own, entry.name
    page.goto(f"{by_people}/dawn")
    settled(page)
    page.get_by_role("button", name=say("sign_in.out")).click()
    page.get_by_role("button", name="End session").click()  # at the provider
    page.get_by_role("button", name=say("sign_in.button")).wait_for()
    page.goto(f"{by_people}/dawn")
    settled(page)
    assert page.locator("h1").inner_text() == say("sign_in.title")


@pytest.mark.parametrize("email", ["eve@else.example", "ann@farm.example"])
def test_who_is_not_listed_or_not_verified_sees_nothing(by_people, browser_page, email):
    """Ann stands on the list, but the provider says that the address is not verified."""
    page = browser_page(390)
    sign_in(page, by_people, email)
    page.get_by_text("not on the farm's list").wait_for()
    shoot(page, f"front_{email[:3]}", 390)
    for entry in (e for e in ENTRIES if e.file.exists()):
        page.goto(f"{by_people}/{entry.name}")
        settled(page)
        assert page.locator("h1").all_inner_texts() == [say("sign_in.title")], entry.name
        text = page.content()
        assert "Tarnwick" not in text and "north_beds" not in text, entry.name
        assert not page.locator("[data-testid=stPageLink]").count(), entry.name


# --- a walk's form, through the front


def test_a_walk_counted_out_of_reach_is_found_in_the_journal_once(tmp_path, browser_page):
    farm = cut_farm(tmp_path / "farm")
    with open_journal(farm.parent / "journal.db") as journal:
        walk = walk_in(journal, stops=2)
    with shared(farm, tmp_path, "--share", "--role", "scout") as run:
        phone = browser_page(390)
        assert phone.goto(f"{run.front}/walk/{walk.id}").status == 401
        paired(phone, run.code)
        settled(phone)
        phone.goto(f"{run.front}/walk/{walk.id}")
        phone.wait_for_selector("#foot button")
        phone.fill("#who", "Scout One")
        phone.context.set_offline(True)
        to(phone, "stop-1")
        tap(phone, f"Looked at all 10, {GRAY}")
        tap(phone, f"One more: Affected, {GRAY}")
        tap(phone, f"One more: Affected, {GRAY}")
        shoot(phone, "front_walk", 390)
        to(phone, "stop-2")
        tap(phone, f"None seen, {GRAY}")
        to(phone, "over")
        tap(phone, "Walk is done: send it")
        told(phone, "out of reach")
        assert sightings(farm) == []
        lost = lose_one_answer(phone)
        phone.context.set_offline(False)
        for _ in range(600):
            if lost:
                break
            phone.wait_for_timeout(100)
        # kept by the farm; the phone never heard of it
        assert lost == [200] and len(sightings(farm)) == 1
        phone.evaluate("dispatchEvent(new Event('online'))")
        told(phone, "the farm has it all")
        shoot(phone, "front_walk_sent", 390)
        [seen] = sightings(farm)
        assert (seen.who, seen.block, seen.came_by) == ("Scout One", "south_beds", "form")
        counted = [(s.stop, s.affected, s.examined) for s in seen.body.stops]
        assert counted == [(1, 2, 10), (2, 0, 10)]
        with open_journal(farm.parent / "journal.db") as journal:
            assert journal.differing() == []


def lose_one_answer(page) -> list[int]:
    """Let the next sending reach the farm, and its answer get lost; its status is noted."""
    lost: list[int] = []

    def lose(route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    page.context.route("**/records", lose)
    return lost


def sightings(farm) -> list:
    with open_journal(farm.parent / "journal.db") as journal:
        return list(journal.records(kinds=("sighting",)))


def to(page, name: str) -> None:
    page.evaluate("name => { location.hash = name; }", name)
    page.wait_for_function("name => location.hash === `#${name}`", arg=name)


def tap(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def told(page, words: str) -> None:
    script = "words => document.getElementById('sent').textContent.includes(words)"
    page.wait_for_function(script, polling=100, arg=words)


# --- the picture that a device takes


def test_the_pictures_are_read_by_a_camera_and_a_withdrawn_device_is_refused_at_once(
    sample_farm, tmp_path, browser_page
):
    with shared(sample_farm, tmp_path, "--share", "--role", "reader") as run:
        assert read_picture(of_terminal(run.printed)) == run.code
        grower = browser_page(1440)
        grower.goto(f"{run.pages}/people")
        settled(grower)
        grower.get_by_label(say("people.name")).fill("tablet")
        grower.get_by_role("button", name=say("people.make")).click()
        drawn = grower.get_by_test_id("stImage").locator("img")
        drawn.wait_for()
        settled(grower)
        grower.wait_for_function("() => [...document.images].every(i => i.complete)")
        address = read_picture(Image.open(io.BytesIO(drawn.screenshot())))
        assert address.startswith(f"{run.front}/pair?code=") and address != run.code
        device = browser_page(1440)
        paired(device, address)
        settled(device)
        device.get_by_text(say("dawn.last_night")).first.wait_for()
        assert [d.name for d in Devices(devices_file(sample_farm)).all()] == ["tablet"]
        grower.reload()
        settled(grower)
        grower.get_by_role("button", name=say("people.withdraw", name="tablet")).click()
        grower.get_by_text(say("people.none")).wait_for()
        device.get_by_test_id("stSidebar").get_by_text(say("course.title")).click()
        refused = device.get_by_text(say("sign_in.elsewhere"))
        cut = device.get_by_text("Connection error")
        refused.or_(cut).first.wait_for()
        shoot(device, "withdrawn", 1440)
        assert say("course.title") not in device.locator("h1").all_inner_texts()
        assert device.goto(f"{run.front}/course").status == 401
        assert device.locator("h1").inner_text() == "Not paired"


def read_picture(image: Image.Image) -> str:
    """Read the one QR code of a picture, with a decoder that shares nothing with what drew it."""
    [found] = zxingcpp.read_barcodes(image)
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return found.text


def of_terminal(text: str) -> Image.Image:
    """Draw the characters of a terminal as it does: each two halves, light on dark."""
    lines = [x for x in text.splitlines() if len(x) > 20 and set(x) <= set(BLOCKS)]
    halves = np.array([[BLOCKS[c] for c in line] for line in lines], dtype=np.uint8)
    light = halves.transpose(0, 2, 1).reshape(2 * len(lines), -1)
    return Image.fromarray(np.kron(light * 255, np.ones((6, 6), dtype=np.uint8)))
