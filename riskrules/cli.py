"""The commands: thin over the library. Exit codes: 0 done, 1 could not be done, 2 wrong use."""

from __future__ import annotations

import json
import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from riskrules.cli_dashboard import register as register_dashboard
from riskrules.cli_replay import register as register_replay
from riskrules.commands.journal import app as journal_app
from riskrules.commands.logs import app as logs_app
from riskrules.errors import RiskRulesError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="What last night did to each block of strawberries, how sure that is, and what to do.",
)
app.add_typer(logs_app, name="logs")
app.add_typer(journal_app, name="journal")
register_dashboard(app)
register_replay(app)

Logs = Annotated[
    list[Path] | None,
    typer.Argument(help="Log files, or the folder that holds them; else the farm's log store."),
]
Store = Annotated[
    Path | None, typer.Option(help="The log store to read, else that of the farm file.")
]
JournalAt = Annotated[
    str | None, typer.Option("--journal", help="The field journal, else that of the farm file.")
]
Events = Annotated[list[Path] | None, typer.Option(help="What was done and seen: an events CSV.")]
FarmFile = Annotated[Path | None, typer.Option("--farm", help="The farm file (YAML).")]
Profile = Annotated[
    Path | None, typer.Option(help="A region profile (YAML), else that of the farm file.")
]
On = Annotated[
    str | None, typer.Option(help="A day: the night that ends on its morning, and the day.")
]
From = Annotated[str | None, typer.Option("--from", help="First day of a span.")]
To = Annotated[str | None, typer.Option("--to", help="Last day of a span.")]
AsOf = Annotated[str | None, typer.Option(help="What counts as now; else the last measured row.")]
Forecast = Annotated[Path | None, typer.Option(help="A second log with forecast rows.")]


Day = TypeVar("Day", date, datetime)


def _day(text: str | None, name: str) -> date | None:
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{name} is '{text}'; expected such as 2026-05-14") from None
    return _possible(day, name)


def _possible(day: Day, name: str) -> Day:
    from riskrules.logs.read import YEARS

    if not YEARS[0] < day.year < YEARS[1]:
        message = f"{name} is in {day.year}; expected a year after {YEARS[0]}, before {YEARS[1]}"
        raise typer.BadParameter(message)
    return day


