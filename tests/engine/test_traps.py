"""What durable-rules 2.0.28 does with ordinary data, and that our compiler and wrapper avoid it.

Each raw trap runs in a process of its own, which may die or hang. What the raw engine gets wrong
only now and then (reading past its buffer) is shown on our side alone: that the shape is never
made. All numbers here are invented for tests; the behaviour was measured by us. [computed]
"""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskrules.engine.compile import (
    CLOSING,
    MOST_FIRST_CONDITIONS,
    MOST_RULES_A_FACT,
    OPENING,
    Test,
    compile_packs,
)
from riskrules.engine.evaluate import batch_of, evaluate
from riskrules.engine.plain import matches
from riskrules.engine.process import EngineProcess
from riskrules.engine.worker import Rules
from riskrules.errors import EngineError
from riskrules.facts.kinds import KINDS
from riskrules.packs.check import kinds_now
from riskrules.packs.load import load_rulebook, pack_files

from .small_packs import PRELUDE, facts, pack, raw, rule, table

pytest.importorskip("durable_rules_engine", reason="its traps can only be shown where it is")

CHECKOUT = Path(__file__).parents[2]
Test.__test__ = False  # type: ignore[attr-defined]  # a class of ours, not one of pytest's
NOBODY_LOOKED = rule(
    "nobody_looked", {"wet": "wet_period"}, ["wet.hours >= long_wet"],
    unless={"given": {"seen": "sighting"}, "when": ["before(wet, seen)"]},
)  # fmt: skip


# Absence


def test_raw_absence_fires_at_once_whatever_comes_later() -> None:
    code = "rules = {'late': [{'a': {'kind': 'wet'}}, blocked]}\n"
    code += (
        "print(json.dumps([fired(built(rules), [wet, done]), fired(built(rules), [done, wet])]))"
    )
    assert raw(code) == [["late"], []]


def test_raw_absence_as_first_condition_never_fires() -> None:
    code = "first = {'b$not': {'kind': 'done'}}\n"
    code += (
        "rules = {'late': [first, {'a': {'kind': 'wet'}}], 'end': [{'c': {'kind': 'closing'}}]}\n"
    )
    code += "print(json.dumps(fired(built(rules), [wet, last])))"
    assert raw(code) == ["end"]


@pytest.mark.parametrize("later", [True, False])
def test_our_absence_holds_whatever_the_order_of_facts(later: bool) -> None:
    book = [pack(NOBODY_LOOKED, long_wet=6)]
    wet = {"hours": 8, "start": 0, "end": 8}
    given = facts(wet_period=[wet], sighting=[{"start": 10, "end": 11}] if later else [])
    for order in (given, dict(reversed(given.items()))):
        assert [m.sure for m in evaluate(order, book)] == ([] if later else [True])
        assert evaluate(order, book) == matches(order, book)


def every_condition(definition: str) -> list[tuple[str, list[dict[str, Any]]]]:
    return [(name, parts["all"]) for name, parts in json.loads(definition).items()]


SHIPPED = load_rulebook(pack_files([CHECKOUT / "rulepacks"])).packs
COMPILED = compile_packs(SHIPPED)


def test_every_compiled_absence_stands_last_and_after_the_closing_fact() -> None:
    seen = 0
    for compiled in COMPILED:
        for _, conditions in every_condition(compiled.definition):
            names = [next(iter(c)) for c in conditions]
            absent = [i for i, name in enumerate(names) if name.endswith("$not")]
            if absent:
                seen += 1
                assert absent == list(range(absent[0], len(names)))
                assert names[absent[0] - 1] == "closing_"
    assert seen >= 10


def test_every_compiled_join_is_flat_starts_with_the_kind_and_ends_with_an_equality() -> None:
    """When the last comparison of a join is false the raw engine reads past its buffer."""
    seen = 0
    for compiled in COMPILED:
        for _, conditions in every_condition(compiled.definition):
            for i, condition in enumerate(conditions):
                (part,) = condition.values()
                tests = part.get("$and", [part])
                assert not any(key in ("$and", "$or") for test in tests for key in test)
                assert list(tests[0]) == ["kind"]
                if i:
                    seen += 1
                    ((attribute, right),) = tests[-1].items()
                    assert not attribute.startswith("$")
                    assert isinstance(right, dict)
    assert seen >= 20


def test_random_joins_of_a_thousand_facts_are_right() -> None:
    chance = np.random.default_rng(1)
    rows = [
        {"start": int(s), "end": int(s + n), "hours": int(n)}
        for s, n in zip(chance.integers(0, 3000, 1000), chance.integers(0, 12, 1000), strict=True)
    ]
    given = facts(wet_period=rows[:500], rain_spell=rows[500:])
    both = {"wet": "wet_period", "rain": "rain_spell"}
    book = [pack(rule("r", both, ["overlaps(rain, wet)", "wet.hours >= rain.hours"]))]
    found = evaluate(given, book)
    assert len(found) > 100
    assert found == matches(given, book)


