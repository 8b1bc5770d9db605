"""Times as people type them: 18:30 means today, on the farm's clock."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from riskrules.errors import RiskRulesError

EXPECTED = "such as 18:30, 'yesterday 18:30' or 2026-05-14T18:30"
WORDS = {"today": 0, "yesterday": -1, "tomorrow": 1}
YEARS = (1990, 2099)
"""Years that a record may be of; others are slips of the finger. (assumption)"""
_CLOCK = re.compile(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?")


def is_bare(text: str) -> bool:
    """Whether a text is a clock time without a day.

    >>> is_bare("18:30"), is_bare("yesterday 18:30")
    (True, False)
    """
    return _CLOCK.fullmatch(text.strip()) is not None


Ask = Callable[[str, tuple[str, str]], int]
"""Asks which of two is meant, and gives 0 or 1; raises where there is nobody to ask."""


@dataclass(frozen=True, slots=True)
class Clock:
    """The farm's clock at the moment of a command. ``now`` in s since 1970 UTC."""

    zone: ZoneInfo
    now: int
    ask: Ask

    @property
    def today(self) -> date:
        """The day by the farm's clock."""
        return datetime.fromtimestamp(self.now, self.zone).date()

    def moment(self, text: str, option: str, day: date | None = None) -> int:
        """Return the time that a text means. [s since 1970 UTC]

        Parameters
        ----------
        text : str
            A clock time, with a day (a date, or today, yesterday, tomorrow) or without; ``now``; or
            ISO 8601 with an offset.
        option : str
            The option it was given to, for messages.
        day : date, optional
            What a time without a day is of; today by default.

        Raises
        ------
        RiskRulesError
            If it is no time, or one that the clock never shows.
        """
        plain = " ".join(text.strip().lower().split())
        if plain == "now":
            return self.now
        first, _, rest = plain.partition(" ")
        if first in WORDS and rest:
            return self._on(self.day(first, option), rest, text, option)
        if _CLOCK.fullmatch(plain):
            return self._on(day or self.today, plain, text, option)
        try:
            found = datetime.fromisoformat(text.strip())
        except ValueError:
            found = None
        if found is None or ("T" not in text.upper() and " " not in text.strip()):
            raise RiskRulesError(f"{option} is '{text}'; expected a time {EXPECTED}")
        if found.tzinfo is not None:
            return _seconds(found, text, option)
        return self._local(found, text, option)

    def day(self, text: str, option: str) -> date:
        """Return the day that a text means: a date, or today, yesterday, tomorrow."""
        plain = text.strip().lower()
        if plain in WORDS:
            return self.today + timedelta(days=WORDS[plain])
        try:
            return _possible(date.fromisoformat(plain), text, option)
        except ValueError:
            message = f"{option} is '{text}'; expected a day such as 2026-05-14 or yesterday"
            raise RiskRulesError(message) from None

    def starts(self, day: date) -> int:
        """Return when a day starts on the farm's clock. [s since 1970 UTC]"""
        return int(datetime.combine(day, time(), self.zone).timestamp())

    def of(self, seconds: int) -> date:
        """Return the day of a time on the farm's clock."""
        return datetime.fromtimestamp(seconds, self.zone).date()

    def _on(self, day: date, clock: str, text: str, option: str) -> int:
        parts = _CLOCK.fullmatch(clock)
        try:
            if parts is None:
                raise ValueError
            hour, minute, second = (int(p or 0) for p in parts.groups())
            at = time(hour, minute, second)
        except ValueError:
            raise RiskRulesError(f"{option} is '{text}'; expected a time {EXPECTED}") from None
        return self._local(datetime.combine(day, at), text, option)

    def _local(self, moment: datetime, text: str, option: str) -> int:
        """Put a clock time into the zone; where it happens twice, somebody is asked."""
        _possible(moment.date(), text, option)
        early = moment.replace(tzinfo=self.zone, fold=0)
        late = moment.replace(tzinfo=self.zone, fold=1)
        if early.utcoffset() == late.utcoffset():
            return int(early.timestamp())
        # In UTC and back a time that the clock jumped over comes out as another one.
        back = early.astimezone(UTC).astimezone(self.zone).replace(tzinfo=None)
        if back != moment:
            name = self.zone.key
            message = f"{option} is '{text}': the clock never showed {moment:%Y-%m-%d %H:%M}"
            raise RiskRulesError(f"{message} in {name}, it was put forward; expected another time")
        question = f"{option} is '{text}', which came twice that day, as the clock was put back"
        which = self.ask(question, (early.isoformat(), late.isoformat()))
        return int((late if which else early).timestamp())


def _possible(day: date, text: str, option: str) -> date:
    if not YEARS[0] <= day.year <= YEARS[1]:
        message = f"{option} is '{text}'; expected a year from {YEARS[0]} to {YEARS[1]}"
        raise RiskRulesError(message)
    return day


def _seconds(moment: datetime, text: str, option: str) -> int:
    _possible(moment.date(), text, option)
    return int(moment.timestamp())
