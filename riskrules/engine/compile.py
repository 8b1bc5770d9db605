"""Compile checked packs into durable-rules' own rule definitions.

Each rule is compiled twice: once for what surely holds, once for what possibly does (an absence
swaps the sides). The shape of every definition is the one that was found to hold: a flat ``$and``
that starts with the kind and ends with an equality key; an absence last, after the closing fact.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from riskrules.errors import EngineError
from riskrules.facts.stages import bits
from riskrules.facts.table import FactTable
from riskrules.packs.conditions import (
    Condition,
    IsFlag,
    IsWord,
    Ref,
    Relation,
)
from riskrules.packs.model import Pack, Rule

Side = Literal["sure", "maybe"]
SIDES: tuple[Side, Side] = ("sure", "maybe")
MOST_RULES_A_FACT = 60
"""durable-rules fires nothing for a fact that 65 rules match; we stop before. (computed)"""
MOST_FIRST_CONDITIONS = 500
"""Building a ruleset with 513 first conditions hangs; we stop before. (computed)"""
OPERATORS = {">=": "$gte", ">": "$gt", "<=": "$lte", "<": "$lt"}
MIRRORED = {">=": "<=", ">": "<", "<=": ">=", "<": ">"}
COMPARE = {"gte": np.greater_equal, "gt": np.greater, "lte": np.less_equal, "lt": np.less}
WITHIN = "within."
"""Marks an attribute that compares two quantities of one fact."""
AS = "f_"
"""Goes before an alias in a definition, so that none is taken for a kind or an attribute."""
CLOSING = "closing"
OPENING = "opening"


@dataclass(frozen=True, slots=True)
class Test:
    """A test of one fact: an attribute against a number, or a word against a few."""

    attribute: str
    op: str
    value: float | tuple[str, ...]

    def expressions(self) -> Iterator[dict[str, Any]]:
        """Yield the alternatives of the test in the engine's terms."""
        if isinstance(self.value, tuple):
            yield from ({self.attribute: word} for word in self.value)
        elif self.op == "==":
            yield {self.attribute: _number(self.value)}
        else:
            yield {OPERATORS[self.op]: {self.attribute: _number(self.value)}}

    def mask(self, table: FactTable) -> npt.NDArray[np.bool_]:
        """Return which facts of a table pass."""
        column = column_of(table, self.attribute)
        if isinstance(self.value, tuple):
            return np.array([word in self.value for word in column], dtype=bool)
        compare = np.equal if self.op == "==" else COMPARE[OPERATORS[self.op][1:]]
        return np.asarray(compare(np.asarray(column), self.value), dtype=bool)


@dataclass(frozen=True, slots=True)
class Link:
    """A comparison of an attribute of this fact with one of an earlier fact."""

    attribute: str
    op: str
    other: str
    other_attribute: str

    def expression(self) -> dict[str, Any]:
        """Return the link in the engine's terms."""
        right = {AS + self.other: self.other_attribute}
        if self.op == "==":
            return {self.attribute: right}
        return {OPERATORS[self.op]: {self.attribute: right}}


@dataclass(slots=True)
class Slot:
    """What one alias of one compiled rule asks of a fact."""

    alias: str
    kind: str
    tests: list[Test] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    key: Link | None = None

    def attributes(self) -> set[str]:
        """Return the attributes that the slot's own fact must carry."""
        keyed = {self.key.attribute} if self.key else set()
        return {t.attribute for t in self.tests} | {k.attribute for k in self.links} | keyed

    @property
    def choices(self) -> int:
        """How many definitions the slot has: one for each choice of its words."""
        return math.prod(len(t.value) for t in self.tests if isinstance(t.value, tuple))

    def definitions(self) -> Iterator[dict[str, Any]]:
        """Yield a flat ``$and`` for each choice of words: kind first, equality key last."""
        tail = [link.expression() for link in self.links]
        if self.key:
            tail.append(self.key.expression())
        for chosen in itertools.product(*(list(t.expressions()) for t in self.tests)):
            parts = [{"kind": self.kind}, *chosen, *tail]
            yield parts[0] if len(parts) == 1 else {"$and": parts}


