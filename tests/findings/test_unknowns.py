"""What could not be told: one entry a cause and time, never dropped and never called quiet."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from riskrules.engine.evaluate import evaluate
from riskrules.facts.kinds import Cause
from riskrules.findings.build import episodes
from riskrules.findings.causes import WORDS, settling, words_of
from riskrules.findings.model import SEVERITIES
from riskrules.findings.unknowns import unknowns_of
from riskrules.review import Review

from .scenes import RULES, example, scene, unknowns
from .small_farm import BLOCKS, reviewed, write_farm

WET = "gray_mold.flower_infection"
HIGH = "gray_mold.flower_infection_high"
OPEN = {"flower_index": [0.3, 0.9], "stages": [65]}


@pytest.mark.parametrize("key", RULES)
def test_every_rule_left_open_says_what_would_settle_it(key: str) -> None:
    for given in (e for e in RULES[key].text.examples if e["gives"] == "unknown"):
        (found,) = unknowns(key, given)
        assert found.rules == (key,)
        assert found.causes and found.settle is not None
        assert found.sentence.startswith("Unknown ")
        assert RULES[key].title in found.sentence
        assert found.worst_severity == RULES[key].text.finding.severity


@pytest.mark.parametrize("cause", [c for c in Cause if c is not Cause.NONE])
def test_every_cause_has_words_and_a_way_to_settle_it(cause: Cause) -> None:
    assert words_of(cause) == [WORDS[cause][0]]
    assert settling(cause) == [WORDS[cause][1]]
    assert WORDS[cause][1].endswith(".")


def test_two_causes_are_both_said() -> None:
    both = Cause.NO_WETNESS | Cause.NO_STAGE
    given = {"wet": OPEN, "gives": "unknown"}
    (found,) = unknowns(WET, given, causes={("wet_period", "flower_index"): both})
    assert found.causes == (WORDS[Cause.NO_WETNESS][0], WORDS[Cause.NO_STAGE][0])
    assert len(found.settle) == 2


def test_rules_left_open_by_one_cause_at_one_time_are_one_unknown() -> None:
    given, why = {"wet": OPEN, "gives": "unknown"}, {("wet_period", "flower_index"): Cause.STUCK}
    made, low = scene(WET, given, causes=why)
    _, high = scene(HIGH, given, causes=why)
    (found,) = unknowns_of([*low, *high], made)
    assert found.rules == (WET, HIGH)
    assert found.worst_severity == "Severe"
    assert found.causes == (WORDS[Cause.STUCK][0],)


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> Review:
    """Return a review of a farm without outside log, forecast or record of stages."""
    events = "time,block,event,what,end,affected,examined\n2026-05-10T08:00Z,,film,on,,,\n"
    return reviewed(write_farm(tmp_path_factory.mktemp("farm"), outside=False, events=events))


def seconds(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def test_unknowns_of_one_cause_never_overlap_in_a_block(review: Review) -> None:
    seen = 0
    for block in BLOCKS:
        by_lead: dict[str, list[Any]] = {}
        for u in (u for u in review.unknowns if u.block == block):
            by_lead.setdefault(u.id.partition("@")[0], []).append(u)
        assert len(by_lead) >= 2
        for group in by_lead.values():
            group.sort(key=lambda u: seconds(u.start))
            seen += len(group)
            for a, b in zip(group, group[1:], strict=False):
                assert seconds(a.end) < seconds(b.start)
    assert seen == len(review.unknowns)
    assert len({u.id for u in review.unknowns}) == len(review.unknowns)


def test_no_open_rule_is_dropped_and_none_is_said_twice_for_one_time(review: Review) -> None:
    for b in review.blocks:
        opened = [e for e in episodes(evaluate(b.facts, b.scene.book.packs), b.scene) if not e.sure]
        assert {e.rule.key for e in opened} == {r for u in b.unknowns for r in u.rules}
        for e in opened:
            holding = [
                u
                for u in b.unknowns
                if e.rule.key in u.rules and seconds(u.start) <= e.start and e.end <= seconds(u.end)
            ]
            assert holding, e.rule.key


def test_an_unknown_counts_by_the_worst_of_its_rules(review: Review) -> None:
    for u in review.unknowns:
        severities = [RULES[r].text.finding.severity for r in u.rules]
        assert u.worst_severity == min(severities, key=SEVERITIES.index)


def test_without_an_outside_log_and_stages_these_are_the_causes(review: Review) -> None:
    causes = {c for u in review.unknowns for c in u.causes}
    for cause in (Cause.NO_OUTSIDE, Cause.NO_STAGE, Cause.NO_COVER_RECORD):
        assert WORDS[cause][0] in causes


def test_what_has_not_happened_yet_is_kept_apart_from_what_is_missing(review: Review) -> None:
    ahead = [u for u in review.unknowns if u.id.startswith(f"unknown.{int(Cause.NOT_YET)}@")]
    assert ahead
    for u in ahead:
        assert u.causes == (WORDS[Cause.NOT_YET][0],)
        assert seconds(u.end) > review.now


def test_a_block_with_something_open_is_never_called_quiet(review: Review) -> None:
    for b in review.blocks:
        assert b.unknowns
        assert b.state.state in ("findings", "unknown")


def test_what_surely_fires_is_not_open_too() -> None:
    made, found = scene(WET, example(WET))
    assert [e.sure for e in found] == [True]
    assert unknowns_of([e for e in found if not e.sure], made) == []
    assert episodes([], made) == []
