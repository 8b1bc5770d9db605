"""Fruit after picking: how fast it ages, and what warmth does to the moulds.

No table of keeping times by temperature was found. The relative rate is derived, not published:
1 at 0 °C, 2 to 4.7 at 10 °C, 10 at 20 °C, straight lines of its logarithm between. It follows
the additive rule that damage goes with total warm time; a trial found that one warm break alone
sets Mucor and Rhizopus going: both are said. It must not date fruit for sale.

References
----------
.. [1] UC Davis produce facts and answer pages: about 10 times faster at 20 than at 0 °C; 0 ± 0.5
   °C, 90-95 % RH; respiration 6-10, 25-50, 50-100 mL/kg/h at 0, 10, 20 °C [read].
.. [2] Mitchell, Maxie, Mayer 1966. Calif. Agric. 20(3):13 (warm time adds up) [read: abstract].
.. [3] Siefkes-Boer and others 2009. NZ Plant Prot. 62:243 (one warm break) [read: abstract].
.. [4] Nunes and others 1995. Postharvest Biol. Technol. 6:17 (delay at 30 °C) [read: abstract].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, refuse_negative, same_shape
from riskrules.science.provenance import COMPUTED, READ, SECOND_HAND, SourcedNumber, by_name

KNOWN_TEMPERATURE = (-0.5, 20.0)  # store at 0 ± 0.5 °C [read: UC Davis]
ANCHORS = (0.0, 10.0, 20.0)
LEAST_RATES = (1.0, 2.0, 10.0)  # [read: 10 at 20 °C; second-hand: 2 to 4 at 10 °C]
MOST_RATES = (1.0, 4.7, 10.0)  # [computed: mid respiration 75/16 mg/kg/h at 10 and 0 °C]
KEEPING_DAYS = (5.0, 7.0)  # at 0 °C, 90-95 % RH [read: U Minnesota 5-7; second-hand: 7]

_DELAY = "Nunes and others 1995, Postharvest Biol. Technol. 6:17, abstract"
_SAITO = "Saito and others 2016, abstract"
_BOER = "Siefkes-Boer and others 2009, NZ Plant Prot. 62:243, abstract"
_UCD = "UC Davis produce facts"

DELAY_FACTS = by_name(
    SourcedNumber("start_cooling_within", 1.0, "h", "after picking", "USDA Handbook 66", READ),
    SourcedNumber("delay_tested", 6.0, "h", "at 30 °C before cooling", _DELAY, READ),
    SourcedNumber("delay_temperature", 30.0, "°C", "of the 6 h delay", _DELAY, READ),
    SourcedNumber("delay_water_loss", 0.50, "1", "more water loss, about", _DELAY, READ),
    SourcedNumber("delay_softer_least", 0.14, "1", "less firm, from", _DELAY, READ),
    SourcedNumber("delay_softer_most", 0.22, "1", "less firm, up to", _DELAY, READ),
    SourcedNumber(
        "water_loss_per_hour",
        0.50 / 6.0,
        "1/h",
        "at 30 °C, if it were straight; not a published rate",
        _DELAY,
        COMPUTED,
    ),
    SourcedNumber("store_temperature", 0.0, "°C", "± 0.5, 90-95 % RH", _UCD, READ),
    SourcedNumber("no_difference_delay", 1.5, "h", "0 or 1.5 h alike", "Florida 2018", READ),
)

# The conflict on Rhizopus is kept: three guides print a stop, a trial contradicts all of them.
MOLD_FACTS = by_name(
    SourcedNumber("botrytis_grows_at", -4.0, "°C", "grows even at", "Tian 2001, abstract", READ),
    SourcedNumber("mucor_piriformis_grows_at", 0.0, "°C", "grows at 0 and 5", _SAITO, READ),
    SourcedNumber("mucor_piriformis_best", 20.0, "°C", "grows best at", _SAITO, READ),
    SourcedNumber("mucor_piriformis_none", 27.0, "°C", "no growth at", _SAITO, READ),
    SourcedNumber("mucor_mucedo_none", 35.0, "°C", "stopped at", _SAITO, READ),
    SourcedNumber("rhizopus_stop_home", 5.0, "°C", "none below, contested", "UC home guide", READ),
    SourcedNumber("rhizopus_stop_farm", 8.0, "°C", "none below 8-10", "UC farm guide", READ),
    SourcedNumber("rhizopus_hold", 7.2, "°C", "hold below 45 °F", "Cornell note", READ),
    SourcedNumber("isolates_grow_at", 2.0, "°C", "most of 39 grew at 2-7", _BOER, READ),
    SourcedNumber("warm_break", 20.0, "°C", "2 h once set growth going", _BOER, READ),
    SourcedNumber("warm_break_hours", 2.0, "h", "of one warm break", _BOER, READ),
    SourcedNumber(
        "decline_at_10_most", 4.0, "1", "2 to 4 times that at 0 °C", "unsigned page", SECOND_HAND
    ),
)


def keeping_rate_bounds(temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Least and most rate of decline, relative to 0 °C.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Temperature of the fruit. [°C]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Least and most relative rate: 1 at 0 °C, 2 to 4.7 at 10 °C, 10 at 20 °C. Above 20 °C at
        least 10 with no upper bound; below -0.5 °C, where freezing harms, and for NaN, 0 to
        infinity. [1]

    Examples
    --------
    >>> lo, hi = keeping_rate_bounds([0.0, 10.0, 30.0])
    >>> lo.round(2).tolist(), hi.round(2).tolist()
    ([1.0, 2.0, 10.0], [1.0, 4.7, inf])
    """
    fruit = np.asarray(temperature, dtype=np.float64)
    coldest, warmest = KNOWN_TEMPERATURE
    safe = np.where(np.isnan(fruit), 0.0, fruit)
    least = np.exp(np.interp(safe, ANCHORS, np.log(LEAST_RATES)))
    most = np.exp(np.interp(safe, ANCHORS, np.log(MOST_RATES)))
    lo = np.where(fruit >= coldest, least, 0.0)
    hi = np.where((fruit >= coldest) & (fruit <= warmest), most, np.inf)
    return lo, hi


