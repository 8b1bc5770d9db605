"""One small file with one trouble, and what has to come out of it, worked out by hand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from riskrules.logs.mapping import LogMapping

T, RH, WET, RAIN, SOIL = (
    "air_temperature", "relative_humidity", "surface_wetness", "thickness_of_rainfall_amount",
    "soil_temperature",
)  # fmt: skip
NAMES = ["time", "air_temperature [degC]", "relative_humidity [%]"]
HEAD = ",".join(NAMES) + "\n"
UNKNOWN = None
"""Stands for a value that must be unknown."""


@dataclass(frozen=True)
class Case:
    """A file and what must come out of it.

    ``error`` is the line and a word of the refusal. Otherwise ``kept``, ``refused``,
    ``repeated`` and ``blank`` are the rows, ``above`` the lines that stand above the first row,
    ``inside`` the lines among the rows that are none, ``troubles`` the troubles of all notes
    that have one, ``says`` words that some note has, and ``values`` some values by variable and
    by row in order of time.
    """

    name: str
    data: bytes
    kept: int = 8
    refused: int = 0
    repeated: int = 0
    blank: int = 0
    above: int = 1
    inside: int = 0
    error: tuple[int, str] | None = None
    troubles: tuple[str, ...] = ()
    says: str = ""
    quiet: bool = False
    values: dict[tuple[str, int], float | None] = field(default_factory=dict)
    zone: str | None = None
    mapping: LogMapping | None = None
    file: str = "log.csv"
    encoding: str = "utf-8"
    spans: tuple[int, ...] = ()

    def rows_in_file(self) -> int:
        """Count the file's rows: its lines, however they end, less those that are no rows."""
        text = self.data.decode(self.encoding, "replace")
        lines = re.split("\r\n|\r|\n", text)
        return len(lines) - (not lines[-1]) - self.above - self.inside


def stamp(hour: int, day: int = 1) -> str:
    """The time of a row: whole hours of May 2026."""
    return f"2026-05-{day + hour // 24:02d}T{hour % 24:02d}:00Z"


def cells(hour: int) -> list[str]:
    """The cells of the row of an hour: 10 degC and 80 % at first, 0.5 and 1 more each hour."""
    return [stamp(hour), f"{10 + hour / 2:.1f}", str(80 + hour)]


def row(hour: int, mark: str = ",") -> str:
    return mark.join(cells(hour)) + "\n"


def rows(first: int = 0, last: int = 8) -> str:
    return "".join(row(h) for h in range(first, last))


GOOD = {(T, 0): 10.0, (T, 3): 11.5, (T, 7): 13.5, (RH, 0): 80, (RH, 7): 87}
"""Values of the eight rows."""


def text(name: str, content: str, **more: object) -> Case:
    """A case of plain UTF-8 text."""
    more.setdefault("values", {} if "error" in more else GOOD)
    return Case(name, content.encode(), **more)  # type: ignore[arg-type]


def written_with(mark: str, names: Sequence[str] = NAMES, point: str = ".") -> str:
    """The eight rows with another delimiter and decimal sign."""
    lines = [mark.join(names)] + [
        mark.join([c[0], c[1].replace(".", point), c[2]]) for c in map(cells, range(8))
    ]
    return "\n".join(lines) + "\n"
