"""A finding keeps its identity while what it says changes; what is gone is withdrawn."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.findings.build import content_hash
from riskrules.findings.model import Finding
from riskrules.findings.since import compare
from riskrules.report import as_json

from .scenes import RULES, example, finding
from .small_farm import NOW, reviewed, write_farm

WET = "gray_mold.flower_infection"
SOME = finding(WET)
HOUR = 3600


def test_the_identity_is_rule_block_and_start() -> None:
    found = finding(WET, {"wet": {"flower_index": 0.6, "stages": [65], "start": 5, "end": 9},
                          "gives": "fires"})  # fmt: skip
    assert found.id == f"{WET}@beds@2001-01-01T05:00:00+00:00"
    assert found.start == "2001-01-01T05:00:00+00:00"
    assert found.end == "2001-01-01T09:00:00+00:00"


@pytest.mark.parametrize("key", RULES)
def test_the_same_facts_give_the_same_hash(key: str) -> None:
    one, other = finding(key), finding(key)
    assert one == other
    assert one.hash == content_hash(one)
    assert len(one.hash) == 16


def test_how_urgent_it_is_changes_neither_identity_nor_hash() -> None:
    early, late = finding(WET, now=2), finding(WET, now=900)
    assert (early.urgency, late.urgency) == ("Immediate", "Past")
    assert (early.id, early.hash) == (late.id, late.hash)


@pytest.mark.parametrize("change", [{"flower_index": 0.61}, {"hours": 15}, {"temperature": 20.1},
                                    {"end": 3}, {"basis": "estimated"}])  # fmt: skip
def test_any_other_value_changes_the_hash(change: dict[str, Any]) -> None:
    old = example(WET)
    new = {**old, "wet": {**old["wet"], **change}}
    assert finding(WET, new).hash != finding(WET).hash


def test_every_word_of_a_finding_is_under_its_hash() -> None:
    found = finding(WET)
    for name in asdict(found):
        if name in ("hash", "status", "urgency", "margins"):
            continue
        value = getattr(found, name)
        other = f"{value}!" if isinstance(value, str) else (*value, "more")
        if name == "facts":
            other = value[1:]
        changed: dict[str, Any] = {name: other}
        assert content_hash(replace(found, **changed)) != found.hash, name


# Since an earlier review


def made(start: int, end: int, rule: str = "p.r", block: str = "b", **more: Any) -> Finding:
    """Return an invented finding from an hour to another of one month."""
    found = replace(
        SOME, rule=rule, block=block, start=iso(start), end=iso(end),
        id=f"{rule}@{block}@{iso(start)}", **more,
    )  # fmt: skip
    return replace(found, hash=content_hash(found))


def iso(hour: int) -> str:
    return f"2026-05-{1 + hour // 24:02}T{hour % 24:02}:00:00+00:00"


def old(*findings: Finding) -> list[dict[str, Any]]:
    """Return findings as an earlier review's JSON holds them."""
    found: list[dict[str, Any]] = json.loads(json.dumps([asdict(f) for f in findings]))
    return found


def told(now: list[Finding], earlier: list[dict[str, Any]]) -> tuple[list[Any], list[str]]:
    found, withdrawn = compare(now, earlier)
    return [(f.id[-20:-12], f.status) for f in found], [w["id"][-20:-12] for w in withdrawn]


def hour(n: int) -> str:
    return made(n, n + 1).id[-20:-12]


def test_what_is_unchanged_is_the_same_and_nothing_is_withdrawn() -> None:
    both = [made(1, 5), made(9, 12)]
    assert told(both, old(*both)) == ([(hour(1), "same"), (hour(9), "same")], [])


def test_what_nobody_saw_before_is_new_and_what_is_gone_is_withdrawn() -> None:
    assert told([made(30, 33)], old(made(1, 5))) == ([(hour(30), "new")], [hour(1)])
    _, withdrawn = compare([], old(made(1, 5)))
    assert [w["status"] for w in withdrawn] == ["withdrawn"]


def test_a_span_that_grew_is_revised_and_keeps_its_identity() -> None:
    assert told([made(1, 9)], old(made(1, 5))) == ([(hour(1), "revised")], [])


def test_a_start_that_moved_keeps_the_earlier_identity() -> None:
    found, withdrawn = compare([made(2, 9)], old(made(4, 6)))
    assert (found[0].id, found[0].status, withdrawn) == (made(4, 6).id, "revised", [])
    assert found[0].start == iso(2)


