"""The farm file: place, units to show, blocks and the logs that belong to each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.derive import Place
from riskrules.facts.state import Setup
from riskrules.logs.mapping import Placed
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import Marked, Where, read_marked
from riskrules.packs.model import Name, Strict

SILENT_AFTER_H = 6.0
"""A source whose last reading is older has gone silent, unless the farm says other. [h]
(assumption)"""
REVIEW_WITHIN_H = 4.0
"""Hours after sunrise by which the dawn review should have run. [h] (assumption)"""


class PlaceText(Strict):
    """Where the farm is."""

    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]
    zone: str
    elevation: float | None = None


class ShowText(Strict):
    """Units in which people read the result."""

    temperature: Literal["degC", "degF"] = "degC"
    rain: Literal["mm", "in"] = "mm"


class LogText(Strict):
    """A log of a block: its file or files, where the sensor hangs, and how to understand it.

    ``file`` may hold ``*``: then all files that fit are of one sensor. ``mapping`` names a mapping
    file; what is written here goes before it. ``silent_after`` [h] is how old the last reading
    may get before ``logs status`` raises the alarm.
    """

    file: str
    sensor: Name | None = None
    placed: Placed = "under_cover"
    zone: str | None = None
    clock: Literal["local", "standard"] | None = None
    stamp: Literal["end", "start"] | None = None
    columns: dict[str, str] = {}
    mapping: str | None = None
    silent_after: Annotated[float, Field(gt=0, le=100_000)] | None = None


class OutsideText(Strict):
    """Logs of the air outside, for all blocks; forecasts among them."""

    files: list[str] = []
    zone: str | None = None
    columns: dict[str, str] = {}


class BorrowText(Strict):
    """What a block takes from a neighbour where its own sensors say nothing."""

    of: Name
    variables: list[Literal["air_temperature", "relative_humidity", "soil_temperature"]] = Field(
        min_length=1
    )


class GapsText(Strict):
    """What is done about gaps: left unknown, or short ones filled in by a straight line."""

    policy: Literal["leave", "fill_short"] = "leave"
    hours: Annotated[float, Field(gt=0, le=6)] = 2.0


class BlockText(Strict):
    """One block of the farm."""

    block: Name
    logs: list[LogText] = Field(min_length=1)
    tunnel: Literal["low_tunnel", "open"] | None = None
    row_covers: bool | None = None
    ground: Literal["plastic", "straw", "bare"] | None = None
    plants: Literal["day_neutral", "june_bearing"] | None = None
    borrow: list[BorrowText] = []
    fruit_at_stake: Annotated[float, Field(ge=0, le=5)] = 1


class FarmText(Strict):
    """A farm file as written."""

    farm: str
    place: PlaceText
    show: ShowText = ShowText()
    outside: OutsideText = OutsideText()
    events: list[str] = []
    blocks: list[BlockText] = Field(min_length=1)
    hours: dict[Name, Annotated[float, Field(ge=0, le=200)]] = {}
    profile: str | None = None
    gaps: GapsText = GapsText()
    limits: str | None = None
    store: str | None = None
    journal: str | None = None
    silent_after: Annotated[float, Field(gt=0, le=100_000)] = SILENT_AFTER_H
    review_within: Annotated[float, Field(gt=0, le=24)] = REVIEW_WITHIN_H


@dataclass(frozen=True, slots=True)
class Farm:
    """A farm, and the folder that its file names are relative to."""

    text: FarmText
    folder: Path
    assumed: tuple[str, ...] = ()

    @property
    def place(self) -> Place:
        """Where the farm is."""
        p = self.text.place
        return Place(p.latitude, p.longitude, p.zone)

    @property
    def zone(self) -> ZoneInfo:
        """The farm's clock."""
        return ZoneInfo(self.text.place.zone)


def sensor_of(log: LogText) -> str:
    """Return the name of a log's sensor: as written, or made from its file name.

    Examples
    --------
    >>> sensor_of(LogText(file="logs/North 2026-*.csv"))
    'north_2026'
    """
    stem = log.file.rsplit("/", 1)[-1].split(".", 1)[0].lower()
    made = re.sub(r"[^a-z0-9]+", "_", stem).strip("_")
    return log.sensor or (made if made[:1].isalpha() else f"log_{made}".rstrip("_"))


def setup_of(block: BlockText) -> Setup:
    """Return what the farm file says of a block once and for all."""
    tunnel = None if block.tunnel is None else block.tunnel == "low_tunnel"
    return Setup(tunnel, block.row_covers, block.ground, block.logs[0].placed)


def load_farm(path: Path) -> Farm:
    """Read and check a farm file.

    Raises
    ------
    PackError
        With every trouble: line, column, and what was expected.
    """
    doc = read_marked(path)
    try:
        text = FarmText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    problems = _problems(doc, text)
    if problems:
        raise PackError(problems)
    return Farm(text, path.parent)


def _problems(doc: Marked, text: FarmText) -> list[Problem]:
    found = []
    zones: list[tuple[Where, str | None]] = [
        (("place", "zone"), text.place.zone),
        (("outside", "zone"), text.outside.zone),
    ]
    names: set[str] = set()
    for i, block in enumerate(text.blocks):
        if block.block in names:
            found.append(doc.problem(("blocks", i, "block"), f"'{block.block}' stands twice"))
        names.add(block.block)
        zones += [(("blocks", i, "logs", k, "zone"), log.zone) for k, log in enumerate(block.logs)]
    for where, zone in zones:
        if zone is None:
            continue
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            message = f"no zone '{zone}'; expected a name such as America/Chicago"
            found.append(doc.problem(where, message))
    return found + _twins_and_loans(doc, text)


def _twins_and_loans(doc: Marked, text: FarmText) -> list[Problem]:
    """Return what is wrong with the names of sensors, and with whom a block borrows of."""
    found = []
    names = {b.block for b in text.blocks}
    for i, block in enumerate(text.blocks):
        sensors = [sensor_of(log) for log in block.logs]
        for k, sensor in enumerate(sensors):
            if sensor in sensors[:k]:
                message = f"sensor '{sensor}' stands twice; expected a name for each log"
                found.append(doc.problem(("blocks", i, "logs", k), message))
        for k, loan in enumerate(block.borrow):
            if loan.of == block.block or loan.of not in names:
                others = ", ".join(sorted(names - {block.block})) or "no other block here"
                message = f"borrows of '{loan.of}'; expected one of {others}"
                found.append(doc.problem(("blocks", i, "borrow", k, "of"), message))
    return found


DEFAULT_PLACE = PlaceText(latitude=40.0, longitude=0.0, zone="UTC")
"""Where a log without a farm file is taken to come from: said aloud in the review. (assumption)"""


def default_farm(log: Path) -> Farm:
    """Return a farm of one block for a log that comes without a farm file."""
    block = BlockText(block="block", logs=[LogText(file=log.name)])
    text = FarmText(farm="no farm file", place=DEFAULT_PLACE, blocks=[block])
    assumed = (
        "No farm file: one block, at 40° N 0° E, clock in UTC, sensor under the cover. "
        "Night and day follow from that place; give --farm to say where the farm is.",
    )
    return Farm(text, log.parent, assumed)
