"""Critical temperatures of plant parts in cold, every source kept; the warmest holds by default.

They are tissue temperatures. On a clear calm night exposed tissue is colder than the air of a
weather shelter, so air at the critical temperature is already too cold.

References
----------
.. [1] Perry and Poling 1985, printed by the Ontario ministry and by Penn State [read].
.. [2] Maine 2023, Delaware, and North Carolina 2021 (slides) extension pages [read].
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray
from riskrules.science.provenance import ASSUMPTION, MEMORY, READ, Tag, celsius
from riskrules.science.stages import group_of

ONTARIO = "Ontario ministry page, after Perry and Poling 1985"
PENN_STATE = "Penn State page, after Perry and Poling; Ohio State"
MAINE = "Maine extension 2023"
DELAWARE = "Delaware extension"
NORTH_CAROLINA = "North Carolina extension 2021, slides"
BEFORE_OPENING = "printed 22-27 °F before opening; ends read as tight bud, popcorn (assumption)"
SCRAMBLED = "the layout of the slide was scrambled; the stage is partly guessed"


@dataclass(frozen=True, slots=True)
class CriticalTemperature:
    """One source's critical tissue temperature of one plant part, in °C."""

    part: str
    critical: float
    printed: str
    source: str
    tag: Tag = READ
    note: str = ""


class PartAtRisk(NamedTuple):
    """The most sensitive part present, with its critical tissue temperature in °C."""

    part: str
    critical: float
    source: str
    tag: Tag
    note: str


def _fahrenheit(part: str, printed: float, source: str, note: str = "") -> CriticalTemperature:
    return CriticalTemperature(part, celsius(printed), f"{printed:g} °F", source, READ, note)


CRITICAL_TEMPERATURES: tuple[CriticalTemperature, ...] = (
    _fahrenheit("dormant_crown", 10, DELAWARE),
    _fahrenheit("dormant_crown", 10, NORTH_CAROLINA, SCRAMBLED),
    _fahrenheit("crown_in_transition", 15, NORTH_CAROLINA, f"printed mid-teens °F; {SCRAMBLED}"),
    _fahrenheit("new_leaf", 10, PENN_STATE),
    _fahrenheit("new_leaf", 20, NORTH_CAROLINA, f"lower end of 20-25 °F; {SCRAMBLED}"),
    _fahrenheit("new_leaf", 25, NORTH_CAROLINA, f"upper end of 20-25 °F; {SCRAMBLED}"),
    CriticalTemperature("tight_bud", -5.5, "-5.5 °C", ONTARIO),
    _fahrenheit("tight_bud", 22, PENN_STATE),
    _fahrenheit("tight_bud", 25, MAINE),
    _fahrenheit("tight_bud", 22, DELAWARE, BEFORE_OPENING),
    CriticalTemperature("popcorn", -2.2, "-2.2 °C", ONTARIO),
    _fahrenheit("popcorn", 26, PENN_STATE),
    _fahrenheit("popcorn", 26, MAINE),
    _fahrenheit("popcorn", 27, DELAWARE, BEFORE_OPENING),
    _fahrenheit("popcorn", 27, NORTH_CAROLINA, "lower end of 27-28 °F"),
    _fahrenheit("popcorn", 28, NORTH_CAROLINA, "upper end of 27-28 °F"),
    CriticalTemperature("open_flower", -1.1, "-1.1 °C", ONTARIO),
    _fahrenheit("open_flower", 30, PENN_STATE),
    _fahrenheit("open_flower", 30, MAINE),
    _fahrenheit("open_flower", 30, DELAWARE),
    _fahrenheit("open_flower", 30, NORTH_CAROLINA),
    CriticalTemperature("green_fruit", -2.2, "-2.2 °C", ONTARIO),
    _fahrenheit("green_fruit", 28, PENN_STATE),
    _fahrenheit("green_fruit", 28, MAINE),
    _fahrenheit("green_fruit", 28, DELAWARE),
)

