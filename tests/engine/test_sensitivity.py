"""Every rule, threshold and compiled part of the shipped packs matters to some answer.

All through the real engine, on the examples that the rules carry and on their neighbours: the same
example with one value at, just under and just over a threshold, one flag down or not known, one
time moved to touch another, one word or stage exchanged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskrules.engine import compile as compiling
from riskrules.engine.evaluate import evaluate
from riskrules.engine.process import EngineProcess
from riskrules.facts.derive import derive
from riskrules.facts.table import Facts
from riskrules.farm import setup_of
from riskrules.logs.events import of_block
from riskrules.packs.conditions import Compare
from riskrules.packs.examples import OUTCOMES, run_example
from riskrules.packs.load import load_rulebook, pack_files
from riskrules.packs.model import Pack, Rule
from riskrules.sources import gather

from .mutants import STEP, Bench, Example, conditions, mutants, values_of

pytest.importorskip("durable_rules_engine", reason="these are tests of the engine")

CHECKOUT = Path(__file__).parents[2]
BOOK = load_rulebook(pack_files([CHECKOUT / "rulepacks"]))
RULES = [(pack, rule) for pack in BOOK.packs for rule in pack.rules]
IDS = [rule.key for _, rule in RULES]
by_rule = pytest.mark.parametrize(("pack", "rule"), RULES, ids=IDS)


def against_threshold(rule: Rule) -> list[Compare]:
    return [c for c in conditions(rule) if isinstance(c, Compare) and isinstance(c.right, str)]


# Answers


@by_rule
def test_all_three_answers_come_out_of_the_engine(pack: Pack, rule: Rule) -> None:
    got = [run_example(rule, pack, e, evaluate) for e in rule.text.examples]
    assert got == [e["gives"] for e in rule.text.examples]
    assert set(got) == set(OUTCOMES)


# Thresholds


def moved(pack: Pack, name: str, value: float) -> Pack:
    """Return the pack with one threshold elsewhere, in or out of its range."""
    old = pack.threshold(name)
    assert old is not None
    return replace(pack, thresholds={**pack.thresholds, name: replace(old, value=value)})


THRESHOLDS = [(p, r, c) for p, r in RULES for c in against_threshold(r)]


@pytest.mark.parametrize(
    ("pack", "rule", "condition"), THRESHOLDS, ids=[f"{r.key}: {c.text}" for _, r, c in THRESHOLDS]
)
def test_a_threshold_moved_just_past_the_fact_changes_the_answer(
    pack: Pack, rule: Rule, condition: Compare
) -> None:
    """What fires no longer does, or (for what must not be there) what was quiet now fires.

    Of an ``or`` the other choice is left out, as it may hold as well.
    """
    absent = rule.absence is not None and condition.left.alias == rule.absence.alias
    before, changed = ("quiet", "fires") if absent else ("fires", "quiet")
    only, name, up = alone(rule, condition), str(condition.right), condition.op in (">=", ">")
    answers = []
    for example in [*rule.text.examples, *at_threshold(rule, pack, condition)]:
        bounds = values_of(rule, example, condition.left)
        if bounds is None or run_example(only, pack, example, evaluate) != before:
            continue
        past = round(bounds[1] + STEP if up else bounds[0] - STEP, 4)
        answers.append(run_example(only, moved(pack, name, past), example, evaluate))
    assert changed in answers


def at_threshold(rule: Rule, pack: Pack, c: Compare) -> Iterator[Example]:
    """Yield the examples that speak of the fact, with the quantity where it just holds."""
    threshold = pack.threshold(str(c.right))
    assert threshold is not None
    beyond = {">": STEP, "<": -STEP}.get(c.op, 0.0)
    for e in rule.text.examples:
        if c.left.alias in e:
            fact = {**(e[c.left.alias] or {}), c.left.name: round(threshold.value + beyond, 4)}
            yield {**e, c.left.alias: fact}


def alone(rule: Rule, condition: Compare) -> Rule:
    """Return the rule without the choices that stand beside a condition in an ``or``."""
    when = tuple((condition,) if condition in c else c for c in rule.when)
    return replace(rule, when=when)


@pytest.mark.parametrize("pack", BOOK.packs, ids=[p.name for p in BOOK.packs])
def test_every_threshold_of_a_pack_is_moved_above(pack: Pack) -> None:
    """None is only spoken of in a sentence, but for those named here with the reason."""
    used = {str(c.right) for p, _, c in THRESHOLDS if p.name == pack.name}
    assert set(pack.thresholds) - used - set(ONLY_SAID.get(pack.name, ())) == set()


SEASON_WEEKS = 26
ONLY_SAID: dict[str, tuple[str, ...]] = {}
SEASON = CHECKOUT / "sample_logs"


@pytest.fixture(scope="module")
def derived() -> Callable[[str, float], list[Facts]]:
    """Return what derives the sample farm's facts with one shared threshold elsewhere."""
    read = gather([SEASON], SEASON / "farm.yaml")
    last = max(int(r.time[~r.forecast][-1]) for r in read.blocks[0].sources if not r.forecast.all())
    weeks = last - SEASON_WEEKS * 7 * 86_400

    @lru_cache(maxsize=2)
    def make(name: str, value: float) -> list[Facts]:
        shared = {
            **BOOK.shared,
            **({name: replace(BOOK.shared[name], value=value)} if name else {}),
        }
        found = []
        for block in read.blocks:
            sources = [r.only(r.time >= weeks) for r in block.sources]
            held = slice(200, 200 + 8 * 3600 // sources[0].step)  # eight hours at one value
            sources[0].values["air_temperature"][held] = 11.1
            events = of_block(read.events, block.text.block)
            setup = setup_of(block.text)
            found.append(derive(block.text.block, sources, events, shared, read.farm.place, setup,
                                last))  # fmt: skip
        return found

    make("", 0)
    return make


def same(one: list[Facts], other: list[Facts]) -> bool:
    for a, b in zip(one, other, strict=True):
        for kind, table in a.items():
            twin = b[kind]
            if table.ids != twin.ids or table.words != twin.words:
                return False
            columns: list[Any] = [(table.start, twin.start), (table.end, twin.end)]
            columns += [((table.least[q], table.most[q]), (twin.least[q], twin.most[q]))
                        for q in table.least]  # fmt: skip
            if not all(np.array_equal(x, y) for p, q in columns for x, y in zip(p, q, strict=True)):
                return False
    return True


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(BOOK.shared))
def test_a_shared_threshold_moved_within_its_range_changes_some_fact(
    name: str, derived: Callable[[str, float], list[Facts]]
) -> None:
    threshold = BOOK.shared[name]
    ends = (threshold.least, threshold.most)
    assert any(not same(derived("", 0), derived(name, value)) for value in ends)


