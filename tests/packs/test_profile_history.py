"""Profiles saved: atomically, within range, every version kept; chains of profiles."""

from __future__ import annotations

import os
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from riskrules.errors import PackError
from riskrules.packs import profile_history as history
from riskrules.packs.load import apply_profile
from riskrules.packs.marked import read_marked
from riskrules.packs.regions import Change, version_of
from riskrules.review import shipped_rulebook

BOOK = shipped_rulebook()
CHANGE = Change(
    threshold="facts.warm", value=24, unit="degC", reason="invented", who="adviser",
    when="2026-01-02", evidence="invented walks",
)  # fmt: skip


def begun(folder: Path, name: str = "farm", of: str | None = None) -> Path:
    path = folder / f"{name}.yaml"
    history.begin_profile(path, name, "Invented", BOOK, of)
    return path


def test_each_version_is_kept_and_any_two_can_be_compared(tmp_path):
    path = begun(tmp_path)
    first = version_of(path.read_text())
    second = history.set_threshold(path, CHANGE, BOOK)
    third = history.set_threshold(path, CHANGE.model_copy(update={"value": 23.5}), BOOK, second)
    assert [v.version for v in history.versions(path)] == [first, second, third]
    assert history.versions(path)[1].why == "invented"
    [d] = history.difference_of(path, first, third)
    assert d.before is None and d.after is not None and d.after.value == 23.5
    [d] = history.difference_of(path, second, third)
    assert d.before == CHANGE
    note = history.Version("", "2026-02-02", "adviser", "facts.warm", "no use")
    fourth = history.take_back(path, "facts.warm", BOOK, note)
    assert [x.threshold for x in history.difference_of(path, third, fourth)] == ["facts.warm"]
    assert history.versions(path)[-1].why == "no use"
    assert version_of(history.text_of(path, second)) == second
    assert not list(tmp_path.rglob("*.tmp"))


def test_what_was_edited_by_hand_is_a_version_too(tmp_path):
    path = begun(tmp_path)
    history.set_threshold(path, CHANGE, BOOK)
    path.write_text(path.read_text() + "# by hand\n")
    by_hand = version_of(path.read_text())
    last = history.set_threshold(path, CHANGE.model_copy(update={"value": 22}), BOOK)
    assert [v.version for v in history.versions(path)][-2:] == [by_hand, last]
    assert "# by hand" in path.read_text()
    assert "# by hand" in history.text_of(path, by_hand)


@pytest.mark.parametrize(
    ("update", "said"),
    [
        ({"value": 19.9}, "expected 20 to 32 degC"),
        ({"value": float("nan")}, "expected"),
        ({"unit": "K"}, "expected degC"),
        ({"threshold": "facts.warmm"}, "did you mean"),
        ({"reason": " "}, "reason is empty"),
    ],
)
def test_what_is_not_allowed_changes_nothing(tmp_path, update, said):
    path = begun(tmp_path)
    before = path.read_bytes()
    with pytest.raises(PackError, match=said):
        history.set_threshold(path, CHANGE.model_copy(update=update), BOOK)
    assert path.read_bytes() == before


def test_a_profile_that_somebody_else_changed_is_not_overwritten(tmp_path):
    path = begun(tmp_path)
    seen = version_of(path.read_text())
    history.set_threshold(path, CHANGE, BOOK, seen)
    with pytest.raises(PackError, match="somebody changed it"):
        history.set_threshold(path, CHANGE.model_copy(update={"value": 22}), BOOK, seen)


def test_two_who_save_at_once_lose_nothing(tmp_path):
    path = begun(tmp_path)
    wishes = [CHANGE.model_copy(update={"value": 20 + i}) for i in range(6)]
    threads = [threading.Thread(target=history.set_threshold, args=(path, w, BOOK)) for w in wishes]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(history.versions(path)) == 7
    for v in history.versions(path):
        history.text_of(path, v.version)