@dataclass(frozen=True, slots=True)
class Variant:
    """One rule on one side with one choice of each ``or``: what the engine gets."""

    rule: Rule
    side: Side
    slots: tuple[Slot, ...]
    absent: tuple[Slot, ...]

    @property
    def all_slots(self) -> tuple[Slot, ...]:
        """The slots of the facts that must and must not be there."""
        return self.slots + self.absent


def column_of(table: FactTable, attribute: str) -> Any:
    """Return the column of an engine attribute: ``hours_lo``, ``start_hi``, a word, a key."""
    if attribute.startswith(WITHIN):
        left, word, right = attribute[len(WITHIN) :].split(".")
        compare = COMPARE[word](column_of(table, left), column_of(table, right))
        return np.asarray(compare, dtype=np.int64)
    name, _, end = attribute.rpartition("_")
    if attribute in table.words:
        return table.words[attribute]
    if attribute == "block":
        return [table.block] * len(table)
    if attribute in ("key", "previous"):
        return getattr(table, attribute)
    if name in ("start", "end"):
        return getattr(table, name)[0 if end == "lo" else 1]
    if name.startswith("stage."):
        masks = table.stages_sure if end == "lo" else table.stages_possible
        return ((masks & int(name[6:])) != 0).astype(np.int64)
    return (table.least if end == "lo" else table.most)[name]


def variants(rule: Rule, pack: Pack) -> Iterator[Variant]:
    """Yield the compiled variants of a rule, sure and maybe."""
    for side in SIDES:
        for chosen in itertools.product(*rule.when):
            slots = {a: Slot(a, k) for a, k in rule.given.items()}
            _common(rule, slots, side)
            for condition in chosen:
                _place(condition, slots, pack, side)
            absent = tuple(_absent(rule, slots, pack, side))
            yield Variant(rule, side, tuple(slots.values()), absent)


def _common(rule: Rule, slots: dict[str, Slot], side: Side) -> None:
    end = "lo" if side == "sure" else "hi"
    for i, slot in enumerate(slots.values()):
        slot.tests.append(Test(f"exists_{end}", "==", 1))
        if i:
            slot.key = Link("block", "==", rule.anchor, "block")
    if rule.stages:
        attribute = f"stage.{bits(rule.stages)}_{end}"
        slots[rule.stages_of].tests.append(Test(attribute, "==", 1))


def _absent(rule: Rule, slots: dict[str, Slot], pack: Pack, side: Side) -> Iterator[Slot]:
    """Yield what must not be there: one slot for each choice of an ``or``, and none may match."""
    if rule.absence is None:
        return
    if side == "sure":
        slots[rule.anchor].tests.append(Test("journal_current_lo", "==", 1))
    other: Side = "maybe" if side == "sure" else "sure"
    for i, chosen in enumerate(itertools.product(*rule.absence.when)):
        name = rule.absence.alias
        slot = Slot(f"{name}_{i}", rule.absence.kind)
        slot.tests.append(Test(f"exists_{'lo' if other == 'sure' else 'hi'}", "==", 1))
        slot.key = Link("block", "==", rule.anchor, "block")
        for condition in chosen:
            _place(condition, {**slots, name: slot}, pack, other)
        yield slot


def _place(condition: Condition, slots: dict[str, Slot], pack: Pack, side: Side) -> None:
    """Add a condition to the slot of the fact that comes last among those it speaks of."""
    low, high = ("lo", "hi") if side == "sure" else ("hi", "lo")
    if isinstance(condition, IsWord):
        slots[condition.ref.alias].tests.append(Test(condition.ref.name, "in", condition.words))
    elif isinstance(condition, IsFlag):
        end, wanted = (low, 1) if condition.wanted else (high, 0)
        slots[condition.ref.alias].tests.append(Test(f"{condition.ref.name}_{end}", "==", wanted))
    elif isinstance(condition, Relation):
        _relate(condition, slots, side)
    elif isinstance(condition.right, Ref):
        up = condition.op in (">=", ">")
        a, b = (low, high) if up else (high, low)
        left, right = condition.left, condition.right
        _link(slots, (left.alias, f"{left.name}_{a}"), condition.op,
              (right.alias, f"{right.name}_{b}"))  # fmt: skip
    else:
        threshold = pack.threshold(condition.right)
        if threshold is None:
            raise EngineError(f"{pack.name}: no threshold named '{condition.right}'")
        end = low if condition.op in (">=", ">") else high
        test = Test(f"{condition.left.name}_{end}", condition.op, threshold.value)
        slots[condition.left.alias].tests.append(test)


