"""Compiled rules with one part broken, and examples with one thing otherwise.

A test of the packs: a part that can be broken without any answer changing is one that nothing
checks, or that is not needed.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from riskrules.engine import compile as compiling
from riskrules.engine import evaluate as evaluating
from riskrules.engine.compile import Compiled, Link, Slot, Test, Variant
from riskrules.engine.evaluate import evaluate
from riskrules.engine.match import Match
from riskrules.engine.plain import matches
from riskrules.engine.process import EngineProcess
from riskrules.errors import PackError
from riskrules.facts.kinds import KINDS
from riskrules.facts.table import Facts
from riskrules.packs.conditions import Compare, Condition, IsFlag, IsWord, Ref
from riskrules.packs.examples import example_facts
from riskrules.packs.model import Pack, Rule

Test.__test__ = False  # type: ignore[attr-defined]  # a class of ours, not one of pytest's
STEP = 0.0001
"""The last decimal that facts are kept to."""
MOST_NEAR = 30
"""How many open neighbours are looked at further, and how many neighbours of each."""
Example = dict[str, Any]


def conditions(rule: Rule) -> list[Condition]:
    every = [*rule.when, *(rule.absence.when if rule.absence else ())]
    return [c for alternatives in every for c in alternatives]


def values_of(rule: Rule, example: Example, ref: Ref) -> tuple[float, float] | None:
    """Return the bounds of a quantity in an example, or None where it says nothing of it."""
    if ref.name not in (example.get(ref.alias) or {}):
        return None
    kind = {**rule.given, **({rule.absence.alias: rule.absence.kind} if rule.absence else {})}
    table = example_facts(rule, example)[kind[ref.alias]]
    row = table.ids.index(ref.alias)
    return float(table.least[ref.name][row]), float(table.most[ref.name][row])


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