# Which part a group of stages puts at risk; a note and its tag where no source prints one. That
# 55-57 are tight bud, 58-59 popcorn, 60-65 open and 71-73 green fruit is ours too. [assumption]
_PART_OF_GROUP: dict[str, tuple[str, str, Tag]] = {
    "tight_bud": ("tight_bud", "", READ),
    "popcorn": ("popcorn", "", READ),
    "open_flower": ("open_flower", "", READ),
    "petal_fall": ("open_flower", "petal fall counts as open blossom (assumption)", ASSUMPTION),
    "green_fruit": ("green_fruit", "", READ),
    "ripening": ("green_fruit", "ripening fruit counts as green fruit (assumption)", ASSUMPTION),
    "autumn_growth": ("new_leaf", "autumn buds count as new leaf (assumption)", ASSUMPTION),
    "dying_leaves": ("crown_in_transition", "dying leaves: in transition (assumption)", ASSUMPTION),
    "dormant": ("dormant_crown", "meaning of the dormant codes from memory", MEMORY),
}


def sources_of(part: str) -> tuple[CriticalTemperature, ...]:
    """Every source's critical temperature of a part, warmest first.

    Raises
    ------
    ValueError
        If no source names the part.
    """
    found = [each for each in CRITICAL_TEMPERATURES if each.part == part]
    if not found:
        parts = ", ".join(dict.fromkeys(each.part for each in CRITICAL_TEMPERATURES))
        raise ValueError(f"no critical temperature for '{part}'; expected one of {parts}")
    return tuple(sorted(found, key=lambda each: -each.critical))


def critical_temperature(part: str) -> CriticalTemperature:
    """Take the warmest, most cautious critical temperature of a part.

    Raises
    ------
    ValueError
        If no source names the part.

    Examples
    --------
    >>> round(critical_temperature("popcorn").critical, 2)
    -2.2
    """
    return sources_of(part)[0]


def _at_risk(part: str, note: str, tag: Tag) -> PartAtRisk:
    warmest, *others = sources_of(part)
    notes = [note, warmest.note]
    coldest = others[-1].critical if others else warmest.critical
    if warmest.critical - coldest > 0.2:
        notes.append(f"sources differ down to {coldest:.1f} °C; the warmest is taken")
    said = "; ".join(each for each in notes if each)
    return PartAtRisk(part, warmest.critical, warmest.source, tag, said)


def _part_of(code: int) -> tuple[str, str, Tag]:
    group = group_of(code)
    if group is None:
        return "open_flower", f"stage {code} unknown: open blossom assumed", ASSUMPTION
    return _PART_OF_GROUP[group]


def part_at_risk(stages: Iterable[int]) -> PartAtRisk:
    """Find the part present that suffers first, for a set of BBCH codes.

    Parameters
    ----------
    stages : iterable of int
        BBCH codes present in the block. Codes 55-57 are tight bud, 58-59 popcorn, 60-65 open
        flower, 71-73 green fruit (assumption); 67 counts as open flower and 81-89 as green
        fruit, for which no source prints a temperature (assumption); 91-92 as new leaf; 93 as
        crown in transition; 97 and 99 as dormant crown.

    Returns
    -------
    PartAtRisk
        Part, critical tissue temperature [°C], its source, tag and a note on every assumption.
        An empty set, or a code that we do not know (69 is none), is taken as open blossom. The
        tag is that of the temperature, or assumption or memory where the stage has none of its
        own.

    Examples
    --------
    >>> part_at_risk({59, 87}).part
    'popcorn'
    >>> part_at_risk(set()).critical
    -1.1
    >>> part_at_risk({69}).note
    'stage 69 unknown: open blossom assumed'
    """
    present = {_part_of(code) for code in stages}
    if not present:
        return _at_risk("open_flower", "no stage known: open blossom assumed", ASSUMPTION)

    def warmest_first(each: tuple[str, str, Tag]) -> tuple[float, bool, tuple[str, str, Tag]]:
        # Of equally warm parts the one without an assumption stands first, then by name.
        return (-critical_temperature(each[0]).critical, bool(each[1]), each)

    return _at_risk(*min(present, key=warmest_first))


def below_critical(tissue_temperature: ArrayLike, critical: float) -> FloatArray:
    """By how much tissue is colder than its critical temperature, 0 if it is not [K].

    Shape as the input's (°C); NaN stays NaN. Rejects a critical temperature that is no number.

    Raises
    ------
    ValueError
        If critical is not finite.
    """
    if not math.isfinite(critical):
        raise ValueError(f"critical is {critical}; expected a temperature in °C")
    return np.maximum(critical - np.asarray(tissue_temperature, dtype=np.float64), 0.0)
