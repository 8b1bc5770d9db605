"""Growth stages of strawberry: the BBCH codes that rules speak of, in our words.

The scale has no 63, 69, 75 or 79. Day-neutral plants flower and fruit at once for months, so a
block holds a set of stages, not one.

References
----------
.. [1] Meier and others 1994, Nachrichtenbl. Deut. Pflanzenschutzd. 46:141-153 [memory: title
   page], and BBCH Monograph 2001 [read: encyclopedia tables].
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from riskrules.science.provenance import MEMORY, READ, Tag

STAGES: Mapping[int, str] = MappingProxyType(
    {
        55: "first buds show low in the rosette",
        56: "the truss lengthens",
        57: "first buds stand clear, still shut",
        58: "first flowers ballooned",
        59: "most flowers ballooned",
        60: "first (king) flowers open",
        61: "about 10 % of flowers open",
        65: "full bloom, second and third order open, first petals drop",
        67: "most petals down",
        71: "the receptacle pushes out of the sepals",
        73: "achenes plainly visible on the fruit",
        81: "most fruit white",
        85: "first fruit in the colour of its cultivar",
        87: "main pick",
        89: "second pick",
        91: "axillary buds start",
        92: "new leaves small, on short stalks",
        93: "old leaves begin to die",
        97: "old leaves dead",
        99: "dormant",
    }
)
RECALLED = frozenset({93, 97, 99})  # these codes' meaning is [memory]

# Which codes a plant part's name stands for. [assumption]
GROUPS: Mapping[str, frozenset[int]] = MappingProxyType(
    {
        "tight_bud": frozenset({55, 56, 57}),
        "popcorn": frozenset({58, 59}),
        "open_flower": frozenset({60, 61, 65}),
        "petal_fall": frozenset({67}),
        "green_fruit": frozenset({71, 73}),
        "ripening": frozenset({81, 85, 87, 89}),
        "autumn_growth": frozenset({91, 92}),
        "dying_leaves": frozenset({93}),
        "dormant": frozenset({97, 99}),
    }
)


def is_code(code: int) -> bool:
    """Whether a number is a code of the scale that we know.

    >>> is_code(65), is_code(69)
    (True, False)
    """
    return code in STAGES


def describe(code: int) -> str:
    """Say in our words what a code means.

    Raises
    ------
    ValueError
        If the scale has no such code, or it is none that rules need.

    Examples
    --------
    >>> describe(60)
    'first (king) flowers open'
    """
    if code not in STAGES:
        known = ", ".join(str(each) for each in STAGES)
        raise ValueError(f"no growth stage {code}; expected one of {known}")
    return STAGES[code]


def tag_of(code: int) -> Tag:
    """How we know what a code means: read, or memory for 93, 97 and 99."""
    describe(code)
    return MEMORY if code in RECALLED else READ


def group_of(code: int) -> str | None:
    """Name the group of a code, or None for a code that we do not know.

    >>> group_of(58)
    'popcorn'
    """
    return next((name for name, codes in GROUPS.items() if code in codes), None)
