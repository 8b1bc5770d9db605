"""What the commands about logs print: in the words of the trade and the units of the farm."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from riskrules import cli_show
from riskrules.commands.logs_words import (
    count_of,
    heading,
    moment,
    name_of,
    place_of,
    say,
    span,
    style_of,
)
from riskrules.errors import Problem
from riskrules.logs.variables import OUTSIDE, VARIABLES
from riskrules.show import Style

if TYPE_CHECKING:
    from riskrules.farm import Farm
    from riskrules.logbook.intake import Taken
    from riskrules.logbook.status import Status
    from riskrules.logs.propose import Proposal
    from riskrules.logs.store import Record, Traced


def show_outcome(taken: Taken) -> None:
    """Print in one line (where it fits) what became of a file."""
    out = cli_show.console()
    name = taken.path.name
    if taken.state == "not ours":
        said = "no log of this farm; left alone"
    elif taken.problems:
        said = f"SET ASIDE ({taken.problems[0]})"
    else:
        said = f"{place_of(taken.block, taken.sensor)}: " + {
            "new": "new",
            "known": "already read, nothing changed",
            "grown": "takes the place of a shorter one",
        }.get(taken.state, taken.state)
        said += f", {taken.rows:,} of {count_of(taken.read, 'row')} kept"
    say(out, f"{name}: {said}")


def show_read(found: Sequence[Taken]) -> None:
    """Print a short account of all files."""
    out = cli_show.console()
    aside = [t for t in found if t.problems]
    known = sum(t.state == "known" for t in found)
    fresh = sum(t.state in ("new", "grown") for t in found)
    out.print()
    say(out, f"{count_of(len(found), 'file')}: {fresh:,} read, {known:,} already known, "
        f"{len(aside):,} set aside, {sum(t.state == 'not ours' for t in found):,} not of this "
        "farm.", style="bold")  # fmt: skip
    for t in aside:
        for problem in t.problems:
            say(out, str(problem), indent=3)


def show_status(found: Status) -> None:
    """Print how old each source is and whether the dawn review ran; alarms are marked."""
    out = cli_show.console()
    for one in found.sources:
        mark = "" if one.state == "fresh" else "! "
        say(out, f"{mark}{one.sentence}", style="bold" if mark else "")
    mark = "! " if found.review.state == "missing" else ""
    say(out, f"{mark}{found.review.sentence}", style="bold" if mark else "")
    if found.aside:
        say(out, f"Set aside, could not be read: {', '.join(found.aside)}")


def status_json(found: Status, farm: Farm) -> str:
    """Return the JSON of the ages of sources: times in ISO 8601 on the farm's clock."""
    zone = style_of(farm).zone

    def iso(seconds: int | None) -> str | None:
        return None if seconds is None else datetime.fromtimestamp(seconds, zone).isoformat()

    review = {"day": found.review.day.isoformat(), "due": iso(found.review.due),
              "last": iso(found.review.last)}  # fmt: skip
    body = {
        "format": "riskrules log status 1",
        "farm": farm.text.farm,
        "now": iso(found.now),
        "alarm": found.alarm,
        "sources": [asdict(s) | {"last": iso(s.last)} for s in found.sources],
        "review": asdict(found.review) | review,
        "aside": list(found.aside),
    }
    return json.dumps(body, ensure_ascii=False)


def show_check(problems: Sequence[Problem]) -> None:
    """Print what is wrong with a store."""
    out = cli_show.console()
    for problem in problems:
        say(out, str(problem))
    say(out, f"{count_of(len(problems), 'trouble')} found." if problems else "The store is whole.",
        style="bold")  # fmt: skip


