"""Refuse a pack before the engine sees it: every trouble at once, with file, line and column."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable

from riskrules.errors import Problem
from riskrules.facts.kinds import KINDS, Kind, Quantity
from riskrules.facts.table import DECIMALS
from riskrules.packs.conditions import (
    Compare,
    Condition,
    ConditionError,
    IsFlag,
    IsWord,
    Ref,
    Relation,
    aliases_of,
    parse_condition,
)
from riskrules.packs.marked import Marked, Where
from riskrules.packs.model import Absence, Pack, Rule, RuleText, Threshold
from riskrules.plugins import more_kinds
from riskrules.science.stages import is_code

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
SPAN_WORDS = ("start", "end", "stages")


def meant(name: str, known: Iterable[str]) -> str:
    """Return a hint such as ``; did you mean 'x'?``, or nothing where none is close."""
    near = difflib.get_close_matches(name, list(known), n=1)
    return f"; did you mean '{near[0]}'?" if near else ""


class RuleChecker:
    """Checks one rule of a pack and gathers what is wrong."""

    def __init__(
        self, doc: Marked, where: Where, text: RuleText, pack: Pack, kinds: dict[str, Kind]
    ) -> None:
        self.doc, self.where, self.text, self.pack = doc, where, text, pack
        self.kinds = kinds
        self.problems: list[Problem] = []
        self.known: dict[str, str] = {}

    def rule(self) -> Rule | None:
        """Return the checked rule, or None where there are problems."""
        text = self.text
        self._given(text.given, ("given",))
        when = self._conditions(text.when, ("when",))
        positive = dict(self.known)
        absence = self._absence()
        self._joined(positive, when)
        self.known = positive
        self._stages()
        self._sentence()
        if self.problems:
            return None
        line = self.doc.places.get((*self.where, "rule"), (0, 0))[0]
        stages_of = text.stages_of or next(iter(text.given))
        stages = tuple(sorted(set(text.stages)))
        return Rule(
            self.pack.name, text.rule, text.title, dict(text.given), when, absence,
            stages, stages_of, text, line,
            any(isinstance(c, Relation) and c.name == "follows" for alts in when for c in alts),
        )  # fmt: skip

    def _bad(self, where: Where, message: str) -> None:
        self.problems.append(self.doc.problem((*self.where, *where), message))

    def _given(self, given: dict[str, str], where: Where) -> None:
        for alias, kind in given.items():
            if kind not in self.kinds:
                self._bad((*where, alias), f"no kind of fact '{kind}'{meant(kind, self.kinds)}")
            elif alias in self.known:
                self._bad((*where, alias), f"'{alias}' is taken; expected another name")
            else:
                self.known[alias] = kind

    def _absence(self) -> Absence | None:
        if self.text.unless is None:
            return None
        self._given(self.text.unless.given, ("unless", "given"))
        (alias, kind) = next(iter(self.text.unless.given.items()))
        when = self._conditions(self.text.unless.when, ("unless", "when"))
        for i, alternatives in enumerate(when):
            if any(alias not in aliases_of(c) for c in alternatives):
                self._bad(("unless", "when", i), f"expected a condition on '{alias}'")
        return Absence(alias, kind, when)

    def _joined(self, positive: dict[str, str], when: tuple[tuple[Condition, ...], ...]) -> None:
        """Every fact after the first must be tied to an earlier one, or a season is multiplied."""
        names = list(positive)
        for alias in names[1:]:
            ties = [c for alts in when for c in alts if _ties(c, alias)]
            if not ties:
                message = f"'{alias}' is not tied to another fact; expected {_RELATION_HINT}"
                self._bad(("given", alias), message)

    def _conditions(self, texts: list[str], where: Where) -> tuple[tuple[Condition, ...], ...]:
        found = []
        for i, text in enumerate(texts):
            try:
                alternatives = parse_condition(text)
            except ConditionError as error:
                self._bad((*where, i), f"{error} (column {error.column + 1} of the condition)")
                continue
            for condition in alternatives:
                self._condition(condition, (*where, i))
            found.append(alternatives)
        return tuple(found)

    def _condition(self, condition: Condition, where: Where) -> None:
        for alias in aliases_of(condition):
            if alias not in self.known:
                self._bad(where, f"no fact '{alias}' is given{meant(alias, self.known)}")
                return
        if isinstance(condition, Compare):
            self._compare(condition, where)
        elif isinstance(condition, IsFlag):
            quantity = self._quantity(condition.ref, where)
            if quantity and quantity.unit != "flag":
                self._bad(where, f"'{condition.ref.name}' is a number; expected a comparison")
        elif isinstance(condition, IsWord):
            self._word(condition, where)
        elif isinstance(condition, Relation) and condition.name == "follows":
            kinds = {self.known[condition.first], self.known[condition.second]}
            if len(kinds) > 1 or not all(self.kinds[k].chained for k in kinds):
                self._bad(where, "follows takes two facts of one kind that come in a row")

    def _quantity(self, ref: Ref, where: Where) -> Quantity | None:
        kind = self.kinds[self.known[ref.alias]]
        found = kind.quantity(ref.name)
        if found is None:
            names = [q.name for q in kind.all_quantities]
            self._bad(where, f"{kind.name} has no '{ref.name}'{meant(ref.name, names)}")
        return found

    def _compare(self, condition: Compare, where: Where) -> None:
        left = self._quantity(condition.left, where)
        if left is None:
            return
        if left.unit == "flag":
            self._bad(where, f"'{left.name}' is a flag; expected it bare or after not")
            return
        if isinstance(condition.right, Ref):
            right_unit = getattr(self._quantity(condition.right, where), "unit", left.unit)
            label = condition.right.name
        else:
            threshold = self.pack.threshold(condition.right)
            label = condition.right
            if threshold is None:
                names: Collection[str] = {*self.pack.thresholds, *self.pack.shared}
                self._bad(where, f"no threshold named '{label}'{meant(label, names)}")
                return
            right_unit = threshold.unit
        if right_unit != left.unit:
            self._bad(where, f"'{label}' is in {right_unit}; expected {left.unit}")

    def _word(self, condition: IsWord, where: Where) -> None:
        kind = self.kinds[self.known[condition.ref.alias]]
        allowed = kind.words.get(condition.ref.name)
        if allowed is None:
            hint = meant(condition.ref.name, kind.words)
            self._bad(where, f"{kind.name} has no word '{condition.ref.name}'{hint}")
            return
        for word in condition.words:
            if word not in allowed:
                self._bad(where, f"'{word}'; expected one of {', '.join(allowed)}")

    def _stages(self) -> None:
        for i, code in enumerate(self.text.stages):
            if not is_code(code):
                self._bad(("stages", i), f"{code} is not a BBCH code of strawberry")
        if self.text.stages_of and self.text.stages_of not in self.known:
            self._bad(("stages_of",), f"no fact '{self.text.stages_of}' is given")

    def _sentence(self) -> None:
        for inside in PLACEHOLDER.findall(self.text.finding.sentence):
            alias, dot, name = inside.partition(".")
            where = ("finding", "sentence")
            if not dot:
                if self.pack.threshold(alias) is None:
                    self._bad(where, f"no threshold named '{alias}' for the sentence")
            elif alias not in self.known:
                self._bad(where, f"no fact '{alias}' is given for the sentence")
            elif name not in SPAN_WORDS and name not in self.kinds[self.known[alias]].words:
                self._quantity(Ref(alias, name), where)


_RELATION_HINT = "overlaps, within, before, follows, or a comparison of the two"


def _ties(condition: Condition, alias: str) -> bool:
    names = aliases_of(condition)
    return alias in names and len(set(names)) == 2


def check_thresholds(doc: Marked, thresholds: dict[str, Threshold]) -> list[Problem]:
    """Return a problem for each threshold outside its own range, or a range the wrong way round."""
    found = []
    for name, t in thresholds.items():
        where: Where = ("thresholds", name)
        if not t.least <= t.most:
            found.append(doc.problem((*where, "range"), f"{t.least} to {t.most} runs backwards"))
        elif not t.least <= t.value <= t.most:
            message = f"'{name}' is {t.value:g}; expected {t.least:g} to {t.most:g} {t.unit}"
            found.append(doc.problem((*where, "value"), message))
        elif round(t.value, DECIMALS) != t.value:
            message = f"'{name}' is {t.value!r}; expected at most {DECIMALS} decimals"
            found.append(doc.problem((*where, "value"), message))
    return found


def kinds_now() -> dict[str, Kind]:
    """Return the kinds of fact known at this moment: ours, and those of plug-ins."""
    return KINDS | {kind.name: kind for kind, _ in more_kinds()}
