"""One card a model: what it computes, where it holds, and what it must not be used for."""

from __future__ import annotations

from dataclasses import dataclass

from riskrules.science.provenance import ASSUMPTION, COMPUTED, READ, SECOND_HAND, Tag


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelCard:
    """What a user should know of a model before trusting it.

    Parameters
    ----------
    name : str
        Name in words.
    module : str
        Module in ``riskrules.science``.
    computes : str
        Quantity and unit.
    valid : str
        Range in which it was tested, or which we set.
    outside : str
        What it gives outside that range.
    references : tuple of str
        Where it is printed.
    tag : Tag
        How we know its numbers; the weakest of them.
    limits : str
        What it must not be used for.
    """

    name: str
    module: str
    computes: str
    valid: str
    outside: str
    references: tuple[str, ...]
    tag: Tag
    limits: str


def models() -> list[ModelCard]:
    """List the cards of all models, in the order of the work: air, infection, plant, fruit."""
    return [*_AIR, *_INFECTION, *_PLANT, *_COUNTS]


_AIR = (
    ModelCard(
        name="Humidity arithmetic",
        module="air",
        computes="vapour pressures and deficit [kPa], dew point and wet bulb [°C], over water",
        valid="-45 to 60 °C, 0 to 100 % (our range)",
        outside="NaN",
        references=("Allen and others 1998, FAO-56",),
        tag=SECOND_HAND,
        limits="no frost point, no ice bulb; air temperature is not leaf temperature",
    ),
    ModelCard(
        name="Leaf wetness from humidity",
        module="wetness",
        computes="wet or dry [1]",
        valid="0 to 100 %; the tree from 0 °C",
        outside="NaN; the tree is unknown at 87.8 to 90 % in wind of 2.5 m/s and more",
        references=(
            "Sentelhas and others 2008, Agric. For. Meteorol. 148:392-400",
            "Kim and others 2002, Plant Dis. 86:179-185",
        ),
        tag=SECOND_HAND,
        limits="under plastic it misses drip and dawn condensation; a canopy sensor goes first",
    ),
)
_INFECTION = (
    ModelCard(
        name="Gray mold, open flowers",
        module="gray_mold_flower",
        computes="index of infection in one wet period, 0 to 1 [1]",
        valid="5 to 30 °C, up to 32 wet hours (tested)",
        outside="unknown (NaN, bounds 0 to 1); beyond 32 h as at 32 h; no wet hour gives 0",
        references=("Bulger, Ellis, Madden 1987, Phytopathology 77:1225-1230",),
        tag=SECOND_HAND,
        limits="no fruit rot forecast, no spray timing; overstates near 12 and 27 °C",
    ),
    ModelCard(
        name="Anthracnose, immature fruit",
        module="anthracnose_fruit",
        computes="index of infection in one wet period, 0 to 1 [1]",
        valid="10 to 30 °C, up to 51 wet hours",
        outside="4 to 10 °C from 0 to the value at 10 °C; below 4 and above 30 °C unknown",
        references=("Wilson, Madden, Ellis 1990, Phytopathology 80:111-116",),
        tag=SECOND_HAND,
        limits="fruit age not said in its source, too low at 13 h; no ripe fruit, no spray timing",
    ),
    ModelCard(
        name="Leather rot, green fruit",
        module="leather_rot",
        computes="level of one wet period, 0 to 3, own construction [1]",
        valid="6 to 30 °C, up to 5 wet hours (tested)",
        outside="unknown (NaN, bounds 0 to 3); beyond 5 h as at 5 h",
        references=("Grove and others 1985, Phytopathology 75:165-169",),
        tag=ASSUMPTION,
        limits="no probability; stands for splash or soil contact, not for condensation on straw",
    ),
    ModelCard(
        name="Generic infection model",
        module="generic_infection",
        computes="wet hours for 20 % incidence [h]",
        valid="the row's temperature limits",
        outside="infinity: no infection known to the model",
        references=("Magarey and others 2005, Phytopathology 95",),
        tag=SECOND_HAND,
        limits="no strawberry row exists; for comparison only",
    ),
    ModelCard(
        name="Printed hour tables of other crops",
        module="hour_tables",
        computes="wet hours by temperature [h]",
        valid="first to last row",
        outside="NaN",
        references=("West Virginia University", "Sirjusingh, Sutton 1996, Plant Dis. 80:160-165"),
        tag=SECOND_HAND,
        limits="apple and geranium: never for strawberry",
    ),
)
_PLANT = (
    ModelCard(
        name="Critical temperatures in cold",
        module="cold",
        computes="critical tissue temperature of the most sensitive part present [°C]",
        valid="BBCH 55 to 99",
        outside="no stage or an unknown one: open blossom assumed",
        references=(
            "Perry and Poling 1985",
            "extension pages of Ontario, Maine, Delaware and more",
        ),
        tag=ASSUMPTION,
        limits="air of a shelter is warmer than tissue on a clear night; no damage forecast",
    ),
    ModelCard(
        name="Start of overhead water",
        module="overhead_water",
        computes="air temperature at which to start, by dew point [°C]",
        valid="dew point -8.3 to -1.1 °C (table), up to 0 °C (wet bulb)",
        outside="NaN",
        references=("Ontario ministry fruit advisers 2024", "Knox, Nevius, Knox 2017, BAMS 98(9)"),
        tag=READ,
        limits="no amounts; doubtful above 3.6 m/s of wind; electric, ice and slipping dangers",
    ),
    ModelCard(
        name="Heat thresholds",
        module="heat",
        computes="thresholds [°C] and degree-hours above one [°C h]",
        valid="any temperature",
        outside="a missing hour makes the sum NaN",
        references=("see each threshold",),
        tag=ASSUMPTION,
        limits="cultivars differ strongly; sunscald has no printed strawberry threshold",
    ),
    ModelCard(
        name="Keeping after picking",
        module="keeping",
        computes="rate of decline relative to 0 °C, and share of life used [1]",
        valid="-0.5 to 20 °C",
        outside="above 20 °C at least 10, no upper bound; colder unknown",
        references=("UC Davis produce facts", "Mitchell, Maxie, Mayer 1966, Calif. Agric. 20(3)"),
        tag=COMPUTED,
        limits="derived, not published; must not date fruit for sale",
    ),
    ModelCard(
        name="Degree-days",
        module="degree_days",
        computes="degree-days of a day, four ways [°C d]",
        valid="any temperatures, least at most the most",
        outside="NaN for NaN",
        references=("UC IPM glossary", "Irish Met Service", "Baskerville, Emin 1969"),
        tag=READ,
        limits="no upper cut-off; averaging is badly low on single cold days",
    ),
)
_COUNTS = (
    ModelCard(
        name="Counts and sample sizes",
        module="sampling",
        computes="Wilson interval, sample sizes, design effect [1]",
        valid="independent units; divide by the design effect where they cluster",
        outside="nothing examined gives 0 to 1",
        references=("Wilson 1927", "Madden, Hughes 1999, Phytopathology 89:1088-1103"),
        tag=COMPUTED,
        limits="plants of one spot resemble one another; a bare Wilson interval is then too narrow",
    ),
)
