"""``riskrules journal walk``: plan a walk, print its sheet, write its form, enter its counts."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast
from uuid import uuid4

import typer

from riskrules.commands.journal_add import Blocks, Noted
from riskrules.commands.journal_desk import Desk, command, say
from riskrules.commands.journal_enter import WalkId, enter_counts, found_walk, walk_plan
from riskrules.commands.journal_make import blocks_of, chosen, keep_and_say, record_of
from riskrules.commands.journal_words import short
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Block, Record

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Scouting walks: plan one, print its sheet, enter what was counted.",
)
PER_STOP = 10
"""Plants looked at from a stop where nobody says how many. [count] (assumption)"""

Out = Annotated[Path, typer.Option("--out", help="The file to write; not over one that is there.")]


def share_of(text: str, option: str) -> float:
    """Return a share typed as '5%' or '0.05'. [1]

    Examples
    --------
    >>> share_of("5 %", "--within"), share_of("0.02", "--see")
    (0.05, 0.02)
    """
    plain = text.strip()
    try:
        value = float(plain.removesuffix("%"))
    except ValueError:
        value = -1.0
    value = value / 100 if plain.endswith("%") else value
    if not 0 < value < 1:
        raise RiskRulesError(f"{option} is '{text}'; expected a share such as 5% or 0.05")
    return value


@command(app, "plan", writes=True)
def plan(
    desk: Desk,
    block: Blocks = None,
    stops: Annotated[int | None, typer.Option("--stops", help="How many stops.")] = None,
    per_stop: Annotated[
        int, typer.Option("--per-stop", min=1, help="How many to look at from each stop.")
    ] = PER_STOP,
    pattern: Annotated[
        str, typer.Option("--pattern", metavar="random|zigzag|all-beds", help="How to go.")
    ] = "random",
    seed: Annotated[
        int | None, typer.Option("--seed", help="Draws the stops; else the day, as 20260514.")
    ] = None,
    symptom: Annotated[
        list[str] | None, typer.Option("--symptom", help="What to look for; again for more.")
    ] = None,
    see: Annotated[
        str | None, typer.Option("--see", help="In place of --stops: be 95 % sure to see 1 if so "
                                 "many are affected, such as 2%.")
    ] = None,
    about: Annotated[
        str | None, typer.Option("--about", help="In place of --stops, with --within: about how "
                                 "many are affected, such as 10%.")
    ] = None,
    within: Annotated[
        str | None, typer.Option("--within", help="How close to the truth, such as 5%.")
    ] = None,
    noted: Noted = "",
) -> None:  # fmt: skip
    """Plan a walk through each block named: where to stop, how many to look at."""
    from riskrules.journal.walks import Pattern, plan_walk

    looks = _looks(desk, symptom)
    how = chosen(pattern)
    if how not in ("random", "zigzag", "all_beds"):
        message = f"--pattern is '{pattern}'; expected random, zigzag or all-beds"
        raise RiskRulesError(message)
    seed = int(f"{desk.clock.today:%Y%m%d}") if seed is None else seed
    shared = {"time": desk.now, "made": desk.now, "who": desk.who, "note": noted}
    records, words = [], []
    for name in blocks_of(desk, block, False):
        told = desk.about(str(name))
        try:
            size = _size(told, per_stop, stops, see, about, within)
            walk = plan_walk(told, cast(Pattern, how), seed, size[0], per_stop, looks)
        except ValueError as error:
            hint = " (riskrules journal add block says what a block is like)"
            hint = hint if "is not known" in str(error) else ""
            raise RiskRulesError(f"{name}: {error}{hint}") from None
        words.append(size[1])
        body = walk.model_dump(mode="json")
        records.append(record_of(shared | {"id": uuid4(), "block": name, "body": body}))
    keep_and_say(desk, records)
    for record, why in zip(records, words, strict=True) if not desk.as_json else ():
        _show_stops(record, why)


def _looks(desk: Desk, texts: Sequence[str] | None) -> tuple[str, ...]:
    """Return the symptoms that were named, each listed."""
    names = [chosen(part) for text in texts or () for part in text.replace(",", " ").split()]
    for name in names:
        if said := desk.symptoms.refusal(name):
            raise RiskRulesError(said)
    return tuple(dict.fromkeys(names))


def _size(
    block: Block,
    per_stop: int,
    stops: int | None,
    see: str | None,
    about: str | None,
    within: str | None,
) -> tuple[int, str]:
    """Return how many stops, and what that was worked out from."""
    from riskrules.journal.walks import size_for_precision, size_to_see

    ways = (stops is not None) + (see is not None) + (about is not None or within is not None)
    if ways != 1 or (about is None) != (within is None):
        raise typer.BadParameter("how many? expected --stops, --see, or --about with --within")
    if stops is not None:
        return stops, ""
    if see is not None:
        size = size_to_see(block, per_stop, share_of(see, "--see"))
    else:
        share, close = share_of(about or "", "--about"), share_of(within or "", "--within")
        size = size_for_precision(block, per_stop, share, absolute=close)
    return size.stops, size.words


def _show_stops(record: Record, why: str) -> None:
    if why:
        say(why)
    for number, bed, metres in walk_plan(record).stops:
        say(f"stop {number}: bed {bed}, {metres:g} m along", indent=3)
    say(f"Next: riskrules journal walk sheet {short(record.id)} --out sheet.pdf, or "
        f"walk form, or walk enter.")  # fmt: skip


def write_new(path: Path, data: bytes) -> None:
    """Write a new file as a whole; one that is there is left as it is.

    Raises
    ------
    RiskRulesError
        If it is there already, or cannot be written.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        os.link(part, path)
    except FileExistsError:
        raise RiskRulesError(f"{path} is there already; expected the name of a new file") from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise RiskRulesError(f"{path} cannot be written: {said}") from None
    finally:
        part.unlink(missing_ok=True)


