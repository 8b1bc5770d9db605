"""Words of the trade and paragraphs that fit, for what the commands about logs print."""

from __future__ import annotations

import textwrap
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from rich.console import Console
from rich.text import Text

from riskrules.logs.variables import OUTSIDE
from riskrules.show import Style

if TYPE_CHECKING:
    from riskrules.farm import Farm

NAMES = {
    "air_temperature": "air temperature",
    "relative_humidity": "humidity",
    "dew_point_temperature": "dew point",
    "surface_wetness": "leaf wetness",
    "thickness_of_rainfall_amount": "rain",
    "soil_temperature": "soil temperature",
    "wind_speed": "wind",
}


def say(out: Console, text: str, indent: int = 0, style: str = "") -> None:
    """Print a paragraph as wide as the terminal; a word longer than that is cut into lines."""
    for line in textwrap.wrap(text, max(out.width - indent, 20), break_on_hyphens=False):
        out.print(Text(" " * indent + line, style=style))


def heading(out: Console, text: str) -> None:
    """Print a heading, with an empty line before it."""
    out.print()
    say(out, text, style="bold")


def count_of(n: int, one: str, many: str = "") -> str:
    """Return a number of things.

    Examples
    --------
    >>> count_of(1, "row"), count_of(8760, "row")
    ('1 row', '8,760 rows')
    """
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def style_of(farm: Farm | None) -> Style:
    """Return the clock and units of a farm; UTC, °C and mm without one."""
    if farm is None:
        return Style(ZoneInfo("UTC"))
    return Style(farm.zone, farm.text.show.temperature, farm.text.show.rain)


def name_of(variable: str) -> str:
    """Return what people call a variable.

    Examples
    --------
    >>> name_of("relative_humidity_outside")
    'humidity outside'
    """
    base = variable.removesuffix(OUTSIDE)
    return NAMES.get(base, base.replace("_", " ")) + (" outside" if base != variable else "")


def in_plain(message: str) -> str:
    """Return a message with the names of variables as people call them.

    Examples
    --------
    >>> in_plain("air_temperature_outside is 99; expected -40 to 60 degC")
    'air temperature outside is 99; expected -40 to 60 °C'
    """
    for name in NAMES:
        for full in (f"{name}{OUTSIDE}", name):
            message = message.replace(full, name_of(full))
    return message.replace("degC", "°C").replace("degF", "°F")


def place_of(block: str, sensor: str) -> str:
    """Return a sensor with its block.

    Examples
    --------
    >>> place_of("north", "low"), place_of("", "station"), place_of("north", "north")
    ('north, low', 'air outside, station', 'north')
    """
    block = block or "air outside"
    return block if block == sensor or not sensor else f"{block}, {sensor}"


def moment(style: Style, seconds: int) -> str:
    """Return a time on the farm's clock, with its year: logs go over years.

    Examples
    --------
    >>> moment(style_of(None), 1_777_599_000)
    'Fri 1 May 2026 01:30'
    """
    return datetime.fromtimestamp(seconds, style.zone).strftime("%a %-d %b %Y %H:%M")


def span(style: Style, start: int, end: int) -> str:
    """Return a stretch of time, the second date only where it differs.

    Examples
    --------
    >>> span(style_of(None), 1_777_599_000, 1_777_602_600)
    'Fri 1 May 2026 01:30 to 02:30'
    """
    a, z = (datetime.fromtimestamp(t, style.zone) for t in (start, end))
    last = z.strftime("%H:%M") if a.date() == z.date() else moment(style, end)
    return f"{moment(style, start)} to {last}"


def step_words(seconds: int) -> str:
    """Return a step as people say it.

    Examples
    --------
    >>> step_words(900), step_words(3600), step_words(10800), step_words(90)
    ('every 15 min', 'every hour', 'every 3 h', 'every 90 s')
    """
    if seconds == 3600:
        return "every hour"
    if seconds % 3600 == 0:
        return f"every {seconds // 3600} h"
    return f"every {seconds // 60} min" if seconds % 60 == 0 else f"every {seconds} s"
