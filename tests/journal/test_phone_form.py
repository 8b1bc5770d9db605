"""The walk form in real Chromium, with the network cut."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5

import pytest
from PIL import Image

from riskrules.journal import phone as phone_module
from riskrules.journal.phone import PHOTO_SIDE, read_handed_over
from riskrules.journal.records import Note, Pick, RowCover, Sighting, Stages, TakenBack

from .phone_browser import (
    CHROMIUM,
    GRAY,
    LEATHER,
    WALK,
    count,
    kept,
    kill,
    opened,
    phone,
    tap,
    written_form,
)

pytestmark = pytest.mark.skipif(not CHROMIUM.exists(), reason=f"no {CHROMIUM} here")
NASTY = "</script><img src=x onerror=alert(1)> \"'&<!-- \u2028 %%script%% \U0001f353"


@pytest.fixture(scope="module")
def browser(playwright: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from .phone_browser import ARGS

    made = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
    yield made
    made.close()


@pytest.fixture
def cut(browser: Any) -> Iterator[Any]:
    """Return a fresh phone without network."""
    size = {"width": 390, "height": 844}
    context = browser.new_context(viewport=size, accept_downloads=True, offline=True)
    context.set_default_timeout(30_000)
    yield context
    errors = [said for page in context.pages for said in getattr(page, "errors", [])]
    context.close()
    assert errors == []


def handed_over(page: Any, tmp_path: Path) -> tuple[list[Any], dict[str, bytes]]:
    page.goto(page.url.split("#")[0] + "#over")
    with page.expect_download() as told:
        page.click("#asFile")
    path = tmp_path / "handed.json"
    told.value.save_as(path)
    return read_handed_over(path.read_bytes())


def test_hashes_and_identifiers_are_those_of_python(browser: Any) -> None:
    page = browser.new_page()
    script = (Path(phone_module.__file__).parent / "phone" / "hash.js").read_text()
    lengths = [*range(130), 1000, 70_001]
    page.add_script_tag(content=f"{script}\nObject.assign(window, {{sha1, sha256, hex, uuid5}});")
    asked = """lengths => lengths
        .map(n => Uint8Array.from({length: n}, (_, i) => (i * 7 + n) % 256))
        .map(bytes => [hex(sha1(bytes)), hex(sha256(bytes))])"""
    found = page.evaluate(asked, lengths)
    data = [bytes((i * 7 + n) % 256 for i in range(n)) for n in lengths]
    assert found == [[hashlib.sha1(d).hexdigest(), hashlib.sha256(d).hexdigest()] for d in data]
    names = ["gray_mold/ripe_fruit", "", "ä\U0001f353", "x" * 200]
    made = page.evaluate("([w, names]) => names.map(n => uuid5(w, n))", [str(WALK), names])
    assert made == [str(uuid5(WALK, name)) for name in names]
    page.close()


def test_a_walk_from_a_file_asks_for_nothing_and_hands_over_what_was_tapped(
    cut: Any, tmp_path: Path
) -> None:
    asked: list[str] = []
    cut.on("request", lambda request: asked.append(request.url))
    page = opened(cut, written_form(tmp_path))
    page.click("#begin")
    for _ in range(3):
        tap(page, f"One more: Affected, {GRAY}")
    tap(page, f"One less: Affected, {GRAY}")
    tap(page, f"Looked at all 10, {GRAY}")
    tap(page, "None seen of the rest")
    page.get_by_label("Note of this stop", exact=True).fill("wet leaves")
    tap(page, "Next")
    page.get_by_role("textbox", name=f"Looked at, {GRAY}").fill("12")
    page.get_by_role("textbox", name=f"Affected, {GRAY}").fill("0")
    tap(page, "Next")
    tap(page, "Next")
    tap(page, "In patches")
    records, photos = handed_over(page, tmp_path)
    by_id = {record.id: record for record in records}
    gray = by_id[uuid5(WALK, "gray_mold/ripe_fruit")]
    assert isinstance(gray.body, Sighting)
    assert [(s.stop, s.affected, s.examined, s.bed) for s in gray.body.stops] == [
        (1, 2, 10, 1),
        (2, 0, 12, 2),
    ]
    assert (gray.body.pattern, gray.body.walk, gray.who) == ("patches", WALK, "Scout One")
    leather = by_id[uuid5(WALK, "leather_rot/green_fruit")].body
    assert isinstance(leather, Sighting)
    assert (leather.affected, leather.examined, leather.pattern) == (0, 10, "none_seen")
    notes = [r.body.text for r in records if isinstance(r.body, Note)]
    assert notes == ["Stop 1 (bed 1, 12 m): wet leaves"]
    assert len(records) == 3 and not photos
    assert {record.came_by for record in records} == {"form"}
    assert [url for url in asked if not url.startswith(("file:", "blob:", "data:"))] == []


def test_nothing_is_guessed_for_a_count_that_is_half_written(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, written_form(tmp_path))
    page.click("#begin")
    tap(page, f"One more: Affected, {GRAY}")
    assert page.get_by_text("How many did you look at?").is_visible()
    assert page.get_by_role("button", name=f"None seen, {GRAY}").is_disabled()
    page.get_by_role("textbox", name=f"Looked at, {LEATHER}").fill("10")
    page.get_by_role("textbox", name=f"Affected, {LEATHER}").fill("12")
    assert page.get_by_text("12 affected of 10 looked at cannot be").is_visible()
    tap(page, "Next")
    page.get_by_role("textbox", name=f"Looked at, {GRAY}").fill("1o")
    assert page.get_by_text("Only whole numbers count here.").is_visible()
    tap(page, "Stops")
    assert page.get_by_text("0 of 3 stops counted").is_visible()
    records, _ = handed_over(page, tmp_path)
    assert records == []
    assert "Open stops: 1, 2, 3." in page.inner_text("#screen")


def test_a_reload_in_the_middle_loses_nothing(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, written_form(tmp_path))
    page.click("#begin")
    tap(page, f"Looked at all 10, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    page.get_by_label("Note of this stop", exact=True).type("half a wo")
    page.reload()
    page.wait_for_selector("#cards")
    assert page.inner_text("h1") == "Stop 1 of 3"
    assert (count(page, GRAY, "Looked at"), count(page, GRAY, "Affected")) == ("10", "1")
    assert page.get_by_label("Note of this stop", exact=True).input_value() == "half a wo"
    # What the browser's own quick storage lost comes back from disk.
    kept(page)
    page.evaluate("localStorage.clear()")
    page.reload()
    page.wait_for_selector("#foot button")
    page.goto(page.url.split("#")[0] + "#stop-1")
    assert (count(page, GRAY, "Looked at"), count(page, GRAY, "Affected")) == ("10", "1")


def killed_and_opened_again(playwright: Any, tmp_path: Path, taps: int) -> str:
    profile = tmp_path / f"profile{taps}"
    address = written_form(tmp_path)
    with phone(playwright, profile) as context:
        context.set_offline(True)
        page = opened(context, f"{address}#stop-1")
        tap(page, f"Looked at all 10, {GRAY}")
        for _ in range(taps):
            tap(page, f"One more: Affected, {GRAY}")
        kept(page)
        kill(profile)
        with pytest.raises(Exception, match="closed"):
            page.wait_for_timeout(10_000)
    with phone(playwright, profile) as context:
        page = opened(context, f"{address}#stop-1")
        return count(page, GRAY, "Affected")


def test_a_browser_killed_right_after_a_tap_keeps_it(playwright: Any, tmp_path: Path) -> None:
    assert killed_and_opened_again(playwright, tmp_path, 7) == "7"


@pytest.mark.long
@pytest.mark.parametrize("taps", range(1, 11))
def test_a_browser_killed_many_times_keeps_each_tap(
    playwright: Any, tmp_path: Path, taps: int
) -> None:
    assert killed_and_opened_again(playwright, tmp_path, taps) == str(taps)


def test_two_windows_of_one_walk_do_not_overwrite_each_other(cut: Any, tmp_path: Path) -> None:
    address = f"{written_form(tmp_path)}#stop-1"
    one, two = opened(cut, address), opened(cut, address)
    shows = "([name, n]) => document.querySelector(`[aria-label='${name}']`).value === n"
    name = f"Affected, {GRAY}"
    tap(one, f"One more: {name}")
    two.wait_for_function(shows, polling=100, arg=[name, "1"])
    tap(two, f"One more: {name}")
    one.wait_for_function(shows, polling=100, arg=[name, "2"])
    tap(two, f"None seen, {LEATHER}")
    tap(one, f"Looked at all 10, {GRAY}")
    one.wait_for_function(shows, polling=100, arg=[f"Affected, {LEATHER}", "0"])
    two.wait_for_function(shows, polling=100, arg=[f"Looked at, {GRAY}", "10"])
    records, _ = handed_over(one, tmp_path)
    assert sorted((r.body.symptom, r.body.affected) for r in records) == [
        ("gray_mold", 2),
        ("leather_rot", 0),
    ]


def test_an_older_tap_that_arrives_later_does_not_count(cut: Any, tmp_path: Path) -> None:
    address = f"{written_form(tmp_path)}#stop-1"
    one, two = opened(cut, address), opened(cut, address)
    tap(one, f"Looked at all 10, {GRAY}")
    field = f"riskrules walk 1/{WALK}/c/1/gray_mold/ripe_fruit/e"
    two.wait_for_function("name => localStorage.getItem(name) !== null", polling=100, arg=field)
    old = json.dumps({"v": 3, "t": 1000, "at": 1000})
    two.evaluate("([name, old]) => localStorage.setItem(name, old)", [field, old])
    one.wait_for_function(
        "name => JSON.parse(localStorage.getItem(name)).v === 10", polling=100, arg=field
    )
    assert count(one, GRAY, "Looked at") == "10"


def test_a_change_after_handing_over_is_a_correction(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, f"{written_form(tmp_path)}#stop-1")
    tap(page, f"Looked at all 10, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    first, _ = handed_over(page, tmp_path)
    again, _ = handed_over(page, tmp_path)
    assert again == first and len(first) == 1
    page.goto(page.url.split("#")[0] + "#stop-1")
    tap(page, f"One more: Affected, {GRAY}")
    second, _ = handed_over(page, tmp_path)
    assert second[0] == first[0] and len(second) == 2
    assert (second[1].replaces, second[1].why) == (first[0].id, "counted again")
    assert second[1].body.affected == 2
    page.goto(page.url.split("#")[0] + "#stop-1")
    tap(page, f"Clear the count, {GRAY}")
    assert count(page, GRAY, "Affected") == "2"
    tap(page, "Tap again to clear")
    assert count(page, GRAY, "Affected") == ""
    third, _ = handed_over(page, tmp_path)
    assert third[:2] == second and isinstance(third[2].body, TakenBack)
    assert third[2].replaces == second[1].id


def test_a_change_before_handing_over_is_no_correction(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, f"{written_form(tmp_path)}#stop-1")
    tap(page, f"Looked at all 10, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    tap(page, f"One more: Affected, {GRAY}")
    tap(page, f"One less: Affected, {GRAY}")
    records, _ = handed_over(page, tmp_path)
    assert [(r.replaces, r.body.affected) for r in records] == [(None, 1)]


def test_row_jobs_are_records_and_can_be_taken_back(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, f"{written_form(tmp_path)}#row")
    tap(page, "Cover is off")
    page.fill("#kilos", "41,5")
    tap(page, "Picked now")
    page.get_by_text("Growth stages there now").click()
    page.get_by_role("button", name="65 full bloom").click()
    page.get_by_role("button", name="60 first (king)").click()
    tap(page, "Keep these stages")
    page.fill("#freeNote", NASTY)
    page.reload()
    page.wait_for_selector("#freeNote")
    assert page.input_value("#freeNote") == NASTY
    tap(page, "Keep this note")
    records, _ = handed_over(page, tmp_path)
    bodies = {record.kind: record.body for record in records}
    assert bodies["row_cover"] == RowCover(what="off")
    assert bodies["pick"] == Pick(weight_kg=41.5)
    assert bodies["stages"] == Stages(codes=(60, 65))
    assert bodies["note"] == Note(text=NASTY)
    page.goto(page.url.split("#")[0] + "#row")
    page.get_by_role("button", name="Take back").first.click()
    after, _ = handed_over(page, tmp_path)
    back = [record for record in after if isinstance(record.body, TakenBack)]
    assert len(after) == len(records) + 1 and len(back) == 1
    assert back[0].replaces in {record.id for record in records}


def test_hostile_names_are_shown_as_text(cut: Any, tmp_path: Path) -> None:
    address = written_form(tmp_path, farm=NASTY, block=NASTY, who=NASTY)
    page = opened(cut, address)
    assert page.input_value("#who") == NASTY
    assert NASTY.split(" ")[0] in page.inner_text("h1")
    page.goto(f"{address}#stop-1")
    page.get_by_label("Note of this stop", exact=True).fill(NASTY)
    tap(page, "None seen of the rest")
    records, _ = handed_over(page, tmp_path)
    assert {record.who for record in records} == {NASTY}
    assert [r.body.text for r in records if isinstance(r.body, Note)] == [
        f"Stop 1 (bed 1, 12 m): {NASTY}"
    ]
    assert page.locator("main img").count() == 0


def test_the_policy_lets_the_page_reach_nothing(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, written_form(tmp_path))
    tried = """async () => {
      const blocked = [];
      addEventListener('securitypolicyviolation', e => blocked.push(e.effectiveDirective));
      await fetch('http://127.0.0.1:9/').catch(() => {});
      const script = document.createElement('script');
      script.textContent = 'window.ran = true';
      document.body.append(script);
      await new Promise(done => setTimeout(done, 100));
      return [blocked, window.ran === true];
    }"""
    blocked, ran = page.evaluate(tried)
    assert {"connect-src", "script-src-elem"} <= set(blocked) and not ran
    page.errors.clear()


def test_a_photo_is_made_smaller_and_survives_a_reload(cut: Any, tmp_path: Path) -> None:
    out = BytesIO()
    Image.linear_gradient("L").resize((3000, 2000)).convert("RGB").save(out, "PNG")
    page = opened(cut, f"{written_form(tmp_path)}#stop-1")
    file = {"name": "leaf.png", "mimeType": "image/png", "buffer": out.getvalue()}
    page.get_by_label(f"Take a photo, {GRAY}").set_input_files(file)
    page.wait_for_selector(".photos img")
    tap(page, f"None seen, {GRAY}")
    kept(page)
    page.reload()
    page.wait_for_selector(".photos img")
    bad = {"name": "leaf.png", "mimeType": "image/png", "buffer": b"no picture"}
    page.get_by_label("Take a photo, Note of this stop").set_input_files(bad)
    page.get_by_text("This picture cannot be read").wait_for()
    records, photos = handed_over(page, tmp_path)
    (record,) = records
    (known,) = record.body.photos
    picture = Image.open(BytesIO(photos[known]))
    assert (picture.format, picture.size) == ("JPEG", (PHOTO_SIDE, 1067))  # 1600 x 2000 / 3000


def test_without_a_name_nothing_is_handed_over(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, written_form(tmp_path, who=""))
    page.click("#begin")
    assert page.get_by_text("Write your name first").is_visible()
    page.goto(page.url.split("#")[0] + "#over")
    page.click("#asFile")
    assert page.get_by_text("Write your name first").is_visible()


@pytest.mark.parametrize(
    ("width", "height"),
    [
        (390, 844),
        pytest.param(320, 640, marks=pytest.mark.long),
        pytest.param(1280, 800, marks=pytest.mark.long),
    ],
)
def test_buttons_are_large_and_nothing_runs_over_the_edge(
    cut: Any, tmp_path: Path, width: int, height: int
) -> None:
    page = opened(cut, written_form(tmp_path, block="x" * 80))
    page.set_viewport_size({"width": width, "height": height})
    for name in ("list", "stop-1", "row", "over"):
        page.goto(page.url.split("#")[0] + f"#{name}")
        page.wait_for_selector("#foot button")
        sizes = page.evaluate(
            """() => [...document.querySelectorAll('button, .button, input, select, summary')]
            .filter(e => e.offsetParent && e.type !== 'file')
            .map(e => [e.textContent, e.offsetWidth, e.offsetHeight])"""
        )
        assert [s for s in sizes if s[1] < 48 or s[2] < 48] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.long
def test_a_walk_can_be_done_by_keyboard_alone(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, written_form(tmp_path))
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#cards")
    labels = []
    for _ in range(8):
        page.keyboard.press("Tab")
        label = "document.activeElement.ariaLabel || document.activeElement.textContent"
        labels.append(page.evaluate(label))
    assert labels[0] == f"One less: Looked at, {GRAY}"
    assert labels[3] == f"Looked at all 10, {GRAY}"
    assert labels[7] == f"None seen, {GRAY}"
    page.keyboard.press("Space")
    assert (count(page, GRAY, "Looked at"), count(page, GRAY, "Affected")) == ("10", "0")


@pytest.mark.long
def test_a_symptom_can_be_added_on_another_part(cut: Any, tmp_path: Path) -> None:
    page = opened(cut, f"{written_form(tmp_path)}#stop-2")
    page.get_by_text("Seen something else?").click()
    page.select_option("#another", "gray_mold")
    page.select_option("#anotherPart", "leaf")
    tap(page, "Add to each stop")
    tap(page, "None seen, Gray mold: leaves")
    records, _ = handed_over(page, tmp_path)
    assert [(r.body.part, r.id) for r in records] == [("leaf", uuid5(WALK, "gray_mold/leaf"))]


@pytest.mark.long
def test_a_clock_before_the_walk_was_planned_is_told(cut: Any, tmp_path: Path) -> None:
    page = cut.new_page()
    page.clock.set_fixed_time("2020-01-01T08:00:00Z")
    page.goto(written_form(tmp_path))
    page.wait_for_selector("#oddClock")
    assert "before the walk was planned" in page.inner_text("#oddClock")


def test_a_phone_that_keeps_nothing_says_so(cut: Any, tmp_path: Path) -> None:
    page = cut.new_page()
    page.add_init_script(
        """Storage.prototype.setItem = () => { throw new Error('full'); };
        IDBFactory.prototype.open = () => { throw new Error('no'); };"""
    )
    page.goto(f"{written_form(tmp_path)}#stop-1")
    page.wait_for_selector("#cards")
    tap(page, f"None seen, {GRAY}")
    assert page.inner_text("#kept").startswith("THIS PHONE KEEPS NOTHING HERE")
    records, _ = handed_over(page, tmp_path)
    assert [record.body.examined for record in records] == [10]
    assert isinstance(records[0].id, UUID)
