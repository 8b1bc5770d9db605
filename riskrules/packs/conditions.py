"""The conditions of a rule: a small subset of Python expressions, parsed and never evaluated.

======================================  ===================================================
``wet.hours >= long_wet``               a quantity against a named threshold
``first.hours <= second.hours``         a quantity against another fact's
``wet.splashed``, ``not wet.straw``     a flag
``wet.source == 'sensor'``              a word; also ``in ('drip', 'overhead')``
``overlaps(cover, wet)``                their spans share some time
``within(pick, window)``                the first lies inside the second
``before(water, pick)``                 the first ends when or before the second starts
``follows(second, first)``              the next night, day or the like after the other
``a or b``                              either; only at the top of a condition
======================================  ===================================================
"""

from __future__ import annotations

import ast
from dataclasses import dataclass

COMPARISONS = {ast.GtE: ">=", ast.Gt: ">", ast.LtE: "<=", ast.Lt: "<"}
RELATIONS = ("overlaps", "within", "before", "follows")


@dataclass(frozen=True, slots=True)
class Ref:
    """A quantity, flag or word of the fact that an alias stands for."""

    alias: str
    name: str


@dataclass(frozen=True, slots=True)
class Compare:
    """A quantity against a named threshold (text) or another quantity."""

    text: str
    left: Ref
    op: str
    right: Ref | str


@dataclass(frozen=True, slots=True)
class IsFlag:
    """A flag that must be up (or down)."""

    text: str
    ref: Ref
    wanted: bool


@dataclass(frozen=True, slots=True)
class IsWord:
    """A word that must be one of a few."""

    text: str
    ref: Ref
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Relation:
    """How two facts lie in time to each other."""

    text: str
    name: str
    first: str
    second: str


Condition = Compare | IsFlag | IsWord | Relation


class ConditionError(ValueError):
    """A condition that is not of the subset; ``column`` counts from 0."""

    def __init__(self, message: str, column: int = 0) -> None:
        super().__init__(message)
        self.column = column


def parse_condition(text: str) -> tuple[Condition, ...]:
    """Return the alternatives of a condition (one, unless it says ``or``).

    Raises
    ------
    ConditionError
        With the column and what was expected.

    Examples
    --------
    >>> parse_condition("wet.hours >= long_wet")[0].right
    'long_wet'
    """
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
        column = max((getattr(error, "offset", 1) or 1) - 1, 0)
        raise ConditionError(f"'{text}' is not a condition", column) from None
    parts = tree.values if isinstance(tree, ast.BoolOp) and isinstance(tree.op, ast.Or) else [tree]
    return tuple(_one(part, text.strip()) for part in parts)


def _one(node: ast.expr, text: str) -> Condition:
    source = ast.get_source_segment(text, node) or text
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        return _comparison(node, source)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return IsFlag(source, _ref(node.operand), False)
    if isinstance(node, ast.Attribute):
        return IsFlag(source, _ref(node), True)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return _relation(node, source)
    raise ConditionError(
        f"'{source}' is not a condition; expected a comparison, a flag, a word or one of "
        + ", ".join(RELATIONS),
        node.col_offset,
    )


def _comparison(node: ast.Compare, source: str) -> Compare | IsWord:
    op, right = node.ops[0], node.comparators[0]
    left = _ref(node.left)
    if isinstance(op, ast.Eq | ast.In):
        items = right.elts if isinstance(right, ast.Tuple | ast.List) else [right]
        words = [i.value for i in items if isinstance(i, ast.Constant) and isinstance(i.value, str)]
        if not items or len(words) != len(items):
            raise ConditionError("expected words in quotes after == or in", right.col_offset)
        return IsWord(source, left, tuple(words))
    if type(op) not in COMPARISONS:
        raise ConditionError("expected one of >= > <= < == in", right.col_offset)
    if isinstance(right, ast.Name):
        return Compare(source, left, COMPARISONS[type(op)], right.id)
    if isinstance(right, ast.Constant):
        raise ConditionError(
            f"number {right.value!r} in a condition; expected a named threshold", right.col_offset
        )
    return Compare(source, left, COMPARISONS[type(op)], _ref(right))


def _ref(node: ast.expr) -> Ref:
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        return Ref(node.value.id, node.attr)
    raise ConditionError("expected fact.quantity", node.col_offset)


def _relation(node: ast.Call, source: str) -> Relation:
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    args = [a.id for a in node.args if isinstance(a, ast.Name)]
    if name not in RELATIONS:
        raise ConditionError(f"'{name}'; expected one of {', '.join(RELATIONS)}", node.col_offset)
    if len(args) != 2 or len(node.args) != 2 or node.keywords or args[0] == args[1]:
        raise ConditionError(f"{name} takes the names of two facts", node.col_offset)
    return Relation(source, name, args[0], args[1])


def aliases_of(condition: Condition) -> tuple[str, ...]:
    """Return the facts a condition speaks of, in the order they stand."""
    if isinstance(condition, Relation):
        return (condition.first, condition.second)
    if isinstance(condition, Compare):
        more = (condition.right.alias,) if isinstance(condition.right, Ref) else ()
        return (condition.left.alias, *more)
    return (condition.ref.alias,)
