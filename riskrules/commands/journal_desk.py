"""What every journal command shares: where the journal is, whose hand, the clock, the checks."""

from __future__ import annotations

import inspect
import json
import os
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Concatenate, ParamSpec, get_type_hints
from uuid import UUID
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from riskrules.commands.journal_hand import last_hand, remember
from riskrules.commands.journal_times import Clock
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.farm import Farm
    from riskrules.journal.records import Block, Record
    from riskrules.journal.rows import Stored
    from riskrules.journal.store import Journal, Kept
    from riskrules.journal.symptoms import SymptomList
    from riskrules.journal.view import View
    from riskrules.show import Style

JOURNAL, FARM, WHO = "RISKRULES_JOURNAL", "RISKRULES_FARM", "RISKRULES_WHO"
TOKEN = "RISKRULES_TOKEN"
P = ParamSpec("P")

SHARED: dict[str, Any] = {
    "journal": Annotated[
        str | None,
        typer.Option(
            "--journal",
            help=f"The journal: a file or a database URL; else the farm's, or {JOURNAL}.",
        ),
    ],
    "farm": Annotated[
        Path | None, typer.Option("--farm", help="The farm file (YAML).", envvar=FARM)
    ],
    "zone": Annotated[
        str | None,
        typer.Option("--zone", help="The clock of times, where there is no farm file; else UTC."),
    ],
    "as_json": Annotated[bool, typer.Option("--json", help="Print JSON.")],
}
WRITING: dict[str, Any] = {
    "who": Annotated[
        str | None,
        typer.Option("--who", help=f"Who says so; else {WHO}, or who wrote last on this machine."),
    ],
    "yes": Annotated[
        bool, typer.Option("--yes", "-y", help="Take what is doubtful without asking.")
    ],
}


def clock_now() -> int:
    """Return the time by this machine's clock. [s since 1970 UTC]"""
    return int(time.time())


def is_terminal() -> bool:
    """Whether somebody is there to answer."""
    return sys.stdin is not None and sys.stdin.isatty()


def say(text: str, indent: int = 0, style: str = "") -> None:
    """Print a paragraph as wide as the terminal."""
    from riskrules.cli_show import console
    from riskrules.commands.logs_words import say as said

    said(console(), plain(text), indent, style)


def plain(text: str) -> str:
    """Return a text without characters that draw on a terminal or that it cannot show.

    Examples
    --------
    >>> plain("dew" + chr(27) + "[31m")
    'dew�[31m'
    """
    return "".join(c if c.isprintable() or c == "\n" else "�" for c in text)


def note(text: str) -> None:
    """Say something beside the result, so that a script reads the result alone."""
    print(plain(text), file=sys.stderr)


def command(
    app: typer.Typer, name: str, writes: bool = False
) -> Callable[[Callable[Concatenate[Desk, P], None]], Callable[Concatenate[Desk, P], None]]:
    """Make a command of a function that takes a desk first; it gets the options all share."""

    def made(
        function: Callable[Concatenate[Desk, P], None],
    ) -> Callable[Concatenate[Desk, P], None]:
        shared = SHARED | (WRITING if writes else {})

        def run(**given: Any) -> None:
            own = {key: value for key, value in given.items() if key not in shared}
            desk = Desk(**{key: given[key] for key in shared})
            try:
                function(desk, **own)  # type: ignore[call-arg]
            finally:
                desk.close()

        params = _params(function, shared)
        run.__signature__ = inspect.Signature(params)  # type: ignore[attr-defined]
        run.__annotations__ = {p.name: p.annotation for p in params}
        run.__doc__ = function.__doc__
        app.command(name)(run)
        return function

    return made


