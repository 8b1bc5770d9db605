"""How numbers, times and ranges are written for people, in the units they chose."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from riskrules.facts.kinds import AIR, LONG_H
from riskrules.facts.table import Bounds

UNIT_WORDS = {"h": "h", "degC h": "°C·h", "1": "", "%": "%", "kPa": "kPa", "d": "days",
              "count": "", "mm": "mm", "mm h-1": "mm/h"}  # fmt: skip
IN_DAYS_H = 96.0
"""From here on people count in days. [h] (assumption)"""
DIGITS = {"h": 1, "degC": 1, "K": 1, "1": 2, "%": 0, "mm": 1, "mm h-1": 1, "kPa": 2,
          "degC h": 0, "d": 0, "count": 0}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Style:
    """The units and the clock in which results are written."""

    zone: ZoneInfo
    temperature: str = "degC"
    rain: str = "mm"

    def number(self, value: float, unit: str) -> str:
        """Return a number without its unit.

        Examples
        --------
        >>> Style(ZoneInfo("UTC"), "degF").number(0.0, "degC")
        '32'
        """
        digits = DIGITS.get(unit, 1)
        if unit == "degC" and self.temperature == "degF":
            value, digits = value * 1.8 + 32, 0
        elif unit in ("K", "degC h") and self.temperature == "degF":
            value = value * 1.8
        elif unit in ("mm", "mm h-1") and self.rain == "in":
            value, digits = value / 25.4, 2
        text = f"{value:.{digits}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return "0" if text == "-0" else text

    def unit(self, unit: str) -> str:
        """Return the word for a unit, with the space that goes before it."""
        if unit == "degC":
            return " °F" if self.temperature == "degF" else " °C"
        if unit == "K":
            return " °F" if self.temperature == "degF" else " °C"
        if unit == "degC h" and self.temperature == "degF":
            return " °F·h"
        if unit in ("mm", "mm h-1") and self.rain == "in":
            return " in" if unit == "mm" else " in/h"
        word = UNIT_WORDS.get(unit, unit)
        return f" {word}" if word else ""

    def value(self, value: float, unit: str) -> str:
        """Return a number with its unit."""
        return self.number(value, unit) + self.unit(unit)

    def bounds(self, b: Bounds) -> str:
        """Return a quantity as people say it: '6 h', '9 to 14 h', '10 days', 'unknown'."""
        if b.unit == "flag":
            return "not known" if not b.certain else ("yes" if b.least else "no")
        if b.unit == "h" and IN_DAYS_H <= b.least and b.most < LONG_H - 1:
            return self.bounds(Bounds(b.least / 24, b.most / 24, "d"))
        low, high = self.number(b.least, b.unit), self.number(b.most, b.unit)
        if low == high:
            return low + self.unit(b.unit)
        endless = b.unit == "h" and b.most >= LONG_H - 1
        if b.unit == "degC" and (b.least <= AIR[0] or b.most >= AIR[1]):
            if b.least <= AIR[0] and b.most >= AIR[1]:
                return "unknown temperature"
            known = f"at least {low}" if b.most >= AIR[1] else f"at most {high}"
            return known + self.unit(b.unit)
        if endless:
            return "an unknown time" if b.least == 0 else f"at least {low}{self.unit(b.unit)}"
        return f"{low} to {high}{self.unit(b.unit)}"

    def percent(self, b: Bounds) -> str:
        """Return a share in hundredths: '2 to 11 %'."""
        low, high = f"{b.least * 100:.0f}", f"{b.most * 100:.0f}"
        if b.most > 10:
            return f"at least {low} %"
        return f"{low} %" if low == high else f"{low} to {high} %"

    def moment(self, seconds: int) -> str:
        """Return a time as people write it, on the farm's clock."""
        return datetime.fromtimestamp(seconds, self.zone).strftime("%a %-d %b %H:%M")

    def iso(self, seconds: int) -> str:
        """Return a time in ISO 8601 with the farm's offset."""
        return datetime.fromtimestamp(seconds, self.zone).isoformat()

    def span(self, start: int, end: int) -> str:
        """Return a stretch of time, the second date only where it differs."""
        a = datetime.fromtimestamp(start, self.zone)
        z = datetime.fromtimestamp(end, self.zone)
        if a.date() == z.date():
            return f"{a.strftime('%a %-d %b %H:%M')} to {z.strftime('%H:%M')}"
        return f"{self.moment(start)} to {self.moment(end)}"