def test_a_stop_in_the_middle_leaves_the_old_or_the_new(tmp_path, monkeypatch):
    path = begun(tmp_path)
    before = path.read_bytes()

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(PackError, match="No space left"):
        history.set_threshold(path, CHANGE, BOOK)
    assert path.read_bytes() == before
    assert not list(tmp_path.rglob("*.tmp"))


def test_a_kept_version_that_was_changed_is_not_taken_for_it(tmp_path):
    path = begun(tmp_path)
    first = version_of(path.read_text())
    history.set_threshold(path, CHANGE, BOOK)
    kept = history.history_of(path) / f"{first}.yaml"
    kept.write_text(kept.read_text() + "#\n")
    with pytest.raises(PackError, match="was changed"):
        history.text_of(path, first)
    for bad in ("../farm", "0" * 12, "", "x/y"):
        with pytest.raises(PackError, match="no version"):
            history.text_of(path, bad)


def test_begin_never_overwrites(tmp_path):
    path = begun(tmp_path)
    with pytest.raises(PackError, match="is there already"):
        history.begin_profile(path, "other", "Invented", BOOK)


def test_a_farm_of_a_county_of_a_state(tmp_path):
    state, county = begun(tmp_path, "state"), begun(tmp_path, "county", "state.yaml")
    farm = begun(tmp_path, "farm", "county.yaml")
    history.set_threshold(state, CHANGE.model_copy(update={"value": 21}), BOOK)
    history.set_threshold(
        state, CHANGE.model_copy(update={"threshold": "facts.hot", "value": 27}), BOOK
    )
    history.set_threshold(county, CHANGE.model_copy(update={"value": 22}), BOOK)
    book = apply_profile(BOOK, read_marked(farm))
    assert book.value("warm") == 22 and book.value("hot") == 27
    assert book.shared["warm"].origin.startswith("profile county (")
    assert book.shared["hot"].origin.startswith("profile state (")
    names = [f"{p.stem} {version_of(p.read_text())}" for p in (farm, county, state)]
    assert book.profile == " of ".join(names)
    assert apply_profile(BOOK, read_marked(state)).profile == names[2]


def test_a_circle_is_refused_with_its_line(tmp_path):
    state = begun(tmp_path, "state")
    farm = begun(tmp_path, "farm", "state.yaml")
    state.write_text(state.read_text().replace("changes", "of: farm.yaml\nchanges"))
    with pytest.raises(PackError) as caught:
        apply_profile(BOOK, read_marked(farm))
    [problem] = caught.value.problems
    assert (problem.file, problem.line) == ("state.yaml", 4)
    assert "farm of state of itself" in problem.message


def test_a_profile_of_nothing_is_refused_with_its_line(tmp_path):
    path = tmp_path / "farm.yaml"
    path.write_text("profile: farm\ntitle: Invented\nof: gone.yaml\nchanges: []\n")
    with pytest.raises(PackError) as caught:
        apply_profile(BOOK, read_marked(path))
    assert str(caught.value).startswith("farm.yaml:3:5: 'gone.yaml': no such file")


def test_the_same_threshold_twice_is_refused(tmp_path):
    line = "- {threshold: facts.warm, value: 24, unit: degC, reason: r, who: w, when: x}\n"
    path = tmp_path / "farm.yaml"
    path.write_text("profile: farm\ntitle: Invented\nchanges:\n" + 2 * line)
    with pytest.raises(PackError, match=r"farm.yaml:5:.*changed twice"):
        apply_profile(BOOK, read_marked(path))


def test_evidence_is_told_with_the_origin(tmp_path):
    path = begun(tmp_path)
    history.set_threshold(path, CHANGE, BOOK)
    warm = apply_profile(BOOK, read_marked(path)).shared["warm"]
    assert warm.origin == "profile farm (adviser, 2026-01-02: invented; evidence: invented walks)"
    assert replace(warm, origin="", value=26) == replace(BOOK.shared["warm"], origin="")