def _params(function: Callable[..., None], shared: Mapping[str, Any]) -> list[inspect.Parameter]:
    """Return the options of a function but its desk, and those that are shared."""
    kinds = get_type_hints(function, include_extras=True)
    params = [
        p.replace(annotation=kinds[p.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for p in list(inspect.signature(function).parameters.values())[1:]
    ]
    for key, kind in shared.items():
        default = False if key in ("as_json", "yes") else None
        only = inspect.Parameter.KEYWORD_ONLY
        params.append(inspect.Parameter(key, only, default=default, annotation=kind))
    return params


class Desk:
    """One command at work: opens what it needs when it needs it."""

    def __init__(
        self,
        journal: str | None,
        farm: Path | None,
        zone: str | None,
        as_json: bool,
        who: str | None = None,
        yes: bool = False,
    ) -> None:
        self._where, self._farm, self._zone = journal, farm, zone
        self._who, self.yes, self.as_json = who, yes, as_json
        self._open: Journal | None = None
        self.hint = ""
        self.now = clock_now()

    def close(self) -> None:
        """Close the journal, where it was opened."""
        if self._open is not None:
            self._open.close()

    @cached_property
    def farm(self) -> Farm | None:
        """The farm of the farm file, None without one."""
        from riskrules.farm import load_farm

        return load_farm(self._farm) if self._farm else None

    @cached_property
    def clock(self) -> Clock:
        """The farm's clock; without a farm file that of ``--zone``, else UTC, which is said."""
        if self._zone is not None:
            try:
                return Clock(ZoneInfo(self._zone), self.now, self.which)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                message = f"--zone is '{self._zone}'; expected a name such as America/Chicago"
                raise RiskRulesError(message) from None
        if self.farm is not None:
            return Clock(self.farm.zone, self.now, self.which)
        note(f"No farm file: times are in UTC (--farm, --zone or {FARM} to change).")
        return Clock(ZoneInfo("UTC"), self.now, self.which)

    @cached_property
    def style(self) -> Style:
        """How numbers and times are shown."""
        from riskrules.show import Style

        if self.farm is None:
            return Style(self.clock.zone)
        show = self.farm.text.show
        return Style(self.clock.zone, show.temperature, show.rain)

    @cached_property
    def symptoms(self) -> SymptomList:
        """The list of symptoms."""
        from riskrules.journal.symptoms import load_symptoms

        return load_symptoms()

    @cached_property
    def place(self) -> str | Path:
        """Where the journal is, as named: by option, farm file or environment."""
        from riskrules.journal.database import EXPECTED, understood
        from riskrules.sources import journal_of

        named = self._where
        if named is None and self.farm is not None:
            named = journal_of(self.farm)
        named = named if named is not None else os.environ.get(JOURNAL)
        if not named:
            message = f"no journal; expected --journal, a farm file that names one, or {JOURNAL}"
            raise typer.BadParameter(message)
        try:
            understood(named)
        except ValueError:  # SQLAlchemy's, of a port that is no number
            message = f"the URL of the journal cannot be understood; {EXPECTED}"
            raise RiskRulesError(message) from None
        return named

    def journal(self, create: bool = False) -> Journal:
        """Return the journal; a new one is only made where ``create`` says so."""
        if self._open is None:
            from riskrules.journal.store import open_journal

            fresh = self._to_be_made()
            if fresh and not create:
                message = f"there is no journal {fresh} yet; expected one"
                raise RiskRulesError(f"{message}, the first 'riskrules journal add' makes it")
            self._open = open_journal(self.place)
            if fresh:
                note(f"Started a new journal, {fresh}.")
        return self._open

    def there(self) -> Journal | None:
        """Return the journal, None where it is a file that is yet to be made."""
        if self._open is None and self._to_be_made():
            return None
        return self.journal()

    def _to_be_made(self) -> Path | None:
        """Return the file of the journal where it is not there yet."""
        from riskrules.journal.database import understood

        url = understood(self.place)
        if url.get_backend_name() != "sqlite":
            return None
        path = Path(str(url.database))
        return None if path.exists() else path

    @property
    def farm_blocks(self) -> list[str]:
        """The blocks of the farm file."""
        return [b.block for b in self.farm.text.blocks] if self.farm else []

    def blocks(self) -> list[str]:
        """Return all blocks that the farm file and the journal know."""
        return sorted({*self.farm_blocks, *self.told_blocks})

    @cached_property
    def told_blocks(self) -> dict[str, Block]:
        """What the journal says of each block, as the command began."""
        journal = self.there()
        return journal.blocks() if journal else {}

    def about(self, block: str) -> Block:
        """Return what the journal, or else the farm file, says of a block."""
        from riskrules.journal.records import Block

        told = self.told_blocks.get(block)
        if told is not None:
            return told
        for text in self.farm.text.blocks if self.farm else ():
            if text.block == block:
                return Block(
                    tunnel=text.tunnel, row_covers=text.row_covers,
                    ground=text.ground, plants=text.plants,
                )  # fmt: skip
        expected = f"expected one of {', '.join(known)}" if (known := self.blocks()) else "none yet"
        raise RiskRulesError(f"no block '{block}' here; {expected}")

    @cached_property
    def who(self) -> str:
        """Whose hand it is; asked where nobody said."""
        if self._who is not None:
            return self._who
        if name := os.environ.get(WHO):
            return name
        if name := last_hand():
            note(f"Written as {name}, as last time here (--who to change).")
            return name
        if is_terminal():
            return str(typer.prompt("Who writes this?", err=True)).strip()
        raise RiskRulesError(f"nobody said who writes this; expected --who, or {WHO}")

    def which(self, question: str, options: tuple[str, str]) -> int:
        """Ask which of two is meant; nobody there, or only a yes: refused."""
        if self.yes or not is_terminal():
            raise RiskRulesError(f"{question}; expected '{options[0]}' or '{options[1]}'")
        note(f"{question}:\n  1. {options[0]}\n  2. {options[1]}")
        answer = ""
        while answer not in ("1", "2"):
            answer = str(typer.prompt("Which of the two, 1 or 2?", err=True)).strip()
        return int(answer) - 1

    def view(self, blocks: set[str]) -> View:
        """Return the journal as checks of records in some blocks see it."""
        from riskrules.journal.view import View

        journal = self.there()
        known: dict[str, Block | None] = dict.fromkeys(self.farm_blocks)
        if journal is None:
            return View([], known, self.now, self.clock.zone)
        known |= self.told_blocks
        # One block at a time, so that a long journal of many blocks need not be read.
        found = {r.id: r for block in sorted(blocks) or [""] for r in journal.counting(block)}
        ordered = sorted(found.values(), key=lambda r: (r.time, r.id.int))
        return View(ordered, known, self.now, self.clock.zone)

    def find(self, text: str) -> Stored:
        """Return the record with an identifier, or the only one whose identifier starts so."""
        from sqlalchemy import select

        from riskrules.journal.tables import record

        plain = text.strip().lower()
        if len(plain) < 4 or set(plain) - set("0123456789abcdef-"):
            message = f"'{text}' is no record's identifier; expected its first characters"
            raise RiskRulesError(f"{message} (4 or more), as 'journal show' prints them")
        journal = self.journal()
        query = select(record.c.id).where(record.c.id.like(f"{plain}%")).limit(3)
        with journal.database.reading() as conn:
            fits = list(conn.execute(query).scalars())
        if not fits:
            raise RiskRulesError(f"no record '{text}' here; expected one that 'journal show' lists")
        if len(fits) > 1:
            raise RiskRulesError(f"several records start with '{text}'; expected more of it")
        return next(s for s in journal.history(fits[0]) if s.record.id == UUID(fits[0]))

    def keep(self, records: Sequence[Record], photos: Sequence[bytes] = ()) -> list[Kept]:
        """Check records, ask about what is doubtful, keep them, and remember whose hand it was.

        Raises
        ------
        RiskRulesError
            With one sentence for each thing that is wrong, or that is doubtful where nobody is
            there to ask; nothing is kept then.
        """
        wrong, doubtful = self._looked_at(records)
        hint = self.hint if any("in the future" in said for said in wrong) else ""
        if wrong:
            raise RiskRulesError("\n".join(dict.fromkeys(wrong)) + hint)
        self._ask(list(dict.fromkeys(doubtful)))
        journal = self.journal(create=True)
        for data in photos:
            journal.add_photo(data)
        kept = journal.add(records)
        if records and records[0].who == self.__dict__.get("who"):
            remember(records[0].who)
        return kept

    def _looked_at(self, records: Sequence[Record]) -> tuple[list[str], list[str]]:
        """Return what is wrong and what is doubtful, each record seeing those before it."""
        from riskrules.journal.checks import doubts, refuse

        names = {r.block or "" for r in records}
        targets = {r.replaces for r in records if r.replaces is not None}
        journal = self.there() if targets else None
        history = [s for t in targets for s in journal.history(t)] if journal else []
        view = self.view(names | {s.record.block or "" for s in history})
        # What lost in a clash stands: to take it back is how a clash is settled.
        seen = {r.id for r in view.records}
        standing = [s.record for s in history if s.replaced is None and s.record.id in targets]
        view = replace(view, records=[*view.records, *(r for r in standing if r.id not in seen)])
        wrong, doubtful = [], []
        for each in records:
            lead = f"{each.block}: " if len(names) > 1 and each.block else ""
            said = refuse(each, view) + self.symptoms.refuse(each)
            wrong += [lead + s for s in said]
            doubtful += [] if said else [lead + s for s in doubts(each, view)]
            view = replace(view, records=[*view.records, each])
        return wrong, doubtful

    def _ask(self, doubtful: list[str]) -> None:
        if self.yes:
            for question in doubtful:
                note(f"Taken (--yes): {question}")
        elif doubtful and not is_terminal():
            raise RiskRulesError("\n".join([*doubtful, "Nothing was kept; expected --yes if so"]))
        else:
            for question in doubtful:
                if not typer.confirm(f"{question} Keep it?", err=True):
                    raise RiskRulesError("Nothing was kept.")

    def print_json(self, kind: str, **body: Any) -> None:
        """Print JSON of a kind, one document."""
        head = {"format": f"riskrules journal {kind} 1"}
        # Escaped beyond ASCII: whatever somebody typed can be printed anywhere.
        print(json.dumps(head | body, ensure_ascii=True, allow_nan=False))
