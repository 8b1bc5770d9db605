"""Packs over facts in plain Python: the judge of the engine, and its marked stand-in.

It shares no code with the compiler or with the packs' own parser, so that one mistake cannot hide
in both. Each condition becomes a closure that answers yes, maybe or no (Kleene's three-valued
logic): yes where it surely holds, maybe where it only possibly does.
"""

from __future__ import annotations

import ast
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import inf
from operator import ge, gt, le, lt

from riskrules.engine.match import Match
from riskrules.errors import EngineError
from riskrules.facts.stages import bits
from riskrules.facts.table import Facts, FactTable, Floats, Ints
from riskrules.packs.model import Pack, Rule

NO, MAYBE, YES = range(3)
"""Kleene's values: "and" is the least of them, "or" the greatest, "not" counts from the top."""


def truth(surely: bool, possibly: bool) -> int:
    """Return YES, MAYBE or NO."""
    return YES if surely else MAYBE if possibly else NO


Pair = tuple[float, float]
"""The least and the most of a quantity; of a time, whole seconds since 1970."""


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One fact as conditions read it."""

    id: str
    start: Pair
    end: Pair
    bounds: dict[str, Pair]
    words: dict[str, str]
    key: str
    previous: str
    stages: tuple[int, int]

    def flag(self, name: str) -> int:
        """Return whether a flag is up."""
        least, most = self.bounds[name]
        return truth(least == 1, most == 1)


def rows_of(table: FactTable) -> list[Row]:
    """Return the facts of a table, row by row; EngineError for bounds that cannot be compared.

    Comparing them all the same would quietly give "no" where nothing is known.
    """
    start, end = _pairs(table, "start", *table.start), _pairs(table, "end", *table.end)
    bounds = {q: _pairs(table, q, table.least[q], table.most[q]) for q in table.least}
    stages = list(zip(table.stages_sure.tolist(), table.stages_possible.tolist(), strict=True))
    key, previous = (column or [""] * len(table) for column in (table.key, table.previous))
    found = []
    for i, name in enumerate(table.ids):
        numbers = {quantity: pairs[i] for quantity, pairs in bounds.items()}
        words = {word: column[i] for word, column in table.words.items()}
        times = start[i], end[i]
        found.append(Row(name, *times, numbers, words, key[i], previous[i], stages[i]))
    return found


def _pairs(table: FactTable, name: str, least: Floats | Ints, most: Floats | Ints) -> list[Pair]:
    pairs = list(zip(least.tolist(), most.tolist(), strict=True))
    for fact, (low, high) in zip(table.ids, pairs, strict=True):
        if not low <= high:
            raise EngineError(f"{fact}: {name} is {low} to {high}; expected least <= most")
    return pairs


Env = Mapping[str, Row]
"""The fact that each alias stands for."""
Test = Callable[[Env], int]
Rows = Mapping[str, list[Row]]
Time = Callable[[Row], float]


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition and the aliases it speaks of; where it is a relation: name, first, second."""

    aliases: frozenset[str]
    test: Test
    relation: tuple[str, str, str] | None = None


def parse(text: str, pack: Pack) -> Condition:
    """Return the closure of one condition; EngineError if it is not understood."""
    try:
        node = ast.parse(text.strip(), mode="eval").body
        if not isinstance(node, ast.BoolOp):
            return _part(node, pack)
        if not isinstance(node.op, ast.Or):
            raise ValueError("only 'or' joins conditions")
        parts = [_part(each, pack) for each in node.values]
        aliases = frozenset[str]().union(*(part.aliases for part in parts))
        return Condition(aliases, lambda env: max([part.test(env) for part in parts]))
    except (SyntaxError, ValueError, LookupError) as error:
        raise EngineError(f"{pack.name}: condition '{text}' not understood: {error}") from error


