"""The findings of a rule's own example, at any 'now': invented facts, as the packs carry them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from riskrules.engine.plain import matches
from riskrules.facts.kinds import Cause
from riskrules.findings.build import Lookup, Scene, episodes, finding_of
from riskrules.findings.model import Finding, UnknownFinding
from riskrules.findings.unknowns import unknowns_of
from riskrules.packs.examples import HOUR, ZERO, example_facts
from riskrules.packs.model import Rule
from riskrules.review import shipped_rulebook
from riskrules.show import Style

BOOK = shipped_rulebook()
RULES: dict[str, Rule] = {rule.key: rule for rule in BOOK.rules}
YEARS = 20 * 365 * 24
CELSIUS = Style(ZoneInfo("UTC"))
FAHRENHEIT = Style(ZoneInfo("UTC"), "degF", "in")


def example(key: str, gives: str = "fires", number: int = 0) -> dict[str, Any]:
    """Return an example of a rule that gives an answer."""
    found: dict[str, Any] = [e for e in RULES[key].text.examples if e["gives"] == gives][number]
    return found


def scene(
    key: str, given: Mapping[str, Any], now: float = 48, style: Style = CELSIUS,
    causes: Mapping[tuple[str, str], Cause] | None = None,
) -> tuple[Scene, list[Any]]:  # fmt: skip
    """Return the scene of an example's facts, and the episodes of its rule.

    ``now`` in hours from the zero of examples; the window is all time. ``causes`` says why a
    quantity of a kind is open.
    """
    rule = RULES[key]
    facts = example_facts(rule, given)
    for kind, table in facts.items():
        table.ids = [f"{kind}/{name}" for name in table.ids]
    for (kind, quantity), cause in (causes or {}).items():
        facts[kind].cause[quantity][:] = int(cause)
    window = (ZERO - YEARS * HOUR, ZERO + YEARS * HOUR)
    made = Scene("beds", BOOK, Lookup(facts), style, round(ZERO + now * HOUR), window)
    found = [m for m in matches(facts, [BOOK.pack(rule.pack)]) if m.rule == key]
    return made, episodes(found, made)


def findings(key: str, given: Mapping[str, Any], **more: Any) -> list[Finding]:
    """Return what surely fires."""
    made, found = scene(key, given, **more)
    return [finding_of(e, made) for e in found if e.sure]


def finding(key: str, given: Mapping[str, Any] | None = None, **more: Any) -> Finding:
    """Return the only finding of an example (the rule's first that fires)."""
    (found,) = findings(key, example(key) if given is None else given, **more)
    return found


def unknowns(key: str, given: Mapping[str, Any], **more: Any) -> list[UnknownFinding]:
    """Return what an example leaves open."""
    made, found = scene(key, given, **more)
    return unknowns_of([e for e in found if not e.sure], made)
