"""The tables of the container: one for each kind of record, and those that belong to them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from riskrules.journal.container_columns import Column, Said, columns_of
from riskrules.journal.container_text import Table
from riskrules.journal.records import AnyBody, Block, Body, Record, Stop

BODIES: Mapping[str, type[Body]] = {
    model.model_fields["kind"].default: model for model in get_args(get_args(AnyBody)[0])
}
"""The model of each kind of record."""
APART = ("stops", "photos")
"""Fields that are lists, and have tables of their own."""

NAMES: Mapping[str, tuple[str, str]] = {
    "block": ("block_records", "What was said of a block, from then on"),
    "stages": ("stages", "Growth stages seen"),
    "row_cover": ("row_covers", "Row covers laid on and taken off"),
    "sides": ("sides", "Sides of tunnels let down and lifted"),
    "film": ("film", "Tunnel film put on and taken off"),
    "straw": ("straw", "Straw laid and removed"),
    "irrigation": ("irrigation", "Water given"),
    "pick": ("picks", "Picks done and planned"),
    "work": ("hand_work", "Hand work, and fruit brought into the cooler"),
    "limit": ("limits", "Times until which nobody may enter, or pick"),
    "sighting": ("sightings", "Counts of symptoms"),
    "walk": ("walks", "Walks planned"),
    "note": ("notes", "Free notes"),
    "checked": ("checked", "Somebody looked; what is still the same"),
    "job": ("jobs", "What became of jobs of the work list"),
    "taken_back": ("taken_back", "Records taken back"),
}
"""The table of each kind of record, and its title."""

SAID: Said = {
    "beds": ("Beds of the block", "1"),
    "bed_length": ("Length of a bed", "m"),
    "plants_per_bed": ("Plants of a bed", "1"),
    "planted": ("Day the block was planted", ""),
    "plants": ("Day-neutral or June-bearing plants", ""),
    "ground": ("What lies under the fruit", ""),
    "tunnel": ("Under a low tunnel or in the open", ""),
    "row_covers": ("Whether row covers are used", ""),
    "latitude": ("Degrees north of the equator", "degree"),
    "longitude": ("Degrees east of Greenwich", "degree"),
    "codes": ("Growth stages present: BBCH codes of strawberry; see code_lists.csv", ""),
    "what": ("What was done", ""),
    "method": ("How the water was given", ""),
    "depth": ("A brief or a deep watering, or water against frost", ""),
    "state": ("Whether it was done or is planned", ""),
    "weight_kg": ("What was picked", "kg"),
    "set_by": ("What set the limit: a label or a rule", ""),
    "symptom": ("What was seen; the list is open, ours is in code_lists.csv", ""),
    "part": ("The plant part looked at; see code_lists.csv", ""),
    "affected": ("How many showed it", "1"),
    "examined": ("How many were looked at", "1"),
    "pattern": ("How it is spread, or for a walk how its stops were drawn", ""),
    "walk": ("The walk (its id in walks.csv) on which it was counted", ""),
    "seed": ("The number from which stops were drawn", "1"),
    "per_stop": ("How many to look at at a stop", "1"),
    "symptoms": ("What to look for, with a space between", ""),
    "text": ("The note", ""),
    "same": ("States that are still the same, with a space between", ""),
    "job": ("The job, as the work list names it", ""),
    "day": ("The day of the work list", ""),
    "finding": ("The finding that asked for the job", ""),
    "stop": ("Which stop of the walk", "1"),
    "bed": ("Which bed of the block", "1"),
}
"""What each field of a body is, and its unit ('1': a count)."""

_NAME = {"pattern": "[a-z][a-z0-9_]*"}
_HASH = {"pattern": "[0-9a-f]{64}"}
_COUNT = {"minimum": 1}
_ID = Column("id", "word", "The identifier that its maker gave the record", format="uuid")
_RECEIVED = Column("received", "time", "When the journal received it")
_BLOCK = Column("block", "word", "The block; empty: the whole farm", optional=True, limits=_NAME)
_WAYS = tuple(get_args(Record.model_fields["came_by"].annotation))
_BEFORE = (
    Column("number", "integer", "Counts records in the order received", "1", limits=_COUNT),
    Column("time", "time", "When it was done or seen"),
    Column("end", "time", "When it ended, or until when it holds", optional=True),
    _BLOCK,
)
_AFTER = (
    Column("note", "text", "Words beside it"),
    Column("who", "text", "Who made the record", limits={"required": True}),
    Column("made", "time", "When the record was made, by the maker's clock"),
    _RECEIVED,
    _ID,
    Column(
        "replaces", "word", "The record (its id) that this one corrects", "", True, format="uuid"
    ),
    Column("why", "text", "Why it was corrected"),
    Column(
        "came_by",
        "word",
        "How it came into the journal",
        limits={"enum": list(_WAYS)},
        source="our own list of words (assumption)",
    ),
)
ENVELOPE = tuple(c.name for c in (*_BEFORE[1:], *_AFTER) if c.name != "received")
"""The columns that every record has, beside those of the journal's own."""


