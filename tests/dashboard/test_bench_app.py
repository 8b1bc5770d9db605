"""The bench: read by all, asked by an adviser, refused by the server to everybody else."""

from __future__ import annotations

import time
from pathlib import Path

import axe
import pytest
from dash_help import ROOT, settled, shoot, start_server

from dashboard.words import say
from riskrules.tuning.run_asked import main
from riskrules.tuning.runs import Bench, Question, Run, put
from riskrules.view.desk import open_desk
from tests.tuning.made_farm import make_farm

KEY = "gray_mold.humid_long"
HOSTILE = "<b>six</b> or *eight* hours? [x](javascript:alert(1))"
PATIENCE_S = 120


@pytest.fixture(scope="module")
def answered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a farm with one question answered: two blocks over two seasons."""
    farm = make_farm(tmp_path_factory.mktemp("bench") / "farm")
    folder = Bench(farm).asked / "2026-06-01_1"
    folder.mkdir(parents=True)
    put(folder / "asked.json", Question(
        str(farm), HOSTILE, months=(4, 6), vary=((KEY, (4.0, 6.0, 8.0)),), hazard="gray_mold",
        who="Invented Adviser", when="2026-06-01",
    ))  # fmt: skip
    assert main([str(folder)]) == 0
    return farm


def by_key(elements, key: str):  # type: ignore[no-untyped-def]
    return next(e for e in elements if e.key == key)


def all_words(run) -> str:  # type: ignore[no-untyped-def]
    kinds = (run.text, run.markdown, run.caption, run.warning, run.info, run.success, run.error)
    html = [h.proto.body for h in run.get("html")]
    return "\n".join([*(e.value for kind in kinds for e in kind), *html])


def test_a_reader_sees_the_answer_and_cannot_ask(app, answered):
    run = app("bench", answered, "reader", u="degC")
    assert not run.exception
    assert say("bench.only_adviser") in [c.value for c in run.caption]
    assert not [b for b in run.button if b.key and b.key.startswith("bench_")]
    said = all_words(run).replace("\\", "")
    assert "present" in said and "6 h" in said and "assumption" in said
    assert run.get("plotly_chart")


def test_a_question_is_shown_as_plain_text(app, answered):
    run = app("bench", answered, "reader")
    assert HOSTILE in run.subheader[0].value.replace("\\", "")
    assert "[x](" not in run.subheader[0].value and "<b>" not in run.subheader[0].value


def test_two_seasons_of_few_walks_say_so_and_hazards_without_latency_are_listed(app, answered):
    said = all_words(app("bench", answered, "reader")).replace("\\", "")
    assert "too few sightings to tell" in said
    assert "Not scored, for want of a published time to symptoms" in said and "heat" in said


@pytest.mark.parametrize("role", ["scout", "reader"])
def test_the_server_refuses_others_at_the_action_itself(app, answered, role):
    from dashboard.parts.bench_run import go_on, start, stop
    from riskrules.door.people import Refused

    app("bench", answered, role)
    desk, before = open_desk(answered), [r.id for r in Bench(answered).runs()]
    with pytest.raises(Refused):
        start(desk, Question(str(answered)))
    with pytest.raises(Refused):
        go_on(desk, "2026-06-01_1")
    with pytest.raises(Refused):
        stop(desk, "2026-06-01_1")
    assert [r.id for r in Bench(answered).runs()] == before


def test_a_name_in_the_address_opens_nothing_else(app, answered):
    run = app("bench", answered, "reader", run="../../../etc")
    assert not run.exception and run.selectbox[0].value == "2026-06-01_1"


def test_without_a_profile_chosen_nothing_is_begun(app, answered):
    run = app("bench", answered, "adviser")
    by_key(run.radio, "bench_way").set_value("profiles").run()
    by_key(run.button, "bench_start").click().run()
    assert not run.exception
    assert say("bench.needs_profile") in [e.value for e in run.error]
    assert len(Bench(answered).runs()) == 1


def test_seasons_that_choose_and_score_are_warned_of(app, answered):
    run = app("bench", answered, "adviser")
    by_key(run.multiselect, "bench_by_value").set_value(["2023", "2024"]).run()
    want = say("bench.chosen_warn", seasons="2023, 2024")
    assert want in [w.value for w in run.warning]


def test_one_season_alone_is_warned_of(app, answered):
    run = app("bench", answered, "adviser")
    by_key(run.multiselect, "bench_seasons_4_6").set_value(["2024"]).run()
    assert say("bench.one_season") in [w.value for w in run.warning]


def test_two_numbers_must_differ(app, answered):
    run = app("bench", answered, "adviser")
    by_key(run.radio, "bench_way").set_value("two").run()
    by_key(run.selectbox, "bench_number_2").set_value(KEY).run()
    assert say("bench.same_number") in [e.value for e in run.error]


def wait_for(farm: Path, name: str, *states: str) -> Run:
    """Return a replay once it is in a state."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = Bench(farm).find(name)
        assert found is not None
        if found.state in states:
            return found
        time.sleep(0.2)
    raise AssertionError(f"{found.state}: {found.progress}")


