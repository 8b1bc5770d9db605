"""The plain evaluator against answers reasoned by hand. All numbers are invented."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from riskrules.engine.match import Match
from riskrules.engine.plain import Step, matches
from riskrules.errors import EngineError
from riskrules.facts.kinds import KINDS
from riskrules.facts.stages import ALL, bits
from riskrules.facts.table import Facts, FactTable
from riskrules.packs.load import check_pack
from riskrules.packs.marked import Marked
from riskrules.packs.model import Pack, Threshold

from .random_rules import Case, cases

SURE, MAYBE = True, False
NEITHER = None
Pair = tuple[float, float]


def both(value: Any) -> Pair:
    """Return least and most of a value that may be one number."""
    return value if isinstance(value, tuple) else (value, value)


def table(kind: str, *rows: dict[str, Any]) -> FactTable:
    """Return facts from mappings: id, start and end (hours), stages, quantities, words.

    Facts exist and the journal is current unless told otherwise; other numbers are not known.
    """
    k, n = KINDS[kind], len(rows)
    given = [{"exists": 1, "journal_current": 1, "start": 0, "end": 1, **row} for row in rows]
    found = FactTable(k, "b1", [r["id"] for r in given], _times(given, "start"),
                      _times(given, "end"), forecast=np.zeros(n, dtype=np.bool_))  # fmt: skip
    for q in k.all_quantities:
        pairs = np.array([both(r.get(q.name, (q.least, q.most))) for r in given]).reshape(n, 2)
        found.least[q.name], found.most[q.name] = pairs[:, 0] * 1.0, pairs[:, 1] * 1.0
        found.cause[q.name] = np.zeros(n, dtype=np.int64)
    for word, values in k.words.items():
        found.words[word] = [r.get(word, values[0]) for r in given]
    if k.chained:
        found.key = [r.get("key", r["id"]) for r in given]
        found.previous = [r.get("previous", "") for r in given]
    masks = np.array([r.get("stages", (0, ALL)) for r in given], dtype=np.int64).reshape(n, 2)
    found.stages_sure, found.stages_possible = masks[:, 0], masks[:, 1]
    return found


def _times(rows: list[dict[str, Any]], name: str) -> Any:
    pairs = np.array([both(r[name]) for r in rows], dtype=np.int64).reshape(len(rows), 2) * 3600
    return pairs[:, 0], pairs[:, 1]


def facts(*tables: FactTable) -> Facts:
    """Return the facts of a block."""
    return {t.kind.name: t for t in tables}


def pack(given: dict[str, str], *when: str, **more: Any) -> Pack:
    """Return a pack of one rule ``p.r`` with thresholds ``two`` h, ``cool`` degC and ``half``."""
    numbers = {"two": (2, "h"), "cool": (10, "degC"), "half": (0.5, "1")}
    thresholds = {
        name: {"value": v, "unit": u, "range": [0, 20], "source": "test", "tag": "assumption"}
        for name, (v, u) in numbers.items()
    }
    rule = {"rule": "r", "title": "Test", "given": given, "when": list(when), **more,
            "finding": {"hazard": "heat", "severity": "Minor", "sentence": "Test."},
            "sources": [{"text": "test", "tag": "assumption"}]}  # fmt: skip
    text = {"pack": "p", "title": "Test", "thresholds": thresholds, "rules": [rule]}
    shared = {"six": Threshold("six", 6.0, "h", 0, 9, "test", "assumption", "shared"),
              "two": Threshold("two", 9.0, "h", 0, 9, "test", "assumption", "shared")}  # fmt: skip
    return check_pack(Marked("test.yaml", json.dumps(text)), shared)


def side(found: list[Match]) -> bool | None:
    """Return SURE, MAYBE or NEITHER of at most one match."""
    assert len(found) <= 1
    return found[0].sure if found else NEITHER


def ask(row: dict[str, Any], *when: str, kind: str = "wet_period", **more: Any) -> bool | None:
    """Return how far one fact satisfies conditions on ``wet``."""
    found = table(kind, {"id": "w1", **row})
    return side(matches(facts(found), [pack({"wet": kind}, *when, **more)]))


@pytest.mark.parametrize(
    ("hours", "at_least", "above", "at_most", "below"),
    [
        (1, NEITHER, NEITHER, SURE, SURE),
        (2, SURE, NEITHER, SURE, NEITHER),
        (3, SURE, SURE, NEITHER, NEITHER),
        ((1, 3), MAYBE, MAYBE, MAYBE, MAYBE),
        ((2, 3), SURE, MAYBE, MAYBE, NEITHER),
        ((1, 2), MAYBE, NEITHER, SURE, MAYBE),
    ],
)
def test_a_number_against_a_threshold_of_two(
    hours: Any, at_least: Any, above: Any, at_most: Any, below: Any
) -> None:
    sides = [ask({"hours": hours}, f"wet.hours {op} two") for op in (">=", ">", "<=", "<")]
    assert sides == [at_least, above, at_most, below]


def test_what_nobody_measured_only_may_hold() -> None:
    assert ask({}, "wet.hours >= two") is MAYBE
    assert ask({}, "wet.hours < two") is MAYBE
    assert ask({}, "wet.straw") is MAYBE
    assert ask({}, "not wet.straw") is MAYBE


@pytest.mark.parametrize(
    ("left", "right", "at_least", "above", "at_most", "below"),
    [
        (2, 2, SURE, NEITHER, SURE, NEITHER),
        ((1, 2), (2, 3), MAYBE, NEITHER, SURE, MAYBE),
        ((2, 3), (1, 2), SURE, MAYBE, MAYBE, NEITHER),
        ((1, 3), (2, 2), MAYBE, MAYBE, MAYBE, MAYBE),
        ((3, 4), (1, 2), SURE, SURE, NEITHER, NEITHER),
    ],
)
def test_two_numbers_against_each_other(
    left: Any, right: Any, at_least: Any, above: Any, at_most: Any, below: Any
) -> None:
    expected = [at_least, above, at_most, below]
    own = [
        ask({"hours": left, "cover_hours": right}, f"wet.hours {op} wet.cover_hours")
        for op in (">=", ">", "<=", "<")
    ]
    assert own == expected
    given = facts(
        table("wet_period", {"id": "w", "hours": left}),
        table("pick_gap", {"id": "g", "hours": right}),
    )
    across = [
        side(
            matches(
                given, [pack({"wet": "wet_period", "gap": "pick_gap"}, f"wet.hours {op} gap.hours")]
            )
        )
        for op in (">=", ">", "<=", "<")
    ]
    assert across == expected


@pytest.mark.parametrize(
    ("flag", "up", "down"),
    [(1, SURE, NEITHER), (0, NEITHER, SURE), ((0, 1), MAYBE, MAYBE)],
)
def test_a_flag(flag: Any, up: Any, down: Any) -> None:
    assert ask({"straw": flag}, "wet.straw") is up
    assert ask({"straw": flag}, "not wet.straw") is down


def test_words_are_certain() -> None:
    row = {"source": "sensor"}
    assert ask(row, "wet.source == 'sensor'") is SURE
    assert ask(row, "wet.source == 'estimated'") is NEITHER
    assert ask(row, "wet.source in ('estimated', 'sensor')") is SURE


def test_all_conditions_must_hold_and_the_weakest_decides() -> None:
    row = {"hours": 3, "straw": (0, 1), "splashed": 0}
    assert ask(row, "wet.hours > two", "wet.hours >= two") is SURE
    assert ask(row, "wet.hours > two", "wet.straw") is MAYBE
    assert ask(row, "wet.hours > two", "wet.straw", "wet.splashed") is NEITHER


def test_either_of_two_must_hold_and_each_is_judged_apart() -> None:
    row = {"hours": (1, 3), "straw": 1, "splashed": 0}
    assert ask(row, "wet.hours > two or wet.straw") is SURE
    assert ask(row, "wet.splashed or wet.hours > two") is MAYBE
    assert ask(row, "wet.splashed or not wet.straw") is NEITHER
    assert ask(row, "wet.hours >= two or wet.hours < two") is MAYBE


def test_a_fact_that_only_may_have_happened_makes_everything_possible_at_most() -> None:
    assert ask({"hours": 3, "exists": (0, 1)}, "wet.hours > two") is MAYBE
    assert ask({"hours": 3, "exists": 0}, "wet.hours > two") is NEITHER


@pytest.mark.parametrize(
    ("there", "expected"),
    [
        ((bits([60]), bits([60, 65])), SURE),
        ((bits([55]), bits([55, 65])), MAYBE),
        ((0, ALL), MAYBE),
        ((bits([55]), bits([55])), NEITHER),
        ((0, 0), NEITHER),
    ],
)
def test_a_growth_stage_that_a_rule_asks_for(there: Any, expected: Any) -> None:
    row = {"hours": 3, "stages": there}
    assert ask(row, "wet.hours > two", stages=[60, 65]) is expected


def test_the_growth_stage_is_read_from_the_fact_that_the_rule_names() -> None:
    bloom, none = (bits([65]), bits([65])), (0, 0)
    given = facts(
        table("night", {"id": "n", "stages": none}), table("day", {"id": "d", "stages": bloom})
    )
    rule = {"night": "night", "day": "day"}
    assert side(matches(given, [pack(rule, "overlaps(day, night)", stages=[65])])) is NEITHER
    named = pack(rule, "overlaps(day, night)", stages=[65], stages_of="day")
    assert side(matches(given, [named])) is SURE


@pytest.mark.parametrize(
    ("relation", "a", "b", "expected"),
    [
        ("overlaps(a, b)", (0, 3), (2, 5), SURE),
        ("overlaps(a, b)", (2, 5), (0, 3), SURE),
        ("overlaps(a, b)", (0, 9), (2, 5), SURE),
        ("overlaps(a, b)", (0, 2), (2, 5), NEITHER),  # they touch, and share no time
        ("overlaps(a, b)", (0, (2, 3)), (2, 5), MAYBE),
        ("overlaps(a, b)", ((1, 4), 6), (2, (4, 5)), MAYBE),  # surely only if 4 < 4
        ("overlaps(a, b)", ((1, 3), 6), (2, (4, 5)), SURE),
        ("within(a, b)", (2, 4), (2, 4), SURE),
        ("within(a, b)", (1, 4), (2, 4), NEITHER),
        ("within(a, b)", (2, 5), (2, 4), NEITHER),
        ("within(a, b)", ((1, 2), 4), (2, 4), MAYBE),
        ("within(a, b)", (2, (3, 5)), (2, (4, 6)), MAYBE),
        ("within(a, b)", (2, (3, 4)), (2, (4, 6)), SURE),
        ("within(b, a)", (0, 9), (2, 4), SURE),
        ("before(a, b)", (0, 2), (2, 4), SURE),
        ("before(a, b)", (0, 3), (2, 4), NEITHER),
        ("before(a, b)", (0, (2, 3)), (2, 4), MAYBE),
        ("before(a, b)", (0, (2, 3)), ((3, 4), 5), SURE),
        ("before(b, a)", (0, 2), (2, 4), NEITHER),
    ],
)
def test_how_two_facts_lie_in_time(relation: str, a: Any, b: Any, expected: Any) -> None:
    given = facts(
        table("wet_period", {"id": "w", "start": a[0], "end": a[1]}),
        table("cover_spell", {"id": "c", "start": b[0], "end": b[1]}),
    )
    for rule in ({"a": "wet_period", "b": "cover_spell"}, {"b": "cover_spell", "a": "wet_period"}):
        assert side(matches(given, [pack(rule, relation)])) is expected


def test_the_next_night_follows() -> None:
    nights = table(
        "night",
        {"id": "n1", "key": "b1/night/2026-05-01"},
        {"id": "n2", "key": "b1/night/2026-05-02", "previous": "b1/night/2026-05-01"},
        {"id": "n4", "key": "b1/night/2026-05-04", "previous": "b1/night/2026-05-03"},
    )
    rule = pack({"one": "night", "two_": "night"}, "follows(two_, one)")
    assert matches(facts(nights), [rule]) == [Match("p.r", ("n1", "n2"), SURE)]
    turned = pack({"two_": "night", "one": "night"}, "follows(two_, one)")
    assert matches(facts(nights), [turned]) == [Match("p.r", ("n2", "n1"), SURE)]


def test_two_aliases_stand_for_two_different_facts() -> None:
    wets = table("wet_period", {"id": "w1", "end": 3}, {"id": "w2", "start": 2, "end": 4})
    rule = pack({"one": "wet_period", "other": "wet_period"}, "overlaps(one, other)")
    pairs = [("w1", "w2"), ("w2", "w1")]
    assert matches(facts(wets), [rule]) == [Match("p.r", pair, SURE) for pair in pairs]


def test_three_facts_come_in_the_order_of_given() -> None:
    found = facts(
        table("wet_period", {"id": "w1", "start": 0, "end": 4}, {"id": "w2", "start": 8, "end": 9}),
        table("cover_spell", {"id": "c1", "start": (2, 5), "end": 9}),
        table("pick", {"id": "p2", "start": 10, "end": 11}, {"id": "p1", "start": 9, "end": 10}),
    )
    given = {"pick": "pick", "cover": "cover_spell", "wet": "wet_period"}
    rule = pack(given, "overlaps(wet, cover)", "before(wet, pick)")
    assert matches(found, [rule]) == [
        Match("p.r", ("p1", "c1", "w1"), MAYBE),
        Match("p.r", ("p1", "c1", "w2"), SURE),
        Match("p.r", ("p2", "c1", "w1"), MAYBE),
        Match("p.r", ("p2", "c1", "w2"), SURE),
    ]


def unless(pick: dict[str, Any] | None, wet: dict[str, Any] | None = None) -> bool | None:
    """Return how far a wet period stands that no pick with cool fruit comes after."""
    rows = [] if pick is None else [{"id": "p", "start": 5, "end": 6, "temperature": 8, **pick}]
    found = facts(table("wet_period", {"id": "w", "hours": 3, **(wet or {})}), table("pick", *rows))
    absent = {"given": {"p": "pick"}, "when": ["before(wet, p)", "p.temperature <= cool"]}
    return side(matches(found, [pack({"wet": "wet_period"}, "wet.hours > two", unless=absent)]))


def test_an_absence_swaps_sure_and_possible() -> None:
    assert unless(None) is SURE
    assert unless({}) is NEITHER
    assert unless({"temperature": (8, 12)}) is MAYBE
    assert unless({"exists": (0, 1)}) is MAYBE
    assert unless({"temperature": 12}) is SURE
    assert unless({"start": (0, 5)}) is MAYBE
    assert unless({"start": 0}) is SURE


def test_an_absence_is_never_sure_where_the_journal_may_be_behind() -> None:
    assert unless(None, {"journal_current": (0, 1)}) is MAYBE
    assert unless(None, {"journal_current": 0}) is MAYBE
    assert unless({}, {"journal_current": 0}) is NEITHER


def test_an_absence_of_a_kind_without_a_table_holds() -> None:
    absent = {"given": {"p": "pick"}, "when": ["before(wet, p)"]}
    rule = pack({"wet": "wet_period"}, "wet.hours > two", unless=absent)
    assert side(matches(facts(table("wet_period", {"id": "w", "hours": 3})), [rule])) is SURE


def test_a_fact_is_not_its_own_absence() -> None:
    absent = {"given": {"other": "wet_period"}, "when": ["overlaps(other, wet)"]}
    rule = pack({"wet": "wet_period"}, "wet.hours > two", unless=absent)
    alone = table("wet_period", {"id": "w", "hours": 3})
    assert side(matches(facts(alone), [rule])) is SURE
    two = table("wet_period", {"id": "w", "hours": 3}, {"id": "v", "hours": 1})
    assert side(matches(facts(two), [rule])) is NEITHER


def test_either_condition_of_an_absence_blocks() -> None:
    absent = {"given": {"p": "pick"}, "when": ["p.temperature <= cool or p.wet_at_start"]}
    rule = pack({"wet": "wet_period"}, "wet.hours > two", unless=absent)
    wet = table("wet_period", {"id": "w", "hours": 3})
    picks: list[tuple[dict[str, Any], bool | None]] = [
        ({"temperature": 12, "wet_at_start": 1}, NEITHER),
        ({"temperature": 12, "wet_at_start": (0, 1)}, MAYBE),
        ({"temperature": 12, "wet_at_start": 0}, SURE),
    ]
    for row, expected in picks:
        found = facts(wet, table("pick", {"id": "p", **row}))
        assert side(matches(found, [rule])) is expected


def test_a_pack_reads_its_own_threshold_before_the_shared_one() -> None:
    assert ask({"hours": 3}, "wet.hours > two") is SURE  # its own 2, not the shared 9
    assert ask({"hours": 3}, "wet.hours > six") is NEITHER


@pytest.mark.parametrize("hours", [(3, 1), (float("nan"), 3), float("nan")])
def test_bounds_out_of_order_or_not_a_number_are_refused(hours: Any) -> None:
    with pytest.raises(EngineError, match="w1: hours is .*; expected least <= most"):
        ask({"hours": hours}, "wet.hours > two")


@settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
@given(cases(hard=True))
def test_looking_up_few_partners_loses_none(case: Case) -> None:
    found = matches(case.facts, case.packs)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Step, "rows", lambda step, env: step.all)
        assert matches(case.facts, case.packs) == found
