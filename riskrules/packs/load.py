"""Read pack files into checked packs; put a region profile's thresholds in their place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.kinds import Kind
from riskrules.packs.check import RuleChecker, check_thresholds, kinds_now
from riskrules.packs.marked import Marked, read_marked
from riskrules.packs.marked import schema_problems as schema_problems
from riskrules.packs.model import Pack, PackText, Rule, Threshold, ThresholdText
from riskrules.packs.regions import ProfileText as ProfileText
from riskrules.packs.regions import chain_of, said_of, with_changes

SHARED = "facts"
"""Name of the pack that holds the thresholds by which facts are derived."""


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All packs of a review with one profile applied, and the thresholds that steer facts.

    ``profile`` names the profile and its version, and those it is of: 'farm 0123456789ab of
    county ba9876543210'; '' for the packs as they ship.
    """

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
    """Return the rulebook with the thresholds of a profile, and of those it is of, put in place.

    Raises
    ------
    PackError
        Where a change names no threshold, another unit, or a value outside the allowed range, or
        a profile is in the end one of itself.
    """
    chain = chain_of(doc)
    tables = {SHARED: dict(book.shared)} | {p.name: dict(p.thresholds) for p in book.packs}
    changed = with_changes(tables, chain)
    shared = changed[SHARED]
    packs = tuple(replace(p, thresholds=changed[p.name], shared=shared) for p in book.packs)
    return Rulebook(packs, shared, said_of(chain))


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
