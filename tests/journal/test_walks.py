"""Walk plans: what is drawn, in which order, and how many to look at."""

from __future__ import annotations

import hashlib
import math
import subprocess
import sys
from collections import Counter
from itertools import groupby

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from riskrules.journal.counts import PATCHY
from riskrules.journal.records import Block, Walk
from riskrules.journal.walks import LEGS, plan_walk, plants_of, size_for_precision, size_to_see

BLOCK = Block(beds=12, bed_length=60.0, plants_per_bed=240)
blocks = st.builds(
    Block,
    beds=st.integers(1, 40),
    bed_length=st.floats(1.0, 300.0),
    plants_per_bed=st.none() | st.integers(20, 2000),
)


@settings(max_examples=80, deadline=None)
@given(
    block=blocks,
    pattern=st.sampled_from(["random", "zigzag", "all_beds"]),
    seed=st.integers(-(2**40), 2**40),
    stops=st.integers(1, 60),
    per_stop=st.integers(1, 20),
)
def test_a_walk_stays_in_the_block_and_walks_each_bed_once(block, pattern, seed, stops, per_stop):
    try:
        walk = plan_walk(block, pattern, seed, stops, per_stop)
    except ValueError as error:
        assume("stops" not in str(error))
        raise
    assert [number for number, _, _ in walk.stops] == list(range(1, stops + 1))
    assert len({(bed, metres) for _, bed, metres in walk.stops}) == stops
    assert all(1 <= bed <= block.beds for _, bed, _ in walk.stops)
    assert all(0 <= metres < block.bed_length for _, _, metres in walk.stops)
    walked = [bed for bed, _ in groupby(walk.stops, key=lambda s: s[1])]
    assert walked == sorted(set(walked))
    for i, bed in enumerate(walked):
        along = [metres for _, b, metres in walk.stops if b == bed]
        assert along == sorted(along, reverse=i % 2 == 1)


def test_stops_do_not_overlap_where_the_plants_are_known():
    walk = plan_walk(BLOCK, "random", 5, 100, 20)
    stretch = 60.0 / (240 // 20)
    for bed in range(1, 13):
        along = sorted(metres for _, b, metres in walk.stops if b == bed)
        assert all(b - a >= stretch - 0.11 for a, b in zip(along, along[1:], strict=False))


def by_hand(seed: int, population: int, size: int) -> set[int]:
    """Draw as the docstring says, written anew: Floyd's algorithm over SHA-256."""
    drawn: set[int] = set()
    for last in range(population - size, population):
        text = f"walk/random/{seed}/{last}".encode("ascii")
        number = int(hashlib.sha256(text).hexdigest(), 16) * (last + 1) // 2**256
        drawn.add(number if number not in drawn else last)
    return drawn


def test_the_draw_is_the_stated_one_and_so_the_same_on_every_machine():
    walk = plan_walk(Block(beds=2, bed_length=50.0), "random", 2026, 6, 10)
    expected = sorted(((p // 50) + 1, float(p % 50)) for p in by_hand(2026, 100, 6))
    assert sorted((bed, metres) for _, bed, metres in walk.stops) == expected


@pytest.mark.parametrize("hashing", ["0", "4242"])
def test_another_process_plans_the_same_walk(hashing):
    program = (
        "from riskrules.journal.walks import plan_walk;"
        "from riskrules.journal.records import Block;"
        "b = Block(beds=12, bed_length=60.0, plants_per_bed=240);"
        "print(*(plan_walk(b, p, 77, 20, 10).stops for p in ('random', 'zigzag', 'all_beds')))"
    )
    env = {"PYTHONHASHSEED": hashing, "PYTHONPATH": ":".join(filter(None, sys.path))}
    ran = subprocess.run(
        [sys.executable, "-c", program], env=env, capture_output=True, text=True, check=True
    )
    here = [plan_walk(BLOCK, p, 77, 20, 10).stops for p in ("random", "zigzag", "all_beds")]
    assert ran.stdout.split("\n")[0] == " ".join(str(s) for s in here)


def test_other_seeds_give_other_walks():
    plans = {plan_walk(BLOCK, "random", seed, 10, 10).stops for seed in range(50)}
    assert len(plans) == 50


def test_each_stretch_is_as_likely_as_any_other():
    block = Block(beds=4, bed_length=10.0)
    drawn: Counter[tuple[int, float]] = Counter()
    for seed in range(2000):
        drawn.update((b, m) for _, b, m in plan_walk(block, "random", seed, 8, 1).stops)
    expected = 2000 * 8 / 40
    # Each count is binomial(2000, 0.2); chi-square of 40 of them less the one tie.
    spread = sum((n - expected) ** 2 for n in drawn.values()) / (2000 * 0.2 * 0.8)
    assert len(drawn) == 40
    assert spread < 72.1  # 39 degrees of freedom, 0.1 % [computed: scipy 1.17.1]


def test_all_beds_has_as_many_stops_in_each_bed():
    walk = plan_walk(BLOCK, "all_beds", 3, 30, 10)
    counts = Counter(bed for _, bed, _ in walk.stops)
    assert sorted(counts.values()) == [2] * 6 + [3] * 6


def test_the_zigzag_is_a_w():
    walk = plan_walk(Block(beds=80, bed_length=100.0), "zigzag", None, 80, 1)
    along = {bed: metres for _, bed, metres in walk.stops}
    turns = [along[1], along[20], along[40], along[60], along[80]]
    assert LEGS == 4
    assert [m < 10 for m in turns[::2]] == [True] * 3
    assert [m > 90 for m in turns[1::2]] == [True] * 2


def test_a_seed_shifts_the_zigzag():
    # One step of the W is 4 x 24 / 12 = 8 stretches, so there are 8 walks or a few more.
    assert 5 < len({plan_walk(BLOCK, "zigzag", s, 12, 10).stops for s in range(60)}) < 20


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"block": Block(bed_length=10)}, "beds of the block is not known"),
        ({"block": Block(beds=3)}, "bed_length of the block is not known"),
        ({"seed": None}, "a random walk without seed"),
        ({"stops": 0}, "0 stops; expected 1 to 288"),
        ({"stops": 289}, "289 stops; expected 1 to 288, with 12 beds of 24 stretches"),
        ({"per_stop": 0}, "0 to look at from a stop"),
        ({"per_stop": 241}, "241 plants at a stop; expected at most a bed's 240"),
        ({"pattern": "all_beds", "stops": 11}, "11 stops in all of 12 beds"),
        ({"pattern": "spiral"}, "pattern 'spiral'; expected random"),
    ],
)
def test_what_cannot_be_planned_is_refused(change, message):
    asked = {"block": BLOCK, "pattern": "random", "seed": 1, "stops": 10, "per_stop": 10}
    with pytest.raises(ValueError, match=message):
        plan_walk(**{**asked, **change})


