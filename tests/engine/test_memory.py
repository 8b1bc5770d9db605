"""What is remembered makes a change cheap and never changes the answer."""

from __future__ import annotations

import copy

import numpy as np
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from riskrules.engine.evaluate import evaluate
from riskrules.engine.memory import Memory, tied_in_time
from riskrules.errors import EngineError
from tests.engine.random_rules import cases


def _changed(facts, seed):
    """Return the facts with some rows dropped, some numbers moved, and times shifted a little."""
    rng = np.random.default_rng(seed)
    found = {}
    for kind, table in facts.items():
        new = copy.deepcopy(table)
        for name in new.least:
            move = rng.random(len(new)) < 0.2
            new.most[name] = np.where(move, new.least[name], new.most[name])
        shift = np.where(rng.random(len(new)) < 0.2, 3600, 0)
        new.end = (new.end[0], new.end[1] + shift)
        found[kind] = new
    return found


@settings(max_examples=40)
@given(case=cases(), seed=st.integers(0, 2**32 - 1))
def test_a_change_evaluated_from_memory_gives_what_a_fresh_evaluation_gives(case, seed):
    memory = Memory()
    try:
        first = evaluate(case.facts, case.packs, memory=memory)
    except EngineError:
        reject()  # more alternatives than a ruleset can hold
    assert first == evaluate(case.facts, case.packs)
    assert first == evaluate(case.facts, case.packs, memory=memory)
    changed = _changed(case.facts, seed)
    assert evaluate(changed, case.packs, memory=memory) == evaluate(changed, case.packs)
    assert evaluate(case.facts, case.packs, memory=memory) == first


def test_rules_with_unbounded_ties_are_known_as_such():
    from riskrules.review import shipped_rulebook

    rules = {rule.key: rule for rule in shipped_rulebook().rules if len(rule.given) > 1}
    assert tied_in_time(rules["gray_mold.humid_nights_in_a_row"])
    assert not all(tied_in_time(rule) for rule in rules.values())