def _part(node: ast.expr, pack: Pack) -> Condition:
    match node:
        case ast.Call(func=ast.Name(id=name), args=[ast.Name(id=first), ast.Name(id=second)]):
            relate = RELATIONS[name]
            test: Test = lambda env: relate(env[first], env[second])  # noqa: E731
            return Condition(frozenset((first, second)), test, (name, first, second))
        case ast.UnaryOp(op=ast.Not(), operand=ast.Attribute(value=ast.Name(id=alias), attr=flag)):
            return Condition(frozenset((alias,)), lambda env: YES - env[alias].flag(flag))
        case ast.Attribute(value=ast.Name(id=alias), attr=flag):
            return Condition(frozenset((alias,)), lambda env: env[alias].flag(flag))
        case ast.Compare(
            left=ast.Attribute(value=ast.Name(id=alias), attr=name), ops=[op], comparators=[right]
        ):
            if isinstance(op, ast.Eq | ast.In):
                return _word(alias, name, ast.literal_eval(right))
            return _compare(alias, name, type(op), right, pack)
    raise ValueError(ast.unparse(node))


def _stages(alias: str, wanted: int) -> Condition:
    test: Test = lambda env: truth(*(m & wanted != 0 for m in env[alias].stages))  # noqa: E731
    return Condition(frozenset((alias,)), test)


def _word(alias: str, name: str, words: str | Sequence[str]) -> Condition:
    wanted = {words} if isinstance(words, str) else set(words)
    test: Test = lambda env: YES if env[alias].words[name] in wanted else NO  # noqa: E731
    return Condition(frozenset((alias,)), test)


def _compare(alias: str, name: str, op: type[ast.cmpop], to: ast.expr, pack: Pack) -> Condition:
    holds = COMPARE[op]
    # Where the left value makes it hardest and easiest to hold; for the right it is the reverse.
    hard, easy = (0, 1) if op in (ast.GtE, ast.Gt) else (1, 0)
    right, aliases = _right_of(to, pack)

    def test(env: Env) -> int:
        ours, theirs = env[alias].bounds[name], right(env)
        return truth(holds(ours[hard], theirs[easy]), holds(ours[easy], theirs[hard]))

    return Condition(frozenset((alias, *aliases)), test)


def _right_of(node: ast.expr, pack: Pack) -> tuple[Callable[[Env], Pair], tuple[str, ...]]:
    match node:
        case ast.Name(id=name) if found := pack.threshold(name):
            number = (found.value, found.value)
            return lambda env: number, ()
        case ast.Attribute(value=ast.Name(id=alias), attr=name):
            return lambda env: env[alias].bounds[name], (alias,)
    raise ValueError(ast.unparse(node))


def overlaps(a: Row, b: Row) -> int:
    """Return whether two facts share some time."""
    surely = a.start[1] < b.end[0] and b.start[1] < a.end[0]
    return truth(surely, a.start[0] < b.end[1] and b.start[0] < a.end[1])


def within(a: Row, b: Row) -> int:
    """Return whether the first lies inside the second."""
    surely = a.start[0] >= b.start[1] and a.end[1] <= b.end[0]
    return truth(surely, a.start[1] >= b.start[0] and a.end[0] <= b.end[1])


def before(a: Row, b: Row) -> int:
    """Return whether the first ends when or before the second starts."""
    return truth(a.end[1] <= b.start[0], a.end[0] <= b.start[1])


def follows(later: Row, earlier: Row) -> int:
    """Return whether the first comes next in the chain after the second."""
    return YES if later.previous == earlier.key else NO


Holds = Callable[[float, float], bool]
COMPARE: dict[type[ast.cmpop], Holds] = {ast.GtE: ge, ast.Gt: gt, ast.LtE: le, ast.Lt: lt}
RELATIONS = {"overlaps": overlaps, "within": within, "before": before, "follows": follows}


class ByTime:
    """Rows sorted by one time ``a``, with the greatest other time ``b`` so far beside each."""

    def __init__(self, rows: list[Row], a: Time, b: Time) -> None:
        self.rows = sorted(rows, key=a)
        self.a = [a(row) for row in self.rows]
        self.b = list(accumulate((b(row) for row in self.rows), max))

    def window(self, b_from: float, a_until: float) -> list[Row]:
        """Return at least all rows with b >= ``b_from`` and a <= ``a_until``."""
        return self.rows[bisect_left(self.b, b_from) : bisect_right(self.a, a_until)]


