"""Every rule, threshold and compiled part of the shipped packs matters to some answer.

All through the real engine, on the examples that the rules carry and on their neighbours: the same
example with one value at, just under and just over a threshold, one flag down or not known, one
time moved to touch another, one word or stage exchanged.
"""

from __future__ import annotations

import itertools
import os
import random
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskrules.engine import compile as compiling
from riskrules.engine import evaluate as evaluating
from riskrules.engine.compile import Compiled, Link, Slot, Test, Variant
from riskrules.engine.evaluate import evaluate
from riskrules.engine.match import Match
from riskrules.engine.plain import matches
from riskrules.engine.process import EngineProcess
from riskrules.errors import PackError
from riskrules.facts.derive import derive
from riskrules.facts.kinds import KINDS
from riskrules.facts.table import Facts
from riskrules.farm import setup_of
from riskrules.logs.events import of_block
from riskrules.packs.conditions import Compare, Condition, IsFlag, IsWord, Ref
from riskrules.packs.examples import OUTCOMES, example_facts, run_example
from riskrules.packs.load import load_rulebook, pack_files
from riskrules.packs.model import Pack, Rule
from riskrules.sources import gather

pytest.importorskip("durable_rules_engine", reason="these are tests of the engine")

Test.__test__ = False  # type: ignore[attr-defined]  # a class of ours, not one of pytest's
CHECKOUT = Path(__file__).parents[2]
LONG = os.environ.get("RISKRULES_LONG") == "1"
BOOK = load_rulebook(pack_files([CHECKOUT / "rulepacks"]))
RULES = [(pack, rule) for pack in BOOK.packs for rule in pack.rules]
IDS = [rule.key for _, rule in RULES]
by_rule = pytest.mark.parametrize(("pack", "rule"), RULES, ids=IDS)
STEP = 0.0001
"""The last decimal that facts are kept to."""
MOST_NEAR = 30
"""How many open neighbours are looked at further, and how many neighbours of each."""
Example = dict[str, Any]


def conditions(rule: Rule) -> list[Condition]:
    every = [*rule.when, *(rule.absence.when if rule.absence else ())]
    return [c for alternatives in every for c in alternatives]


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


def values_of(rule: Rule, example: Example, ref: Ref) -> tuple[float, float] | None:
    """Return the bounds of a quantity in an example, or None where it says nothing of it."""
    if ref.name not in (example.get(ref.alias) or {}):
        return None
    kind = {**rule.given, **({rule.absence.alias: rule.absence.kind} if rule.absence else {})}
    table = example_facts(rule, example)[kind[ref.alias]]
    row = table.ids.index(ref.alias)
    return float(table.least[ref.name][row]), float(table.most[ref.name][row])


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


ONLY_SAID: dict[str, tuple[str, ...]] = {}
SEASON = CHECKOUT / "sample_logs"


@pytest.fixture(scope="module")
def derived() -> Callable[[str, float], list[Facts]]:
    """Return what derives the sample farm's facts with one shared threshold elsewhere."""
    read = gather([SEASON], SEASON / "farm.yaml")
    last = max(int(r.time[~r.forecast][-1]) for r in read.blocks[0].sources if not r.forecast.all())
    weeks = last - (26 if LONG else 12) * 7 * 86_400

    def make(name: str, value: float) -> list[Facts]:
        shared = {
            **BOOK.shared,
            **({name: replace(BOOK.shared[name], value=value)} if name else {}),
        }
        found = []
        for block in read.blocks:
            sources = [r.only(r.time >= weeks) for r in block.sources]
            events = of_block(read.events, block.text.block)
            setup = setup_of(block.text)
            found.append(derive(block.text.block, sources, events, shared, read.farm.place, setup,
                                last))  # fmt: skip
        return found

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
    base = derived("", 0)
    threshold = BOOK.shared[name]
    assert any(not same(base, derived(name, v)) for v in (threshold.least, threshold.most))


# Compiled parts: break one, and some answer changes


def broken_tests(test: Test) -> Iterator[tuple[str, Test | None]]:
    """Yield a test broken in each way; None: left out."""
    yield "left out", None
    if isinstance(test.value, tuple):
        return
    if test.op == "==":
        yield "turned", replace(test, value=1.0 - test.value)
    else:
        strict = {">=": ">", ">": ">=", "<=": "<", "<": "<="}
        yield "edge", replace(test, op=strict[test.op])
        yield "turned", replace(test, op=compiling.MIRRORED[test.op])
    if not test.attribute.startswith(compiling.WITHIN):
        yield "other end", replace(test, attribute=other_end(test.attribute))


def other_end(attribute: str) -> str:
    stem, _, end = attribute.rpartition("_")
    return f"{stem}_{'hi' if end == 'lo' else 'lo'}"


