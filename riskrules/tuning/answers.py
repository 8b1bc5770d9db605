"""What rules say of one block-season, each rule answered once for all profiles that leave it alone.

A profile changes a few thresholds of many. A rule none of whose thresholds changed has the same
matches, findings and open episodes, so only the others go to the engine again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from riskrules.engine.evaluate import evaluate
from riskrules.engine.process import EngineProcess
from riskrules.facts.table import Facts
from riskrules.findings.build import (
    Episode,
    Lookup,
    Scene,
    basis_of,
    certainty_of,
    episodes,
    identity,
    latest_of,
)
from riskrules.findings.unknowns import causes_of
from riskrules.packs.conditions import Compare
from riskrules.packs.load import Rulebook
from riskrules.packs.model import Pack, Rule
from riskrules.show import Style
from riskrules.tuning.rows import FindingRow

INDEX_OF = {"gray_mold": "flower_index", "anthracnose": "fruit_index"}
"""The quantity of a wet period that is the infection index of a hazard."""
OF_SIGHTINGS = ("sighting", "symptom_window", "ripening_window")
"""Kinds of fact that know of sightings or speak of an infection long past: a rule that asks for
one cannot be answered by a sighting without arguing in a circle."""
PARTS_KEPT = 512
"""Rulebooks and parts of packs that are kept. (assumption: two thresholds at 16 values each)"""


@dataclass(frozen=True, slots=True)
class RuleSaid:
    """What one rule says: its findings, and its open episodes each with the bits of its cause."""

    findings: tuple[FindingRow, ...]
    opened: tuple[tuple[Episode, int], ...]


class Answers:
    """What rules say of the facts of one block-season, by all that a rule asks.

    Parameters
    ----------
    facts : Facts
    season : str
        Its label.
    engine : EngineProcess, optional
    """

    def __init__(self, facts: Facts, season: str, engine: EngineProcess | None = None) -> None:
        self.lookup = Lookup(facts)
        self._facts, self._season, self._engine = facts, season, engine
        self._said: dict[str, RuleSaid] = {}

    def of(self, scene: Scene) -> list[RuleSaid]:
        """Return what each rule of a scene's book says; ask the engine what is not known yet.

        Raises
        ------
        EngineCrash
            If the engine's process died twice on these facts.
        """
        book = scene.book
        asked = _asked(book)
        new = {key for key, what in asked.items() if what not in self._said}
        parts = tuple(part for pack in book.packs if (part := _part(pack, new, asked)).rules)
        if parts:
            found: dict[str, list[Episode]] = {key: [] for key in new}
            for episode in episodes(evaluate(self._facts, parts, self._engine), scene):
                found[episode.rule.key].append(episode)
            for key, own in found.items():
                self._said[asked[key]] = self._rule_said(own, scene)
        return [self._said[what] for what in asked.values()]

    def _rule_said(self, own: Sequence[Episode], scene: Scene) -> RuleSaid:
        opened = [e for e in own if not e.sure]
        return RuleSaid(
            tuple(self._finding(e, scene) for e in own if e.sure),
            tuple(zip(opened, causes_of(opened, scene), strict=True)),
        )

    def _finding(self, episode: Episode, scene: Scene) -> FindingRow:
        """Return the row of an episode that fires: the same words as its finding has."""
        rule, text = episode.rule, episode.rule.text.finding
        basis = basis_of(latest_of(episode, scene.lookup).facts, scene)
        least, most = _index(episode, scene.lookup)
        return FindingRow(
            identity(rule.key, scene.block, episode.start, scene.style), rule.key, text.hazard,
            scene.block, self._season, month_of(episode.start, scene.style), episode.start,
            episode.end, text.severity, certainty_of(text.certainty, basis), foretells(rule),
            least, most,
        )  # fmt: skip


def asks(rule: Rule, pack: Pack) -> str:
    """Return all on which a rule's answer depends beside the facts, as one text."""
    text = rule.text
    unless = rule.absence.when if rule.absence else ()
    numbers = {
        c.right: threshold.value
        for ways in (*rule.when, *unless) for c in ways
        if isinstance(c, Compare) and isinstance(c.right, str)
        and (threshold := pack.threshold(c.right))
    }  # fmt: skip
    said = text.finding
    return repr((
        rule.key, rule.given, text.when, text.unless, rule.stages, rule.stages_of, rule.in_a_row,
        said.hazard, said.severity, said.certainty, numbers,
    ))  # fmt: skip


_books: dict[int, tuple[Rulebook, dict[str, str]]] = {}
_parts: dict[tuple[str, ...], Pack] = {}


def _asked(book: Rulebook) -> dict[str, str]:
    """Return what each rule of a book asks, kept for as long as the same book comes back."""
    if id(book) not in _books:
        if len(_books) >= PARTS_KEPT:
            _books.clear()
        _books[id(book)] = book, {r.key: asks(r, book.pack(r.pack)) for r in book.rules}
    return _books[id(book)][1]


def _part(pack: Pack, keys: Iterable[str], asked: dict[str, str]) -> Pack:
    """Return a pack with some of its rules: the same object for the same question.

    What is compiled for the engine is kept by pack, so that every block-season of a replay asks
    with the same rulesets.
    """
    rules = tuple(rule for rule in pack.rules if rule.key in keys)
    key = (pack.name, *(asked[rule.key] for rule in rules))
    if key not in _parts:
        if len(_parts) >= PARTS_KEPT:
            _parts.clear()
        _parts[key] = replace(pack, rules=rules)
    return _parts[key]


def _index(episode: Episode, lookup: Lookup) -> tuple[float | None, float | None]:
    """Return the bounds of the highest index of an episode's wet periods."""
    name = INDEX_OF.get(episode.rule.text.finding.hazard)
    ids = {n for m in episode.matches for n in m.facts if n.startswith("wet_period/")}
    if name is None or not ids:
        return None, None
    table, at = lookup.rows("wet_period", ids)
    return float(table.least[name][at].max()), float(table.most[name][at].max())


def month_of(seconds: int, style: Style) -> str:
    """Return the month of a time on the farm's clock, as '2025-06'."""
    return datetime.fromtimestamp(seconds, style.zone).strftime("%Y-%m")


def foretells(rule: Rule) -> bool:
    """Whether a rule rests on weather and work alone, so that a later sighting may answer it."""
    kinds = {*rule.given.values()} | ({rule.absence.kind} if rule.absence else set())
    return kinds.isdisjoint(OF_SIGHTINGS)
