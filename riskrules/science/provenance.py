"""How we know a number: the tags, and a number that carries its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Tag = Literal[
    "read", "second-hand", "memory", "computed", "assumption", "common practice, no source"
]

READ: Tag = "read"  # seen in the source itself; of a paper the abstract unless more is said
SECOND_HAND: Tag = "second-hand"  # seen in another text, or in public code, that quotes it
MEMORY: Tag = "memory"  # recalled, no source at hand
COMPUTED: Tag = "computed"  # worked out from the others
ASSUMPTION: Tag = "assumption"  # our own construction
PRACTICE: Tag = "common practice, no source"  # what growers do

TAGS: tuple[Tag, ...] = (READ, SECOND_HAND, MEMORY, COMPUTED, ASSUMPTION, PRACTICE)


@dataclass(frozen=True, slots=True)
class SourcedNumber:
    """A number of science or trade with its unit, its source and its tag.

    Parameters
    ----------
    name : str
        Identifier in lower case with underscores.
    value : float
        The number, in ``unit``.
    unit : str
        Unit of ``value``; ``1`` for a plain ratio.
    what : str
        What the number means, with what it must not be taken for.
    source : str
        Where it is printed.
    tag : Tag
        How we know it.
    """

    name: str
    value: float
    unit: str
    what: str
    source: str
    tag: Tag


def by_name(*numbers: SourcedNumber) -> dict[str, SourcedNumber]:
    """Index numbers by their name.

    Raises
    ------
    ValueError
        If two numbers bear one name.
    """
    indexed = {number.name: number for number in numbers}
    if len(indexed) != len(numbers):
        names = [number.name for number in numbers]
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"named twice: {', '.join(twice)}; expected each name once")
    return indexed


def celsius(fahrenheit: float) -> float:
    """Convert a temperature from °F to °C.

    >>> celsius(50.0)
    10.0
    """
    return (fahrenheit - 32.0) / 1.8
