"""``riskrules journal add``: what was done and seen, in a line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from riskrules.commands.journal_desk import Desk, command
from riskrules.commands.journal_make import chosen, codes_of, enter, span_of

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Write down what was done or seen. Times like 18:30 mean today, on the farm's clock.",
)

Blocks = Annotated[
    list[str] | None,
    typer.Option("--block", "-b", help="A block; again, or with commas, for several."),
]
WholeFarm = Annotated[bool, typer.Option("--whole-farm", help="It is so in all blocks.")]
At = Annotated[str | None, typer.Option("--at", help="When; now if not said.")]
From = Annotated[str | None, typer.Option("--from", help="When it began.")]
To = Annotated[str | None, typer.Option("--to", help="When it ended; that day if only a time.")]
Noted = Annotated[str, typer.Option("--note", help="A few words with it.")]
Photos = Annotated[list[Path] | None, typer.Option("--photo", help="A photo; again for more.")]


def _state(name: str, kind: str, what: str, words: str) -> None:
    """Make the command of a kind that only says which of two states it is."""

    def state(
        desk: Desk,
        state: str,
        block: Blocks = None,
        whole_farm: WholeFarm = False,
        at: At = None,
        note: Noted = "",
    ) -> None:
        enter(desk, {"kind": kind, "what": chosen(state)}, block, whole_farm, at, note=note)

    state.__doc__ = f"{words}."
    state.__annotations__["state"] = Annotated[str, typer.Argument(metavar=what, help=words)]
    command(app, name, writes=True)(state)


_state("cover", "row_cover", "on|off", "The row cover was laid on, or taken off")
_state("sides", "sides", "down|up", "The sides of the tunnel were let down, or lifted")
_state("film", "film", "on|off", "The tunnel film was put on, or taken off")
_state("straw", "straw", "laid|removed", "Straw was laid under the fruit, or removed")
_WORK = (
    "Bad fruit culled, old leaves, stalks or runners taken out, or fruit brought into the cooler"
)
_state("work", "work", "cull|leaves|stalks|runners|cooled", _WORK)


@command(app, "stages", writes=True)
def stages(
    desk: Desk,
    codes: Annotated[list[str], typer.Argument(help="BBCH codes present, such as 60 65 71.")],
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    note: Noted = "",
) -> None:
    """Write down the growth stages that are present."""
    body = {"kind": "stages", "codes": codes_of(codes)}
    enter(desk, body, block, whole_farm, at, note=note)


@command(app, "irrigation", writes=True)
def irrigation(
    desk: Desk,
    method: Annotated[str, typer.Argument(metavar="drip|overhead", help="How.")],
    depth: Annotated[
        str | None,
        typer.Argument(metavar="[brief|deep|frost]", help="How long, or against frost."),
    ] = None,
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    start: From = None,
    end: To = None,
    note: Noted = "",
) -> None:
    """Write down one run of water; that against frost is overhead."""
    body = {"kind": "irrigation", "method": chosen(method), "depth": depth and chosen(depth)}
    enter(desk, body, block, whole_farm, at, start, end, note=note)


@command(app, "pick", writes=True)
def pick(
    desk: Desk,
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    start: From = None,
    end: To = None,
    kg: Annotated[float | None, typer.Option("--kg", help="What came out, in kilograms.")] = None,
    planned: Annotated[bool, typer.Option("--planned", help="Not done yet, but planned.")] = False,
    note: Noted = "",
) -> None:
    """Write down a pick done, or the next one planned."""
    body = {"kind": "pick", "state": "planned" if planned else "done", "weight_kg": kg}
    enter(desk, body, block, whole_farm, at, start, end, note=note)


def _limit(name: str, what: str) -> None:
    def limit(
        desk: Desk,
        until: Annotated[
            str, typer.Option("--until", help="Until when, such as 2026-05-16T08:00.")
        ],
        block: Blocks = None,
        whole_farm: WholeFarm = False,
        at: At = None,
        start: From = None,
        set_by: Annotated[
            str, typer.Option("--set-by", metavar="label|rule", help="Who says so.")
        ] = "label",
        note: Noted = "",
    ) -> None:
        body = {"kind": "limit", "what": what, "set_by": chosen(set_by)}
        enter(desk, body, block, whole_farm, at, start, until, note=note, end_option="--until")

    limit.__doc__ = f"No {what} until a time: set by a label or a rule."
    command(app, name, writes=True)(limit)


_limit("no-entry", "entry")
_limit("no-pick", "pick")


@command(app, "seen", writes=True)
def seen(
    desk: Desk,
    symptom: Annotated[str, typer.Argument(help="Such as gray_mold; 'journal symptoms' lists.")],
    affected: Annotated[int, typer.Option("--affected", help="How many showed it; 0 for none.")],
    of: Annotated[int, typer.Option("--of", help="How many were looked at.")],
    part: Annotated[
        str | None,
        typer.Option("--part", help="Plant part; else the one a walk counts it on."),
    ] = None,
    pattern: Annotated[
        str | None,
        typer.Option("--pattern", metavar="scattered|patches|edge|everywhere", help="Where."),
    ] = None,
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    note: Noted = "",
    photo: Photos = None,
) -> None:
    """Write down a count of a symptom: so many affected of so many looked at."""
    name = chosen(symptom)
    if part is None and name in desk.symptoms.symptoms:
        part = desk.symptoms.symptoms[name].parts[0]
    body = {
        "kind": "sighting",
        "symptom": name,
        "part": chosen(part or ""),
        "affected": affected,
        "examined": of,
        "pattern": pattern and chosen(pattern),
    }
    if affected == 0 and pattern is None:
        body["pattern"] = "none_seen"
    enter(desk, body, block, whole_farm, at, note=note, photos=photo or [])


@command(app, "note", writes=True)
def note(
    desk: Desk,
    text: Annotated[list[str], typer.Argument(help="Free words.")],
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    photo: Photos = None,
) -> None:
    """Write down free words; without a block they are of the whole farm."""
    body = {"kind": "note", "text": " ".join(text).strip()}
    enter(desk, body, block, whole_farm or not block, at, photos=photo or [])


@command(app, "job", writes=True)
def job(
    desk: Desk,
    name: Annotated[str, typer.Argument(help="A job of the work list, such as lift_row_cover.")],
    what: Annotated[str, typer.Argument(metavar="done|put-off|not-here", help="What of it.")],
    day: Annotated[str, typer.Option("--day", help="The day it was for.")] = "today",
    finding: Annotated[
        str | None, typer.Option("--finding", help="The finding that asked for it.")
    ] = None,
    block: Blocks = None,
    whole_farm: WholeFarm = False,
    at: At = None,
    note: Noted = "",
) -> None:
    """Say what became of a job of the work list."""
    body = {
        "kind": "job",
        "job": chosen(name),
        "what": chosen(what),
        "day": desk.clock.day(day, "--day").isoformat(),
        "finding": finding,
    }
    enter(desk, body, block, whole_farm, at, note=note)


@command(app, "block", writes=True)
def block(
    desk: Desk,
    name: Annotated[str, typer.Argument(help="The block, such as north_beds.")],
    beds: Annotated[int | None, typer.Option("--beds", help="How many beds.")] = None,
    bed_length: Annotated[float | None, typer.Option("--bed-length", help="In metres.")] = None,
    plants_per_bed: Annotated[int | None, typer.Option("--plants-per-bed", help="Plants.")] = None,
    planted: Annotated[str | None, typer.Option("--planted", help="The day of planting.")] = None,
    plants: Annotated[
        str | None, typer.Option("--plants", metavar="day-neutral|june-bearing", help="Which.")
    ] = None,
    ground: Annotated[
        str | None, typer.Option("--ground", metavar="plastic|straw|bare", help="Mulch.")
    ] = None,
    tunnel: Annotated[
        str | None, typer.Option("--tunnel", metavar="low-tunnel|open", help="What is above.")
    ] = None,
    row_covers: Annotated[
        bool | None, typer.Option("--row-covers/--no-row-covers", help="Whether it has any.")
    ] = None,
    latitude: Annotated[float | None, typer.Option("--latitude", help="Degrees north.")] = None,
    longitude: Annotated[float | None, typer.Option("--longitude", help="Degrees east.")] = None,
    at: At = None,
    note: Noted = "",
) -> None:
    """Say what a block is like from now on; what is not said again stays as it was."""
    day = desk.clock.day(planted, "--planted").isoformat() if planted else None
    given: dict[str, Any] = {
        "beds": beds, "bed_length": bed_length, "plants_per_bed": plants_per_bed, "planted": day,
        "plants": plants and chosen(plants), "ground": ground and chosen(ground),
        "tunnel": tunnel and chosen(tunnel), "row_covers": row_covers,
        "latitude": latitude, "longitude": longitude,
    }  # fmt: skip
    before, at = _block_before(desk, name, at)
    body = before | {key: value for key, value in given.items() if value is not None}
    enter(desk, body, [name], False, at, note=note, new_block=True)


def _block_before(desk: Desk, name: str, at: str | None) -> tuple[dict[str, Any], str | None]:
    """Return what was said of a block last, and when to say more so that it comes after."""
    journal, (begins, _) = desk.there(), span_of(desk, at, None, None)
    found = journal.counting(name, ("block",)) if journal else []
    own = [r for r in found if r.block == name and r.time <= begins]
    if not own:
        return {"kind": "block"}, at
    # Of two records of one second nobody could say which is the later one.
    after = desk.style.iso(begins + 1) if own[-1].time == begins else at
    return own[-1].body.model_dump(mode="json"), after