def wrote(desk: Desk, path: Path, walk: Record) -> None:
    """Say that a file of a walk was written."""
    if desk.as_json:
        desk.print_json("file", file=str(path), walk=str(walk.id))
    else:
        say(f"Wrote {path}.")


@command(app, "sheet")
def sheet(
    desk: Desk,
    walk: WalkId,
    out: Out,
    letter: Annotated[bool, typer.Option("--letter", help="On Letter, not A4 (PDF).")] = False,
) -> None:
    """Print the sheet of a walk: .pdf, .html, or .csv to type the filled sheet into."""
    from riskrules.journal.sheet import filled_template, sheet_html, sheet_pdf

    record = found_walk(desk, walk)
    farm = desk.farm.text.farm if desk.farm else "Farm"
    block = record.block or "whole farm"
    ending = out.suffix.lower()
    try:
        if ending == ".pdf":
            paper: Any = "Letter" if letter else "A4"
            data = sheet_pdf(block, record, desk.symptoms, farm, paper)
        elif ending in (".html", ".htm"):
            data = sheet_html(block, record, desk.symptoms, farm).encode()
        elif ending == ".csv":
            data = filled_template(record, desk.symptoms).encode()
        else:
            raise typer.BadParameter(
                f"--out is '{out}'; expected a name ending in .pdf, .html, .csv"
            )
    except ValueError as error:
        raise RiskRulesError(str(error)) from None
    write_new(out, data)
    wrote(desk, out, record)


@command(app, "form")
def form(
    desk: Desk,
    walk: WalkId,
    out: Out,
    who: Annotated[str, typer.Option("--who", help="Who will walk; else the phone asks.")] = "",
) -> None:
    """Write the form of a walk for a phone: one file that works without signal."""
    from riskrules.journal.phone import form_html

    record = found_walk(desk, walk)
    farm = desk.farm.text.farm if desk.farm else "Farm"
    try:
        data = form_html(farm, record.block or "whole farm", record, desk.symptoms, who)
    except ValueError as error:
        raise RiskRulesError(str(error)) from None
    write_new(out, data.encode())
    wrote(desk, out, record)


command(app, "enter", writes=True)(enter_counts)


@command(app, "import", writes=True)
def import_walk(
    desk: Desk,
    files: Annotated[
        list[Path], typer.Argument(help="Filled sheets (CSV), or files that phones handed over.")
    ],
) -> None:
    """Take in filled sheets and what phones handed over; each is kept once."""
    from riskrules.commands.journal_files import take_in

    take_in(desk, files, ("sheet", "phone"))
