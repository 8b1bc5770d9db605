"""The commands about logs: thin over the library. Exit codes are those of `riskrules.cli`."""

from __future__ import annotations

import time
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.farm import Farm
    from riskrules.logs.store import LogStore

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Read logs, judge them, keep them, and say what became of every row.",
)

Files = Annotated[list[Path], typer.Argument(help="Log files, or folders that hold them.")]
FarmFile = Annotated[Path, typer.Option("--farm", help="The farm file (YAML).")]
MaybeFarm = Annotated[Path | None, typer.Option("--farm", help="The farm file (YAML).")]
StoreFolder = Annotated[
    Path | None,
    typer.Option("--store", help="The log store's folder; else as the farm file says."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]
Block = Annotated[str | None, typer.Option(help="One block only.")]
Sensor = Annotated[str | None, typer.Option(help="One sensor only.")]


def _farm(path: Path) -> Farm:
    from riskrules.farm import load_farm

    return load_farm(path)


def _folder(farm: Farm | None, folder: Path | None) -> Path:
    """Return the store's folder: that which was named, or else that of the farm file."""
    if folder is None and farm is not None and farm.text.store:
        folder = farm.folder / farm.text.store
    if folder is None:
        raise typer.BadParameter("no store; expected --store, or a farm file that names one")
    return folder


def _store(farm: Farm | None, folder: Path | None, create: bool = False) -> LogStore:
    from riskrules.logs.store import LogStore

    return LogStore(_folder(farm, folder), create=create)


def _farm_and_store(farm: Path | None, folder: Path | None) -> tuple[Farm | None, LogStore]:
    found = _farm(farm) if farm else None
    return found, _store(found, folder)


@app.command()
def propose(
    file: Annotated[Path, typer.Argument(help="A log file.")],
    write: Annotated[
        bool, typer.Option("--write", help="Write FILE.mapping.yaml beside it, unless it exists.")
    ] = False,
    as_json: Json = False,
    farm: MaybeFarm = None,
) -> None:
    """Say how a log is understood and why, and write that down for you to correct."""
    from riskrules.commands.logs_show import proposal_json, show_proposal
    from riskrules.logs.propose import propose as proposed
    from riskrules.sources import BESIDE

    the_farm = _farm(farm) if farm else None
    found = proposed(file)
    print(proposal_json(found)) if as_json else show_proposal(found, file.name, the_farm)
    if write:
        _write_new(file.parent / f"{file.name}{BESIDE}", found.text)


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise RiskRulesError(f"{path}: exists already; expected none. Left as it is") from None
    except OSError as error:
        raise RiskRulesError(f"{path}: cannot be written: {error.strerror}") from None
    typer.echo(f"Wrote {path}.", err=True)


@app.command()
def read(files: Files, farm: FarmFile, store: StoreFolder = None) -> None:
    """Read logs into the farm's log store; exit 1 if a file had to be set aside."""
    from riskrules.commands.logs_show import show_outcome, show_read
    from riskrules.logbook.intake import take_in

    the_farm = _farm(farm)
    the_store = _store(the_farm, store, create=True)
    found = []
    for outcome in take_in(the_farm, the_store, files):
        show_outcome(outcome)
        found.append(outcome)
    show_read(found)
    if any(outcome.problems for outcome in found):
        raise typer.Exit(1)


@app.command()
def report(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Log files or folders; else what is stored.")
    ] = None,
    farm: MaybeFarm = None,
    store: StoreFolder = None,
    block: Block = None,
    as_json: Json = False,
) -> None:
    """Say what became of every row and value, and each kind of trouble with an example."""
    from riskrules.commands.logs_report import report_json, show_report
    from riskrules.logs.report import only_block

    if files and store:
        raise typer.BadParameter("give either files or --store")
    if not files and farm is None:
        raise typer.BadParameter("nothing to report on; expected files, or --farm")
    the_farm = _farm(farm) if farm else None
    found = _report(the_farm, files or [], store)
    if block is not None:
        found = only_block(found, block)
    print(report_json(found, the_farm)) if as_json else show_report(found, the_farm)
    if found.aside:
        raise typer.Exit(1)


def _report(farm: Farm | None, files: list[Path], store: Path | None) -> Any:
    from riskrules.logbook.accounts import report_of_farm, report_of_files, report_of_store
    from riskrules.sources import files_in

    if farm is None:
        return report_of_files(files_in(files))
    if not files and (store or farm.text.store):
        return report_of_store(farm, _store(farm, store))
    return report_of_farm(farm, files)


