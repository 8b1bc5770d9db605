"""The findings of a whole real year: the engine against the plain evaluator, order, repetition."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from riskrules.engine.evaluate import evaluate
from riskrules.engine.plain import matches
from riskrules.engine.process import EngineProcess
from riskrules.logs.read import tidy
from riskrules.logs.readings import Readings
from riskrules.report import dumps
from riskrules.review import Review, review
from riskrules.sources import Gathered

from .conftest import FIRST, LAST

PACKS = {"gray_mold", "fruit_rot", "postharvest_mold", "heat_stress"}


def by_rule(found: Review) -> Counter[str]:
    return Counter(f.rule for f in found.findings)


def test_the_engine_and_the_plain_evaluator_find_the_same_in_a_whole_year(
    reviewed: Review, engine: EngineProcess
) -> None:
    facts, packs = reviewed.blocks[0].facts, reviewed.book.packs
    by_engine, by_hand = evaluate(facts, packs, engine), matches(facts, packs)
    assert set(by_engine) == set(by_hand)
    assert len(by_engine) == len(by_hand) > 500
    assert {m.sure for m in by_hand} == {True, False}


def test_each_of_the_four_packs_finds_something_in_the_year(reviewed: Review) -> None:
    found = Counter(rule.partition(".")[0] for rule in by_rule(reviewed).elements())
    assert set(found) == PACKS
    assert min(found.values()) >= 5


def test_every_finding_has_facts_sources_and_an_identity_of_its_own(reviewed: Review) -> None:
    ids = [f.id for f in reviewed.findings]
    assert len(set(ids)) == len(ids) > 100
    assert all(f.facts and f.sources and f.sentence and f.hash for f in reviewed.findings)
    assert not any("{" in f.sentence for f in reviewed.findings)


def shuffled(rows: Readings, seed: int) -> Readings:
    """Return the rows as a file would give them that was written in another order."""
    order = np.random.default_rng(seed).permutation(len(rows))
    return tidy(
        replace(
            rows,
            time=rows.time[order],
            values={k: v[order] for k, v in rows.values.items()},
            cause={k: v[order] for k, v in rows.cause.items()},
            forecast=rows.forecast[order],
            notes=[],
        ),
        "shuffled",
    )


def test_the_order_of_the_rows_changes_no_finding(
    gathered: Gathered, reviewed: Review, engine: EngineProcess
) -> None:
    blocks = [replace(b, sources=tuple(shuffled(r, 7) for r in b.sources)) for b in gathered.blocks]
    events = tuple(reversed(gathered.events))
    again = review(gathered.farm, blocks, sorted(events), first=FIRST, last=LAST, engine=engine)
    assert by_rule(again) == by_rule(reviewed)
    assert [f.hash for f in again.findings] == [f.hash for f in reviewed.findings]
    assert [u.hash for u in again.unknowns] == [u.hash for u in reviewed.unknowns]


def test_the_json_of_the_year_is_the_same_twice_in_one_process(
    gathered: Gathered, reviewed: Review, engine: EngineProcess
) -> None:
    again = review(
        gathered.farm, gathered.blocks, gathered.events, first=FIRST, last=LAST, engine=engine
    )
    assert dumps(again) == dumps(reviewed)


@pytest.mark.parametrize("seed", ["1", pytest.param("2", marks=pytest.mark.long)])
def test_the_command_prints_the_same_json_in_a_process_of_its_own(
    checkout: Path, reviewed: Review, seed: str
) -> None:
    """Run the command itself, each time with another order of Python's sets."""
    folder = checkout / "sample_logs" / "typical_year"
    command = [sys.executable, "-m", "riskrules.cli", "review", str(folder),
               "--farm", str(folder / "farm.yaml"), "--from", "2025-01-01", "--to", "2025-12-31",
               "--json"]  # fmt: skip
    env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(checkout)}
    done = subprocess.run(command, capture_output=True, env=env, timeout=300, check=True)
    assert json.loads(done.stdout) == json.loads(dumps(reviewed))
    assert done.stdout.decode().strip() == dumps(reviewed).strip()
