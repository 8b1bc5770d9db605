"""What a finding says: units, urgency, certainty, deferral; and which way tip burn points."""

from __future__ import annotations

import re
from typing import Any

import pytest

from riskrules.findings.build import certainty_of
from riskrules.findings.model import CERTAINTIES, DEFERRAL
from riskrules.packs.conditions import Compare

from .scenes import BOOK, FAHRENHEIT, RULES, example, finding, findings, unknowns

every_rule = pytest.mark.parametrize("key", RULES)
WET = "gray_mold.flower_infection"
AHEAD = "gray_mold.wet_bloom_ahead"
LEFT = re.compile(r"[{}]|\bNone\b|\bnan\b|99999")


def firing(key: str) -> list[dict[str, Any]]:
    return [e for e in RULES[key].text.examples if e["gives"] == "fires"]


# Sentences and units


@every_rule
def test_every_sentence_is_filled_in_and_ends(key: str) -> None:
    for number, given in enumerate(firing(key)):
        found = finding(key, given)
        assert not LEFT.search(found.sentence), number
        assert not found.sentence[0].islower() and found.sentence[-1] == "."
        assert "  " not in found.sentence


@every_rule
def test_a_sentence_speaks_in_one_temperature_unit_only(key: str) -> None:
    celsius, fahrenheit = finding(key).sentence, finding(key, style=FAHRENHEIT).sentence
    assert "°F" not in celsius
    assert "°C" not in fahrenheit
    assert ("°C" in celsius) == ("°F" in fahrenheit)
    assert " mm" not in fahrenheit


def test_numbers_are_turned_and_differences_only_scaled() -> None:
    """20 °C is 68 °F (exact by definition); a difference of 1 K is 1.8 °F."""
    assert "14 h wet at 20 °C" in finding(WET).sentence
    assert "14 h wet at 68 °F" in finding(WET, style=FAHRENHEIT).sentence
    rule = "heat_stress.cold_near_miss"
    if rule in RULES:
        assert "°F" in finding(rule, style=FAHRENHEIT).sentence


def test_an_open_quantity_is_said_as_its_bounds() -> None:
    given = {"wet": {"flower_index": [0.55, 0.9], "hours": [9, 14], "temperature": [18, 20],
                     "stages": [65]}, "gives": "fires"}  # fmt: skip
    said = finding(WET, given).sentence
    assert "9 to 14 h wet at 18 to 20 °C" in said
    assert "0.55 to 0.9" in said


def test_the_unit_changes_neither_identity_nor_what_fires() -> None:
    for key in RULES:
        one, other = findings(key, example(key)), findings(key, example(key), style=FAHRENHEIT)
        assert [(f.id, f.margins, f.thresholds) for f in one] == [
            (f.id, f.margins, f.thresholds) for f in other
        ]


@every_rule
def test_margins_of_what_fires_are_on_the_right_side(key: str) -> None:
    for given in firing(key):
        for margin in finding(key, given).margins:
            assert margin.margin >= 0, margin


@every_rule
def test_every_threshold_of_a_firing_condition_is_shown_with_its_source(key: str) -> None:
    rule, shown = RULES[key], {t.name: t for t in finding(key).thresholds}
    pack = BOOK.pack(rule.pack)
    for choices in rule.when:
        for c in choices if len(choices) == 1 else ():
            if isinstance(c, Compare) and isinstance(c.right, str):
                expected = pack.threshold(c.right)
                assert expected is not None
                assert (shown[c.right].value, shown[c.right].tag) == (expected.value, expected.tag)
                assert shown[c.right].source


# Deferral


@every_rule
def test_a_rule_on_a_choice_of_protection_defers_to_label_and_adviser(key: str) -> None:
    wanted = DEFERRAL if RULES[key].text.finding.protection_choice else ""
    assert {finding(key, given).deferral for given in firing(key)} == {wanted}


def test_the_deferral_names_both_and_most_infection_rules_carry_it() -> None:
    assert "label" in DEFERRAL and "adviser" in DEFERRAL
    assert sum(rule.text.finding.protection_choice for rule in RULES.values()) >= 20


# CAP urgency, from now