def broken_links(link: Link) -> Iterator[tuple[str, Link | None]]:
    yield "left out", None
    strict = {">=": ">", ">": ">=", "<=": "<", "<": "<="}
    yield "edge", replace(link, op=strict[link.op])
    yield "turned", replace(link, op=compiling.MIRRORED[link.op])
    yield "other end", replace(link, attribute=other_end(link.attribute))
    yield "other's other end", replace(link, other_attribute=other_end(link.other_attribute))


def broken_slots(slot: Slot, anchor: str) -> Iterator[tuple[str, Slot]]:
    for i, test in enumerate(slot.tests):
        if slot.tests.count(test) > 1:
            continue  # said by the rule and implied: the other one stands
        for how, instead in broken_tests(test):
            tests = [*slot.tests[:i], *([instead] if instead else []), *slot.tests[i + 1 :]]
            yield f"{test.attribute} {test.op} {test.value} {how}", replace(slot, tests=tests)
    for i, link in enumerate(slot.links):
        for how, other in broken_links(link):
            links = [*slot.links[:i], *([other] if other else []), *slot.links[i + 1 :]]
            text = f"{link.attribute} {link.op} {link.other}.{link.other_attribute}"
            yield f"{text} {how}", replace(slot, links=links)
    if slot.key and slot.key.attribute != "block":
        yield "chain left out", replace(slot, key=Link("block", "==", anchor, "block"))


def mutants(rule: Rule, pack: Pack) -> Iterator[tuple[str, list[Variant]]]:
    """Yield a rule's variants with one part of one of them broken, and what it was."""
    whole = list(compiling.variants(rule, pack))
    for v, variant in enumerate(whole):
        for which in ("slots", "absent"):
            slots: tuple[Slot, ...] = getattr(variant, which)
            for s, slot in enumerate(slots):
                for what, instead in broken_slots(slot, rule.anchor):
                    now = (*slots[:s], instead, *slots[s + 1 :])
                    made = replace(variant, **{which: now})  # type: ignore[arg-type]
                    name = f"{variant.side} {v} {slot.alias}: {what}"
                    yield name, [*whole[:v], made, *whole[v + 1 :]]
        if variant.absent:
            made = replace(variant, absent=())
            yield f"{variant.side} {v}: absence left out", [*whole[:v], made, *whole[v + 1 :]]


def around(value: float) -> list[Any]:
    low, high = round(value - STEP, 4), round(value + STEP, 4)
    return [value, low, high, [low, value], [value, high], [low, high], "unknown"]


def neighbours(rule: Rule, pack: Pack, example: Example) -> Iterator[Example]:
    """Yield the example with one thing otherwise."""
    for alias in [a for a in example if a != "gives"]:
        for change in changes(rule, pack, example, alias):
            yield {**example, alias: {**(example[alias] or {}), **change}}


def changes(rule: Rule, pack: Pack, example: Example, alias: str) -> Iterator[Example]:
    """Yield what may be otherwise of a fact."""
    flags = {"exists", "journal_current"}
    own = rule.given.get(alias) or (rule.absence.kind if rule.absence else "")
    for c in conditions(rule):
        if isinstance(c, Compare):
            ref = c.left if c.left.alias == alias else c.right
            if isinstance(ref, Ref) and ref.alias == alias:
                values = around(near(rule, pack, example, c, ref))
                yield from ({ref.name: value} for value in values)
        elif isinstance(c, IsFlag) and c.ref.alias == alias:
            flags.add(c.ref.name)
        elif isinstance(c, IsWord) and c.ref.alias == alias:
            yield from ({c.ref.name: word} for word in KINDS[own].words[c.ref.name])
    yield from ({name: value} for name in sorted(flags) for value in (True, False, "unknown"))
    if rule.stages:
        yield from ({"stages": value} for value in ([rule.stages[0]], [92], [], "unknown"))
    yield from moves(example, alias)


def near(rule: Rule, pack: Pack, example: Example, c: Compare, ref: Ref) -> float:
    """Return the number that a quantity is compared with: a threshold, or another fact's."""
    if isinstance(c.right, str):
        threshold = pack.threshold(c.right)
        assert threshold is not None
        return threshold.value
    bounds = values_of(rule, example, c.right if ref == c.left else c.left)
    return bounds[0] if bounds else 0.0


def moves(example: Example, alias: str) -> Iterator[Example]:
    """Yield times of a fact at, before, after and around those of the others."""
    start, end = times(example, alias)
    for t in sorted({t for a in example if a not in ("gives", alias) for t in times(example, a)}):
        for low, high in ((0, 0), (-1, -1), (1, 1), (-1, 0), (0, 1), (-1, 1)):
            edge = [t + low, t + high]
            yield {"start": edge, "end": max(end, edge[1])}
            yield {"start": edge, "end": edge[1] + end - start}
            yield {"end": edge, "start": min(start, edge[0])}
            yield {"end": edge, "start": edge[0] - (end - start)}