# Compiled parts: break one, and some answer changes


@pytest.fixture(scope="module")
def engine() -> Iterator[EngineProcess]:
    made = EngineProcess()
    yield made
    made.close()


SHORT = {IDS[i] for i in range(0, len(IDS), 9)}
"""The rules whose parts are broken in the default run; RISKRULES_LONG=1 takes all."""
MUTATED = [
    pytest.param(p, r, marks=[] if r.key in SHORT else [pytest.mark.long], id=r.key)
    for p, r in RULES
]
MEET = {
    "gray_mold.old_leaves_before_bloom": (
        "done",
        "end_lo <= early.start_hi",
        "end_hi > early.start_lo",
    ),
    "heat_stress.cold_night_nobody_looked": (
        "seen",
        "start_hi >= night.end_lo",
        "start_lo < night.end_hi",
    ),
}
"""Rules that forbid what comes before (or after) *or* overlaps: where one of the two choices may
hold no longer, the other begins, so that moving the line between them changes no answer."""
EQUIVALENT = {
    f"{key} sure 0 {name}"
    for key, (alias, apart, overlap) in MEET.items()
    for name in (
        *(f"{alias}_0: {apart} {how}" for how in ("other end", "other's other end")),
        *(
            f"{alias}_1: {overlap} {how}"
            for how in ("left out", "edge", "other end", "other's other end")
        ),
    )
}


@pytest.mark.parametrize(("pack", "rule"), MUTATED)
def test_every_part_of_a_compiled_rule_is_missed_when_it_is_broken(
    pack: Pack, rule: Rule, engine: EngineProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(engine, pack, rule)
    assert not bench.killed(compiling._compiled([*compiling.variants(rule, pack)]), monkeypatch)
    broken = list(mutants(rule, pack))
    survivors = [name for name, made in broken if bench.survives(made, monkeypatch)]
    assert len(broken) >= 12
    assert [s for s in survivors if f"{rule.key} {s}" not in EQUIVALENT] == []


def test_the_explained_survivors_are_still_there() -> None:
    keys = {f"{r.key} {name}" for p, r in RULES for name, _ in mutants(r, p)}
    assert EQUIVALENT <= keys
