"""Plan a walk through a block: where to stop, and how many to look at.

References
----------
.. [1] Cochran 1977. Sampling Techniques, 3rd ed., Wiley (random and systematic samples, finite
   populations) [memory].
.. [2] Floyd, in Bentley 1987. Commun. ACM 30:754-757 (a sample without replacement in as many
   draws as it has members) [memory].
.. [3] Madden, Hughes 1999. Phytopathology 89:1088-1103 (clustering) [read: abstract].
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from riskrules.journal.counts import PATCHY, percent
from riskrules.journal.records import Block, Walk
from riskrules.science.sampling import (
    design_effect,
    detect_one_among,
    detect_one_n,
    finite_sample,
    round_up,
    sample_size_absolute,
    sample_size_relative,
)

Pattern = Literal["random", "zigzag", "all_beds"]
Place = tuple[int, int]
"""A bed and a stretch of it, both from 0."""

LEAST_M = 0.2
"""Shortest stretch of bed that a stop may be told apart by. [m] (assumption)"""
UNKNOWN_M = 1.0
"""Stretch of bed of a stop where nobody said how many plants a bed has. [m] (assumption)"""
LEGS = 4
"""Times that the zigzag crosses from one end of the beds to the other: the shape of a W.
(common practice, no source)"""


def plan_walk(
    block: Block,
    pattern: Pattern,
    seed: int | None,
    stops: int,
    per_stop: int,
    symptoms: Sequence[str] = (),
) -> Walk:
    """Plan where to stop; each bed that has stops is walked once, from alternate ends.

    Every bed is cut into stretches of ``per_stop`` plants (of ``UNKNOWN_M`` where the plants of
    a bed are not known); no stretch is drawn twice. The same seed gives the same stops on every
    machine, since draws come from SHA-256 and not from Python's generator.

    - ``random``: stretches of the whole block drawn without replacement, each as likely [1].
    - ``zigzag``: evenly spaced along a W over the block (``LEGS`` legs), from a start that the
      seed shifts; the middle of the first step without seed. A systematic sample: fast to walk,
      but patches as regular as the W may fool it.
    - ``all_beds``: as many in each bed, the beds with one more drawn by the seed, and in each
      bed stretches drawn without replacement.

    Parameters
    ----------
    block : Block
        With ``beds`` and ``bed_length`` [m]; ``plants_per_bed`` where known.
    seed : int or None
        Needed but for the zigzag.
    stops, per_stop : int
        How many stops, and how many to look at from each on. [count]
    symptoms : sequence of str
        What to look for.

    Returns
    -------
    Walk
        Stops as (number, bed from 1, metres along the bed from its head end, where the stretch
        begins), in the order to walk.

    Raises
    ------
    ValueError
        If the beds or their length are not known, the block has no room for the stops, or there
        is no seed.

    Examples
    --------
    >>> plan_walk(Block(beds=4, bed_length=40), "zigzag", None, 8, 10).stops[:4]
    ((1, 1, 10.0), (2, 1, 30.0), (3, 2, 30.0), (4, 2, 10.0))
    """
    beds, length, stretches = _stretches(block, per_stop)
    if not 1 <= stops <= beds * stretches:
        room = f"{beds} beds of {stretches} stretches each"
        raise ValueError(f"{stops} stops; expected 1 to {beds * stretches}, with {room}")
    if seed is None and pattern != "zigzag":
        raise ValueError(f"a {pattern} walk without seed; expected one, such as 2026")
    if pattern == "random":
        places = [divmod(p, stretches) for p in _draw(beds * stretches, stops, f"random/{seed}")]
    elif pattern == "zigzag":
        places = _zigzag(beds, stretches, stops, seed)
    elif pattern == "all_beds":
        places = _all_beds(beds, stretches, stops, seed)
    else:
        raise ValueError(f"pattern '{pattern}'; expected random, zigzag or all_beds")
    walked = _serpentine(places)
    at = [(bed + 1, round(length * cut / stretches, 1)) for bed, cut in walked]
    numbered = tuple((i, bed, metres) for i, (bed, metres) in enumerate(at, 1))
    return Walk(
        pattern=pattern, seed=seed, per_stop=per_stop, stops=numbered, symptoms=tuple(symptoms)
    )


def _stretches(block: Block, per_stop: int) -> tuple[int, float, int]:
    """Return the beds, their length, and into how many stretches each is cut."""
    if block.beds is None or block.bed_length is None:
        missing = "beds" if block.beds is None else "bed_length"
        raise ValueError(f"{missing} of the block is not known; expected it, to place stops")
    if per_stop < 1:
        raise ValueError(f"{per_stop} to look at from a stop; expected 1 or more")
    most = math.floor(block.bed_length / LEAST_M)
    if block.plants_per_bed is None:
        count = math.floor(block.bed_length / UNKNOWN_M)
    else:
        count = block.plants_per_bed // per_stop
        if count == 0:
            plants = block.plants_per_bed
            raise ValueError(f"{per_stop} plants at a stop; expected at most a bed's {plants}")
    return block.beds, block.bed_length, max(1, min(most, count))


def _number(below: int, key: str) -> int:
    """Return a number from 0 up to but not ``below``, the same for the same key everywhere.

    The first 256 bits of SHA-256; as likely each to within 1 in 2 to the power of 200.
    """
    drawn = int.from_bytes(hashlib.sha256(f"walk/{key}".encode()).digest(), "big")
    return drawn * below >> 256


def _draw(population: int, size: int, key: str) -> list[int]:
    """Return ``size`` different numbers below ``population``, every such set as likely [2]."""
    drawn: set[int] = set()
    for last in range(population - size, population):
        number = _number(last + 1, f"{key}/{last}")
        drawn.add(last if number in drawn else number)
    return sorted(drawn)


def _zigzag(beds: int, stretches: int, stops: int, seed: int | None) -> list[Place]:
    shift = 0.5 if seed is None else _number(1 << 32, f"zigzag/{seed}") / (1 << 32)
    taken: set[Place] = set()
    for i in range(stops):
        along = (i + shift) / stops
        leg = along * LEGS % 2.0
        bed = min(int(along * beds), beds - 1)
        cut = min(int((leg if leg <= 1.0 else 2.0 - leg) * stretches), stretches - 1)
        taken.add(_nearest_free(bed, cut, beds, stretches, taken))
    return sorted(taken)


def _nearest_free(bed: int, cut: int, beds: int, stretches: int, taken: set[Place]) -> Place:
    """Return the free place nearest along the bed, or in the next bed that has one."""
    for other in sorted(range(beds), key=lambda b: (abs(b - bed), b)):
        for place in sorted(range(stretches), key=lambda c: (abs(c - cut), c)):
            if (other, place) not in taken:
                return other, place
    raise ValueError("no free place is left")


def _all_beds(beds: int, stretches: int, stops: int, seed: int | None) -> list[Place]:
    if stops < beds:
        raise ValueError(f"{stops} stops in all of {beds} beds; expected {beds} or more")
    each, left = divmod(stops, beds)
    more = set(_draw(beds, left, f"all_beds/{seed}"))
    return [
        (bed, cut)
        for bed in range(beds)
        for cut in _draw(stretches, each + (bed in more), f"all_beds/{seed}/{bed}")
    ]


def _serpentine(places: Sequence[Place]) -> list[Place]:
    """Order places by bed; along the first bed, back along the next that has any, and so on."""
    beds = sorted({bed for bed, _ in places})
    turn = {bed: -1 if i % 2 else 1 for i, bed in enumerate(beds)}
    return sorted(places, key=lambda p: (p[0], turn[p[0]] * p[1]))


@dataclass(frozen=True, slots=True)
class Size:
    """How many to look at: ``stops`` of ``per_stop`` each, and what that was worked out from.

    ``alone`` is the number if each counted on its own, ``design_effect`` what it was multiplied
    by, ``population`` the plants of the block where they limit it (None: not known or no limit).
    """

    stops: int
    per_stop: int
    alone: int
    design_effect: float
    population: int | None
    words: str

    @property
    def examined(self) -> int:
        """How many are looked at in all."""
        return self.stops * self.per_stop


def size_for_precision(
    block: Block,
    per_stop: int,
    share: float,
    absolute: float | None = None,
    relative: float | None = None,
    correlation: float = PATCHY,
    part: str = "plant",
) -> Size:
    """How many to look at for a wanted precision.

    z² p (1 - p) / d² for a half width d of the 95 % interval, or (1 - p) / (p C²) for a
    coefficient of variation C; n / (1 + (n - 1) / N) of N plants [1]; times the design effect
    1 + rho (m - 1) of m at a stop [3], and rounded up to whole stops. The correction for N goes
    first, which is the more cautious order; never more than N.

    Parameters
    ----------
    block : Block
        Its plants limit the number where they are known and ``part`` is the plant.
    per_stop : int
        How many at a stop. [count]
    share : float
        About how many are affected; where nobody knows, the middle of what may be. [1]
    absolute, relative : float
        Half width, or coefficient of variation; one of the two. [1]
    correlation : float
        rho: how alike plants of one stop are, 0 where each sickens on its own. [1]

    Raises
    ------
    ValueError
        If not one of absolute and relative is given, or a number is outside its range.

    Examples
    --------
    >>> size_for_precision(Block(), 10, 0.1, absolute=0.05, correlation=0.0).examined
    140
    """
    if (absolute is None) == (relative is None):
        raise ValueError("expected either an absolute or a relative precision")
    if absolute is not None:
        alone, wanted = sample_size_absolute(share, absolute), f"within {percent(absolute)} of it"
    else:
        assert relative is not None
        alone = sample_size_relative(share, relative)
        wanted = f"with a coefficient of variation of {percent(relative, 0)}"
    plants = plants_of(block) if part == "plant" else None
    fewer = alone if plants is None else finite_sample(alone, plants)
    words = f"To know a share of about {percent(share)} {wanted}"
    return _whole_stops(fewer, alone, per_stop, correlation, plants, words)


def size_to_see(
    block: Block,
    per_stop: int,
    share: float = 0.02,
    confidence: float = 0.95,
    correlation: float = PATCHY,
    part: str = "plant",
) -> Size:
    """How many to look at so as to see at least one where ``share`` are affected.

    ln(1 - confidence) / ln(1 - p) [1]; of a known number of plants the hypergeometric number
    (see `detect_one_among`); times the design effect as in `size_for_precision`.

    Examples
    --------
    >>> size_to_see(Block(), 1).alone, size_to_see(Block(), 10).examined
    (149, 420)
    """
    alone = detect_one_n(share, confidence)
    plants = plants_of(block) if part == "plant" else None
    fewer = alone if plants is None else detect_one_among(plants, share, confidence)
    words = f"To be {percent(confidence, 0)} sure to see one where {percent(share)} are affected"
    return _whole_stops(fewer, alone, per_stop, correlation, plants, words)


def plants_of(block: Block) -> int | None:
    """Return how many plants a block has; None where that is not known."""
    if block.beds is None or block.plants_per_bed is None:
        return None
    return block.beds * block.plants_per_bed


def _whole_stops(
    fewer: int, alone: int, per_stop: int, correlation: float, plants: int | None, words: str
) -> Size:
    effect = float(design_effect(correlation, per_stop))
    examined = round_up(fewer * effect)
    if plants is not None:
        examined = min(examined, plants)
    stops = -(-examined // per_stop)
    words += f", look at {stops * per_stop}: {stops} stops of {per_stop}"
    words += f" ({alone} if each counted on its own"
    if fewer < alone:
        words += f", {fewer} since the block has {plants:,} plants"
    if effect > 1:
        words += f"; {effect:.2f} times that, since plants of a stop are alike by {correlation:g}"
    return Size(stops, per_stop, alone, effect, plants, f"{words}).")