# Batches


def test_raw_delete_of_a_state_where_nothing_fired_kills_the_process() -> None:
    code = (
        "rules = built({'r': [{'c': {'kind': 'closing'}}]})\n"
        "for i in range(200):\n"
        "    try: rules.assert_fact(fact('other', f'x{i}'))\n"
        "    except Exception: pass\n"
        "    rules.delete_state('u')\n"
    )
    run = [sys.executable, "-W", "ignore", "-c", PRELUDE + code]
    # Freed memory is overwritten, so that what the engine does wrong shows on every allocator.
    env = {**os.environ, "MALLOC_PERTURB_": "165"}
    assert subprocess.run(run, capture_output=True, timeout=60, env=env).returncode < 0


def test_our_worker_outlives_batches_in_which_no_rule_fires() -> None:
    compiled = compile_packs([pack(NOBODY_LOOKED, long_wet=6)])[0]
    rules = Rules("quiet", json.loads(compiled.definition))
    closing = json.dumps([{"kind": CLOSING, "id": "c", "sid": "u"}])
    assert [rules.fired(closing) for _ in range(300)] == [[]] * 300


def test_a_block_without_facts_makes_no_batch() -> None:
    """Raw, an empty list hands back the number of a state that isn't there."""
    book = [pack(NOBODY_LOOKED, long_wet=6)]
    for given in ({}, facts(wet_period=[]), facts(wet_period=[{"hours": 1}])):
        assert [batch_of(given, compiled) for compiled in compile_packs(book)] == [None]
        assert evaluate(given, book, Deaf()) == []


class Deaf(EngineProcess):
    """An engine that must not be asked."""

    def fired(self, *_: Any) -> Any:
        raise AssertionError("the engine was asked")


@pytest.mark.parametrize("number", ["1e-07", "1E-7", "1e+16", "Infinity"])
def test_raw_a_number_with_an_exponent_cuts_the_batch_in_silence(number: str) -> None:
    code = "rules = {'n': [{'n': {'kind': 'n'}}], 'end': [{'c': {'kind': 'closing'}}],"
    code += " 'open': [{'o': {'kind': 'open'}}]}\n"
    code += "text = json.dumps([fact('open', 'o'), fact('n', 'n', v='?'), last])"
    code += f".replace('\"?\"', '{number}')\nprint(json.dumps(fired(built(rules), text)))"
    assert raw(code) == ["open"]


def rules_for_closing() -> Rules:
    return Rules("cut", json.loads(compile_packs([pack(NOBODY_LOOKED, long_wet=6)])[0].definition))


@pytest.mark.parametrize(
    "cut",
    [
        '[{"kind":"other","id":"n","v":1e-07,"sid":"u"},{"kind":"closing","id":"c","sid":"u"}]',
        '[{"kind":"other","id":"n","sid":"u"}]',
        '[{"kind":"closing","id":"c","sid":"u"},{"kind":"closing","id":"d","sid":"u"}]',
    ],
    ids=["exponent", "no closing fact", "two closing facts"],
)
def test_our_worker_raises_unless_the_closing_rule_fired_exactly_once(cut: str) -> None:
    rules = rules_for_closing()
    with pytest.raises(RuntimeError, match="the closing rule fired . times; expected once"):
        rules.fired(cut)
    assert rules.fired('[{"kind":"closing","id":"c","sid":"u"}]') == []


def test_raw_what_follows_the_list_corrupts_its_last_fact() -> None:
    code = "rules = built({'end': [{'c': {'kind': 'closing'}}]})\n"
    code += "print(json.dumps(list(messages(rules, json.dumps([last]) + '\\n'))))"
    (message,) = raw(code)
    with pytest.raises(json.JSONDecodeError):
        json.loads(message)


def test_our_worker_gives_the_engine_a_batch_without_its_line_end() -> None:
    compiled = compile_packs([pack(NOBODY_LOOKED, long_wet=6)])[0]
    request = json.dumps({"key": compiled.key, "rules": compiled.definition})
    batch = batch_of(facts(wet_period=[{"hours": 8}]), compiled)
    run = [sys.executable, "-W", "ignore", "-m", "riskrules.engine.worker"]
    ended = subprocess.run(
        run, input=f"{request}\n{batch}\n", capture_output=True, text=True, timeout=60, cwd=CHECKOUT
    )
    assert {name for name, _ in json.loads(ended.stdout)["fired"]} == set(compiled.names)


