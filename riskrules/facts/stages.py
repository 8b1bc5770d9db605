"""Sets of growth stages as bits, so that a column of them is one column of integers."""

from __future__ import annotations

from collections.abc import Iterable

from riskrules.science.stages import STAGES

_BIT = {code: 1 << i for i, code in enumerate(sorted(STAGES))}
ALL = sum(_BIT.values())
"""Every stage: what may be there where nothing is recorded."""


def bits(codes: Iterable[int]) -> int:
    """Return one bit for each BBCH code; KeyError for a code that is not one.

    Examples
    --------
    >>> codes(bits([65, 60]))
    (60, 65)
    """
    found = 0
    for code in codes:
        found |= _BIT[code]
    return found


def codes(mask: int) -> tuple[int, ...]:
    """Return the BBCH codes of a set of bits, in order."""
    return tuple(code for code, bit in _BIT.items() if mask & bit)
