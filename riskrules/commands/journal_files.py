"""``riskrules journal``: export, import, backup, restore, check, serve, symptoms."""

from __future__ import annotations

import json
import sys
from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from riskrules.commands.journal_desk import TOKEN, Desk, command, note, say
from riskrules.commands.journal_make import kept_json, told
from riskrules.commands.journal_words import when_of, where_of
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Record
    from riskrules.journal.serve import Receiver

KINDS = ("container", "phone", "records", "sheet", "events")
LINKS = 10
"""Walks whose links are shown when the server starts, the last ones. (assumption)"""
READ_LIMIT = 500_000_000
"""The most bytes of a file that is not a container. (assumption)"""
PATH = Annotated[Path, typer.Argument(help="A file that is not there yet.")]
FILES = Annotated[
    list[Path],
    typer.Argument(help="Containers, files that phones handed over, filled sheets, events files."),
]


def kind_of(path: Path) -> str:
    """Return what a file is by its content: container, phone, records, sheet or events.

    Raises
    ------
    RiskRulesError
        If it cannot be read, or is none of these.
    """
    try:
        with path.open("rb") as file:
            head = file.read(65_536)
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise RiskRulesError(f"{path}: cannot be read: {said}") from None
    if head.startswith(b"PK"):
        return "container"
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith(b"{"):
        return _json_kind(path)
    first = text.split(b"\n", 1)[0].decode("utf-8", "replace").lower()
    names = {n.strip().strip('"') for n in first.replace(";", ",").replace("\t", ",").split(",")}
    if {"walk", "stop", "affected"} <= names:
        return "sheet"
    if {"time", "event"} <= names:
        return "events"
    expected = "expected a container (zip), a file that a phone handed over, a filled sheet (CSV "
    expected += "with walk, stop, affected) or an events file (CSV with time, event)"
    raise RiskRulesError(f"{path}: none that the journal knows; {expected}")


def _json_kind(path: Path) -> str:
    found = _json(path)
    kind = found.get("format") if isinstance(found, dict) else None
    if kind == "riskrules walk 1":
        return "phone"
    if kind == "riskrules journal records 1":
        return "records"
    expected = "expected 'riskrules walk 1', as the form hands over, or the JSON of 'journal show'"
    raise RiskRulesError(f"{path}: its format is {str(kind)[:60]!r}; {expected}")


def _json(path: Path) -> Any:
    try:
        if path.stat().st_size > READ_LIMIT:
            raise RiskRulesError(f"{path}: larger than {READ_LIMIT:,} bytes; expected less")
        return json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError) as error:
        raise RiskRulesError(f"{path}: not readable as JSON: {error}") from None


def read_records(desk: Desk, path: Path, kind: str) -> tuple[list[Record], list[bytes]]:
    """Return the records and photos of a file that is no container."""
    zone = desk.clock.zone.key
    if kind == "sheet":
        from riskrules.journal.sheet import read_filled

        walks = desk.journal(create=True).records(kinds=("walk",))
        return read_filled(path, desk.symptoms, walks, zone), []
    if kind == "events":
        from riskrules.journal.container import import_csv

        return list(import_csv(path, zone, desk.blocks() or None)), []
    if kind == "phone":
        from riskrules.journal.phone import read_handed_over

        try:
            records, photos = read_handed_over(path.read_bytes())
        except OSError as error:
            raise RiskRulesError(f"{path}: cannot be read: {error.strerror}") from None
        return list(records), list(photos.values() if isinstance(photos, dict) else photos)
    return _own_records(path), []


def _own_records(path: Path) -> list[Record]:
    """Return the records in the JSON that ``show --json`` printed."""
    from pydantic import ValidationError

    from riskrules.journal.checks import sentences
    from riskrules.journal.records import RECORD

    rows = _json(path).get("records")
    if not isinstance(rows, list):
        raise RiskRulesError(f"{path}: damaged; expected a list of records")
    found = []
    for number, row in enumerate(rows, 1):
        try:
            found.append(RECORD.validate_python(row))
        except ValidationError as error:
            said = "; ".join(sentences(error))
            raise RiskRulesError(f"{path}: record {number}: {said}") from None
    return found


def _count(number: int) -> str:
    return f"{number:,} record{'' if number == 1 else 's'}"


def take_in(desk: Desk, files: Sequence[Path], kinds: Collection[str] = KINDS) -> None:
    """Take files into the journal, each all or nothing, in the order named."""
    reports: list[dict[str, Any]] = []
    for path in files:
        kind = kind_of(path)
        if kind not in kinds:
            message = f"{path}: it is a file of kind {kind}, not of a walk"
            raise RiskRulesError(f"{message}; expected riskrules journal import for it")
        taken = _take_container if kind == "container" else _take_records
        reports.append({"file": str(path), "kind": kind} | taken(desk, path, kind))
    if desk.as_json:
        desk.print_json("import", files=reports)


def _take_container(desk: Desk, path: Path, kind: str) -> dict[str, Any]:
    from dataclasses import asdict

    from riskrules.journal.container import import_container

    report = import_container(path, desk.journal(create=True))
    if not desk.as_json:
        say(f"{path}: {report}")
    plain = asdict(replace(report, farm=None))
    del plain["farm"]
    return {"report": json.loads(json.dumps(plain, default=str))}


