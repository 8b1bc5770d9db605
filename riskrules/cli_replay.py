"""``riskrules replay``: thin over `riskrules.tuning`."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from riskrules.tuning.asked import Vary
    from riskrules.tuning.cluster import Progress, Tally, Where

EVERY_S = 2.0


def replay(
    seasons: Annotated[
        Path | None,
        typer.Argument(help="A folder of seasons (Parquet); else the farm's log store."),
    ] = None,
    farm: Annotated[Path | None, typer.Option("--farm", help="The farm file (YAML).")] = None,
    store: Annotated[
        Path | None, typer.Option("--store", help="The log store, else that of the farm file.")
    ] = None,
    journal: Annotated[
        str | None, typer.Option("--journal", help="The field journal, else the farm file's.")
    ] = None,
    events: Annotated[
        list[Path] | None, typer.Option("--events", help="What was done and seen (CSV).")
    ] = None,
    profile: Annotated[
        list[Path] | None,
        typer.Option("--profile", help="A region profile to try; may stand several times."),
    ] = None,
    vary: Annotated[
        list[str] | None,
        typer.Option("--vary", help="A threshold to try: PACK.NAME or PACK.NAME=6,7,8. At most 2."),
    ] = None,
    under: Annotated[
        Path | None,
        typer.Option("--under", help="Vary thresholds under this profile, not the packs alone."),
    ] = None,
    hazard: Annotated[str, typer.Option("--hazard", help="Score this hazard alone.")] = "",
    season: Annotated[
        list[str] | None, typer.Option("--season", help="Only this season, such as 2024.")
    ] = None,
    block: Annotated[list[str] | None, typer.Option("--block", help="Only this block.")] = None,
    months: Annotated[
        str, typer.Option("--months", help="First and last month of a season.")
    ] = "1-12",
    chosen_by: Annotated[
        list[str] | None,
        typer.Option("--chosen-by", help="A season by which the profiles were chosen."),
    ] = None,
    question: Annotated[
        str, typer.Option("--question", help="What you want to know, for the record.")
    ] = "",
    out: Annotated[
        Path, typer.Option("--out", help="Folder for results; what is done there is kept.")
    ] = Path("replay"),
    record: Annotated[
        Path | None, typer.Option("--record", help="The record (HTML); else in --out.")
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option("--workers", min=0, help="Processes here; 0: this one alone. Else all cores."),
    ] = None,
    scheduler: Annotated[
        str, typer.Option("--scheduler", help="Address of a Dask cluster's scheduler.")
    ] = "",
) -> None:
    """Replay past seasons under profiles: what would change, and what scouts saw of it."""
    if scheduler and workers is not None:
        raise typer.BadParameter("give either --workers or --scheduler")
    if vary and len(vary) > 2:
        raise typer.BadParameter(f"--vary stands {len(vary)} times; expected at most 2")
    from riskrules.tuning.archive import open_archive
    from riskrules.tuning.asked import Asked, answer
    from riskrules.tuning.record import write_record
    from riskrules.tuning.record_file import write_record_data
    from riskrules.tuning.said import lines_of

    if seasons is None and farm is None:
        raise typer.BadParameter("nothing to replay; expected a folder of seasons, or --farm")
    archive = open_archive(seasons, farm, store, journal, events or (), months_of(months))
    asked = Asked(
        archive, tuple(profile or ()), question, _command(), tuple(season or ()), hazard,
        tuple(vary_of(v) for v in vary or ()), tuple(chosen_by or ()), tuple(block or ()),
        under,
    )  # fmt: skip
    found = answer(asked, out, _where(workers, scheduler), _told)
    target = record or out / "record.html"
    write_record(target, found.record)
    write_record_data(target.with_suffix(".json"), found.record)
    for line in lines_of(found.record):
        print(line)
    print(f"Record: {target}")
    for folder in found.folders:
        print(f"Tables: {folder}")


def _command() -> str:
    return shlex.join(["riskrules", *sys.argv[1:]])


def _where(workers: int | None, scheduler: str) -> Where | None:
    from riskrules.tuning.cluster import Where

    return None if workers is None and not scheduler else Where(workers or 0, scheduler)


def months_of(words: str) -> tuple[int, int]:
    """Return the months of a season from words.

    Examples
    --------
    >>> months_of("3-9")
    (3, 9)
    """
    found = re.fullmatch(r"(\d{1,2})-(\d{1,2})", words, re.ASCII)
    ends = (int(found[1]), int(found[2])) if found else (0, 0)
    if not all(1 <= month <= 12 for month in ends):
        raise typer.BadParameter(f"--months is '{words}'; expected such as 3-9")
    return ends


def vary_of(words: str) -> Vary:
    """Return a threshold to try, and its values where some are given.

    Examples
    --------
    >>> vary_of("gray_mold.humid_hours=6,8").values
    (6.0, 8.0)
    """
    from riskrules.tuning.asked import Vary

    name, _, given = words.partition("=")
    try:
        return Vary(name.strip(), tuple(float(v) for v in given.split(",")) if given else ())
    except ValueError:
        message = f"--vary is '{words}'; expected such as PACK.NAME=6,7,8"
        raise typer.BadParameter(message) from None


def _told(part: str) -> Progress:
    """Return what prints progress of a part now and then, and at its end."""
    start, last = monotonic(), [0.0]

    def tell(tally: Tally) -> None:
        now = monotonic()
        if tally.left and now - last[0] < EVERY_S:
            return
        last[0] = now
        ready = tally.kept + tally.done
        words = f"{part}: {ready} of {tally.total} block-seasons"
        if tally.kept:
            words += f" ({tally.kept} from before)"
        if tally.failed:
            words += f", {tally.failed} failed"
        if tally.done and tally.left:
            words += f", {(now - start) / tally.done * tally.left:.0f} s to go"
        print(words, file=sys.stderr, flush=True)

    return tell


def register(app: typer.Typer) -> None:
    """Add the command to the others."""
    app.command("replay")(replay)
