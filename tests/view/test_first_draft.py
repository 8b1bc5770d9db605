"""A farm that is being begun: nothing that was typed or given is lost before it is made."""

from __future__ import annotations

import os
import stat

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_first_view import BEDS, LOG, PLACE

from riskrules.errors import LogError, RiskRulesError
from riskrules.view import first_draft
from riskrules.view.chosen import HOME
from riskrules.view.first import BlockDraft, PlaceDraft, begin_farm, look_at
from riskrules.view.first_draft import MOST, NOTHING, Draft, draft_of, drafts

A = "0123456789abcdef"


@pytest.fixture(autouse=True)
def at_home(tmp_path, monkeypatch):
    monkeypatch.setenv(HOME, str(tmp_path / "home"))


WORDS = st.text(max_size=30)


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(WORDS, st.lists(WORDS, min_size=1, max_size=4), st.none() | st.floats(-90, 90))
def test_what_was_typed_comes_back_as_it_was(name, words, lat):
    place, blocks = PlaceDraft(name, lat, -86.0, "UTC"), [BlockDraft(w) for w in words]
    draft_of(A).say(place, blocks, 1_000)
    again = draft_of(A).said
    assert again is not None and (again.place, again.blocks) == (place, tuple(blocks))


def test_an_untouched_page_keeps_nothing():
    draft_of(A).say(NOTHING[0], NOTHING[1], 1_000)
    assert not draft_of(A).folder.exists() and drafts() == []


def test_what_was_typed_may_be_emptied_again():
    draft = draft_of(A)
    draft.say(PLACE, [BEDS], 1_000)
    draft.say(*NOTHING, 2_000)
    assert draft.said is not None and (draft.said.place, draft.said.begun) == (NOTHING[0], 1_000)


def test_a_log_and_its_mapping_come_back(tmp_path):
    draft = draft_of(A)
    draft.say(PLACE, [BEDS, BlockDraft("Hill")], 1_000)
    draft.give(1, "hill.csv", LOG)
    assert draft.given(0) is None and draft.log(0, "creek_beds", "") is None
    again = draft_of(A).log(1, "hill", "# as proposed\n")
    assert again is not None and (again.data, again.mapping) == (LOG, "# as proposed\n")
    draft.map(1, draft.given(1), "zone: UTC\n")
    again = draft_of(A).log(1, "hill", "# as proposed\n")
    assert again is not None and again.mapping == "zone: UTC\n"
    draft.leave_out(1)
    assert draft_of(A).given(1) is None


def test_a_farm_made_of_a_draft_has_the_logs_bytes(tmp_path):
    draft = draft_of(A)
    draft.say(PLACE, [BEDS], 1_000)
    draft.give(0, "x.csv", LOG)
    said, log = draft.said, draft.log(0, "creek_beds", look_at(LOG, "x.csv").text)
    file, taken = begin_farm(tmp_path / "farms", said.place, said.blocks, [log])
    assert [t.rows for t in taken] == [3]  # as many as LOG has
    assert [p.read_bytes() for p in (file.parent / "logs" / "creek_beds").iterdir()] == [LOG]
    draft.end()
    assert not draft.folder.exists() and draft_of(A).said is None


def test_a_tab_that_is_behind_loses_no_log_of_another():
    one, two = draft_of(A), draft_of(A)
    one.say(PLACE, [BEDS], 1_000)
    one.give(0, "x.csv", LOG)
    two.say(PlaceDraft("Older", None, None, ""), [BEDS], 2_000)
    assert one.given(0) is not None


@pytest.mark.parametrize(
    "wrong", ["", "..", "../../etc", A.upper(), A + "\n", A + "0", "/" + A[1:]]
)
def test_only_a_name_of_ours_leads_to_a_folder(wrong):
    made = draft_of(wrong)
    assert made.name != wrong and made.folder.parent == first_draft.drafts_folder()


def test_what_is_no_log_is_refused_and_not_kept():
    draft = draft_of(A)
    with pytest.raises(LogError, match="ending in '.exe'"):
        draft.give(0, "a.exe", LOG)
    assert draft.given(0) is None and not draft.folder.exists()


def test_a_write_that_fails_leaves_what_was_kept(monkeypatch):
    draft = draft_of(A)
    draft.say(PLACE, [BEDS], 1_000)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        with pytest.raises(RiskRulesError, match="No space left"):
            draft.say(PlaceDraft("New", None, None, ""), [BEDS], 2_000)
    assert draft.said is not None and draft.said.place == PLACE
    assert [p.name for p in draft.folder.iterdir()] == [first_draft.SAID]


def test_only_its_owner_may_read_it():
    draft = draft_of(A)
    draft.say(PLACE, [BEDS], 1_000)
    assert stat.S_IMODE(draft.folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((draft.folder / first_draft.SAID).stat().st_mode) == 0o600


def test_what_cannot_be_read_is_said_and_stays_there():
    draft = draft_of(A)
    draft.say(PLACE, [BEDS], 1_000)
    path = draft.folder / first_draft.SAID
    path.write_text("half of it")
    with pytest.raises(RiskRulesError, match="expected a draft"):
        _ = draft.said
    with pytest.raises(RiskRulesError, match="expected a draft"):
        draft.say(PLACE, [BEDS], 2_000)
    assert path.read_text() == "half of it"


def test_those_begun_are_found_the_last_first_and_not_without_end(monkeypatch):
    monkeypatch.setattr(first_draft, "MOST", 3)
    assert MOST > 3
    names = [f"{i:016x}" for i in range(4)]
    for i, name in enumerate(names[:3]):
        Draft(name).say(PLACE, [BEDS], 1_000 + i)
    assert [d.name for d in drafts()] == names[2::-1]
    with pytest.raises(RiskRulesError, match="some to be ended first"):
        Draft(names[3]).say(PLACE, [BEDS], 2_000)
    Draft(names[0]).say(PlaceDraft("Still written", None, None, ""), [BEDS], 2_000)