@pytest.mark.parametrize("column", ["least", "most"])
def test_a_fact_that_is_not_a_number_is_refused_and_never_quiet(column: str) -> None:
    given = facts(wet_period=[{"hours": 8}, {"hours": 8}])
    getattr(given["wet_period"], column)["hours"][1] = np.nan
    with pytest.raises(EngineError, match=r"wet_period/1: hours is .*nan.*; expected least"):
        evaluate(given, [pack(NOBODY_LOOKED, long_wet=6)])


def test_bounds_the_wrong_way_round_are_refused() -> None:
    given = facts(wet_period=[{"hours": 8}])
    given["wet_period"].start = (given["wet_period"].end[0], given["wet_period"].start[0])
    with pytest.raises(EngineError, match="start is"):
        evaluate(given, [pack(NOBODY_LOOKED, long_wet=6)])


@pytest.mark.parametrize("value", [1e-5, 0.12345, float("nan"), float("inf"), -float("inf")])
def test_a_threshold_that_the_engine_would_read_otherwise_is_refused(value: float) -> None:
    with pytest.raises(EngineError, match="cannot be given to the engine"):
        list(Test("hours_lo", ">=", value).expressions())


@pytest.mark.parametrize("value", [1e16, 3e22, -2.0, 0.0001, 0.07, 12345.6789])
def test_a_threshold_reaches_the_engine_as_a_plain_number(value: float) -> None:
    (expression,) = Test("hours_lo", ">=", value).expressions()
    text = json.dumps(expression)
    assert json.loads(text) == {"$gte": {"hours_lo": value}}
    assert not re.search(r"[0-9]e", text, re.IGNORECASE)


@pytest.mark.parametrize("hours", [0.0001, 12345.6789, 99_999.0, 1.0, 0.5])
def test_small_and_great_numbers_of_facts_arrive(hours: float) -> None:
    given = facts(wet_period=[{"hours": hours, "rain": 0.0001}])
    book = [pack(rule("r", {"wet": "wet_period"}, ["wet.hours >= limit"]), limit=hours)]
    assert [m.sure for m in evaluate(given, book)] == [True]


# Limits


def test_raw_65_rules_on_one_fact_are_refused_with_all_facts() -> None:
    code = (
        "def many(n): return {f'r{i}': [{'a': {'$and': [{'kind': 'wet'}, {'$gte': {'v': i}}]}}]"
        " for i in range(n)}\n"
        "def count(n):\n"
        "    try: return len(fired(built(many(n)), [fact('wet', 'w', v=100)]))\n"
        "    except Exception as error: return str(error)\n"
        "print(json.dumps([count(64), count(65)]))"
    )
    assert raw(code) == [64, "Could not assert facts, error code: 303"]


def wide(kind: str, n: int) -> list[dict[str, Any]]:
    """Return rules of one kind that each ask for more hours than the one before."""
    return [rule(f"{kind}_{i}", {"it": kind}, [f"it.hours >= at_{i}"]) for i in range(n)]


def test_70_rules_on_one_kind_are_split_and_still_right() -> None:
    book = [pack(*wide("wet_period", 70), **{f"at_{i}": i + 0.5 for i in range(70)})]
    compiled = compile_packs(book)
    assert len(compiled) == 3  # 70 rules, each surely and possibly: 140 at most 60 a set
    assert max(len(each.names) for each in compiled) <= MOST_RULES_A_FACT
    given = facts(wet_period=[{"hours": 40}, {"hours": 69.5}, {"hours": 0.1}])
    given["wet_period"].most["hours"][2] = 10.0
    found = evaluate(given, book)
    assert sum(m.sure for m in found) == 40 + 70
    assert sum(not m.sure for m in found) == 10
    assert found == matches(given, book)


def test_a_rule_too_wide_for_any_ruleset_is_refused() -> None:
    words = "'" + "', '".join(KINDS["sighting"].words["symptom"]) + "'"
    parts = "'" + "', '".join(KINDS["sighting"].words["part"]) + "'"
    both = [f"seen.symptom in ({words})", f"seen.part in ({parts})", "seen.age >= long_ago"]
    book = [pack(rule("wide", {"seen": "sighting"}, both), long_ago=1)]
    with pytest.raises(EngineError, match=r"traps\.wide: more alternatives than one ruleset"):
        compile_packs(book)


@pytest.mark.long
def test_raw_513_first_conditions_hang() -> None:
    code = "rules = built({f'r{i}': [{'a': {'kind': f'k{i}'}}] for i in range(COUNT)})\nprint(1)"
    assert raw(code.replace("COUNT", "500")) == 1
    with pytest.raises(subprocess.TimeoutExpired):
        raw(code.replace("COUNT", "513"), patience=20)


