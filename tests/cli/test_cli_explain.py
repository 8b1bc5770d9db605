"""``explain``: why a rule fired, or the first condition that failed, and by how much."""

from __future__ import annotations

import math

from .farm_files import make, rows
from .running import on_farm, seen, text_of

SEEN = "gray_mold.flower_infection"


def index(hours: float, air: float) -> float:
    """Flower infection index of Bulger, Ellis and Madden 1987, Phytopathology 77:1225.

    Coefficients from public code (second-hand).
    """
    z = -4.268 - 0.0901 * hours + 0.0294 * hours * air - 2.35e-5 * hours * air**3
    return 1 / (1 + math.exp(-z))


def told(folder, *words: object) -> str:
    ran = on_farm(folder, *words, command="explain")
    assert ran.code == 0, ran.err
    return text_of(ran)


def test_a_rule_that_fired_is_told_with_facts_margins_and_sources(two_beds):
    text = told(two_beds, "--rule", SEEN, "--block", "north")
    value = round(index(18, 20.1), 2)
    assert (
        "north: Open flowers were wet long enough for gray mold (gray_mold.flower_infection): fires"
        in text
    )
    assert "wet_period: Sat 30 May 12:00 to Sun 31 May 06:00" in text
    assert (
        f"+ wet.flower_index >= flower_attention: {value}; flower_attention = 0.5; beyond it by"
        in text
    )
    assert f"beyond it by {value - 0.5:.2f}" in text
    assert "Bulger, Ellis and Madden 1987" in text and "[second-hand], from pack gray_mold" in text
    assert "south:" not in text


def test_a_rule_that_did_not_fire_is_told_with_its_first_failing_condition_and_by_how_much(
    tmp_path,
):
    text = told(make(tmp_path, rows(8)), "--rule", SEEN, "--block", "north", "--on", "2026-05-30")
    value = index(8, 20.1)
    assert "(gray_mold.flower_infection): quiet" in text
    assert f"> wet.flower_index >= flower_attention: {value:.2f}; flower_attention = 0.5;" in text
    assert f"short by {0.5 - value:.2f}" in text


def test_a_rule_whose_words_fail_is_told_at_that_condition(two_beds):
    text = told(
        two_beds, "--rule", "gray_mold.wet_bloom_ahead", "--block", "north", "--on", "2026-05-30"
    )
    assert "> wet.basis == 'forecast': does not hold" in text


def test_a_rule_that_is_open_is_told_with_what_is_missing(tmp_path):
    made = make(tmp_path, journal=[])
    text = told(made, "--rule", SEEN, "--block", "north", "--on", "2026-05-30")
    assert "(gray_mold.flower_infection): unknown" in text
    assert "> stages 60 61 65 present in wet: open (no fresh record of the growth stages)" in text
    assert "+ wet.flower_index >= flower_attention" in text


def test_a_rule_that_had_no_such_fact_is_told_so(two_beds):
    text = told(two_beds, "--rule", SEEN, "--block", "south", "--on", "2026-05-20")
    assert "south: Open flowers" in text and "There was no wet period in that time." in text


def test_every_block_is_told_of_where_none_is_named(two_beds):
    text = told(two_beds, "--rule", SEEN, "--on", "2026-05-31")
    assert "north: Open flowers" in text and "south: Open flowers" in text


def test_a_rule_or_block_there_is_none_of_exits_1_with_a_hint(two_beds):
    ran = seen(two_beds, "--rule", "gray_mold.flower_infektion", command="explain")
    assert ran.code == 1 and not ran.out
    assert (
        "no rule 'gray_mold.flower_infektion'; did you mean 'gray_mold.flower_infection'?"
        in ran.err
    )
    ran = seen(two_beds, "--rule", SEEN, "--block", "nort", command="explain")
    assert ran.code == 1 and "no block 'nort'; expected one of north, south" in ran.err


def test_what_explain_says_of_every_rule_agrees_with_the_review(two_beds):
    from riskrules.engine.evaluate import evaluate
    from riskrules.farm import load_farm
    from riskrules.findings.explain import explain_rule
    from riskrules.review import review
    from riskrules.sources import gather

    given = gather([two_beds], two_beds / "farm.yaml")
    assert given.farm == load_farm(two_beds / "farm.yaml")
    found = review(given.farm, given.blocks, given.events)
    for block in found.blocks:
        matches = evaluate(block.facts, found.book.packs)
        fired = {f.rule for f in block.findings}
        opened = {r for u in block.unknowns for r in u.rules}
        for rule in found.book.rules:
            answers = {e.answer for e in explain_rule(rule, block.facts, block.scene, matches)}
            assert ("fires" in answers) == (rule.key in fired), rule.key
            assert ("unknown" in answers) >= (rule.key in opened), rule.key
            if answers == {"quiet"}:
                (e,) = explain_rule(rule, block.facts, block.scene, matches)
                assert e.failed or e.missing_kind or e.blocked_by, rule.key