def times(example: Example, alias: str) -> tuple[float, float]:
    """Return the least start and the most end of a fact. [h]"""
    fact = {"start": 0, "end": 1, **(example[alias] or {})}
    return float(np.min(fact["start"])), float(np.max(fact["end"]))


class Bench:
    """Runs a rule's examples and their neighbours on broken rulesets."""

    def __init__(self, engine: EngineProcess, pack: Pack, rule: Rule) -> None:
        self.engine, self.rule, self.pack = engine, rule, pack
        self.only = replace(pack, rules=(rule,))
        self.cases: list[tuple[Facts, list[Match]]] = []
        self._seen: set[str] = set()
        self._near: list[Example] = []
        self._add(self._bases())
        self._add([n for e in self._bases() for n in neighbours(rule, pack, e)])
        self._far = False

    def _bases(self) -> list[Example]:
        """Return the examples, as they are and with what else keeps an answer open.

        For an ``or`` with only one of its choices, for an absence with an old journal.
        """
        found = [{**e, "gives": "quiet"} for e in self.rule.text.examples]
        if self.rule.absence:
            journal = Ref(self.rule.anchor, "journal_current")
            found += [with_value(e, journal, "unknown") for e in found]
            found += [m for e in found for m in beside(self.rule, e)]
            there = Ref(self.rule.absence.alias, "exists")
            found += [with_value(e, there, "unknown") for e in found if there.alias in e]
        found += swapped(self.rule, found)
        for choices in (c for c in self.rule.when if len(c) > 1):
            limits = {c.left: near(self.rule, self.pack, {}, c, c.left) for c in choices
                      if isinstance(c, Compare)}  # fmt: skip
            for e in (e for e in self.rule.text.examples if e["gives"] == "fires"):
                none = {**e, "gives": "quiet"}
                for ref in limits:
                    none = with_value(none, ref, 0)
                found += [with_value(none, ref, v) for ref, limit in limits.items()
                          for v in (limit, "unknown")]  # fmt: skip
        return found

    def _add(self, cases: Iterable[Example]) -> None:
        for case in cases:
            if repr(case) not in self._seen:
                self._seen.add(repr(case))
                try:
                    facts = example_facts(self.rule, case)
                except PackError:
                    continue  # beyond what the fact can physically be
                right = matches(facts, [self.only])
                self.cases.append((facts, right))
                if right and not right[0].sure:
                    self._near.append(case)

    def further(self) -> None:
        """Add neighbours of what is open, once: two things otherwise."""
        if not self._far:
            self._far = True
            chance = random.Random(1)
            near = chance.sample(self._near, min(MOST_NEAR, len(self._near)))
            for e in near:
                every = list(neighbours(self.rule, self.pack, e))
                self._add(chance.sample(every, min(MOST_NEAR, len(every))))

    def killed(self, mutant: Compiled, monkeypatch: Any, begin: int = 0) -> bool:
        """Return whether some answer changes with a broken ruleset."""
        monkeypatch.setattr(evaluating, "compiled", lambda _: [mutant])
        for i, (facts, right) in enumerate(self.cases[begin:], begin):
            if evaluate(facts, [self.only], self.engine) != right:
                self.cases.insert(0, self.cases.pop(i))  # what told one often tells the next
                return True
        return False

    def survives(self, variants: list[Variant], monkeypatch: Any) -> bool:
        """Return whether no case tells a broken ruleset from the whole one."""
        mutant, n = compiling._compiled(variants), len(self.cases)
        if self.killed(mutant, monkeypatch):
            return False
        known = self._far
        self.further()
        return known or not self.killed(mutant, monkeypatch, n)


def beside(rule: Rule, example: Example) -> Iterator[Example]:
    """Yield an example with its forbidden fact wholly before, and wholly after, the anchor."""
    absent = rule.absence.alias if rule.absence else ""
    if absent in example and rule.anchor in example:
        start, end = times(example, rule.anchor)
        for moved_to in (
            {"start": start - 3, "end": start - 1},
            {"start": end + 1, "end": end + 3},
        ):
            yield {**example, absent: {**(example[absent] or {}), **moved_to}}


def swapped(rule: Rule, examples: Iterable[Example]) -> list[Example]:
    """Return examples with two facts of one kind exchanged, so that they come the other way."""
    found = []
    for a, b in itertools.combinations(rule.given, 2):
        if rule.given[a] == rule.given[b]:
            found += [{**e, a: e[b], b: e[a]} for e in examples if a in e and b in e]
    return found


def with_value(example: Example, ref: Ref, value: Any) -> Example:
    return {**example, ref.alias: {**(example.get(ref.alias) or {}), ref.name: value}}


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
    "postharvest_mold.rotten_fruit_not_carried_out": (
        "done",
        "start_hi >= seen.end_lo",
        "start_lo < seen.end_hi",
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