def show_history(records: Sequence[Record], farm: Farm | None) -> None:
    """Print every file that was ever read, oldest first."""
    out, style = cli_show.console(), style_of(farm)
    if not records:
        say(out, "Nothing was read yet.")
    for r in records:
        when = datetime.fromtimestamp(r.read_at, style.zone).strftime("%Y-%m-%d %H:%M")
        say(out, f"{when}: {r.file} ({r.sha256[:12]}), {_record(r, style)}")
        for file, sha in r.superseded:
            say(out, f"took the place of {file} ({sha[:12]})", indent=3)


def _record(r: Record, style: Style) -> str:
    if r.state == "aside":
        return "SET ASIDE: " + "; ".join(str(p) for p in r.problems)
    times = "" if r.first is None or r.last is None else f", {span(style, r.first, r.last)}"
    said = (
        f"{place_of(r.block, r.sensor)}: {r.rows:,} of {count_of(r.rows_read, 'row')} kept{times}"
    )
    if r.superseded_by:
        how = {"grown": "by a longer one", "mapping": "by another understanding of it"}
        file, sha = r.superseded_by
        said += f". Replaced {how.get(r.state, '')}: {file} ({sha[:12]})"
    return said


def history_json(records: Sequence[Record], farm: Farm | None) -> str:
    """Return the JSON of a store's history: times in ISO 8601 on the farm's clock."""
    iso = style_of(farm).iso
    rows = []
    for r in records:
        times = {k: None if (t := getattr(r, k)) is None else iso(t)
                 for k in ("written", "read_at", "first", "last")}  # fmt: skip
        rows.append(asdict(r) | times)
    return json.dumps({"format": "riskrules log history 1", "files": rows}, ensure_ascii=False)


def show_trace(found: Mapping[str, Sequence[Traced]], at: int, farm: Farm | None) -> None:
    """Print where the values of one time come from, the one that counts first."""
    out, style = cli_show.console(), style_of(farm)
    say(out, f"{moment(style, at)} ({style.iso(at)})", style="bold")
    for name, some in found.items():
        for t in some:
            unit = VARIABLES[name.removesuffix(OUTSIDE)].unit
            value = "unknown" if math.isnan(t.value) else style.value(t.value, unit)
            where = f"{t.file}:{t.line}" if t.line else t.file
            mark = "" if t.wins else ", replaced"
            say(out, f"{name_of(name)}: {value}, from {where} ({t.sha256[:12]}){mark}", indent=3)


def show_proposal(found: Proposal, file: str, farm: Farm | None = None) -> None:
    """Print how a log is understood: what was found and why, ten rows, and what is in doubt."""
    out, style = cli_show.console(), style_of(farm)
    say(out, f"How {file} is understood", style="bold")
    for reason in found.reasons:
        say(out, reason, indent=3)
    heading(out, "Rows as understood" if found.rows else "No row can be shown yet")
    for row in found.rows:
        cells = [f"{name_of(k)} {_cell(v, style)}"
                 for k, v in row.items() if k not in ("line", "time")]  # fmt: skip
        when = str(row["time"]).replace("T", " ", 1)
        say(out, f"line {row['line']}, {when}: {', '.join(cells)}", indent=3)
    heading(out, "Please answer" if found.doubts else "Nothing is in doubt")
    for number, doubt in enumerate(found.doubts, 1):
        say(out, f"{number}. {doubt}", indent=3)
    heading(out, "The mapping")
    for line in found.text.splitlines():
        out.print(line, markup=False, highlight=False)


def _cell(value: str, style: Style) -> str:
    """Return a value such as '10.0556 degC' in the units of the farm."""
    number, _, unit = value.partition(" ")
    try:
        return style.value(float(number), unit)
    except ValueError:
        return value


def proposal_json(found: Proposal) -> str:
    """Return the JSON of a proposal."""
    body = {
        "format": "riskrules log proposal 1",
        "mapping": found.mapping.model_dump(mode="json", exclude_defaults=True),
        "reasons": list(found.reasons),
        "rows": list(found.rows),
        "doubts": list(found.doubts),
        "text": found.text,
    }
    return json.dumps(body, ensure_ascii=False)