def test_a_whole_block_can_be_walked():
    walk = plan_walk(Block(beds=3, bed_length=5.0), "random", 1, 15, 1)
    assert {(b, m) for _, b, m in walk.stops} == {
        (b, float(m)) for b in (1, 2, 3) for m in range(5)
    }


def test_the_walk_is_a_record_body_and_keeps_what_it_was_drawn_from():
    walk = plan_walk(BLOCK, "random", 9, 10, 10, ["gray_mold"])
    assert Walk.model_validate_json(walk.model_dump_json()) == walk
    assert (walk.seed, walk.per_stop, walk.symptoms) == (9, 10, ("gray_mold",))


@pytest.mark.parametrize(
    ("share", "alone"),
    [
        (0.01, 299),  # [computed by hand] ln .05 / ln .99 = 298.07
        (0.02, 149),  # [computed by hand] ln .05 / ln .98 = 148.28
        (0.05, 59),  # [computed by hand] ln .05 / ln .95 = 58.40
    ],
)
def test_seeing_one_among_endlessly_many(share, alone):
    assert size_to_see(Block(), 1, share).examined == alone


def test_the_number_to_see_one_sees_one():
    import numpy as np

    rng = np.random.default_rng(8)
    block = Block(beds=10, bed_length=50, plants_per_bed=50)
    size = size_to_see(block, 1)
    plants = np.zeros(500, bool)
    plants[:10] = True
    seen = [rng.permutation(plants)[: size.examined].any() for _ in range(4000)]
    assert 0.94 < np.mean(seen) < 0.97  # 95 % wanted; standard error 0.0034
    assert size.examined < size.alone == 149


def test_the_number_to_see_one_is_the_least_by_scipy():
    stats = pytest.importorskip("scipy.stats", reason="compares with scipy")
    for beds, share in [(1, 0.02), (4, 0.02), (40, 0.02), (10, 0.05), (7, 0.3)]:
        n = size_to_see(Block(beds=beds, plants_per_bed=50), 1, share).examined
        sick = max(1, math.floor(beds * 50 * share + 1e-9))
        assert stats.hypergeom.pmf(0, beds * 50, sick, n) <= 0.05
        assert stats.hypergeom.pmf(0, beds * 50, sick, n - 1) > 0.05


def test_a_clustered_block_needs_more():
    # [computed by hand] 149 x (1 + 0.2 x 9) = 417.2, in whole stops of 10
    assert size_to_see(Block(), 10).examined == 420
    assert size_to_see(Block(), 10).design_effect == pytest.approx(1 + PATCHY * 9)
    assert size_to_see(Block(), 10, correlation=0).examined == 150


def test_precision_with_few_plants():
    # [computed by hand] 139 for endlessly many; 139 / (1 + 138/500) = 108.9
    block = Block(beds=10, bed_length=50, plants_per_bed=50)
    size = size_for_precision(block, 1, 0.1, absolute=0.05)
    assert (size.alone, size.examined, size.population) == (139, 109, 500)
    assert size_for_precision(block, 1, 0.1, absolute=0.05, part="ripe_fruit").examined == 139
    assert size_for_precision(Block(), 5, 0.05, relative=0.2, correlation=0.2).examined == 855


def test_precision_is_what_was_asked_for():
    import numpy as np

    rng = np.random.default_rng(4)
    size = size_for_precision(Block(), 1, 0.1, absolute=0.05)
    found = rng.binomial(size.examined, 0.1, 20_000) / size.examined
    # 1.96 standard errors; the sample size is for the normal approximation.
    assert 1.96 * found.std() == pytest.approx(0.05, abs=0.002)


def test_nobody_is_sent_to_look_at_more_plants_than_there_are():
    block = Block(beds=1, bed_length=10, plants_per_bed=30)
    assert size_to_see(block, 10).examined == 30


def test_the_words_say_where_the_number_comes_from():
    words = size_to_see(Block(beds=10, bed_length=50, plants_per_bed=50), 10).words
    for said in ("95 % sure", "2.0 %", "149 if", "129 since the block has 500 plants", "2.80"):
        assert said in words


def test_one_precision_is_asked_for():
    with pytest.raises(ValueError, match="either an absolute or a relative"):
        size_for_precision(BLOCK, 10, 0.1)
    assert plants_of(BLOCK) == 2880
    assert plants_of(Block(beds=3)) is None
