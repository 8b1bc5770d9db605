"""Any records at all, of every kind, made from the models themselves; and what a journal tells."""

from __future__ import annotations

from datetime import date
from itertools import count
from typing import Any

from hypothesis import strategies as st

from riskrules.facts.kinds import PARTS
from riskrules.journal.records import (
    STATES,
    Block,
    Checked,
    Film,
    Irrigation,
    JobDone,
    Limit,
    Note,
    Pick,
    Record,
    RowCover,
    Sides,
    Sighting,
    Stages,
    Stop,
    Straw,
    TakenBack,
    Walk,
    Work,
)
from riskrules.journal.store import Journal
from riskrules.science.stages import STAGES

from .small_records import identifier

_NUMBERS = count(5_000_000)
NAMES = st.sampled_from(["north", "a", "x_1"])
CHARACTERS = st.characters(codec="utf-8", exclude_characters="\0")
ODD = st.text(st.sampled_from("=+-@'\"; \t\r\n,a\ufeff\u2028"), min_size=1, max_size=6)
TEXT = st.one_of(st.text(CHARACTERS, min_size=1, max_size=9), ODD)
HASHES = st.sampled_from(["0" * 64, "e" * 64])
SECONDS = st.integers(0, 4_102_444_800)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


def between(least: float, most: float) -> st.SearchStrategy[float | None]:
    return st.none() | st.floats(least, most, exclude_min=least == 0)


@st.composite
def stops(draw) -> dict[str, Any]:
    found = []
    for stop in draw(st.lists(st.integers(1, 9), max_size=4)):
        examined = draw(st.integers(1, 50))
        affected = draw(st.integers(0, examined))
        bed = draw(st.none() | st.integers(-3, 10**20))
        found.append(Stop(stop=stop, affected=affected, examined=examined, bed=bed))
    return {
        "stops": tuple(found),
        "affected": sum(s.affected for s in found),
        "examined": sum(s.examined for s in found) or 1,
    }


@st.composite
def sightings(draw) -> Sighting:
    return Sighting(
        symptom=draw(NAMES),
        part=draw(st.sampled_from(PARTS)),
        pattern=draw(st.sampled_from([None, "edge", "none_seen"])),
        walk=draw(st.sampled_from([None, identifier(1)])),
        photos=tuple(draw(st.lists(HASHES, max_size=3))),
        **draw(stops()),
    )


BODIES = st.one_of(
    st.builds(
        Block,
        beds=st.none() | st.integers(1, 10_000),
        bed_length=between(0, 10_000),
        planted=st.none() | st.dates(date(1970, 1, 1)),
        ground=st.sampled_from([None, "straw"]),
        row_covers=st.sampled_from([None, True, False]),
        latitude=between(-90, 90),
    ),
    st.builds(Stages, codes=st.lists(st.sampled_from(list(STAGES)), min_size=1).map(tuple)),
    st.sampled_from([RowCover(what="on"), Sides(what="up"), Film(what="off"), Straw(what="laid")]),
    st.builds(Irrigation, method=st.just("drip"), depth=st.sampled_from([None, "deep"])),
    st.builds(Pick, weight_kg=between(0, 1e6), state=st.sampled_from(["done", "planned"])),
    st.builds(Work, what=st.sampled_from(["cull", "cooled"])),
    sightings(),
    st.builds(
        Walk,
        pattern=st.just("random"),
        seed=st.none() | st.integers(),
        per_stop=st.integers(1, 9),
        stops=st.lists(st.tuples(st.integers(), st.integers(), NUMBERS), max_size=3).map(tuple),
        symptoms=st.lists(NAMES, max_size=3).map(tuple),
    ),
    st.builds(Note, text=TEXT, photos=st.lists(HASHES, max_size=2).map(tuple)),
    st.builds(Checked, same=st.lists(st.sampled_from(STATES), max_size=3).map(tuple)),
    st.builds(
        JobDone,
        job=NAMES,
        what=st.just("not_here"),
        day=st.dates(),
        finding=st.none() | st.just("") | TEXT,
    ),
)


@st.composite
def record(draw, old: list[Record]) -> Record:
    """Draw a record; it may correct or take back one drawn before, or one that never comes."""
    targets = [None, None, identifier(77), *(r.id for r in old)]
    replaces = draw(st.sampled_from(targets))
    body = draw(BODIES) if replaces is None else draw(BODIES | st.just(TakenBack()))
    limit = draw(st.integers(0, 9)) == 0
    time = draw(SECONDS)
    end = draw(st.integers(time, 4_102_444_800) | (st.nothing() if limit else st.none()))
    return Record(
        id=identifier(next(_NUMBERS)),
        block=draw(st.none() | NAMES),
        time=time,
        end=end,
        body=Limit(what="pick") if limit else body,
        who=draw(TEXT),
        made=draw(SECONDS),
        replaces=replaces,
        why=draw(TEXT).strip() + "." if replaces else draw(st.just("") | TEXT),
        note=draw(st.just("") | TEXT),
        came_by=draw(st.sampled_from(["hand", "form", "sheet"])),
    )


@st.composite
def any_records(draw) -> tuple[list[Record], list[Record]]:
    """Draw records in the order they come, and some that come again with other content."""
    found: list[Record] = []
    for _ in range(draw(st.integers(0, 8))):
        found.append(draw(record(found)))
    mixed = draw(st.permutations(found))  # a correction may come before what it corrects
    again = draw(st.lists(st.sampled_from(found), max_size=3)) if found else []
    return mixed, [r.model_copy(update={"note": draw(TEXT)}) for r in again]


def told_of(journal: Journal) -> tuple[object, ...]:
    """Return all that a journal tells of itself, exactly: the order, times, and each version."""
    return (
        [(s.seq, s.received, s.replaced, s.record.model_dump_json()) for s in journal.since(0)],
        [(d.received, d.record.model_dump_json()) for d in journal.differing()],
        [journal.photo(p) for p in journal.photos()],
    )
