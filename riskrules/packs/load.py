"""Read pack files into checked packs; put a region profile's thresholds in their place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.kinds import Kind
from riskrules.facts.table import DECIMALS
from riskrules.packs.check import RuleChecker, check_thresholds, kinds_now, meant
from riskrules.packs.marked import Marked, Where, read_marked
from riskrules.packs.model import Name, Pack, PackText, Rule, Strict, Threshold, ThresholdText

SHARED = "facts"
"""Name of the pack that holds the thresholds by which facts are derived."""


class Change(Strict):
    """One threshold that a region sets otherwise."""

    threshold: str
    value: float
    unit: str
    reason: str
    who: str
    when: str


class ProfileText(Strict):
    """A region profile file as written."""

    profile: Name
    title: str
    changes: list[Change]


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All packs of a review with one profile applied, and the thresholds that steer facts."""

    packs: tuple[Pack, ...]
    shared: dict[str, Threshold]
    profile: str = ""

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule of every pack."""
        return tuple(rule for pack in self.packs for rule in pack.rules)

    def pack(self, name: str) -> Pack:
        """Return the pack of that name; KeyError if there is none."""
        return next(p for p in self.packs if p.name == name)

    def value(self, name: str) -> float:
        """Return the value of a shared threshold."""
        return self.shared[name].value


def schema_problems(doc: Marked, error: ValidationError) -> list[Problem]:
    """Turn pydantic's complaints into problems with line and column."""
    found = []
    for item in error.errors():
        where: Where = tuple(item["loc"])
        label = str(where[-1]) if where else "document"
        if item["type"] == "extra_forbidden":
            message = f"'{label}' is not a key here"
        elif item["type"] == "missing":
            message = f"'{label}' is missing"
        else:
            shown = repr(item["input"])
            shown = shown if len(shown) < 60 else shown[:57] + "..."
            message = f"{label} is {shown}; {item['msg'][:1].lower()}{item['msg'][1:]}"
        found.append(doc.problem(where, message))
    return found


def load_pack(
    path: Path, shared: dict[str, Threshold], kinds: dict[str, Kind] | None = None
) -> Pack:
    """Read and check one pack file.

    Raises
    ------
    PackError
        With every trouble in the file: its line, column, and what was expected.
    """
    return check_pack(read_marked(path), shared, kinds)


def check_pack(
    doc: Marked, shared: dict[str, Threshold], kinds: dict[str, Kind] | None = None
) -> Pack:
    """Return the pack of a document that was read already; see `load_pack`."""
    try:
        text = PackText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    thresholds = {n: _threshold(n, t, text.pack) for n, t in text.thresholds.items()}
    problems = check_thresholds(doc, thresholds)
    pack = Pack(text.pack, text.title, text.about, doc.file, thresholds, (), shared)
    rules: list[Rule] = []
    names: set[str] = set()
    for i, rule_text in enumerate(text.rules):
        checker = RuleChecker(doc, ("rules", i), rule_text, pack, kinds or kinds_now())
        rule = checker.rule()
        problems += checker.problems
        if rule_text.rule in names:
            problems.append(doc.problem(("rules", i, "rule"), f"'{rule_text.rule}' stands twice"))
        names.add(rule_text.rule)
        if rule is not None:
            rules.append(rule)
    if problems:
        raise PackError(problems)
    return replace(pack, rules=tuple(rules))


def _threshold(name: str, t: ThresholdText, pack: str) -> Threshold:
    return Threshold(
        name, t.value, t.unit, t.range[0], t.range[1], t.source, t.tag, f"pack {pack}", t.means
    )


def load_rulebook(
    paths: Iterable[Path], profile: Path | None = None, kinds: dict[str, Kind] | None = None
) -> Rulebook:
    """Read packs (the shared thresholds among them) and apply a profile.

    Raises
    ------
    PackError
        With every trouble of every file.
    """
    documents = [read_marked(path) for path in sorted(paths, key=lambda p: p.name)]
    shared: dict[str, Threshold] = {}
    for doc in documents:
        if isinstance(doc.data, dict) and doc.data.get("pack") == SHARED:
            shared = check_pack(doc, {}, kinds).thresholds
    packs: list[Pack] = []
    problems: list[Problem] = []
    for doc in documents:
        if isinstance(doc.data, dict) and doc.data.get("pack") == SHARED:
            continue
        try:
            packs.append(check_pack(doc, shared, kinds))
        except PackError as error:
            problems += error.problems
    if problems:
        raise PackError(problems)
    book = Rulebook(tuple(packs), shared)
    return apply_profile(book, read_marked(profile)) if profile else book


def apply_profile(book: Rulebook, doc: Marked) -> Rulebook:
    """Return the rulebook with a profile's thresholds in place of the packs' own.

    Raises
    ------
    PackError
        Where a change names no threshold, another unit, or a value outside the allowed range.
    """
    try:
        profile = ProfileText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    tables = {SHARED: dict(book.shared)} | {p.name: dict(p.thresholds) for p in book.packs}
    problems: list[Problem] = []
    for i, change in enumerate(profile.changes):
        pack, _, name = change.threshold.partition(".")
        old = tables.get(pack, {}).get(name)
        problem = _refusal(doc, i, change, old, tables)
        if problem or old is None:
            problems += [problem] if problem else []
            continue
        origin = f"profile {profile.profile} ({change.who}, {change.when}: {change.reason})"
        tables[pack][name] = replace(old, value=change.value, origin=origin)
    if problems:
        raise PackError(problems)
    shared = tables[SHARED]
    packs = tuple(replace(p, thresholds=tables[p.name], shared=shared) for p in book.packs)
    return Rulebook(packs, shared, profile.profile)


def _refusal(
    doc: Marked,
    i: int,
    change: Change,
    old: Threshold | None,
    tables: dict[str, dict[str, Threshold]],
) -> Problem | None:
    if old is None:
        names = [f"{pack}.{name}" for pack, table in tables.items() for name in table]
        message = f"no threshold '{change.threshold}'{meant(change.threshold, names)}"
        return doc.problem(("changes", i, "threshold"), message)
    if change.unit != old.unit:
        message = f"'{change.threshold}' is given in {change.unit}; expected {old.unit}"
        return doc.problem(("changes", i, "unit"), message)
    if round(change.value, DECIMALS) != change.value:
        message = f"'{change.threshold}' is {change.value!r}; expected at most {DECIMALS} decimals"
        return doc.problem(("changes", i, "value"), message)
    if not old.least <= change.value <= old.most:
        message = (
            f"'{change.threshold}' is {change.value:g}; "
            f"expected {old.least:g} to {old.most:g} {old.unit}"
        )
        return doc.problem(("changes", i, "value"), message)
    return None


NO_PACKS = ("jobs.yaml", "limits.yaml", "symptoms.yaml")
"""Files beside the packs that are of another kind."""


def pack_files(folders: Sequence[Path]) -> list[Path]:
    """Return the pack files of some folders (not those of their sub-folders)."""
    return [
        path
        for folder in folders
        for path in sorted(folder.glob("*.yaml"))
        if path.name not in NO_PACKS
    ]
