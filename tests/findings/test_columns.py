"""Causes of open matches in columns are those of weighing the conditions one match at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import reduce
from operator import or_

import pytest

from riskrules.engine.evaluate import evaluate
from riskrules.facts.kinds import Cause
from riskrules.findings.build import Episode, Scene, episodes, given_of
from riskrules.findings.unknowns import causes_of
from riskrules.findings.weigh import weigh_rule
from riskrules.packs.conditions import Relation
from riskrules.review import Review

from .scenes import RULES, scene
from .small_farm import reviewed, write_farm


def one_by_one(episode: Episode, made: Scene) -> int:
    """Return the causes of an episode as each match's weighing gives them."""
    pack = made.book.pack(episode.rule.pack)
    causes = []
    for match in episode.matches:
        weighed = weigh_rule(episode.rule, pack, given_of(match, episode.rule, made.lookup))
        opened = [int(w.cause) for w in weighed if w.open]
        if not opened and episode.rule.absence is not None:
            opened = [int(Cause.NO_JOURNAL)]
        causes += opened
    return reduce(or_, causes, 0)


def both(found: Iterable[Episode], made: Scene) -> Iterator[tuple[int, int]]:
    opened = [e for e in found if not e.sure]
    return zip(causes_of(opened, made), (one_by_one(e, made) for e in opened), strict=True)


@pytest.mark.parametrize("key", RULES)
def test_every_example_of_a_rule_is_open_for_the_same_causes(key: str) -> None:
    for given in RULES[key].text.examples:
        made, found = scene(key, given)
        for in_columns, alone in both(found, made):
            assert in_columns == alone


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> Review:
    """Return a review of a farm that leaves much open: no outside log, no stages."""
    events = "time,block,event,what,end,affected,examined\n2026-05-10T08:00Z,,film,on,,,\n"
    return reviewed(write_farm(tmp_path_factory.mktemp("farm"), outside=False, events=events))


def test_every_open_episode_of_a_farm_is_open_for_the_same_causes(review: Review) -> None:
    rules = set()
    for b in review.blocks:
        found = episodes(evaluate(b.facts, b.scene.book.packs), b.scene)
        rules |= {e.rule.key for e in found if not e.sure}
        for in_columns, alone in both(found, b.scene):
            assert in_columns == alone
    shapes = {type(c).__name__ for key in rules for ways in RULES[key].when for c in ways}
    names = {c.name for key in rules for ways in RULES[key].when for c in ways
             if isinstance(c, Relation)}  # fmt: skip
    assert {"Compare", "IsFlag", "Relation"} <= shapes, "so that each way of weighing was tried"
    assert len(names) >= 2


def test_nothing_open_has_no_cause() -> None:
    made, _ = scene(
        "gray_mold.flower_infection", {"wet": {"flower_index": [0.3, 0.9]}, "gives": "unknown"}
    )
    assert causes_of([], made) == []