@app.command()
def follow(
    folder: Annotated[Path, typer.Argument(help="The folder into which loggers write.")],
    farm: FarmFile,
    store: StoreFolder = None,
    once: Annotated[bool, typer.Option("--once", help="Read what is there, then stop.")] = False,
) -> None:
    """Read new and grown files of a folder as they come, until stopped by Ctrl-C.

    With --once, exit 1 if a file was set aside.
    """
    from riskrules.logbook.follow import follow as following

    the_farm = _farm(farm)
    say = partial(print, flush=True)
    try:
        counts = following(
            folder, the_farm, _store(the_farm, store, create=True), once=once, say=say
        )
    except KeyboardInterrupt:
        typer.echo("Stopped. What was read is in the store.", err=True)
        return
    if once and counts["aside"]:
        raise typer.Exit(1)


@app.command()
def status(farm: FarmFile, store: StoreFolder = None, as_json: Json = False) -> None:
    """Say how old each source is; exit 1 if one went silent or the dawn review is missing."""
    from riskrules.commands.logs_show import show_status, status_json
    from riskrules.logbook.status import status as found_status

    the_farm = _farm(farm)
    found = found_status(the_farm, _store(the_farm, store), int(time.time()))
    print(status_json(found, the_farm)) if as_json else show_status(found)
    if found.alarm:
        raise typer.Exit(1)


@app.command()
def check(farm: MaybeFarm = None, store: StoreFolder = None) -> None:
    """Check that the log store is whole; exit 1 if it is not."""
    from riskrules.commands.logs_show import show_check

    _, the_store = _farm_and_store(farm, store)
    problems = the_store.check()
    show_check(problems)
    if problems:
        raise typer.Exit(1)


@app.command()
def mend(
    farm: MaybeFarm = None,
    store: StoreFolder = None,
    from_parts: Annotated[
        bool, typer.Option("--from-parts", help="Make the list anew from readings and originals.")
    ] = False,
) -> None:
    """Mend a log store whose list of files is damaged; the damaged list is kept beside it."""
    from riskrules.commands.logs_show import show_check
    from riskrules.logs.store import LogStore

    folder = _folder(_farm(farm) if farm else None, store)
    mended = LogStore.rebuild(folder) if from_parts else LogStore.restore(folder)
    mended.tidy()
    show_check(mended.check())


@app.command()
def history(
    farm: MaybeFarm = None,
    store: StoreFolder = None,
    block: Block = None,
    sensor: Sensor = None,
    as_json: Json = False,
) -> None:
    """List every file that was ever read, what it replaced and what replaced it."""
    from riskrules.commands.logs_show import history_json, show_history

    the_farm, the_store = _farm_and_store(farm, store)
    records = the_store.history(block, sensor)
    print(history_json(records, the_farm)) if as_json else show_history(records, the_farm)


@app.command()
def trace(
    block: Annotated[str, typer.Option(help="The block; '' for the air outside.")],
    sensor: Annotated[str, typer.Option(help="The sensor.")],
    at: Annotated[str, typer.Option(help="Time of the row, such as 2026-05-14T01:30.")],
    variable: Annotated[str | None, typer.Option(help="One variable only.")] = None,
    farm: MaybeFarm = None,
    store: StoreFolder = None,
) -> None:
    """Say from which file and row the values of one time come."""
    from riskrules.commands.logs_show import show_trace

    moment = _time(at)
    the_farm, the_store = _farm_and_store(farm, store)
    if moment.tzinfo is None:
        if the_farm is None:
            raise typer.BadParameter(f"--at is '{at}'; expected an offset, or --farm")
        moment = moment.replace(tzinfo=the_farm.zone)
    seconds = int(moment.timestamp())
    rows = the_store.readings(block, sensor, seconds, seconds)
    names = [variable] if variable else sorted(rows.values)
    found = {name: the_store.trace(block, sensor, seconds, name) for name in names}
    if not any(found.values()):
        shown = f" of {variable}" if variable else ""
        where = f"{block or 'air outside'}, {sensor}"
        raise RiskRulesError(f"{where}: no reading{shown} at {moment.isoformat()}")
    show_trace(found, seconds, the_farm)


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        message = f"--at is '{text}'; expected such as 2026-05-14T01:30"
        raise typer.BadParameter(message) from None
