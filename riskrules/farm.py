"""The farm file: place, units to show, blocks and the logs that belong to each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.derive import Place
from riskrules.facts.state import Setup
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import Marked, Where, read_marked
from riskrules.packs.model import Name, Strict

Placed = Literal["under_cover", "outside"]


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
    """A log file of a block: where its sensor hangs, the zone of naive times, header names."""

    file: str
    placed: Placed = "under_cover"
    zone: str | None = None
    columns: dict[str, str] = {}


class OutsideText(Strict):
    """Logs of the air outside, for all blocks; forecasts among them."""

    files: list[str] = []
    zone: str | None = None
    columns: dict[str, str] = {}


class BlockText(Strict):
    """One block of the farm."""

    block: Name
    logs: list[LogText] = Field(min_length=1)
    tunnel: Literal["low_tunnel", "open"] | None = None
    row_covers: bool | None = None
    ground: Literal["plastic", "straw", "bare"] | None = None
    plants: Literal["day_neutral", "june_bearing"] | None = None
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
