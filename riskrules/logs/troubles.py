"""The kinds of trouble that a log can have: one bit each, so that millions of rows stay cheap."""

from __future__ import annotations

from enum import IntEnum, IntFlag

from riskrules.facts.kinds import Cause


class Flag(IntEnum):
    """Flags of a value, as in the primary scheme of IOOS QARTOD (read)."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


class Origin(IntEnum):
    """Where a value comes from."""

    MEASURED = 0
    FILLED = 1
    BORROWED = 2


class Trouble(IntFlag):
    """Why a row was not kept, or a value is doubted or refused."""

    NONE = 0
    # a row
    NO_TIME = 1
    TIME_TWICE = 2
    TIME_NEVER = 4
    CLOCK_RESET = 8
    WRONG_CELLS = 16
    BLANK = 32
    REPEATED = 64
    # a value
    NOT_A_NUMBER = 1 << 8
    SENTINEL = 1 << 9
    IMPOSSIBLE = 1 << 10
    UNLIKELY = 1 << 11
    SPIKE = 1 << 12
    JUMP = 1 << 13
    STUCK = 1 << 14
    AGAINST_DEW_POINT = 1 << 15
    NEVER_DRIES = 1 << 16
    NEVER_WETS = 1 << 17
    ABOVE_100 = 1 << 18
    COLDER_THAN_PHYSICS = 1 << 19
    DAY_TURNED = 1 << 20
    DISAGREE = 1 << 21


WORDS: dict[Trouble, str] = {
    Trouble.NO_TIME: "no readable time",
    Trouble.TIME_TWICE: "a clock time that happens twice that night",
    Trouble.TIME_NEVER: "a clock time that never happens that day",
    Trouble.CLOCK_RESET: "the logger's clock was reset",
    Trouble.WRONG_CELLS: "more or fewer cells than the header",
    Trouble.BLANK: "an empty row",
    Trouble.REPEATED: "a row of a time that another row has too",
    Trouble.NOT_A_NUMBER: "not a number",
    Trouble.SENTINEL: "a number that stands for 'missing'",
    Trouble.IMPOSSIBLE: "beyond what can be true",
    Trouble.UNLIKELY: "rarely so high or so low",
    Trouble.SPIKE: "a spike: both neighbours say otherwise",
    Trouble.JUMP: "changes faster than air does",
    Trouble.STUCK: "stuck at one value",
    Trouble.AGAINST_DEW_POINT: "humidity and dew point contradict each other",
    Trouble.NEVER_DRIES: "a wetness sensor that stays wet in dry air",
    Trouble.NEVER_WETS: "a wetness sensor that stays dry in rain or saturated air",
    Trouble.ABOVE_100: "humidity above 100 %",
    Trouble.COLDER_THAN_PHYSICS: "colder under the cover than physics allows",
    Trouble.DAY_TURNED: "warm by night and cool by day: a wrong zone or clock",
    Trouble.DISAGREE: "rows of one time that disagree",
}
"""What each trouble is, in words that fit after 'doubted:' or 'refused:'."""
OF_ROWS = (
    Trouble.NO_TIME | Trouble.TIME_TWICE | Trouble.TIME_NEVER | Trouble.CLOCK_RESET
    | Trouble.WRONG_CELLS | Trouble.BLANK | Trouble.REPEATED
)  # fmt: skip
CAUSES = {Trouble.STUCK: Cause.STUCK, Trouble.DISAGREE: Cause.DISAGREE}
"""Troubles that findings speak of by a cause of their own."""


def name_of(trouble: Trouble) -> str:
    """Return the name of one trouble as it is written in reports.

    Examples
    --------
    >>> name_of(Trouble.NEVER_DRIES)
    'never_dries'
    """
    return (trouble.name or "").lower()
