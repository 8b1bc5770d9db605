"""Packs as sentences, and each threshold with its value, range, source, tag and origin."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from riskrules.facts.kinds import KINDS
from riskrules.facts.table import DECIMALS
from riskrules.packs.conditions import Compare, Condition, IsFlag, IsWord, Ref
from riskrules.packs.load import SHARED, Rulebook
from riskrules.packs.model import Pack, Rule, Threshold
from riskrules.show import Style

PLACE = re.compile(r"\{([a-z_.]+)\}")
FORMS = {">=": "at_least", ">": "over", "<=": "at_most", "<": "under"}


@dataclass(frozen=True, slots=True)
class Part:
    """One condition: its form and the words that go into it.

    ``form`` is at_least, over, at_most, under, yes, no, word, overlaps, within, before or follows.
    ``first`` and ``second`` are what is compared; ``threshold`` is the name of one, or ''.
    """

    form: str
    first: str
    second: str = ""
    threshold: str = ""


@dataclass(frozen=True, slots=True)
class RuleWords:
    """A rule in words. ``when`` holds the alternatives of each condition; all must hold."""

    key: str
    title: str
    sentence: str
    hazard: str
    severity: str
    certainty: str
    facts: tuple[tuple[str, str], ...]
    when: tuple[tuple[Part, ...], ...]
    unless: tuple[str, tuple[tuple[Part, ...], ...]] | None
    stages: tuple[int, ...]
    sources: tuple[tuple[str, str], ...]
    thresholds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ThresholdWords:
    """A threshold as people read it. The bare numbers are in ``unit``, the texts as chosen."""

    key: str
    name: str
    means: str
    value: float
    least: float
    most: float
    unit: str
    shown: str
    shown_range: str
    source: str
    tag: str
    origin: str
    changed: bool
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PackWords:
    """A pack in words; the thresholds that steer facts are one without rules."""

    name: str
    title: str
    about: str
    rules: tuple[RuleWords, ...]
    thresholds: tuple[ThresholdWords, ...]


def packs_in_words(book: Rulebook, style: Style) -> tuple[PackWords, ...]:
    """Return all packs in words, those with rules first, then the shared thresholds.

    Texts are in the units of ``style``. Title and about of the shared pack are left to the page.
    """
    found = [
        PackWords(
            pack.name, pack.title, " ".join(pack.about.split()),
            tuple(_rule(rule, pack, style) for rule in pack.rules),
            _thresholds(pack.name, pack.thresholds.values(), [pack], style),
        )
        for pack in book.packs
    ]  # fmt: skip
    shared = _thresholds(SHARED, book.shared.values(), book.packs, style)
    return (*found, PackWords(SHARED, "", "", (), shared))


def threshold_of(book: Rulebook, key: str) -> Threshold:
    """Return a threshold by pack and name, as ``gray_mold.flower_high``; KeyError if none."""
    pack, _, name = key.partition(".")
    return (book.shared if pack == SHARED else book.pack(pack).thresholds)[name]


def to_shown(value: float, unit: str, style: Style) -> float:
    """Return a number in the unit that people chose, exact to four decimals.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> to_shown(26, "degC", Style(ZoneInfo("UTC"), "degF"))
    78.8
    """
    scale, zero = _scale(unit, style)
    return round(value * scale + zero, DECIMALS)


def from_shown(shown: float, unit: str, style: Style) -> float:
    """Return a number in the pack's unit, of one in the unit that people chose.

    Rounded to the four decimals that a profile may have.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> from_shown(78.8, "degC", Style(ZoneInfo("UTC"), "degF"))
    26.0
    """
    scale, zero = _scale(unit, style)
    return round((shown - zero) / scale, DECIMALS)


def exact(value: float, unit: str, style: Style) -> str:
    """Return a number with its unit, rounded no more than to four decimals.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> exact(1.5, "K", Style(ZoneInfo("UTC"), "degF"))
    '2.7 °F'
    """
    text = f"{to_shown(value, unit, style):.{DECIMALS}f}".rstrip("0").rstrip(".")
    return ("0" if text == "-0" else text) + style.unit(unit)


def _scale(unit: str, style: Style) -> tuple[float, float]:
    """Return what a number is multiplied by, and what is added then, for people."""
    if style.temperature == "degF" and unit in ("degC", "K", "degC h"):
        return 1.8, 32.0 if unit == "degC" else 0.0
    if style.rain == "in" and unit in ("mm", "mm h-1"):
        return 1 / 25.4, 0.0
    return 1.0, 0.0


def _thresholds(
    pack: str, thresholds: Iterable[Threshold], users: Iterable[Pack], style: Style
) -> tuple[ThresholdWords, ...]:
    used: dict[str, list[str]] = {}
    for user in users:
        for rule in user.rules:
            for name in _names(rule):
                if name in user.thresholds or pack == SHARED:
                    used.setdefault(name, []).append(rule.title)
    return tuple(_threshold(pack, t, used.get(t.name, ()), style) for t in thresholds)


def _threshold(pack: str, t: Threshold, rules: Iterable[str], style: Style) -> ThresholdWords:
    low, high = (to_shown(v, t.unit, style) for v in (t.least, t.most))
    return ThresholdWords(
        f"{pack}.{t.name}", t.name.replace("_", " "), t.means, t.value, t.least, t.most, t.unit,
        exact(t.value, t.unit, style), f"{low:g} to {high:g}{style.unit(t.unit)}", t.source, t.tag,
        t.origin, not t.origin.startswith("pack "), tuple(rules),
    )  # fmt: skip


def _names(rule: Rule) -> list[str]:
    """Return the thresholds that a rule's conditions name, each once."""
    every = [*rule.when, *(rule.absence.when if rule.absence else ())]
    names = [c.right for alts in every for c in alts
             if isinstance(c, Compare) and isinstance(c.right, str)]  # fmt: skip
    return list(dict.fromkeys(names))


