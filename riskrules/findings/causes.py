"""Words for why something is unknown, and what would settle it."""

from __future__ import annotations

from functools import lru_cache

from riskrules.facts.kinds import Cause

WORDS: dict[Cause, tuple[str, str]] = {
    Cause.NO_TEMPERATURE: (
        "no air temperature at the plants",
        "Look at the logger and read a thermometer at the plants.",
    ),
    Cause.NO_HUMIDITY: ("no humidity", "Look at the humidity sensor and its cable."),
    Cause.NO_WETNESS: (
        "no wetness reading",
        "Feel the leaves at dawn; look at the wetness sensor.",
    ),
    Cause.NO_RAIN: ("no rain reading", "Read a rain gauge, or add its column to the log."),
    Cause.NO_OUTSIDE: (
        "no outside temperature",
        "Read a thermometer outside the cover, or add an outside log or forecast.",
    ),
    Cause.DOUBTFUL_BAND: (
        "humidity or a wetness reading in the doubtful band, so plants may have been wet",
        "Feel the leaves at dawn; a wetness sensor in the canopy would tell.",
    ),
    Cause.OUT_OF_RANGE: (
        "outside what the published model tested",
        "Nobody has published it: look at the plants.",
    ),
    Cause.NO_STAGE: (
        "no fresh record of the growth stages",
        "Walk the block and write down the stages present.",
    ),
    Cause.NO_COVER_RECORD: (
        "no fresh record of row cover, sides or film",
        "Write down whether cover, sides and film are on or off.",
    ),
    Cause.NO_JOURNAL: (
        "the journal does not say (no entry, or none lately)",
        "Write down what was done, or a line 'checked'.",
    ),
    Cause.NOT_YET: ("it has not happened yet", "A forecast would tell, or wait."),
    Cause.STUCK: (
        "a sensor stuck at one value",
        "Look at the sensor: it says the same for too long.",
    ),
    Cause.FEW_EXAMINED: ("too few examined to tell", "Examine more, at random along the beds."),
    Cause.NO_GROUND_RECORD: (
        "no record of what lies under the fruit",
        "Say in the farm file whether the ground is plastic, straw or bare.",
    ),
    Cause.NO_SOIL: ("no soil temperature", "Put a probe into the bed, or leave this aside."),
    Cause.DISAGREE: ("rows of the log that disagree", "Find out which row of the log is right."),
    Cause.DOUBTED: (
        "readings that look wrong",
        "See `riskrules logs report` for what is doubted; look at the sensor.",
    ),
    Cause.FILLED: ("a short gap filled in", "Look at the logger; a full log would tell."),
    Cause.BORROWED: (
        "readings borrowed from another block",
        "Put the block's own sensor in order.",
    ),
}


def words_of(cause: Cause) -> list[str]:
    """Return the words for each bit of a cause, in a fixed order."""
    return list(_words(int(cause)))


def single_bits(cause: Cause) -> list[Cause]:
    """Return the bits of a cause in the order of `words_of`."""
    return [bit for bit in WORDS if bit & cause]


@lru_cache(maxsize=1024)
def _words(cause: int) -> list[str]:
    return [words for bit, (words, _) in WORDS.items() if bit & cause] or ["it can't be told"]


def settling(cause: Cause) -> list[str]:
    """Return what would settle each bit of a cause."""
    return [settle for bit, (_, settle) in WORDS.items() if bit & cause]