def test_more_than_500_first_conditions_are_split_and_still_right() -> None:
    kinds = [k for k, kind in KINDS.items() if kind.quantity("hours")][:9]
    book = [pack(*(r for k in kinds for r in wide(k, 29)), **{f"at_{i}": i + 1 for i in range(29)})]
    compiled = compile_packs(book)
    assert sum(len(each.names) for each in compiled) == 9 * 29 * 2 > MOST_FIRST_CONDITIONS
    assert len(compiled) == 2
    given = {kind: table(kind, [{"hours": 12}]) for kind in kinds}
    assert len(evaluate(given, book)) == 9 * 12


# Names

IDS = ['plain"quoted"', "back\\slash", "é日本語🍓", "x" * 20_000, "tab\tnew\nline", "nul\x00", ""]
NIGHTS = rule(
    "two", {"first": "night", "second": "night"}, ["follows(second, first)", "first.length > limit"]
)


def test_raw_a_second_fact_of_the_same_id_counts_as_seen_and_is_gone() -> None:
    code = "rules = built({'r': [{'a': {'kind': 'wet'}}]})\nprint(len(fired(rules, [wet, wet])))"
    assert raw(code) == 1


def test_facts_of_the_same_id_do_not_hide_each_other() -> None:
    """No two facts of ours share an id; should two all the same, the wet one still counts."""
    given = facts(wet_period=[{"hours": 1, "id": "same"}, {"hours": 9, "id": "same"}])
    book = [pack(rule("r", {"wet": "wet_period"}, ["wet.hours >= long_wet"]), long_wet=6)]
    for rows in ([0, 1], [1, 0]):
        column = given["wet_period"].least["hours"][rows]
        given["wet_period"].least["hours"] = given["wet_period"].most["hours"] = column
        assert [m.facts for m in evaluate(given, book)] == [("same",)]


@pytest.mark.parametrize("name", IDS, ids=range(len(IDS)))
def test_any_text_may_be_an_id_a_block_or_a_key(name: str) -> None:
    rows = [{"id": name, "key": name}, {"id": name + "2", "key": name + "2", "previous": name}]
    given = {"night": table("night", rows, block=name)}
    book = [pack(NIGHTS, limit=0)]
    assert [m.facts for m in evaluate(given, book)] == [(name, name + "2")]


ODD = ["kind", "block", "id", "sid", "night", "length", "m", "s", "all", "run", "closing",
       "opening", "closing_", "u", "b_0", "start_lo", "f_a"]  # fmt: skip


@pytest.mark.parametrize("alias", ODD)
def test_an_alias_may_have_any_name(alias: str) -> None:
    """Also that of a kind, of an attribute, or of something that the engine knows."""
    given = facts(night=[{"length": 8}, {"length": 9}], sighting=[{"start": 50, "end": 51}])
    when = [f"follows(other, {alias})", f"other.length >= {alias}.length"]
    absent = {"given": {"seen": "sighting"}, "when": [f"before(seen, {alias})"]}
    book = [pack(rule("r", {alias: "night", "other": "night"}, when, unless=absent))]
    assert [m.facts for m in evaluate(given, book)] == [("night/0", "night/1")]


def test_two_aliases_never_stand_for_the_same_fact() -> None:
    both = {"a": "wet_period", "b": "wet_period"}
    book = [pack(rule("r", both, ["overlaps(a, b)", "a.hours >= b.hours"]))]
    assert evaluate(facts(wet_period=[{"hours": 2}]), book) == []
    given = facts(wet_period=[{"hours": 2}, {"hours": 3}])
    assert [m.facts for m in evaluate(given, book)] == [("wet_period/1", "wet_period/0")]


# What is never used


def test_no_module_of_ours_uses_what_is_global_or_consumes_or_retracts() -> None:
    refused = {"durable.lang", "post", "post_batch", "post_events", "retract_fact", "retract_facts"}
    for path in (CHECKOUT / "riskrules").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            used = {getattr(node, "attr", ""), getattr(node, "module", "")}
            used |= {alias.name for alias in getattr(node, "names", []) if hasattr(alias, "name")}
            assert not used & refused, path


def test_only_the_worker_loads_the_engine() -> None:
    """A crash of its C code then ends a process that holds nothing a user could lose."""
    code = (
        "import sys, riskrules.review, riskrules.cli, riskrules.cli_show, riskrules.report\n"
        "assert not [m for m in sys.modules if m.startswith('durable')]"
    )
    run = [sys.executable, "-W", "ignore", "-c", code]
    assert subprocess.run(run, cwd=CHECKOUT, timeout=60).returncode == 0


def test_the_sentinels_of_compiler_and_worker_are_the_same() -> None:
    from riskrules.engine import worker

    assert (worker.OPENING, worker.CLOSING) == (OPENING, CLOSING)
    assert not {OPENING, CLOSING} & set(kinds_now())
