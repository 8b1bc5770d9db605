"""Random packs and facts: small grids of numbers and times, so that ties happen all the time.

Every pack is written as YAML and goes through the checks that a grower's pack goes through. All
numbers are invented for tests.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
from hypothesis import reject
from hypothesis import strategies as st

from riskrules.errors import PackError
from riskrules.facts.kinds import KINDS, Cause, Kind, Quantity
from riskrules.facts.stages import ALL, bits
from riskrules.facts.table import DECIMALS, Facts, FactTable
from riskrules.packs.load import check_pack
from riskrules.packs.marked import Marked
from riskrules.packs.model import Pack, Threshold

BLOCK = "b1"
HOUR = 3600
START = 1_777_593_600  # 2026-05-01 00:00 UTC
ALIASES = ("first", "second", "third")
ABSENT = "absent"
GRID = (-1.5, 0.0, 0.25, 0.5, 1.0, 2.0, 2.0001, 3.0)
UNITS = ("h", "degC", "K", "1", "mm", "mm h-1", "kPa", "degC h", "d", "count")
CODES = (60, 65, 87)
RELATIONS = ("overlaps", "within", "before")
ON_OFF = ((0.0, 0.0), (1.0, 1.0), (0.0, 1.0))


class Case:
    """Random packs with random facts; it prints as what a person needs to see it happen."""

    def __init__(self, packs: tuple[Pack, ...], texts: tuple[str, ...], facts: Facts) -> None:
        self.packs, self.texts, self.facts = packs, texts, facts

    def __repr__(self) -> str:
        """Return the packs' rules and the columns that they speak of."""
        rules = [(d["pack"], r) for d in map(json.loads, self.texts) for r in d["rules"]]
        told = ("given", "when", "unless", "stages", "stages_of")
        lines = [f"{p}.{r['rule']}: { {k: r[k] for k in told if k in r} }" for p, r in rules]
        names = names_in(self.texts)
        for table in self.facts.values():
            lines += [_line(table, i, names) for i in range(len(table))]
        return "\n" + "\n".join(lines)


def _line(table: FactTable, i: int, names: set[str]) -> str:
    hours = [[(int(t[i]) - START) / HOUR for t in times] for times in (table.start, table.end)]
    numbers = {
        q: (float(table.least[q][i]), float(table.most[q][i])) for q in table.least if q in names
    }
    words = {w: column[i] for w, column in table.words.items()}
    chain = (table.key[i], table.previous[i]) if table.key else ()
    stages = (int(table.stages_sure[i]), int(table.stages_possible[i]))
    return f"{table.ids[i]} start, end {hours} {numbers} {words} {chain} stages {stages}"


def names_in(texts: Sequence[str]) -> set[str]:
    """Return every quantity, flag and word that some rule speaks of."""
    return {"exists", "journal_current"}.union(*(re.findall(r"\.([a-z_]+)", t) for t in texts))


def threshold_names(unit: str) -> list[str]:
    """Return the names of the thresholds in a unit, one for each number of the grid."""
    return [f"u{UNITS.index(unit)}_{i}" for i in range(len(GRID))]


def thresholds(grid: Sequence[float] = GRID) -> dict[str, dict[str, Any]]:
    """Return thresholds in every unit as a pack writes them."""
    return {
        name: {"value": value, "unit": unit, "range": [-10, 10], "source": "invented for a test",
               "tag": "assumption"}
        for unit in UNITS
        for name, value in zip(threshold_names(unit), grid, strict=True)
    }  # fmt: skip


def shared_thresholds() -> dict[str, Threshold]:
    """Return shared thresholds that stand behind those of the pack: other numbers, same names."""
    return {
        name: Threshold(name, t["value"], t["unit"], -10, 10, t["source"], t["tag"], "shared")
        for name, t in thresholds(GRID[::-1]).items()
    }


def numbers_of(kind: str) -> list[Quantity]:
    """Return the quantities of a kind that are no flags."""
    return [q for q in KINDS[kind].all_quantities if q.unit != "flag"]


@st.composite
def alone(draw: st.DrawFn, alias: str, kind: str, hard: bool) -> str:
    """Draw a condition on one fact; ``hard`` ones compare a fact with itself."""
    what = draw(st.sampled_from(("number", "number", "flag", "word") + ("pair",) * hard))
    numbers, words = numbers_of(kind), KINDS[kind].words
    pairs = [(p, q) for p in numbers for q in numbers if p is not q and p.unit == q.unit]
    if what == "pair" and pairs:
        left, right = draw(st.sampled_from(pairs))
        return f"{alias}.{left.name} {draw(operators)} {alias}.{right.name}"
    if what == "word" and words:
        word = draw(st.sampled_from(sorted(words)))
        most = 1 if alias == ABSENT and not hard else 2
        some = draw(st.lists(st.sampled_from(words[word]), min_size=1, max_size=most, unique=True))
        listed = ", ".join(f"'{w}'" for w in some)
        return f"{alias}.{word} " + (f"in ({listed})" if len(some) > 1 else f"== {listed}")
    if what == "flag" or not numbers:
        flags = [q for q in KINDS[kind].all_quantities if q.unit == "flag"]
        flag = draw(st.sampled_from(flags))
        return draw(st.sampled_from(("", "not "))) + f"{alias}.{flag.name}"
    quantity = draw(st.sampled_from(numbers))
    threshold = draw(st.sampled_from(threshold_names(quantity.unit)))
    return f"{alias}.{quantity.name} {draw(operators)} {threshold}"


