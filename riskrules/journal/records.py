"""Records of the field journal: one model a kind of thing done, seen, set or said.

A record is never changed. A correction is a new record that names the one it replaces, who made
it and why; a record taken back is one that is replaced by nothing.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field, TypeAdapter, field_validator, model_validator

from riskrules.facts.kinds import PARTS
from riskrules.packs.model import Name, Strict
from riskrules.science.stages import is_code

Words = Annotated[str, Field(min_length=1, max_length=4000)]
Who = Annotated[str, Field(min_length=1, max_length=200)]
Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Seconds = Annotated[int, Field(ge=0, le=4_102_444_800)]
STATES = ("row_cover", "sides", "film", "straw", "stages")
"""Kinds that set a state, which holds until the next record and goes stale unconfirmed."""


class Body(Strict):
    """What a record says beside who, where and when."""


class Block(Body):
    """A block as it is from the record's time on."""

    kind: Literal["block"] = "block"
    beds: Annotated[int, Field(ge=1, le=10_000)] | None = None
    bed_length: Annotated[float, Field(gt=0, le=10_000)] | None = None
    plants_per_bed: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    planted: date | None = None
    plants: Literal["day_neutral", "june_bearing"] | None = None
    ground: Literal["plastic", "straw", "bare"] | None = None
    tunnel: Literal["low_tunnel", "open"] | None = None
    row_covers: bool | None = None
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = None


class Stages(Body):
    """Growth stages present: BBCH codes of strawberry."""

    kind: Literal["stages"] = "stages"
    codes: Annotated[tuple[int, ...], Field(min_length=1)]

    @field_validator("codes")
    @classmethod
    def _known(cls, codes: tuple[int, ...]) -> tuple[int, ...]:
        for code in codes:
            if not is_code(code):
                raise ValueError(f"{code} is no BBCH code of strawberry; expected such as 60 65 71")
        return tuple(sorted(set(codes)))


class RowCover(Body):
    """The row cover (cloth) laid on or taken off."""

    kind: Literal["row_cover"] = "row_cover"
    what: Literal["on", "off"]


class Sides(Body):
    """The sides of the tunnel let down or lifted."""

    kind: Literal["sides"] = "sides"
    what: Literal["down", "up"]


class Film(Body):
    """The tunnel film put on or taken off."""

    kind: Literal["film"] = "film"
    what: Literal["on", "off"]


class Straw(Body):
    """Straw laid under the fruit or removed."""

    kind: Literal["straw"] = "straw"
    what: Literal["laid", "removed"]


class Irrigation(Body):
    """One run of water; frost water is overhead."""

    kind: Literal["irrigation"] = "irrigation"
    method: Literal["drip", "overhead"]
    depth: Literal["brief", "deep", "frost"] | None = None

    @model_validator(mode="after")
    def _frost_is_overhead(self) -> Irrigation:
        if self.depth == "frost" and self.method != "overhead":
            raise ValueError("frost water by drip; expected overhead")
        return self


class Pick(Body):
    """A pick done or planned."""

    kind: Literal["pick"] = "pick"
    state: Literal["done", "planned"] = "done"
    weight_kg: Annotated[float, Field(ge=0, le=1_000_000)] | None = None


class Work(Body):
    """Hand work in the block, or fruit brought into the cooler."""

    kind: Literal["work"] = "work"
    what: Literal["cull", "leaves", "stalks", "runners", "cooled"]


class Limit(Body):
    """No entry, or no pick, until the record's end: set by a label or a rule."""

    kind: Literal["limit"] = "limit"
    what: Literal["entry", "pick"]
    set_by: Literal["label", "rule"] = "label"


class Stop(Strict):
    """The count at one stop of a walk."""

    stop: Annotated[int, Field(ge=1)]
    affected: Annotated[int, Field(ge=0)]
    examined: Annotated[int, Field(ge=1)]
    bed: int | None = None

    @model_validator(mode="after")
    def _no_more_than_all(self) -> Stop:
        if self.affected > self.examined:
            message = f"{self.affected} affected of {self.examined} examined"
            raise ValueError(f"{message}; expected 0 to {self.examined}")
        return self


