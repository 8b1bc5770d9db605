"""The kinds of fact that rules can speak of: one table that packs, engine and explanations share.

Every quantity has a unit and the physical limits that stand in where nothing is known:
a missing value is anywhere between them, never zero. A flag is a quantity of 0 or 1, so that
"not recorded" is the bounds 0 to 1. The limits are ours (assumption), chosen wide.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntFlag

AIR = (-40.0, 60.0)
"""Limits of an air temperature that nobody measured. [degC] (assumption)"""
LONG_H = 99_999.0
"""Stands for 'no end in sight' in hours, 11 years. [h] (assumption)"""


class Cause(IntFlag):
    """Why the least and the most of a quantity differ: one bit each, so that arrays stay cheap."""

    NONE = 0
    NO_TEMPERATURE = 1
    NO_HUMIDITY = 2
    NO_WETNESS = 4
    NO_RAIN = 8
    NO_OUTSIDE = 16
    DOUBTFUL_BAND = 32
    OUT_OF_RANGE = 64
    NO_STAGE = 128
    NO_COVER_RECORD = 256
    NO_JOURNAL = 512
    NOT_YET = 1024
    STUCK = 2048
    FEW_EXAMINED = 4096
    NO_GROUND_RECORD = 8192
    NO_SOIL = 16384
    DISAGREE = 32768
    DOUBTED = 1 << 16
    FILLED = 1 << 17
    BORROWED = 1 << 18


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number of a fact, with its unit and the least and most it can ever be."""

    name: str
    unit: str
    least: float
    most: float
    doc: str


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of fact: what it is, its quantities, flags, words and text keys.

    ``words`` maps the name of a text attribute to the values it may have. ``chained`` says that
    a fact knows the one before it (``follows(later, earlier)`` in a rule).
    """

    name: str
    doc: str
    quantities: tuple[Quantity, ...] = ()
    words: dict[str, tuple[str, ...]] = field(default_factory=dict)
    chained: bool = False

    def quantity(self, name: str) -> Quantity | None:
        """Return the quantity or flag of that name, or None."""
        return next((q for q in self.all_quantities if q.name == name), None)

    @property
    def all_quantities(self) -> tuple[Quantity, ...]:
        """The kind's own quantities and the flags that every fact has."""
        return self.quantities + COMMON_FLAGS


def hours(name: str, doc: str, most: float = LONG_H) -> Quantity:
    """Return a quantity in hours from 0 up."""
    return Quantity(name, "h", 0.0, most, doc)


def flag(name: str, doc: str) -> Quantity:
    """Return a flag: 0 (no), 1 (yes), or the bounds 0 to 1 (not known)."""
    return Quantity(name, "flag", 0.0, 1.0, doc)


def celsius(name: str, doc: str) -> Quantity:
    """Return a temperature within the limits of air."""
    return Quantity(name, "degC", *AIR, doc)


def share(name: str, doc: str) -> Quantity:
    """Return a quantity without unit from 0 to 1."""
    return Quantity(name, "1", 0.0, 1.0, doc)


COMMON_FLAGS = (
    flag("exists", "The fact surely happened (0 to 1 where it only may have)."),
    flag("journal_current", "Somebody wrote in the journal after the fact ended."),
)
BASIS: dict[str, tuple[str, ...]] = {
    "basis": ("measured", "estimated", "partly_forecast", "forecast")
}
SYMPTOMS = (
    "gray_mold",
    "anthracnose",
    "leather_rot",
    "mucor",
    "rhizopus",
    "tip_burn",
    "heat_damage",
    "cold_damage",
    "other",
)
PARTS = ("flower", "green_fruit", "ripe_fruit", "picked_fruit", "leaf", "plant")
COLD_PARTS = (
    "tight_bud",
    "popcorn",
    "open_flower",
    "green_fruit",
    "new_leaf",
    "crown_in_transition",
    "dormant_crown",
)

_WET_SPLASH = (
    flag("straw", "Straw lies between the fruit and the ground."),
    flag("under_film", "The tunnel film is on, so that rain cannot hit the plants."),
    flag("splashed", "Rain fell on bare plants or overhead water ran."),
)

KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind(
            "wet_period",
            "A joined stretch in which the plants were wet, by sensor or estimated.",
            (
                hours("hours", "Hours wet, dry gaps left out."),
                celsius("temperature", "Mean air temperature of the wet hours."),
                share("flower_index", "Gray mold infection of open flowers, at its worst moment."),
                share("fruit_index", "Anthracnose infection of young fruit, at its worst moment."),
                Quantity("leather_level", "1", 0.0, 3.0, "Leather rot band, 0 none to 3 severe."),
                Quantity("rain", "mm", 0.0, 2000.0, "Rain in the period."),
                hours("cover_hours", "Wet hours with the row cover on."),
                hours("shut_hours", "Wet hours with the sides down."),
                hours("to_next_pick", "From the end of the period to the next pick."),
                *_WET_SPLASH,
            ),
            {"source": ("sensor", "estimated"), **BASIS},
        ),
        Kind(
            "night",
            "Sunset to sunrise, named after the morning it ends on.",
            (
                hours("humid_hours", "Hours at or above the humid threshold.", 24),
                hours("saturated_hours", "Hours at or above the saturated threshold.", 24),
                hours("wet_hours", "Hours wet.", 24),
                hours("covered_humid_hours", "Humid hours with the row cover on.", 24),
                hours("shut_humid_hours", "Humid hours with the sides down.", 24),
                hours("cover_hours", "Hours with the row cover on.", 24),
                hours("shut_hours", "Hours with the sides down.", 24),
                celsius("lowest_temperature", "Lowest air temperature at the plants."),
                celsius("lowest_outside", "Lowest air temperature outside the cover."),
                celsius("mean_temperature", "Mean air temperature."),
                celsius("critical_temperature", "Tissue temperature that harms the part at risk."),
                Quantity("margin", "K", -100, 100, "Lowest temperature less the critical one."),
                Quantity("outside_margin", "K", -100, 100, "The same with the outside air."),
                hours("cold_hours", "Hours below the critical temperature.", 24),
                hours("length", "Sunset to sunrise.", 24),
                hours("hours_left", "How much of it is still to come.", 24),
            ),
            {"part": COLD_PARTS, **BASIS},
            chained=True,
        ),
        Kind(
            "day",
            "Sunrise to sunset.",
            (
                celsius("highest_temperature", "Highest air temperature at the plants."),
                celsius("highest_outside", "Highest air temperature outside the cover."),
                celsius("highest_soil", "Highest soil or bed temperature."),
                hours("warm_hours", "Hours at or above the warm threshold.", 24),
                hours("hot_hours", "Hours at or above the hot threshold.", 24),
                hours("work_hot_hours", "Hours at or above the threshold for people at work.", 24),
                Quantity(
                    "degree_hours", "degC h", 0, 1500, "Degree-hours above the hot threshold."
                ),
                hours("shut_hours", "Hours with the sides down.", 24),
                hours("shut_warm_hours", "Warm hours with the sides down.", 24),
                hours("cover_hours", "Hours with the row cover on.", 24),
                hours("humid_hours", "Hours at or above the humid threshold.", 24),
                hours("dry_hours", "Hours at or above the dry-air threshold of VPD.", 24),
                Quantity("highest_deficit", "kPa", 0, 20, "Highest vapour pressure deficit."),
                hours("soil_hot_hours", "Hours with soil at or above the root heat threshold.", 24),
            ),
            BASIS,
            chained=True,
        ),
        Kind(
            "cover_spell",
            "A stretch with the row cover (cloth) on.",
            (
                hours("hours", "Hours on."),
                hours("humid_hours", "Humid hours under it."),
                hours("wet_hours", "Wet hours under it."),
                celsius("lowest_temperature", "Lowest air temperature under it."),
                celsius("lowest_outside", "Lowest air temperature outside it."),
                Quantity("outside_margin", "K", -100, 100, "Outside low less the critical one."),
            ),
            BASIS,
        ),
        Kind(
            "shut_spell",
            "A stretch with the sides of the tunnel down.",
            (
                hours("hours", "Hours down."),
                hours("humid_hours", "Humid hours in it."),
                hours("wet_hours", "Wet hours in it."),
                hours("hot_hours", "Hot hours in it."),
                celsius("highest_temperature", "Highest air temperature in it."),
            ),
            BASIS,
        ),
        Kind(
            "irrigation",
            "One run of water, drip or overhead.",
            (
                hours("hours", "How long it ran.", 240),
                hours("to_next_pick", "From its end to the next pick."),
                hours("since_last_pick", "From the last pick to its start."),
                hours("to_dark", "From its end to the next sunset (0 by night).", 24),
                celsius("temperature", "Mean air temperature while it ran."),
                flag("straw", "Straw lies between the fruit and the ground."),
                flag("night_run", "Some of it ran between sunset and sunrise."),
            ),
            {"method": ("drip", "overhead"), "depth": ("brief", "deep", "frost", "unknown")},
        ),
        Kind(
            "pick_gap",
            "From one pick to the next, or to now.",
            (
                hours("hours", "Length of the gap."),
                hours("warm_hours", "Warm hours in it."),
                hours("hot_hours", "Hot hours in it."),
                hours("wet_hours", "Wet hours in it."),
                Quantity("rain", "mm", 0, 5000, "Rain in it."),
                celsius("mean_temperature", "Mean air temperature in it."),
                flag("open", "No later pick is recorded: the gap still runs."),
            ),
            BASIS,
        ),
        Kind(
            "pick",
            "One pick.",
            (
                hours("wet_hours_before", "Wet hours in the stated time before it.", 48),
                flag("wet_at_start", "The plants were wet when it began."),
                celsius("temperature", "Mean air temperature during it."),
                hours("to_cooling", "From its start until the fruit was in the cooler.", 999),
                hours("warm_hours_after", "Warm hours between pick and cooler.", 999),
                Quantity("life_used", "1", 0, 99, "Share of cold-store life used before cooling."),
                hours("since_deep_water", "From the end of the last deep water to the pick."),
                Quantity("rain_before", "mm", 0, 2000, "Rain in the stated time before it."),
            ),
            {"state": ("done", "planned"), **BASIS},
        ),
        Kind(
            "heat_spell",
            "Days in a row whose hot hours reach the stated number.",
            (
                Quantity("days", "d", 0, 400, "Days in the spell."),
                celsius("highest_temperature", "Highest air temperature."),
                hours("hot_hours", "Hot hours over the spell."),
                celsius("night_mean", "Mean air temperature of its nights."),
            ),
            BASIS,
        ),
        Kind(
            "warm_spell",
            "Days in a row whose mean of sunrise to sunset reaches the flowering limit.",
            (
                Quantity("days", "d", 0, 400, "Days in the spell."),
                celsius("highest_temperature", "Highest air temperature."),
                celsius("night_mean", "Mean air temperature of its nights."),
            ),
            BASIS,
        ),
        Kind(
            "rain_spell",
            "Rain at the farm, joined over short breaks.",
            (
                hours("hours", "Hours with rain."),
                Quantity("rain", "mm", 0, 2000, "Rain in the spell."),
                Quantity("peak_rate", "mm h-1", 0, 500, "Highest rate of one log step."),
                celsius("temperature", "Mean air temperature while it rained."),
                hours("to_next_pick", "From its end to the next pick."),
                flag("straw", "Straw lies between the fruit and the ground."),
                flag("under_film", "The tunnel film was on."),
            ),
            BASIS,
        ),
        Kind(
            "sighting",
            "A count of a symptom in the block.",
            (
                share("incidence", "Share affected: Wilson 95 % interval."),
                Quantity("affected", "count", 0, 1e6, "Number affected."),
                Quantity("examined", "count", 0, 1e6, "Number examined."),
                hours("age", "From the count to now."),
            ),
            {"symptom": SYMPTOMS, "part": PARTS},
        ),
        Kind(
            "symptom_window",
            "When an infection in a wet period would show, by the published latency.",
            (
                share("index", "Infection index of that wet period."),
                hours("hours", "Hours wet in that period."),
                flag("begun", "The window has begun by now."),
            ),
            {"symptom": SYMPTOMS},
        ),
        Kind(
            "ripening_window",
            "When flowers open in a wet period become ripe fruit.",
            (
                share("index", "Flower infection index of that wet period."),
                hours("hours", "Hours wet in that period."),
                flag("begun", "The window has begun by now."),
            ),
        ),
        Kind(
            "stage_spell",
            "A stretch with one recorded set of growth stages.",
            (hours("hours", "Length, until the next record or until now."),),
        ),
        Kind(
            "field_work",
            "Hand work in the block.",
            (hours("age", "From the work to now."),),
            {"work": ("cull", "leaves", "straw_laid", "straw_removed", "stalks")},
        ),
        Kind(
            "log_gap",
            "A stretch without a usable reading.",
            (hours("hours", "Length."),),
            {"variable": ("air_temperature", "relative_humidity", "surface_wetness", "outside")},
        ),
        Kind(
            "limit",
            "A 'no entry' or 'no pick' time set by a label or a rule.",
            (hours("hours_left", "From now to its end."),),
            {"limits": ("entry", "pick")},
        ),
        Kind(
            "cold_watch",
            "What lifting or wetting would expose the plants to from now on.",
            (
                celsius("outside_now", "Last outside air temperature."),
                celsius("inside_now", "Last air temperature at the plants."),
                celsius("outside_ahead", "Lowest outside air temperature of the hours ahead."),
                hours("until_safe", "From now until the outside stays warm enough by forecast."),
                celsius("critical_temperature", "Tissue temperature that harms the part at risk."),
            ),
            {"part": COLD_PARTS},
        ),
    )
}