operators = st.sampled_from((">=", ">", "<=", "<"))


@st.composite
def tie(draw: st.DrawFn, one: tuple[str, str], other: tuple[str, str]) -> str:
    """Draw a condition on two facts, each given as alias and kind."""
    turned = draw(st.booleans())
    (a, kind), (b, other_kind) = (other, one) if turned else (one, other)
    pairs = [
        (p.name, q.name)
        for p in numbers_of(kind)
        for q in numbers_of(other_kind)
        if p.unit == q.unit
    ]
    chained = kind == other_kind and KINDS[kind].chained
    names = [*RELATIONS, *["follows"] * 2 * chained, *["compare"] * bool(pairs)]
    name = draw(st.sampled_from(names))
    if name != "compare":
        return f"{name}({a}, {b})"
    left, right = draw(st.sampled_from(pairs))
    return f"{a}.{left} {draw(operators)} {b}.{right}"


@st.composite
def condition(draw: st.DrawFn, given: dict[str, str], hard: bool, need: str = "") -> str:
    """Draw a condition; with ``need`` each of its alternatives speaks of that alias."""
    texts = []
    simple = need and not hard
    for _ in range(1 if simple else draw(st.sampled_from((1, 1, 1, 2)))):
        alias = need or draw(st.sampled_from(sorted(given)))
        others = [a for a in given if a != alias]
        tied = draw(st.booleans())
        if others and tied:
            other = draw(st.sampled_from(others))
            texts.append(draw(tie((alias, given[alias]), (other, given[other]))))
        else:
            texts.append(draw(alone(alias, given[alias], hard)))
    return " or ".join(texts)


@st.composite
def absence(
    draw: st.DrawFn, given: dict[str, str], kinds: Sequence[str], hard: bool
) -> dict[str, Any]:
    """Draw an absence; ``hard`` ones have ``or`` and one of several words."""
    kind = draw(st.sampled_from(kinds))
    everything = {**given, ABSENT: kind}
    when = draw(st.lists(condition(everything, hard, ABSENT), max_size=2))
    return {"given": {ABSENT: kind}, "when": when}


@st.composite
def rule(draw: st.DrawFn, name: str, kinds: Sequence[str], hard: bool) -> dict[str, Any]:
    """Draw a rule as a pack writes it."""
    given: dict[str, str] = {
        a: draw(st.sampled_from(kinds)) for a in ALIASES[: draw(st.integers(1, 3))]
    }
    aliases = list(given)
    when = []
    for i, alias in enumerate(aliases[1:], 1):
        other = draw(st.sampled_from(aliases[:i]))
        tied = draw(tie((alias, given[alias]), (other, given[other])))
        either = draw(st.sampled_from((False, False, False, True)))
        when.append(f"{tied} or {draw(condition(given, hard))}" if either else tied)
    when += draw(st.lists(condition(given, hard), min_size=0 if when else 1, max_size=2))
    text: dict[str, Any] = {"rule": name, "title": "Invented", "given": given, "when": when}
    if draw(st.sampled_from((False, False, True))):
        text["unless"] = draw(absence(given, kinds, hard))
    if draw(st.sampled_from((False, False, True))):
        text["stages"] = draw(st.lists(st.sampled_from(CODES), min_size=1, max_size=2))
        text["stages_of"] = draw(st.sampled_from(["", *aliases]))
    text["finding"] = {"hazard": "heat", "severity": "Minor", "sentence": "Invented."}
    text["sources"] = [{"text": "invented for a test", "tag": "assumption"}]
    return text


@st.composite
def pack_text(draw: st.DrawFn, name: str, kinds: Sequence[str], hard: bool) -> str:
    """Draw a pack of 1 to 5 rules as YAML (its JSON subset); some thresholds are shared ones."""
    rules = [draw(rule(f"r{i}", kinds, hard)) for i in range(draw(st.integers(1, 5)))]
    used = sorted(set(re.findall(r"\bu\d_\d\b", str(rules))))
    borrowed = draw(st.sets(st.sampled_from(used), max_size=3)) if used else set()
    own = {n: t for n, t in thresholds().items() if n in used and n not in borrowed}
    data = {"pack": name, "title": "Invented", "thresholds": own, "rules": rules}
    return json.dumps(data, indent=1)


def checked(text: str) -> Pack:
    """Return the pack of a YAML text, checked as any pack is."""
    return check_pack(Marked("random.yaml", text), shared_thresholds())