def test_an_inherited_identity_is_still_the_same_the_next_time() -> None:
    (second,), _ = compare([made(2, 9)], old(made(4, 6)))
    (third,), withdrawn = compare([made(2, 9)], old(second))
    assert (third.id, third.status, withdrawn) == (made(4, 6).id, "same", [])


def test_two_that_became_one_keep_the_oldest_identity() -> None:
    earlier = old(made(1, 3), made(5, 9))
    assert told([made(1, 9)], earlier) == ([(hour(1), "revised")], [])
    assert told([made(2, 8)], earlier) == ([(hour(1), "revised")], [])
    assert told([made(2, 8)], earlier[::-1]) == ([(hour(1), "revised")], [])


@pytest.mark.parametrize("turned", [False, True])
def test_one_that_became_two_gives_its_identity_to_one_only(turned: bool) -> None:
    """Whichever comes first in the list: a pressing late part stands before a past early one."""
    parts = [made(1, 3), made(5, 9)]
    found, withdrawn = compare(parts[::-1] if turned else parts, old(made(1, 9)))
    assert {f.id: f.status for f in found} == {parts[0].id: "revised", parts[1].id: "new"}
    assert withdrawn == []


def test_two_that_only_touch_stay_two() -> None:
    both = [made(1, 5), made(5, 9)]
    assert told(both, old(*both)) == ([(hour(1), "same"), (hour(5), "same")], [])
    assert told(both[:1], old(*both)) == ([(hour(1), "same")], [hour(5)])


def test_another_rule_or_block_is_never_the_same() -> None:
    earlier = old(made(1, 5, rule="p.other"), made(1, 5, block="other"))
    found, withdrawn = compare([made(1, 5)], earlier)
    assert found[0].status == "new"
    assert len(withdrawn) == 2


spans = st.tuples(st.integers(0, 40), st.integers(0, 12)).map(lambda x: made(x[0], x[0] + x[1]))
lists = st.lists(spans, max_size=5, unique_by=lambda f: f.id)


@given(lists, lists, st.randoms(use_true_random=False))
def test_no_identity_is_given_twice_or_lost(
    now: list[Finding], before: list[Finding], chance: Any
) -> None:
    chance.shuffle(now)
    found, withdrawn = compare(now, old(*before))
    ids = [f.id for f in found]
    assert len(ids) == len(set(ids)) == len(now)
    assert [replace(f, id="", status="") for f in found] == [replace(f, id="") for f in now]
    known = {f.id for f in before}
    gone = {w["id"] for w in withdrawn}
    assert not gone & set(ids)
    assert {f.id for f in found if f.status != "new"} <= known
    again, nothing = compare(found, old(*found))
    assert (nothing, {f.status for f in again} - {"same"}) == ([], set())


def test_a_review_since_itself_has_nothing_new_and_since_a_day_ago_says_what_is(
    tmp_path: Path,
) -> None:
    farm = write_farm(tmp_path)
    first = reviewed(farm, as_of=NOW - 24 * HOUR)
    earlier = json.loads(json.dumps(as_json(first)))
    same = reviewed(farm, as_of=NOW - 24 * HOUR, earlier=earlier)
    assert {f.status for f in same.findings} == {"same"}
    assert same.withdrawn == ()
    later = reviewed(farm, earlier=earlier)
    assert "new" in {f.status for f in later.findings}
    assert len({f.id for f in later.findings}) == len(later.findings)
    assert as_json(reviewed(farm)) == as_json(reviewed(farm))


def test_the_hash_does_not_change_with_the_clock_alone() -> None:
    quantities = {"age": {"least": 5.0, "most": 5.0, "unit": "h"}}
    fact = {"id": "sighting/b/1", "quantities": quantities}
    words = {name: "" for name in ("id", "rule", "title", "hazard", "block", "start", "end")}
    more = {name: "" for name in ("severity", "urgency", "certainty", "sentence", "basis")}
    none = {name: () for name in ("thresholds", "margins", "jobs", "cautions", "sources")}
    one = Finding(**words, **more, **none, facts=(fact,))  # type: ignore[arg-type]
    older = {"age": {"least": 29.0, "most": 29.0, "unit": "h"}}
    later = replace(one, urgency="Past", facts=({**fact, "quantities": older},))
    assert content_hash(later) == content_hash(one)
    assert content_hash(replace(one, sentence="another")) != content_hash(one)