def _rule(rule: Rule, pack: Pack, style: Style) -> RuleWords:
    text = rule.text.finding
    absence = rule.absence
    unless = None
    if absence:
        unless = (_kind(absence.kind), tuple(_parts(a, pack, style) for a in absence.when))
    return RuleWords(
        rule.key, rule.title, _sentence(rule, pack, style), text.hazard.replace("_", " "),
        text.severity, text.certainty,
        tuple((alias.replace("_", " "), _kind(kind)) for alias, kind in rule.given.items()),
        tuple(_parts(alts, pack, style) for alts in rule.when), unless, rule.stages,
        tuple((s.text, s.tag) for s in rule.text.sources), tuple(_names(rule)),
    )  # fmt: skip


def _kind(name: str) -> str:
    return name.replace("_", " ") if name in KINDS else name


def _sentence(rule: Rule, pack: Pack, style: Style) -> str:
    """Return what a rule says, thresholds filled in and facts' numbers named in brackets."""

    def fill(match: re.Match[str]) -> str:
        alias, dot, name = match[1].partition(".")
        threshold = None if dot else pack.threshold(alias)
        if threshold:
            return exact(threshold.value, threshold.unit, style)
        return f"[{(name or alias).replace('_', ' ')}]"

    said = " ".join(PLACE.sub(fill, rule.text.finding.sentence).split())
    return said[:1].upper() + said[1:]


def _parts(alternatives: Iterable[Condition], pack: Pack, style: Style) -> tuple[Part, ...]:
    return tuple(_part(c, pack, style) for c in alternatives)


def _part(c: Condition, pack: Pack, style: Style) -> Part:
    if isinstance(c, Compare):
        if isinstance(c.right, Ref):
            return Part(FORMS[c.op], _ref(c.left), _ref(c.right))
        t = pack.threshold(c.right)
        said = exact(t.value, t.unit, style) if t else c.right
        return Part(FORMS[c.op], _ref(c.left), said, c.right.replace("_", " "))
    if isinstance(c, IsFlag):
        return Part("yes" if c.wanted else "no", _ref(c.ref))
    if isinstance(c, IsWord):
        return Part("word", _ref(c.ref), " / ".join(w.replace("_", " ") for w in c.words))
    return Part(c.name, c.first.replace("_", " "), c.second.replace("_", " "))


def _ref(ref: Ref) -> str:
    return f"{ref.alias} {ref.name}".replace("_", " ")