def _take_records(desk: Desk, path: Path, kind: str) -> dict[str, Any]:
    records, photos = read_records(desk, path, kind)
    journal = desk.journal(create=True)
    known = {r.id for r in records if journal.history(r.id)}
    # What is here was looked at when it came; what it says twice is for the store to tell.
    ordered = sorted(records, key=lambda r: r.id in known)
    fresh = [r for r in ordered if r.id not in known]
    kept = desk.keep(fresh, photos) + journal.add(ordered[len(fresh) :])
    if desk.as_json:
        return {"kept": [kept_json(desk, r, k) for r, k in zip(ordered, kept, strict=True)]}
    told(desk, ordered, kept)
    states = [k.state for k in kept]
    say(
        f"{path}: {_count(len(records))}, {states.count('new'):,} new, "
        f"{states.count('known'):,} known already, "
        f"{states.count('differs'):,} set aside as other than before."
    )
    return {}


def export(desk: Desk, path: PATH) -> None:
    """Write the whole journal into one open container: a zip of CSV files and photos."""
    from riskrules.journal.container import export as write_container

    if path.exists():
        raise RiskRulesError(f"{path} is there already; expected the name of a new file")
    write_container(desk.journal(), desk.farm, path)
    if desk.as_json:
        return desk.print_json("file", file=str(path), records=desk.journal().last())
    return say(f"Wrote {path}: {_count(desk.journal().last())}, all versions.")


def import_files(desk: Desk, files: FILES) -> None:
    """Take in containers, files that phones handed over, filled sheets and events files.

    Each file is recognised by its content, and taken in all or not at all; one taken in
    twice is kept once.
    """
    take_in(desk, files)


def backup(desk: Desk, path: PATH) -> None:
    """Copy the journal as it is now into a new file, while it stays in use."""
    desk.journal().backup(path)
    if desk.as_json:
        return desk.print_json("file", file=str(path), records=desk.journal().last())
    return say(f"Wrote {path}: {_count(desk.journal().last())}; it is whole.")


def restore(
    desk: Desk,
    path: Annotated[Path, typer.Argument(help="A file that backup made.")],
) -> None:
    """Make the journal again from a backup, where there is none yet."""
    from riskrules.journal.backup import restore as restored

    restored(path, desk.place)
    count = desk.journal().last()
    if desk.as_json:
        return desk.print_json("file", file=desk.journal().database.name, records=count)
    return say(f"Restored {desk.journal().database.name}: {_count(count)}.")


def check(desk: Desk) -> None:
    """Check that the journal is whole; exit 1 if it is not."""
    from riskrules.commands.journal_show import show_problems

    problems = desk.journal().check()
    name = desk.journal().database.name
    if desk.as_json:
        desk.print_json("check", whole=not problems, problems=[str(p) for p in problems])
    else:
        show_problems(problems, name)
    if problems:
        raise typer.Exit(1)


def serve(
    desk: Desk,
    host: Annotated[
        str, typer.Option("--host", help="Who may reach it: this computer alone, if not said.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="The port.")] = 8010,
    token: Annotated[
        str | None,
        typer.Option(
            "--token", help="The word by which phones are known; else a new one.", envvar=TOKEN
        ),
    ] = None,
) -> None:
    """Hand walk forms to phones and take in what they send, until stopped by Ctrl-C."""
    from riskrules.journal.serve import Farm, receive

    desk.journal(create=True)
    name = desk.farm.text.farm if desk.farm else "Farm"
    about = Farm(name, desk.clock.zone, symptoms=desk.symptoms)
    try:
        with receive(desk.place, host, port, token or None, about) as receiver:
            _say_links(desk, receiver)
            receiver.wait()
    except KeyboardInterrupt:
        note("Stopped.")
    except ValueError as error:
        raise RiskRulesError(str(error)) from None
    except OSError as error:
        message = f"cannot listen on {host}, port {port}: {error.strerror}"
        raise RiskRulesError(f"{message}; expected one that is free") from None


def _say_links(desk: Desk, receiver: Receiver) -> None:
    walks = desk.journal().counting(kinds=("walk",))[-LINKS:]
    if desk.as_json:
        links = {str(walk.id): receiver.link(walk.id) for walk in walks}
        desk.print_json("server", url=receiver.url, links=links)
    else:
        say(f"Listening at {receiver.url}, until Ctrl-C.")
        for walk in walks:
            print(f"{where_of(walk)}, {when_of(walk, desk.style)}: {receiver.link(walk.id)}")
        if not walks:
            say("No walk is planned yet: riskrules journal walk plan.")
    sys.stdout.flush()


def symptoms(desk: Desk) -> None:
    """List the symptoms that may be seen, how each looks, and what looks alike."""
    listed = desk.symptoms
    if desk.as_json:
        rows = {name: s.model_dump(mode="json") for name, s in listed.symptoms.items()}
        return desk.print_json("symptoms", symptoms=rows)
    for name, s in listed.symptoms.items():
        parts = ", ".join(s.parts)
        say(f"{name}: {s.title}, on {parts}", style="bold")
        say(s.looks, indent=3)
        for alike in s.look_alikes:
            say(f"Like {listed.title(alike.symptom).lower()}: {alike.tell}", indent=3)
    return None


def register(app: typer.Typer) -> None:
    """Add the commands about files to the journal's commands."""
    command(app, "export")(export)
    command(app, "import", writes=True)(import_files)
    command(app, "backup")(backup)
    command(app, "restore")(restore)
    command(app, "check")(check)
    command(app, "serve")(serve)
    command(app, "symptoms")(symptoms)