def _relate(condition: Relation, slots: dict[str, Slot], side: Side) -> None:
    a, b = condition.first, condition.second
    early, late = ("lo", "hi") if side == "sure" else ("hi", "lo")
    if condition.name == "follows":
        _follow(slots, later=a, earlier=b)
    elif condition.name == "before":
        _link(slots, (a, f"end_{late}"), "<=", (b, f"start_{early}"))
    elif condition.name == "within":
        _link(slots, (a, f"start_{early}"), ">=", (b, f"start_{late}"))
        _link(slots, (a, f"end_{late}"), "<=", (b, f"end_{early}"))
    else:
        _link(slots, (a, f"start_{late}"), "<", (b, f"end_{early}"))
        _link(slots, (b, f"start_{late}"), "<", (a, f"end_{early}"))


def _follow(slots: dict[str, Slot], later: str, earlier: str) -> None:
    order = list(slots)
    if order.index(later) > order.index(earlier):
        slot, key = slots[later], Link("previous", "==", earlier, "key")
    else:
        slot, key = slots[earlier], Link("key", "==", later, "previous")
    if slot.key is not None and slot.key.attribute != "block":  # tied at both ends
        slot.links.append(slot.key)
    slot.key = key


def _link(slots: dict[str, Slot], left: tuple[str, str], op: str, right: tuple[str, str]) -> None:
    order = list(slots)
    if left[0] == right[0]:  # two attributes of one fact: settled before the engine sees it
        words = f"{WITHIN}{left[1]}.{OPERATORS[op][1:]}.{right[1]}"
        slots[left[0]].tests.append(Test(words, "==", 1))
        return
    if order.index(left[0]) > order.index(right[0]):
        slots[left[0]].links.append(Link(left[1], op, right[0], right[1]))
    else:
        slots[right[0]].links.append(Link(right[1], MIRRORED[op], left[0], left[1]))


def _number(value: float) -> float | int:
    """Return a number whose JSON the engine reads: no exponent, no NaN, no infinity."""
    number: float | int = int(value) if float(value).is_integer() else round(float(value), 4)
    if not np.isfinite(value) or "e" in repr(number).lower() or number != value:
        raise EngineError(f"{value!r} cannot be given to the engine; expected 4 decimals at most")
    return number


@dataclass(frozen=True, slots=True)
class Compiled:
    """A ruleset ready for the engine.

    ``definition`` is JSON text; ``key`` its hash; ``names`` maps an engine rule to its variant;
    ``attributes`` says by kind which attributes a fact must carry; ``short`` gives each kind and
    attribute the short name by which the engine knows it (its messages repeat whole facts).
    """

    key: str
    definition: str
    names: dict[str, Variant]
    attributes: dict[str, tuple[str, ...]]
    short: dict[str, str]
    tests: dict[str, tuple[tuple[Test, ...], ...]]

    @property
    def rules(self) -> tuple[Rule, ...]:
        """The rules in this ruleset, each once."""
        return tuple({v.rule.key: v.rule for v in self.names.values()}.values())

    @property
    def has_absence(self) -> bool:
        """Whether some rule asks that a fact is not there."""
        return any(v.absent for v in self.names.values())

    def wanted(self, table: FactTable) -> npt.NDArray[np.int64]:
        """Return the positions of facts that pass the single-fact part of some rule."""
        masks = np.zeros(len(table), dtype=bool)
        seen: dict[Test, npt.NDArray[np.bool_]] = {}
        for tests in self.tests.get(table.kind.name, ()):
            passed = np.ones(len(table), dtype=bool)
            for test in tests:
                if test not in seen:
                    seen[test] = test.mask(table)
                passed &= seen[test]
            masks |= passed
        return np.flatnonzero(masks)


def compile_packs(packs: Sequence[Pack]) -> list[Compiled]:
    """Compile packs, two rulesets a pack, or more where the engine's limits ask for it.

    Raises
    ------
    EngineError
        For anything that the engine is known to get wrong.
    """
    found = []
    for pack in packs:
        # Absences apart: with an hour more of log they are evaluated whole, the others in part.
        for with_absence in (False, True):
            some = [rule for rule in pack.rules if (rule.absence is not None) == with_absence]
            found += [_compiled(chunk) for chunk in _chunks(some, pack)]
    return found


