"""A record of the journal in the words of the trade."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

if TYPE_CHECKING:
    from riskrules.journal import records as r
    from riskrules.journal.symptoms import SymptomList
    from riskrules.show import Style

SHORT = 8
"""Characters of an identifier that people read and type."""
THINGS = {
    "row_cover": "row cover",
    "sides": "sides",
    "film": "tunnel film",
    "straw": "straw",
    "stages": "growth stages",
}
WORK = {
    "cull": "bad fruit culled",
    "leaves": "old leaves taken out",
    "stalks": "flower stalks taken out",
    "runners": "runners cut",
    "cooled": "fruit brought into the cooler",
}
PATTERNS = {
    "scattered": "scattered",
    "patches": "in patches",
    "edge": "at the edge",
    "everywhere": "everywhere",
    "none_seen": "none seen",
}
DRAWN = {"random": "drawn at random", "zigzag": "on a zigzag", "all_beds": "in all beds"}


def short(known: UUID | str) -> str:
    """Return the part of an identifier that people read and type.

    Examples
    --------
    >>> short("6f1c3d3e-0a53-4b57-8a39-0d9c5a8a1f00")
    '6f1c3d3e'
    """
    return str(known)[:SHORT]


def listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence.

    Examples
    --------
    >>> listed(["north", "south", "west"])
    'north, south and west'
    """
    names = list(names)
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def where_of(record: r.Record) -> str:
    """Return a record's block, or that it is of all."""
    return record.block or "whole farm"


def when_of(record: r.Record, style: Style) -> str:
    """Return a record's time, with its end where it has one, on the farm's clock."""
    if record.end is None or record.end == record.time or record.kind == "limit":
        return dated(style, record.time)
    end = dated(style, record.end)
    same = end.rsplit(" ", 1)[0] == dated(style, record.time).rsplit(" ", 1)[0]
    return f"{dated(style, record.time)} to {end.rsplit(' ', 1)[-1] if same else end}"


def dated(style: Style, seconds: int) -> str:
    """Return a time with its year: a journal goes over years."""
    return datetime.fromtimestamp(seconds, style.zone).strftime("%a %-d %b %Y %H:%M")


def said(record: r.Record, style: Style, symptoms: SymptomList) -> str:
    """Return what a record says, in one line without its time, block and note."""
    from riskrules.journal import records as r

    body = record.body
    match body:
        case r.Stages():
            return f"growth stages {', '.join(str(code) for code in body.codes)} (BBCH)"
        case r.RowCover() | r.Sides() | r.Film() | r.Straw():
            return f"{THINGS[body.kind]} {body.what}"
        case r.Irrigation():
            depth = {"frost": "against frost", None: ""}.get(body.depth, str(body.depth))
            return " ".join(filter(None, ("water,", body.method, depth)))
        case r.Pick():
            kilos = "" if body.weight_kg is None else f", {body.weight_kg:,g} kg"
            return f"pick {body.state}{kilos}"
        case r.Work():
            return WORK[body.what]
        case r.Limit():
            until = dated(style, record.end or record.time)
            return f"no {body.what} until {until}, set by a {body.set_by}"
        case r.Sighting():
            return _sighting(body, symptoms)
        case r.Walk():
            return _walk(body, symptoms)
    return _spoken(record)


def _spoken(record: r.Record) -> str:
    from riskrules.journal import records as r

    body = record.body
    match body:
        case r.Note():
            return body.text + _photos(len(body.photos))
        case r.Checked():
            same = listed([THINGS[name] for name in body.same])
            return f"looked: {same} the same" if same else "looked"
        case r.JobDone():
            what = {"put_off": "put off", "not_here": "not for here"}.get(body.what, body.what)
            return f"job {body.job} of {body.day}: {what}"
        case r.TakenBack():
            return "taken back"
        case r.Block():
            return _block(body)
    raise AssertionError(record.kind)


def _sighting(body: r.Sighting, symptoms: SymptomList) -> str:
    found = f"{body.affected:,} of" if body.affected else "none seen of"
    counts = f"{found} {body.examined:,} {symptoms.part_title(body.part).lower()}"
    pattern = "" if body.pattern in (None, "none_seen") else f", {PATTERNS[body.pattern or '']}"
    stops = f", at {len(body.stops)} stops" if len(body.stops) > 1 else ""
    title = symptoms.title(body.symptom)
    return f"{title}: {counts}{pattern}{stops}{_photos(len(body.photos))}"


def _walk(body: r.Walk, symptoms: SymptomList) -> str:
    seed = "" if body.seed is None else f" with seed {body.seed}"
    looks = listed([symptoms.title(name).lower() for name in body.symptoms])
    what = f", to look for {looks}" if looks else ""
    stops = f"{len(body.stops)} stops of {body.per_stop} {DRAWN[body.pattern]}{seed}"
    return f"walk planned: {stops}{what}"


def _block(body: r.Block) -> str:
    parts = [
        body.beds and f"{body.beds:,} beds",
        body.bed_length and f"{body.bed_length:g} m long",
        body.plants_per_bed and f"{body.plants_per_bed:,} plants a bed",
        body.planted and f"planted {body.planted}",
        body.plants and body.plants.replace("_", "-"),
        body.ground and f"on {body.ground.replace('bare', 'bare ground')}",
        body.tunnel and {"low_tunnel": "low tunnel", "open": "in the open"}[body.tunnel],
        {True: "row covers", False: "no row covers", None: None}[body.row_covers],
        body.latitude is not None and body.longitude is not None
        and f"at {body.latitude:g}, {body.longitude:g}",
    ]  # fmt: skip
    return "block: " + (", ".join(p for p in parts if p) or "nothing said of it")


def _photos(count: int) -> str:
    return f" ({count} photo{'s' if count > 1 else ''})" if count else ""
