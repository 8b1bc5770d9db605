"""A mapping: how the columns, clock and dialect of one kind of log file are to be understood."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from riskrules.errors import PackError
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import read_marked
from riskrules.packs.model import Strict

Placed = Literal["under_cover", "outside", "in_bed"]


class Shift(Strict):
    """A correction of a logger's clock: rows from a line on are moved by so many hours."""

    from_line: Annotated[int, Field(ge=1)]
    hours: Annotated[float, Field(ge=-1_200_000, le=1_200_000)]


class LogMapping(Strict):
    """How one kind of log file is to be understood; what is left out is found in the file itself.

    ``columns`` maps a header as it stands in the file to one as we write it, such as
    ``air_temperature [degF]``, or to ``ignore``. ``clock`` says whether the clock follows
    daylight saving; ``stamp`` whether a row's time is the end or the start of its step.
    """

    columns: dict[str, str] = {}
    time: list[str] = []
    zone: str | None = None
    clock: Literal["local", "standard"] = "local"
    stamp: Literal["end", "start"] = "end"
    date_order: Literal["year_first", "day_first", "month_first"] | None = None
    missing: list[str] = []
    shifts: list[Shift] = []
    delimiter: Literal[",", ";", "tab", "|", "space"] | None = None
    decimal: Literal[".", ","] | None = None
    header_line: Annotated[int, Field(ge=1)] | None = None
    sheet: str | None = None


def load_mapping(path: Path) -> LogMapping:
    """Read and check a mapping file; PackError names line, column and what was expected."""
    doc = read_marked(path)
    try:
        return LogMapping.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
