"""Print the log report: what became of every row and value, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import Console

from riskrules import cli_show
from riskrules.commands.logs_words import (
    count_of,
    heading,
    in_plain,
    moment,
    name_of,
    place_of,
    say,
    span,
    step_words,
    style_of,
)
from riskrules.logs.report import LogReport, SourceRows, TroubleRows, VariableRows
from riskrules.logs.report.plain import dumps
from riskrules.show import Style

if TYPE_CHECKING:
    from riskrules.farm import Farm

STATE_WORDS = {
    "passed": "good",
    "not_evaluated": "not judged",
    "suspect": "doubted",
    "failed": "refused",
    "missing": "missing",
    "filled": "filled in",
    "borrowed": "borrowed",
}
PLACED = {"under_cover": "under the cover", "outside": "outside", "in_bed": "in the bed"}
MOST_FILES = 20
"""Files of a block that are listed one by one when nothing is wrong with them. (assumption)"""


def report_json(report: LogReport, farm: Farm | None) -> str:
    """Return the JSON of a report on the farm's clock."""
    return dumps(report, farm.text.farm if farm else "", style_of(farm).zone)


def show_report(report: LogReport, farm: Farm | None) -> None:
    """Print a log report: each block and its files, each sensor, then each kind of trouble."""
    out, style = cli_show.console(), style_of(farm)
    clock = "" if farm else " Times are in UTC."
    say(out, f"Log report{f', {farm.text.farm}' if farm else ''}.{clock}", style="bold")
    for b in report.blocks:
        name = b.block or "Air outside"
        alone = b.files == 1  # then the file's line says all that the sums would
        heading(out, name if alone else _rows(f"{name}: {count_of(b.files, 'file')}", b))
        _show_files(out, report, b.block)
        for s in report.sources:
            if s.block == b.block:
                _show_source(out, s, style)
    _show_troubles(out, report, style)
    if report.remarks:
        heading(out, "Remarks")
        for note in report.remarks:
            say(out, in_plain(str(note)), indent=3)
    if report.aside:
        heading(out, "Set aside: could not be read")
        for problem in report.aside:
            say(out, str(problem), indent=3)


def _rows(name: str, rows: Any) -> str:
    """Return the fates of rows of a file or block; those that are 0 are left out."""
    fates = (("kept", rows.kept), ("refused", rows.refused), ("repeated", rows.repeated),
             ("empty", rows.blank))  # fmt: skip
    said = ", ".join(f"{n:,} {word}" for word, n in fates if n) or "none kept"
    text = f"{name}, {count_of(rows.read, 'row')} read: {said}."
    if rows.replaced:
        text += f" Of those kept, {rows.replaced:,} gave way to another file."
    if rows.doubted:
        text += f" {count_of(rows.doubted, 'row')} in use with a value doubted or refused."
    return text


def _show_files(out: Console, report: LogReport, block: str) -> None:
    files = [f for f in report.files if f.block == block]
    plain = [f for f in files if f.kept == f.read and not (f.doubted or f.replaced)]
    for f in files:
        if f not in plain or len(plain) <= MOST_FILES:
            say(out, _rows(f.file, f), indent=3)
    if len(plain) > MOST_FILES:
        say(out, f"{len(plain):,} more files with every row kept and no doubt.", indent=3)


def _show_source(out: Console, s: SourceRows, style: Style) -> None:
    when = "no rows" if s.first is None or s.last is None else span(style, s.first, s.last)
    said = f"{s.sensor} ({PLACED.get(s.placed, s.placed)}), {when}, {step_words(s.step)}"
    forecast = f", {s.forecast:,} of them forecast" if s.forecast else ""
    added = f", {s.added:,} of them in no file" if s.added else ""
    say(out, f"{said}: {count_of(s.rows, 'row')}{forecast}{added}.", indent=3)
    for v in s.variables:
        say(out, _values(v, style), indent=6)
    if s.absent:
        longest = max(s.runs, key=lambda r: r.end - r.start)
        times = "in one stretch," if len(s.runs) == 1 else f"in {len(s.runs):,}, the longest"
        say(out, f"No row for {count_of(s.absent, 'step')} of {s.steps:,}, {times} "
            f"{span(style, longest.start, longest.end)}.", indent=6)  # fmt: skip


def _values(v: VariableRows, style: Style) -> str:
    said = ", ".join(f"{v.of(s):,} {word}" for s, word in STATE_WORDS.items() if v.of(s))
    unknown = [r for r in v.runs if r.state in ("missing", "failed")]
    if unknown:
        longest = max(unknown, key=lambda r: r.end - r.start)
        said += f"; longest unknown {span(style, longest.start, longest.end)}"
    return f"{name_of(v.variable)}: {said or 'none'}"


def _show_troubles(out: Console, report: LogReport, style: Style) -> None:
    heading(out, "Troubles")
    if not report.troubles:
        say(out, "None found.", indent=3)
    for t in report.troubles:
        what = f"{name_of(t.variable)}: {t.words}" if t.variable else t.words
        say(out, f"{place_of(t.block, t.sensor)}: {what}, {count_of(t.count, 'time')}"
            f"{_when(t, style)}.", indent=3)  # fmt: skip
        e = t.example
        where = f"{e.file}:{e.line}" if e.line else e.file
        row = f" The row: {e.row}" if e.row else ""
        say(out, f"Such as {where or 'a row of no file'}: {in_plain(e.says)}.{row}", indent=6)


def _when(t: TroubleRows, style: Style) -> str:
    if t.first is None or t.last is None:
        return ""
    if t.first == t.last:
        return f", {moment(style, t.first)}"
    return f", from {moment(style, t.first)} to {moment(style, t.last)}"