@pytest.mark.long
def test_an_adviser_asks_waits_and_takes_the_record(browser_page, tmp_path):
    """Asked, watched, read after a reload and after the server died; then read by others."""
    farm = make_farm(tmp_path / "farm")
    server, child = start_server(farm, tmp_path)
    try:
        page = browser_page(1440)
        page.goto(f"{server.url}/bench")
        settled(page)
        page.get_by_label(say("bench.question")).fill("Six hours or eight?")
        page.get_by_label(say("bench.question")).press("Control+Enter")
        settled(page)
        page.get_by_label("from (h)").fill("6")
        page.get_by_label("from (h)").press("Enter")
        settled(page)
        page.get_by_label("to (h)").fill("8")
        page.get_by_label("to (h)").press("Enter")
        settled(page)
        page.get_by_label(say("bench.many")).fill("3")
        page.get_by_label(say("bench.many")).press("Enter")
        settled(page)
        page.get_by_text("Tried: 6 h, 7 h, 8 h.").wait_for()
        page.get_by_label(say("bench.who")).fill("Invented Adviser")
        page.get_by_label(say("bench.who")).press("Enter")
        settled(page)
        shoot(page, "bench_ask", 1440)
        page.get_by_role("button", name=say("bench.start")).click()
        page.get_by_text("Being answered: Six hours or eight?").wait_for()
        assert axe.troubles(page) == []
        shoot(page, "bench_progress", 1440)
        page.reload()
        settled(page)
        name = Bench(farm).runs()[0].id
        child.kill()  # the pages die; the replay does not
        child.wait(10)
        assert wait_for(farm, name, "done").record.exists()
    finally:
        child.kill()
        child.wait(10)
    server, child = start_server(farm, tmp_path)
    try:
        for width in (1440, 390):
            page = browser_page(width)
            page.goto(f"{server.url}/bench?run={name}&u=degC")
            settled(page)
            page.wait_for_selector(".js-plotly-plot")
            page.get_by_text("Six hours or eight?").first.wait_for()
            shoot(page, "bench_answer", width)
        with page.expect_download() as taken:
            page.get_by_role("button", name=say("bench.record")).click()
        text = Path(taken.value.path()).read_text(encoding="utf-8")
        assert "Six hours or eight?" in text and "gray_mold.humid_long=6,7,8" in text
    finally:
        child.terminate()
        child.wait(10)


@pytest.mark.long
@pytest.mark.parametrize("width", [390, 1440])
def test_answers_and_form_fit_the_screen_and_are_accessible(
    browser_page, answered, tmp_path, width
):
    """A sweep, a map of two with a profile, and the form, with all that folds out."""
    both = Bench(answered).asked / "2026-06-02_1"
    if not both.exists():
        both.mkdir()
        region = ROOT / "rulepacks" / "regions" / "humid_valley.yaml"
        put(both / "asked.json", Question(
            str(answered), "Both at once?", months=(4, 6), hazard="gray_mold",
            vary=((KEY, (4.0, 8.0)), ("gray_mold.flower_attention", (0.3, 0.6))),
            profiles=(str(region),), chosen_by=("2023",), who="an adviser", when="2026-06-02",
        ))  # fmt: skip
        assert main([str(both)]) == 0
    server, child = start_server(answered, tmp_path)
    try:
        page = browser_page(width)
        for name, shot in (("2026-06-01_1", "sweep"), ("2026-06-02_1", "map")):
            page.goto(f"{server.url}/bench?run={name}")
            settled(page)
            page.wait_for_selector(".js-plotly-plot")
            for fold in page.locator("[data-testid=stExpander] summary:visible").all():
                fold.click()
            fits(page, f"bench_{shot}", width)
        page.get_by_role("tab", name=say("bench.tab_ask")).click()
        page.get_by_text(say("bench.way_two")).click()
        settled(page)
        page.get_by_label("Number 2").wait_for()
        fits(page, "bench_form", width)
    finally:
        child.terminate()
        child.wait(10)


def fits(page, name: str, width: int) -> None:  # type: ignore[no-untyped-def]
    """Shoot a page, and hold it against the checks of all pages."""
    page.wait_for_timeout(800)
    shoot(page, name, width)
    assert not page.locator("[data-testid=stException]").count()
    wide = page.evaluate(
        "() => document.querySelector('[data-testid=stMain]').scrollWidth - innerWidth"
    )
    assert wide <= 0
    assert axe.troubles(page) == []