class Sighting(Body):
    """A count of a symptom; where there are stops, the counts are their sums."""

    kind: Literal["sighting"] = "sighting"
    symptom: Name
    part: Literal[PARTS]  # type: ignore[valid-type]
    affected: Annotated[int, Field(ge=0, le=10_000_000)]
    examined: Annotated[int, Field(ge=1, le=10_000_000)]
    pattern: Literal["scattered", "patches", "edge", "everywhere", "none_seen"] | None = None
    stops: tuple[Stop, ...] = ()
    walk: UUID | None = None
    photos: tuple[Hash, ...] = ()

    @model_validator(mode="after")
    def _sums(self) -> Sighting:
        if self.affected > self.examined:
            message = f"{self.affected} affected of {self.examined} examined"
            raise ValueError(f"{message}; expected 0 to {self.examined}")
        sums = sum(s.affected for s in self.stops), sum(s.examined for s in self.stops)
        if self.stops and sums != (self.affected, self.examined):
            message = f"{self.affected} of {self.examined}, but the stops sum up to"
            raise ValueError(f"{message} {sums[0]} of {sums[1]}")
        return self


class Walk(Body):
    """A walk planned in a block: its stops, how they were drawn, and what to look at."""

    kind: Literal["walk"] = "walk"
    pattern: Literal["random", "zigzag", "all_beds"]
    seed: int | None = None
    per_stop: Annotated[int, Field(ge=1, le=100_000)]
    stops: tuple[tuple[int, int, float], ...]
    symptoms: tuple[Name, ...] = ()


class Note(Body):
    """Free words, photos with them."""

    kind: Literal["note"] = "note"
    text: Words
    photos: tuple[Hash, ...] = ()


class Checked(Body):
    """Somebody looked: the journal is current up to here, and the states named still hold."""

    kind: Literal["checked"] = "checked"
    same: tuple[Literal["row_cover", "sides", "film", "straw", "stages"], ...] = ()


class JobDone(Body):
    """What became of a job of the work list."""

    kind: Literal["job"] = "job"
    job: Name
    what: Literal["done", "put_off", "not_here"]
    day: date
    finding: Annotated[str, Field(max_length=300)] | None = None


class TakenBack(Body):
    """Nothing: the record that this one replaces was a mistake."""

    kind: Literal["taken_back"] = "taken_back"


AnyBody = Annotated[
    Block | Stages | RowCover | Sides | Film | Straw | Irrigation | Pick | Work | Limit | Sighting
    | Walk | Note | Checked | JobDone | TakenBack,
    Field(discriminator="kind"),
]  # fmt: skip


class Record(Strict):
    """One record: made once, anywhere, and known by the identifier its maker gave it.

    ``time`` and ``end`` are when the thing was done or seen [s since 1970 UTC]; ``made`` is when
    the record was made, by the maker's clock. ``replaces`` names the record that it corrects.
    """

    id: UUID
    block: Name | None = None
    time: Seconds
    end: Seconds | None = None
    body: AnyBody
    who: Who
    made: Seconds
    replaces: UUID | None = None
    why: Annotated[str, Field(max_length=2000)] = ""
    note: Annotated[str, Field(max_length=4000)] = ""
    came_by: Literal["hand", "form", "sheet", "import", "dashboard"] = "hand"

    @model_validator(mode="after")
    def _whole(self) -> Record:
        if self.end is not None and self.end < self.time:
            raise ValueError("the end is before the time")
        if isinstance(self.body, Limit) and self.end is None:
            raise ValueError("a limit without end; expected the time until which it holds")
        if self.replaces is not None and not self.why.strip():
            raise ValueError("a correction without a reason; expected why")
        if isinstance(self.body, TakenBack) and self.replaces is None:
            raise ValueError("a record is taken back, but which is not said")
        if self.replaces == self.id:
            raise ValueError("a record that replaces itself")
        return self

    @property
    def kind(self) -> str:
        """The kind of its body."""
        return self.body.kind


RECORD: TypeAdapter[Record] = TypeAdapter(Record)


def canonical(record: Record) -> dict[str, Any]:
    """Return a record as plain values, the same for the same record."""
    return record.model_dump(mode="json")
