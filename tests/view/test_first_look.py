"""Two reviews compared: what came, went, moved, or can no longer be told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import PackError
from riskrules.findings.model import Finding, UnknownFinding
from riskrules.packs.regions import Change
from riskrules.view.desk import open_desk
from riskrules.view.first_look import FATES, compare_findings, compare_reviews, first_look

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs" / "farm.yaml"
DAYS = (date(2026, 5, 10), date(2026, 5, 15))


def finding(day: int, hours: int = 6, block: str = "b", rule: str = "p.r", **more: str) -> Finding:
    start, end = f"2026-05-{day:02}T00:00:00+00:00", f"2026-05-{day:02}T{hours:02}:00:00+00:00"
    made = Finding(f"{rule}@{block}@{start}", rule, "R", "gray_mold", block, start, end, "Minor",
                   "Past", "Likely", "s", "measured", (), (), (), (), (), ())  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def unknown(day: int, block: str = "b", rule: str = "p.r") -> UnknownFinding:
    start, end = f"2026-05-{day:02}T01:00:00+00:00", f"2026-05-{day:02}T02:00:00+00:00"
    return UnknownFinding(f"u{day}", block, start, end, (), "s", (), (rule,), "Minor")


def fates(before, after, *unknowns):  # type: ignore[no-untyped-def]
    return [m.fate for m in compare_findings(before, after, *unknowns).moves]


def test_each_fate():
    one, two = finding(1), finding(2)
    assert fates([one], [one]) == []
    assert fates([], [two]) == ["came"]
    assert fates([one], []) == ["went"]
    assert fates([one], [replace(one, end="2026-05-01T09:00:00+00:00")]) == ["moved"]
    assert fates([one], [replace(one, severity="Severe")]) == ["moved"]
    later = "2026-05-01T02:00:00+00:00"
    assert fates([one], [replace(one, id="other", start=later)]) == ["moved"]
    assert fates([one], [two]) == ["went", "came"]


def test_what_can_no_longer_be_told_is_not_gone():
    assert fates([finding(1)], [], [], [unknown(1)]) == ["open"]
    assert fates([finding(1)], [], [], [unknown(2)]) == ["went"]
    assert fates([finding(1)], [], [], [unknown(1, block="c")]) == ["went"]
    assert fates([finding(1)], [], [], [unknown(1, rule="p.other")]) == ["went"]
    [came] = compare_findings([], [finding(1)], [unknown(1)], []).moves
    assert came.was_open


def test_two_that_overlap_one_are_not_both_paired_with_it():
    long = finding(1, 20)
    halves = [
        replace(finding(1, 8), id="a", start="2026-05-01T01:00:00+00:00"),
        replace(finding(1, 20), id="b", start="2026-05-01T09:00:00+00:00"),
    ]
    found = compare_findings([long], halves)
    assert sorted(m.fate for m in found.moves) == ["came", "moved"]
    moved = next(m for m in found.moves if m.fate == "moved")
    assert moved.after is not None and moved.after.id == "b"  # it shares more


@settings(deadline=None, max_examples=30)
@given(st.data())
def test_every_finding_is_counted_once(data):
    def some():  # type: ignore[no-untyped-def]
        keys = data.draw(
            st.lists(
                st.tuples(st.integers(1, 9), st.integers(1, 23), st.sampled_from("bc"),
                          st.sampled_from(["p.r", "p.s"])),
                max_size=12, unique_by=lambda k: (k[0], k[2], k[3]),
            )
        )  # fmt: skip
        return [finding(*k) for k in keys]

    before, after = some(), some()
    found = compare_findings(before, after)
    n = {f: found.total(f) for f in FATES}
    assert found.stayed + n["went"] + n["open"] + n["moved"] == len(before)
    assert found.stayed + n["came"] + n["moved"] == len(after)
    back = compare_findings(after, before)
    assert (back.total("came"), back.total("went")) == (n["went"], n["came"])
    assert sum(sum(c.values()) for c in found.counts().values()) == len(found.moves)


def test_a_look_at_the_invented_season_equals_a_review_with_the_profile(tmp_path):
    import shutil

    for path in SAMPLE.parent.glob("*.csv"):
        shutil.copy(path, tmp_path)
    farm = tmp_path / "farm.yaml"
    shutil.copy(SAMPLE, farm)
    change = Change(
        threshold="facts.humid", value=85, unit="%", reason="r", who="w", when="2026-01-01"
    )
    desk = open_desk(farm)
    found = first_look(desk, [change], *DAYS)
    assert found.moves
    before = desk.review(*DAYS)
    (tmp_path / "p.yaml").write_text(
        f"profile: p\ntitle: Invented\nchanges:\n- {change.model_dump_json()}\n"
    )
    farm.write_text(farm.read_text() + "profile: p.yaml\n")
    real = compare_reviews(before, open_desk(farm).review(*DAYS))
    assert real.counts() == found.counts() and real.stayed == found.stayed


def test_a_look_at_what_is_not_allowed_is_refused():
    change = Change(threshold="facts.humid", value=5, unit="%", reason="r", who="w", when="x")
    with pytest.raises(PackError, match="expected 75 to 99"):
        first_look(open_desk(SAMPLE), [change], *DAYS)