class Step:
    """Bind one more alias: its candidates, and the conditions that can then be told."""

    def __init__(self, alias: str, rows: list[Row], due: list[Condition]) -> None:
        self.alias, self.cross = alias, [c for c in due if len(c.aliases) > 1]
        alone = [c.test for c in due if len(c.aliases) == 1]
        truths = ((row, min(test({alias: row}) for test in alone)) for row in rows)
        self.alone = {row: found for row, found in truths if found}
        self.all = list(self.alone)
        self.outer = ByTime(self.all, lambda row: row.start[0], lambda row: row.end[1])
        self.inner = ByTime(self.all, lambda row: row.end[0], lambda row: row.start[1])
        self.by_key: dict[str, list[Row]] = {}
        self.by_previous: dict[str, list[Row]] = {}
        for row in self.all:
            self.by_key.setdefault(row.key, []).append(row)
            self.by_previous.setdefault(row.previous, []).append(row)

    def rows(self, env: Env) -> list[Row]:
        """Return the candidates: the fewest that a relation to a bound fact leaves."""
        found = self.all
        for name, first, second in (c.relation for c in self.cross if c.relation):
            leads = first == self.alias
            found = min(found, self._near(name, leads, env[second if leads else first]), key=len)
        return found

    def _near(self, name: str, leads: bool, other: Row) -> list[Row]:
        """Return at least all rows of which the relation to the other fact is not NO."""
        if name == "follows":
            known = self.by_previous if leads else self.by_key
            return known.get(other.key if leads else other.previous, [])
        (s0, s1), (e0, e1) = other.start, other.end
        if name == "overlaps":
            return self.outer.window(s0, e1)
        if name == "within":
            return self.inner.window(s0, e1) if leads else self.outer.window(e0, s1)
        return self.inner.window(-inf, s1) if leads else self.inner.window(e0, inf)


def joined(env: Env, steps: Sequence[Step], so_far: int = YES) -> Iterator[tuple[Env, int]]:
    """Yield each combination of different facts that holds or may hold, and how far."""
    if not steps:
        yield env, so_far
        return
    step = steps[0]
    for row in step.rows(env):
        now, found = {**env, step.alias: row}, min(so_far, step.alone[row])
        for condition in step.cross:
            found = found and min(found, condition.test(now))
        if found and row not in env.values():
            yield from joined(now, steps[1:], found)


def _steps(given: Mapping[str, str], conditions: list[Condition], rows: Rows) -> list[Step]:
    """Order the aliases so that each is tied to the ones before wherever that can be."""
    found: list[Step] = []
    while len(found) < len(given):
        bound = {step.alias for step in found}
        left = [alias for alias in given if alias not in bound]
        due = {a: [c for c in conditions if a in c.aliases <= bound | {a}] for a in left}
        alias = max(left, key=lambda a: sum(len(c.aliases) > 1 for c in due[a]))
        found.append(Step(alias, rows.get(given[alias], []), due[alias]))
    return found


def _of_rule(rule: Rule, pack: Pack, rows: Rows) -> Iterator[Match]:
    text = rule.text
    conditions = [parse(t, pack) for t in [*text.when, *(f"{a}.exists" for a in text.given)]]
    anchor = next(iter(text.given))
    if text.stages:
        conditions.append(_stages(text.stages_of or anchor, bits(text.stages)))
    absent: list[Step] = []
    if text.unless:
        ((alias, kind),) = text.unless.given.items()
        unless = [parse(t, pack) for t in [*text.unless.when, f"{alias}.exists"]]
        absent = [Step(alias, rows.get(kind, []), unless)]
    for env, found in joined({}, _steps(text.given, conditions, rows)):
        if absent:
            blocked = max((by for _, by in joined(env, absent)), default=NO)
            found = min(found, YES - blocked, max(MAYBE, env[anchor].flag("journal_current")))
        if found:
            ids = tuple(env[a].id for a in text.given)
            yield Match(f"{pack.name}.{text.rule}", ids, found == YES)


def matches(facts: Facts, packs: Sequence[Pack]) -> list[Match]:
    """Return which facts of a block satisfy which rules, sorted by rule and facts.

    Raises
    ------
    EngineError
        For bounds that are no numbers in order, or a condition that is not understood.
    """
    rows = {kind: rows_of(table) for kind, table in facts.items()}
    return sorted(m for pack in packs for rule in pack.rules for m in _of_rule(rule, pack, rows))