@st.composite
def bounds(draw: st.DrawFn, quantity: Quantity) -> tuple[float, float]:
    """Draw the least and the most of a quantity: one number, two, or nothing known."""
    if quantity.name == "exists":
        return draw(st.sampled_from(((1.0, 1.0), (1.0, 1.0), (1.0, 1.0), (0.0, 1.0))))
    if quantity.unit == "flag":
        return draw(st.sampled_from(ON_OFF))
    grid = sorted({min(max(v, quantity.least), quantity.most) for v in GRID})
    least = draw(st.sampled_from(grid))
    most = draw(st.sampled_from((least, least, least, quantity.most, *grid)))
    unknown = draw(st.sampled_from((False,) * 5 + (True,)))
    low, high = (quantity.least, quantity.most) if unknown else sorted((least, most))
    return round(low, DECIMALS), round(high, DECIMALS)


@st.composite
def times(draw: st.DrawFn) -> tuple[int, int, int, int]:
    """Draw least and most start, least and most end, in whole hours of three days, in seconds."""
    slack = st.sampled_from((0, 0, 0, 1, 3))
    start = draw(st.integers(0, 72))
    late = start + draw(slack)
    end = late + draw(st.integers(0, 12))
    hours = (start, late, end, end + draw(slack))
    return tuple(START + h * HOUR for h in hours)  # type: ignore[return-value]


@st.composite
def stages(draw: st.DrawFn) -> tuple[int, int]:
    """Draw the bits of stages that surely and possibly are there."""
    possible = draw(st.lists(st.sampled_from(CODES), max_size=3, unique=True))
    if not possible:
        return draw(st.sampled_from(((0, 0), (0, ALL))))
    return bits(possible[: draw(st.integers(0, len(possible)))]), bits(possible)


@st.composite
def table(draw: st.DrawFn, kind: Kind, named: set[str], largest: int = 12) -> FactTable:
    """Draw 0 to ``largest`` facts of a kind; what no rule names keeps its physical limits."""
    n = draw(st.integers(0, largest))
    when = np.array([draw(times()) for _ in range(n)], dtype=np.int64).reshape(n, 4)
    found = FactTable(
        kind, BLOCK, [f"{BLOCK}/{kind.name}/{i}" for i in range(n)],
        (when[:, 0], when[:, 1]), (when[:, 2], when[:, 3]), forecast=np.zeros(n, dtype=np.bool_),
    )  # fmt: skip
    for q in kind.all_quantities:
        drawn = [draw(bounds(q)) if q.name in named else (q.least, q.most) for _ in range(n)]
        columns = np.array(drawn, dtype=np.float64).reshape(n, 2)
        found.least[q.name], found.most[q.name] = columns[:, 0], columns[:, 1]
        open_ends = columns[:, 0] < columns[:, 1]
        found.cause[q.name] = np.where(open_ends, int(Cause.NOT_YET), 0).astype(np.int64)
    for word, values in kind.words.items():
        one = st.sampled_from(values) if word in named else st.just(values[0])
        found.words[word] = [draw(one) for _ in range(n)]
    masks = np.array([draw(stages()) for _ in range(n)], dtype=np.int64).reshape(n, 2)
    found.stages_sure, found.stages_possible = masks[:, 0], masks[:, 1]
    if kind.chained:
        days = [date(2026, 5, 1) + timedelta(days=i) for i in range(-2, n)]
        keys = [f"{BLOCK}/{kind.name}/{day}" for day in days]
        found.key = keys[2:]
        found.previous = [draw(st.sampled_from((keys[i + 1], keys[i], ""))) for i in range(n)]
    return found


@st.composite
def cases(draw: st.DrawFn, hard: bool = False) -> Case:
    """Draw one or two packs over up to three kinds, and facts of those kinds.

    With ``hard`` the rules have what an engine may refuse, but never get wrong: a fact compared
    with itself, and absences with ``or`` or one of several words.
    """
    kinds = draw(st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=3, unique=True))
    n = draw(st.sampled_from((1, 1, 2)))
    texts = tuple(draw(pack_text(f"p{i}", kinds, hard)) for i in range(n))
    named = names_in(texts)
    facts = {kind: draw(table(KINDS[kind], named)) for kind in kinds}
    try:
        return Case(tuple(checked(text) for text in texts), texts, facts)
    except PackError:
        if not hard:
            raise
        reject()


def shuffled(facts: Facts, chance: random.Random) -> Facts:
    """Return the same facts, kinds and rows in another order."""
    found = {}
    for kind in chance.sample(list(facts), len(facts)):
        n = len(facts[kind])
        found[kind] = reordered(facts[kind], chance.sample(range(n), n))
    return found


def reordered(found: FactTable, order: Sequence[int]) -> FactTable:
    """Return the same facts in another order of rows."""
    rows = np.array(order, dtype=np.int64)
    return FactTable(
        found.kind, found.block, [found.ids[i] for i in order],
        (found.start[0][rows], found.start[1][rows]), (found.end[0][rows], found.end[1][rows]),
        {q: column[rows] for q, column in found.least.items()},
        {q: column[rows] for q, column in found.most.items()},
        {q: column[rows] for q, column in found.cause.items()},
        {w: [column[i] for i in order] for w, column in found.words.items()},
        [found.key[i] for i in order] if found.key else [],
        [found.previous[i] for i in order] if found.previous else [],
        found.stages_sure[rows], found.stages_possible[rows], found.forecast[rows],
    )  # fmt: skip
