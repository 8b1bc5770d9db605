"""The engine says what plain Python says, for random rules and facts in any order.

RISKRULES_LONG=1 asks for 150 cases a property in place of 60, and other ones each time.
"""

from __future__ import annotations

import os
import random

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from riskrules.engine.match import Match
from riskrules.engine.plain import matches
from riskrules.errors import EngineError

from .random_rules import Case, cases, shuffled
from .test_plain import facts, pack, table

pytest.importorskip("durable_rules_engine", reason="without it evaluate() is plain Python")
evaluate = pytest.importorskip("riskrules.engine.evaluate").evaluate

LONG = os.environ.get("RISKRULES_LONG") == "1"
many = settings(
    max_examples=150 if LONG else 60,
    derandomize=not LONG,
    deadline=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.large_base_example,
        HealthCheck.filter_too_much,
    ],
)


def by_engine(case: Case, prefilter: bool = True) -> list[Match]:
    """Return the engine's matches; drop a case with a rule that is too wide for any ruleset."""
    try:
        found: list[Match] = evaluate(case.facts, case.packs, prefilter=prefilter)
    except EngineError as error:
        assume("more alternatives than one ruleset can hold" not in str(error))
        raise
    return found


@many
@given(cases(), st.booleans())
def test_the_engine_says_what_plain_python_says(case: Case, prefilter: bool) -> None:
    assert by_engine(case, prefilter) == matches(case.facts, case.packs)


@many
@given(cases(), st.randoms(use_true_random=False))
def test_the_order_of_facts_changes_nothing(case: Case, chance: random.Random) -> None:
    other = Case(case.packs, case.texts, shuffled(case.facts, chance))
    expected = matches(case.facts, case.packs)
    assert matches(other.facts, other.packs) == expected
    assert by_engine(other) == expected


@many
@given(cases(hard=True))
def test_what_the_engine_cannot_do_it_refuses(case: Case) -> None:
    try:
        found = evaluate(case.facts, case.packs)
    except EngineError:
        return
    assert found == matches(case.facts, case.packs)


def test_a_fact_in_the_middle_of_a_chain_is_tied_at_both_ends() -> None:
    """Both ties fall to the fact that is given last; one must not take the other's place."""
    days = [f"b1/night/2026-05-0{i}" for i in range(1, 5)]
    chain = zip(days, ["", *days], strict=False)
    nights = table("night", *({"id": k, "key": k, "previous": before} for k, before in chain))
    given = {"early": "night", "late": "night", "mid": "night"}
    rule = pack(given, "follows(mid, early)", "follows(late, mid)")
    expected = [Match("p.r", (days[i], days[i + 2], days[i + 1]), True) for i in (0, 1)]
    assert matches(facts(nights), [rule]) == expected
    assert evaluate(facts(nights), [rule]) == expected


def test_random_cases_are_worth_asking() -> None:
    """Most cases have matches, and both sure and possible ones come up often."""
    seen = []

    @settings(many, max_examples=60, derandomize=True, database=None)
    @given(cases())
    def look(case: Case) -> None:
        seen.append({m.sure for m in matches(case.facts, case.packs)})

    look()
    assert sum(bool(sides) for sides in seen) > len(seen) / 3
    assert min(sum(side in sides for sides in seen) for side in (True, False)) > len(seen) / 5