def _moment(text: str | None, zone: Any) -> int | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"--as-of is '{text}'; expected such as 2026-05-14T07:00"
        ) from None
    _possible(moment, "--as-of")
    return int((moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp())


def _reviewed(
    logs: list[Path] | None,
    store: Path | None,
    journal: str | None,
    events: list[Path] | None,
    farm: Path | None,
    profile: Path | None,
    days: tuple[date | None, date | None],
    as_of: str | None,
    forecast: Path | None,
    since: Path | None = None,
    crew_hours: float | None = None,
) -> Any:
    if logs and store:
        raise typer.BadParameter("give either logs or --store")
    if not logs and farm is None:
        raise typer.BadParameter("nothing to review; expected logs, or --farm with a log store")
    from riskrules.engine.evaluate import DURABLE, evaluator_name
    from riskrules.engine.process import shared_engine

    engine = shared_engine()
    if evaluator_name() == DURABLE:
        engine.start()  # it loads while the log is read
    from riskrules.review import review, shipped_rulebook
    from riskrules.sources import gather, profile_of

    gathered = gather(logs or (), farm, events or (), forecast, _store(store), journal)
    book = shipped_rulebook(profile or profile_of(gathered.farm))
    for note in gathered.notes:
        print(note, file=sys.stderr)
    earlier = _earlier(since)
    found = review(
        gathered.farm, gathered.blocks, gathered.events, book,
        first=days[0], last=days[1], as_of=_moment(as_of, gathered.farm.zone),
        earlier=earlier, crew_hours=crew_hours, engine=engine,
    )  # fmt: skip
    if gathered.store is not None and as_of is None and days == (None, None):
        _note_review(gathered.store, found)
    return found


def _note_review(store: Any, found: Any) -> None:
    """Write down in the log store that the review of the morning ran, for ``logs status``."""
    now = datetime.now(found.farm.zone)
    try:
        store.note_review(int(now.timestamp()), now.date(), found.window)
    except RiskRulesError as error:
        print(f"{error} (the review itself is done)", file=sys.stderr)


def _store(folder: Path | None) -> Any:
    from riskrules.logs.store import LogStore

    return LogStore(folder, create=False) if folder else None


def _earlier(path: Path | None) -> dict[str, Any] | None:
    from riskrules.report import FORMAT

    if path is None:
        return None
    try:
        found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise RiskRulesError(f"{path}: not readable as an earlier review: {error}") from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise RiskRulesError(f"{path}: expected the JSON of an earlier review ({FORMAT})")
    try:
        for old in found["findings"]:
            ends = [datetime.fromisoformat(old[key]) for key in ("start", "end")]
            names = [old[key] for key in ("id", "rule", "block", "title", "hash")]
            if not all(isinstance(name, str) for name in names):
                raise TypeError("a name that is no text")
            if any(end.tzinfo is None for end in ends):
                raise ValueError("a time without offset")
    except (KeyError, TypeError, ValueError) as error:
        raise RiskRulesError(f"{path}: damaged; a finding in it is not whole ({error})") from None
    return found


def _days(on: str | None, first: str | None, last: str | None) -> tuple[date | None, date | None]:
    if on and (first or last):
        raise typer.BadParameter("give either --on or --from and --to")
    if on:
        day = _day(on, "--on")
        return day, day
    start, end = _day(first, "--from"), _day(last, "--to")
    if start and end and end < start:
        raise typer.BadParameter(f"--to {end} is before --from {start}")
    return start, end


@app.command()
def review(
    logs: Logs = None,
    store: Store = None,
    journal: JournalAt = None,
    events: Events = None,
    farm: FarmFile = None,
    profile: Profile = None,
    on: On = None,
    first: From = None,
    last: To = None,
    as_of: AsOf = None,
    forecast: Forecast = None,
    since: Annotated[
        Path | None, typer.Option(help="An earlier review (JSON): say what changed since.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    crew_hours: Annotated[
        float | None, typer.Option(min=0, help="Hours of work at hand today.")
    ] = None,
) -> None:
    """Say what happened, what it means, how sure that is, and what to do first."""
    days = _days(on, first, last)
    found = _reviewed(
        logs, store, journal, events, farm, profile, days, as_of, forecast, since, crew_hours
    )  # fmt: skip
    if as_json:
        from riskrules.report import dumps

        print(dumps(found))
        return
    from riskrules.cli_show import show_review

    show_review(found)


@app.command()
def explain(
    rule: Annotated[
        str, typer.Option(help="A rule such as gray_mold.flower_infection, or a finding's id.")
    ],
    logs: Logs = None,
    block: Annotated[str | None, typer.Option(help="One block only.")] = None,
    store: Store = None,
    journal: JournalAt = None,
    events: Events = None,
    farm: FarmFile = None,
    profile: Profile = None,
    on: On = None,
    first: From = None,
    last: To = None,
    as_of: AsOf = None,
    forecast: Forecast = None,
) -> None:
    """Say why a rule fired, or the first condition that failed, and by how much."""
    from riskrules.cli_show import show_explanations

    days = _days(on, first, last)
    if "@" in rule:  # an id: rule, block and start of the episode
        rule, block, start = [*rule.split("@"), "", ""][:3]
    else:
        start = ""
    at = _moment(start or None, None)
    if start:
        day = _day(start[:10], "the id's date")
        days = (day, day)
    found = _reviewed(logs, store, journal, events, farm, profile, days, as_of, forecast)
    show_explanations(found, rule, block, at)


@app.command()
def tables(
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    all_rows: Annotated[
        bool, typer.Option("--all", help="Also rows that only repeat computed numbers.")
    ] = False,
) -> None:
    """Recompute every printed number that the models rely on, and show the difference."""
    from riskrules.cli_show import show_tables

    if not show_tables(as_json, all_rows):
        raise typer.Exit(1)


@app.command()
def packs(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Pack files to check; else the shipped ones.")
    ] = None,
    profile: Profile = None,
    rules: Annotated[bool, typer.Option("--rules", help="List every rule in words.")] = False,
) -> None:
    """List the packs and check them: their schema, names, units, and the examples they carry."""
    from riskrules.cli_show import show_packs

    if not show_packs(files or [], profile, rules):
        raise typer.Exit(1)


def main() -> None:
    """Run a command; a trouble that we know becomes one clear message and exit code 1."""
    try:
        app()
    except RiskRulesError as error:
        print(error, file=sys.stderr)
        raise SystemExit(1) from None
    except BrokenPipeError:
        sys.stderr.close()
        raise SystemExit(0) from None


if __name__ == "__main__":
    main()
