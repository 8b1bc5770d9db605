"""The first start: sample farm copied, own farm written whole or not at all."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import RiskRulesError
from riskrules.farm import load_farm
from riskrules.packs.marked import Marked
from riskrules.view import first
from riskrules.view.desk import open_desk
from riskrules.view.first import BlockDraft, LogDraft, PlaceDraft, begin_farm, begin_sample

PLACE = PlaceDraft("Invented Farm: north & south", 39.5, -86.0, "America/Chicago")
BEDS = BlockDraft("Creek beds", "low_tunnel", True, "straw", "day_neutral")
LOG = (
    b"time,air_temperature [degC],relative_humidity [%]\n"
    b"2026-05-01 00:00,12,80\n2026-05-01 01:00,12,81\n2026-05-01 02:00,13,82\n"
)
SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs"


def test_the_sample_is_copied_says_that_it_is_invented_and_may_be_changed(tmp_path):
    file = begin_sample(tmp_path)
    assert "nvented" in (file.parent / first.INVENTED).read_text()
    assert load_farm(file).text.journal == "journal.db"
    for path in SAMPLE.glob("*.csv"):
        assert (file.parent / path.name).read_bytes() == path.read_bytes()
    assert os.access(file, os.W_OK) and (file.parent / "journal.db").exists()
    desk = open_desk(file)
    assert desk.review().blocks and desk.journal is not None


def test_a_second_sample_does_not_touch_the_first(tmp_path):
    one = begin_sample(tmp_path)
    one.write_text("mine")
    two = begin_sample(tmp_path)
    assert one.read_text() == "mine" and one != two


def test_an_own_farm_is_read_and_reviewed(tmp_path):
    proposal = first.look_at(LOG, "x.csv")
    file, taken = begin_farm(
        tmp_path, PLACE, [BEDS, BlockDraft("Hill")],
        [LogDraft("creek_beds", "../../evil name.csv", LOG, proposal.text)],
    )  # fmt: skip
    text = load_farm(file).text
    assert text.farm == PLACE.farm and [b.block for b in text.blocks] == ["creek_beds", "hill"]
    assert text.blocks[0].ground == "straw" and text.blocks[1].tunnel is None
    assert [(t.state, t.rows) for t in taken] == [("new", 3)]
    desk = open_desk(file)
    assert desk.store is not None and desk.journal is not None
    assert len(desk.readings("creek_beds")[0]) == 3
    assert not [p for p in tmp_path.rglob("*") if "evil" in p.name]
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize(
    ("place", "blocks", "logs", "said"),
    [
        (PlaceDraft("", 0, 0, "UTC"), [BEDS], [], "no name"),
        (PlaceDraft("F", 0, 0, "Mars/North"), [BEDS], [], "no clock 'Mars/North'"),
        (PlaceDraft("F", None, -86.0, "UTC"), [BEDS], [], "degrees north and east"),
        (PlaceDraft("F", 0, 0, ""), [BEDS], [], "the clock on the wall"),
        (PLACE, [], [], "no block"),
        (PLACE, [BEDS, BlockDraft("creek-beds!")], [], "stands twice as creek_beds"),
        (PLACE, [BlockDraft("¿?")], [], "block 1 has no name"),
        (PLACE, [BEDS], [LogDraft("hill", "a.csv", LOG)], "a log of 'hill'"),
        (PLACE, [BEDS], [LogDraft("creek_beds", "a.exe", LOG)], "ending in '.exe'"),
        (PLACE, [BEDS], [LogDraft("creek_beds", "a.csv", b"\x00\x01nothing")], "first_1.csv"),
        (PLACE, [BEDS], [LogDraft("creek_beds", "a.csv", LOG, "zone: [")], "YAML"),
        (PLACE, [BEDS], [LogDraft("creek_beds", "a.csv", LOG, "zoon: x")], "'zoon'"),
        (PlaceDraft("F", 99, 0, "UTC"), [BEDS], [], "latitude"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_said_and_nothing_is_left(tmp_path, place, blocks, logs, said):
    with pytest.raises(RiskRulesError) as caught:
        begin_farm(tmp_path / "farms", place, blocks, logs)
    assert said in str(caught.value)
    assert not list((tmp_path / "farms").glob("*"))


def test_a_log_that_is_too_large_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(first, "LARGEST", 10)
    with pytest.raises(RiskRulesError, match="at most 10"):
        first.look_at(LOG, "x.csv")


def test_two_who_begin_at_once_get_two_farms(tmp_path):
    found: list[Path] = []
    run = [
        threading.Thread(target=lambda: found.append(begin_farm(tmp_path, PLACE, [BEDS], [])[0]))
        for _ in range(4)
    ]
    for t in run:
        t.start()
    for t in run:
        t.join()
    assert len(set(found)) == 4


WORDS = st.text(min_size=1, max_size=30)


@settings(deadline=None, max_examples=40)
@given(WORDS, st.lists(WORDS, min_size=1, max_size=4), st.floats(-90, 90), st.floats(-180, 180))
def test_whatever_is_typed_the_farm_file_can_be_read_or_is_refused_before(name, words, lat, lon):
    place = PlaceDraft(name, lat, lon, "UTC")
    blocks = [BlockDraft(w) for w in words]
    if first.draft_problems(place, blocks):
        return
    from riskrules.farm import FarmText

    text = FarmText.model_validate(Marked("farm.yaml", first.farm_text(place, blocks, set())).data)
    assert text.farm == " ".join(name.split())
    assert [b.block for b in text.blocks] == [b.name for b in blocks]
    assert text.place.latitude == pytest.approx(lat, abs=1e-5)