def keeping_days_bounds(temperature: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Least and most keeping time at a steady temperature (°C), derived, not published [d].

    Shapes as the input's; 0 to infinity where the rate is unknown.

    >>> lo, hi = keeping_days_bounds(10.0)
    >>> round(float(lo), 2), round(float(hi), 2)
    (1.06, 3.5)
    """
    slow, fast = keeping_rate_bounds(temperature)
    with np.errstate(divide="ignore"):
        return np.asarray(KEEPING_DAYS[0] / fast), np.asarray(KEEPING_DAYS[1] / slow)


def share_of_life_used(hours: ArrayLike, temperature: ArrayLike) -> tuple[float, float]:
    """Least and most share of the keeping time used up by a warm history.

    Parameters
    ----------
    hours : array-like, shape (n,)
        Length of each stretch. [h]
    temperature : array-like, shape (n,)
        Temperature of the fruit in it; NaN means unknown. [°C]

    Returns
    -------
    tuple of float
        Least share (7 d at 0 °C, slow rate) and most (5 d, fast rate); over 1 is spent. [1]

    Raises
    ------
    ValueError
        If hours are negative or NaN.

    Examples
    --------
    >>> lo, hi = share_of_life_used([6.0], [20.0])
    >>> round(lo, 2), round(hi, 2)
    (0.36, 0.5)
    """
    length, fruit = same_shape(hours, temperature)
    refuse_negative("hours", length)
    if np.isnan(length).any():
        raise ValueError("hours is NaN; expected 0 or more")
    spent = length > 0
    slow, fast = keeping_rate_bounds(fruit[spent])
    least = float(np.sum(length[spent] * slow)) / (24.0 * KEEPING_DAYS[1])
    return least, float(np.sum(length[spent] * fast)) / (24.0 * KEEPING_DAYS[0])