def _chunks(rules: Sequence[Rule], pack: Pack) -> Iterator[list[Variant]]:
    """Yield variants in groups that one ruleset can hold."""
    chunk: list[Variant] = []
    for rule in rules:
        of_rule = list(variants(rule, pack))
        if chunk and _too_many(chunk + of_rule):
            yield chunk
            chunk = []
        chunk += of_rule
    if chunk:
        yield chunk


def _too_many(chunk: list[Variant]) -> bool:
    """Whether a fact could match more engine rules than durable-rules survives."""
    by_kind: dict[str, int] = {}
    first = 0
    for variant in chunk:
        first += variant.slots[0].choices
        for slot in variant.all_slots:
            by_kind[slot.kind] = by_kind.get(slot.kind, 0) + slot.choices
    return max(by_kind.values()) > MOST_RULES_A_FACT or first > MOST_FIRST_CONDITIONS


def _compiled(chunk: list[Variant]) -> Compiled:
    if _too_many(chunk):
        raise EngineError(f"{chunk[0].rule.key}: more alternatives than one ruleset can hold")
    definition: dict[str, Any] = {
        OPENING: {"all": [{"fact": {"kind": OPENING}}]},
        CLOSING: {"all": [{"fact": {"kind": CLOSING}}]},
    }
    names: dict[str, Variant] = {}
    for variant in chunk:
        for conditions in _engine_rules(variant):
            name = f"r{len(names)}"
            names[name] = variant
            definition[name] = {"all": conditions}
    attributes: dict[str, set[str]] = {}
    tests: dict[str, dict[tuple[Test, ...], None]] = {}
    for variant in chunk:
        for slot in variant.all_slots:
            attributes.setdefault(slot.kind, {"block"}).update(slot.attributes())
            tests.setdefault(slot.kind, {})[tuple(slot.tests)] = None
        _other_side(variant, attributes)
    words = sorted({*attributes, *(a for found in attributes.values() for a in found)})
    short = {word: f"a{i}" for i, word in enumerate(words)}
    text = json.dumps(_shortened(definition, short), sort_keys=True)
    return Compiled(
        hashlib.sha256(text.encode()).hexdigest(),
        text,
        names,
        {kind: tuple(sorted(found)) for kind, found in attributes.items()},
        short,
        {kind: tuple(found) for kind, found in tests.items()},
    )


def _shortened(part: Any, short: dict[str, str]) -> Any:
    """Return a definition with short names for attributes and kinds (never for aliases)."""
    if isinstance(part, list):
        return [_shortened(item, short) for item in part]
    if not isinstance(part, dict):
        return part
    found: dict[str, Any] = {}
    for key, value in part.items():
        if key == "kind":
            found[key] = short.get(value, value)
        elif key in short and isinstance(value, dict):  # attribute: {alias: attribute}
            found[short[key]] = {a: short[v] for a, v in value.items()}
        elif key in short:
            found[short[key]] = value
        else:
            found[key] = _shortened(value, short)
    return found


def _other_side(variant: Variant, attributes: dict[str, set[str]]) -> None:
    """Note the attributes that links read from earlier facts."""
    kinds = {slot.alias: slot.kind for slot in variant.all_slots}
    for slot in variant.all_slots:
        for link in [*slot.links, *([slot.key] if slot.key else [])]:
            attributes.setdefault(kinds[link.other], {"block"}).add(link.other_attribute)


def _engine_rules(variant: Variant) -> Iterator[list[dict[str, Any]]]:
    choices = [list(slot.definitions()) for slot in variant.slots]
    absents = [(slot.alias, part) for slot in variant.absent for part in slot.definitions()]
    for chosen in itertools.product(*choices):
        conditions = [
            {AS + slot.alias: part} for slot, part in zip(variant.slots, chosen, strict=True)
        ]
        if absents:
            same = {"block": {AS + variant.rule.anchor: "block"}}
            conditions.append({"closing_": {"$and": [{"kind": CLOSING}, same]}})
        for i, (alias, part) in enumerate(absents):
            conditions.append({f"{AS}{alias}_{i}$not": part})
        yield conditions