@pytest.mark.parametrize(
    ("now", "ordinary", "looking_ahead"),
    [
        (-26, "Future", "Future"),  # starts in 30 h
        (-21, "Future", "Future"),
        (-20, "Expected", "Expected"),  # in 24 h
        (3.9, "Expected", "Expected"),
        (4, "Immediate", "Future"),  # it has begun
        (9, "Immediate", "Future"),
        (32.9, "Immediate", "Future"),  # ended less than 24 h ago
        (33.1, "Past", "Past"),
        (500, "Past", "Past"),
    ],
)
def test_urgency_follows_from_when_it_is_seen_from_now(
    now: float, ordinary: str, looking_ahead: str
) -> None:
    """Terms of CAP 1.2; the 24 h on both sides are ours. [assumption]"""
    wet = {"flower_index": 0.6, "stages": [65], "start": 4, "end": 9}
    assert finding(WET, {"wet": wet, "gives": "fires"}, now=now).urgency == ordinary
    ahead = {"wet": {**wet, "basis": "forecast"}, "gives": "fires"}
    assert finding(AHEAD, ahead, now=now).urgency == looking_ahead


# Certainty, lowered by what it rests on


@pytest.mark.parametrize("most", CERTAINTIES)
@pytest.mark.parametrize(
    ("basis", "cap"),
    [("measured", "Observed"), ("estimated", "Likely"), ("partly_forecast", "Likely"),
     ("forecast", "Possible")],
)  # fmt: skip
def test_a_basis_lowers_certainty_and_never_raises_it(most: str, basis: str, cap: str) -> None:
    worst = max(CERTAINTIES.index(most), CERTAINTIES.index(cap))
    assert certainty_of(most, basis) == CERTAINTIES[worst]


@pytest.mark.parametrize(
    ("basis", "certainty"),
    [("measured", "Observed"), ("estimated", "Likely"), ("partly_forecast", "Likely")],
)
def test_what_was_seen_is_observed_but_what_was_estimated_is_not(
    basis: str, certainty: str
) -> None:
    key = "heat_stress.root_zone_heat"
    given = example(key)
    found = findings(key, {**given, "day": {**given["day"], "basis": basis}})
    assert {(f.basis, f.certainty) for f in found} <= {(basis, certainty)}
    assert found or basis != "measured"


def test_a_fact_that_starts_after_now_counts_as_forecast() -> None:
    key = "heat_stress.root_zone_heat"
    assert finding(key, now=48).certainty == "Observed"
    found = finding(key, now=-1)
    assert (found.basis, found.certainty) == ("forecast", "Possible")


def test_of_several_facts_the_weakest_basis_counts() -> None:
    key = "gray_mold.wet_bloom_under_cover"
    given = example(key)
    for basis in ("estimated", "partly_forecast", "forecast"):
        found = finding(key, {**given, "cover": {**given["cover"], "basis": basis}})
        assert found.basis == basis


# Tip burn


TIP_BURN = [key for key, rule in RULES.items() if rule.text.finding.hazard == "tip_burn"]


def with_saturated(key: str, hours: Any) -> list[dict[str, Any]]:
    """Return a rule's firing examples with other saturated hours in every night."""
    nights = [a for a, kind in RULES[key].given.items() if kind == "night"]
    return [
        {**e, **{a: {**(e.get(a) or {}), "saturated_hours": hours} for a in nights}}
        for e in firing(key)
    ]


def test_there_is_a_tip_burn_rule_and_its_target_is_three_hours() -> None:
    """3 h or more of saturated air a night prevent it: Ohio State indoor berry page [read]."""
    assert TIP_BURN
    target = BOOK.pack("gray_mold").threshold("saturated_target")
    assert target is not None
    assert (target.value, target.unit, target.tag) == (3, "h", "read")


@pytest.mark.parametrize("key", TIP_BURN)
@pytest.mark.parametrize(
    ("hours", "answer"),
    [(0, "fires"), (2.9, "fires"), (3, "quiet"), (3.1, "quiet"), (12, "quiet"),
     ([2, 4], "unknown"), ("unknown", "unknown")],
)  # fmt: skip
def test_saturated_hours_prevent_tip_burn_and_a_gap_is_not_a_dry_night(
    key: str, hours: Any, answer: str
) -> None:
    for given in with_saturated(key, hours):
        fires, open_ = findings(key, given), unknowns(key, given)
        assert ("fires" if fires else "unknown" if open_ else "quiet") == answer


def test_no_rule_of_tip_burn_asks_for_more_saturated_hours() -> None:
    for key in TIP_BURN:
        for choices in RULES[key].when:
            for c in choices:
                if isinstance(c, Compare) and c.left.name == "saturated_hours":
                    assert c.op in ("<", "<=")


def test_where_saturated_hours_are_asked_for_it_is_mold_and_says_they_prevent_tip_burn() -> None:
    asking = {
        key: rule
        for key, rule in RULES.items()
        for choices in rule.when
        for c in choices
        if isinstance(c, Compare) and c.left.name == "saturated_hours" and c.op in (">", ">=")
    }
    assert asking
    for key, rule in asking.items():
        assert rule.text.finding.hazard != "tip_burn"
        assert "prevents tip burn" in finding(key).sentence