def _of_kind(kind: str) -> Table:
    name, title = NAMES[kind]
    body = columns_of(BODIES[kind], SAID, APART)
    columns = (*_BEFORE, *body, *_AFTER)
    return Table(name, title, columns, ("id",), (("block", "blocks", "block"),))


KINDS: Mapping[str, Table] = {kind: _of_kind(kind) for kind in NAMES}
"""The table of each kind of record."""

_PLACE = Column(
    "place", "integer", "Counts what belongs to one record, in its order", "1", limits=_COUNT
)
_PHOTO = Column("photo", "word", "The SHA-256 of its bytes, in hexadecimal", limits=_HASH)


def _owner(kind: str) -> Column:
    return Column("record", "word", f"The record (its id in {NAMES[kind][0]}.csv)", format="uuid")


STOPS = Table(
    "stops",
    "Counts at the stops of sightings",
    (_owner("sighting"), _PLACE, *columns_of(Stop, SAID)),
    ("record", "place"),
    (("record", "sightings", "id"),),
)
WALK_STOPS = Table(
    "walk_stops",
    "Where the stops of walks are",
    (
        _owner("walk"),
        _PLACE,
        Column("stop", "integer", "Which stop of the walk", "1"),
        Column("bed", "integer", "Which bed of the block", "1"),
        Column("metres", "number", "How far along the bed", "m"),
    ),
    ("record", "place"),
    (("record", "walks", "id"),),
)
SHOWN: Mapping[str, Table] = {
    kind: Table(
        f"{kind}_photos",
        f"Which photos {NAMES[kind][0]} show",
        (_owner(kind), _PLACE, _PHOTO),
        ("record", "place"),
        (("record", NAMES[kind][0], "id"), ("photo", "photos", "photo")),
    )
    for kind, model in BODIES.items()
    if "photos" in model.model_fields
}
"""The photos of each kind of record that has any."""
PHOTOS = Table(
    "photos",
    "Photos: those that are here, and those that records show and that have not come",
    (
        _PHOTO,
        Column("file", "word", "Its file; empty: it is not here", optional=True),
        Column("media_type", "word", "What its file is", optional=True),
        Column("bytes", "integer", "How long its file is", "byte", True),
        Column("received", "time", "When the journal received it", optional=True),
    ),
    ("photo",),
)
DIFFERING = Table(
    "differing",
    "What came with an identifier that was taken, and other content than that record",
    (
        _BEFORE[0],
        _ID,
        _RECEIVED,
        Column("kind", "word", "What kind of record", limits={"enum": list(NAMES)}),
        Column("content", "object", "The whole record"),
    ),
    ("number",),
)
BLOCKS = Table(
    "blocks",
    "The blocks of the farm, with what the journal says of them now; worked out from the rest",
    (
        Column("block", "word", "Its name", limits=_NAME),
        *columns_of(Block, SAID),
    ),
    ("block",),
)
CODES = Table(
    "code_lists",
    "What the codes of stages, symptoms and plant parts mean, and how we know",
    (
        Column("list", "word", "Which list"),
        Column("code", "word", "The code"),
        Column("meaning", "text", "What it means"),
        Column("source", "text", "Where that stands"),
        Column("tag", "text", "How we know it"),
    ),
    ("list", "code"),
)
TABLES: tuple[Table, ...] = (
    BLOCKS,
    *KINDS.values(),
    STOPS,
    WALK_STOPS,
    *SHOWN.values(),
    PHOTOS,
    DIFFERING,
    CODES,
)
"""All tables, in the order in which they stand in the container."""
