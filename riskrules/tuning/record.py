"""The record of a replay: one HTML file that another adviser can read without the tool."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from riskrules.logs.store.files import write_flushed
from riskrules.packs.load import Rulebook
from riskrules.packs.model import Threshold
from riskrules.tuning.apart import Apart
from riskrules.tuning.charts import cover_chart, interval_chart, sweep_chart
from riskrules.tuning.kept import stop_writing
from riskrules.tuning.rows import What
from riskrules.tuning.scores import Estimate, Score
from riskrules.tuning.summary import Summary, missing_of
from riskrules.tuning.sweep import Sweep

MOST_ROWS = 200
"""Rows of a table that are shown; the tables of the run hold all. (assumption)"""
ENOUGH = 0.9
"""Share of a season that a log must cover not to be listed as missing. (assumption)"""
STYLE = """
body{font:16px/1.5 system-ui,sans-serif;color:#1d1d1f;background:#fff;max-width:60rem;
margin:2rem auto;padding:0 1rem}
h1,h2{line-height:1.2}table{border-collapse:collapse;margin:1rem 0;font-size:.9rem}
caption{text-align:left;font-weight:600;padding:.3rem 0}
th,td{border-bottom:1px solid #d5d5d8;padding:.25rem .7rem .25rem 0;text-align:left;
vertical-align:top}td.n{text-align:right;font-variant-numeric:tabular-nums}
.said{border-left:4px solid #a3290a;padding:.2rem .8rem;margin:1rem 0}
.wide{overflow-x:auto}
svg{max-width:100%;height:auto;font:12px system-ui,sans-serif}
pre{background:#f4f4f6;padding:.8rem;white-space:pre-wrap;overflow-wrap:anywhere}
"""
WHATS: tuple[What, ...] = ("came", "went", "moved")
NAMES = {
    "detection": "probability of detection",
    "false alarms": "false-alarm ratio",
    "success": "critical success index",
    "skill": "skill over chance",
    "brier": "Brier score of the index",
}
MEANS = (
    "Detection: of the days on which the symptom was seen, the share that a finding foretold "
    "within the published time. False-alarm ratio: of the findings in whose time somebody looked, "
    "the share without a sighting. Critical success: both in one number, 1 at best. Skill: "
    "detection less the share of clean days that a finding covered; 0 is chance. Brier: mean "
    "squared error of the index, 0 at best. The interval (95 %) comes from drawing whole "
    "block-seasons anew; 'open' is what the number would be if all that nobody could tell fell "
    "one way or the other."
)


@dataclass(frozen=True, slots=True)
class ProfileSaid:
    """A profile as the record shows it: name, version, and what it sets otherwise."""

    name: str
    version: str
    changes: tuple[tuple[Threshold, Threshold], ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """All that the record says.

    ``question`` is the adviser's, in words; ``command`` makes the record again; ``inputs`` is a
    hash of all block-seasons, so that another can tell whether theirs are the same. ``swept`` and
    ``apart`` stand beside ``sweeps``: what each setting changes against the present one, and what
    a setting chosen on some seasons does on others.
    """

    question: str
    profiles: tuple[ProfileSaid, ...]
    summary: Summary
    scores: tuple[Score, ...]
    sweeps: tuple[Sweep, ...]
    versions: dict[str, str]
    command: str
    inputs: str = ""
    remarks: tuple[str, ...] = ()
    swept: tuple[Summary, ...] = ()
    apart: tuple[Apart, ...] = ()


def profile_said(name: str, book: Rulebook, shipped: Rulebook) -> ProfileSaid:
    """Return what a profile sets otherwise than the packs as they ship."""
    tables = [(shipped.shared, book.shared)]
    for pack in book.packs:
        first = next((p.thresholds for p in shipped.packs if p.name == pack.name), {})
        tables.append((first, pack.thresholds))
    found = [
        (old[n], new[n])
        for old, new in tables
        for n in sorted(new)
        if n in old and old[n].value != new[n].value
    ]
    return ProfileSaid(name, book.profile or "as shipped", tuple(found))


def write_record(path: Path, record: Record) -> None:
    """Write the record, whole or not at all; ReplayStop where the disk takes no more."""
    raw = html_of(record).encode("utf-8")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_flushed(path, raw, hashlib.sha256(raw).hexdigest())
    except OSError as error:
        stop_writing(path, error)


def html_of(record: Record) -> str:
    """Return the record as one HTML text: no script, and nothing that is fetched."""
    title = "Record of a replay of risk rules"
    body = [
        f"<h1>{title}</h1>",
        *_question(record),
        *_profiles(record),
        *_cover(record.summary),
        *_changes(record),
        *_scores(record),
        *_sweeps(record),
        *_again(record),
    ]
    safe = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{safe}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(body)
        + "\n</main>\n</body>\n</html>\n"
    )


Cell = str | int | float | None


def table(caption: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a table; of many rows the first `MOST_ROWS`, and it says how many there are."""
    every = list(rows)
    if len(every) > MOST_ROWS:
        caption += f" (the first {MOST_ROWS} of {len(every):,}; the run's tables hold all)"
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in header)
    lines = ["<tr>" + "".join(map(_cell, row)) + "</tr>" for row in every[:MOST_ROWS]]
    named = escape(caption)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{named}"><table>'
        f"<caption>{named}</caption><thead><tr>{head}</tr></thead><tbody>"
        + "".join(lines)
        + "</tbody></table></div>"
    )


def _cell(value: Cell) -> str:
    if isinstance(value, str):
        return f"<td>{escape(value)}</td>"
    return f'<td class="n">{"" if value is None else f"{value:,.6g}"}</td>'


def _said(words: str) -> str:
    return f'<p class="said">{escape(words)}</p>'


def _question(record: Record) -> list[str]:
    words = record.question or "None was written down."
    found = ["<h2>Question</h2>", f"<p>{escape(words)}</p>"]
    return found + [_said(remark) for remark in record.remarks]


def _profiles(record: Record) -> list[str]:
    found = ["<h2>Profiles</h2>"]
    rows = [
        (p.name, p.version, record.summary.findings_of(p.name), record.summary.hours_of(p.name))
        for p in record.profiles
    ]
    header: Sequence[str] = ("profile", "version", "findings", "crew hours [h]")
    found.append(table("What was tried", header, rows))
    changed = [
        (p.name, new.name, old.value, new.value, new.unit, f"{new.source} ({new.tag})", new.origin)
        for p in record.profiles
        for old, new in p.changes
    ]
    if changed:
        header = ("profile", "threshold", "as shipped", "here", "unit", "source", "set by")
        found.append(table("What they set otherwise", header, changed))
    return found


def _cover(summary: Summary) -> list[str]:
    covers = summary.covers
    blocks, seasons = {c.block for c in covers}, {c.season for c in covers}
    readings = sum(c.readings for c in covers)
    seen = sum(c.sightings for c in covers)
    looked = sum(1 for c in covers if c.sightings)
    found = [
        "<h2>Data covered and missing</h2>",
        f"<p>{len(covers):,} block-seasons of {len(blocks):,} blocks and {len(seasons):,} seasons, "
        f"{readings:,} readings. Scouts counted {seen:,} times, in {looked:,} block-seasons.</p>",
    ]
    if covers:
        found.append(cover_chart(covers))
    short = missing_of(covers, ENOUGH)
    if short:
        rows = [(c.block, c.season, round(c.share * 100, 1), c.unknowns) for c in short]
        header = ("block", "season", "log covers [%]", "times nothing could be told")
        caption = f"Logs that cover less than {ENOUGH:.0%} of the season: the rest is unknown"
        found.append(table(caption, header, rows))
    causes = summary.causes_of(summary.base)
    if causes:
        caption = f"Why something could not be told, under {summary.base}"
        found.append(table(caption, ("cause", "times"), causes))
    return found


def _changes(record: Record) -> list[str]:
    if len(record.profiles) < 2:
        return []
    names = [p.name for p in record.profiles]
    return ["<h2>What would have changed</h2>", *_change_tables(record.summary, names, "profile")]


def _change_tables(summary: Summary, names: Iterable[str], what: str) -> list[str]:
    """Return what came, went and moved against the base: in all, then block by block."""
    total: list[tuple[Cell, ...]] = [
        (name, *(summary.changed(name, w) for w in WHATS),
         round(summary.hours_of(name) - summary.hours_of(summary.base), 1))
        for name in names if name != summary.base
    ]  # fmt: skip
    header: Sequence[str] = (what, *WHATS, "crew hours more [h]")
    found = [table(f"Findings against {summary.base}", header, total)]
    jobs = [
        (job.replace("_", " "), name, round(hours, 1), summary.hours_from.get(job, ""))
        for (name, job), hours in sorted(summary.hours.items(), key=lambda x: x[0][::-1])
    ]
    if jobs:
        header = ("job", what, "crew hours [h]", "hours of one time from")
        found.append(table("Jobs that findings ask for", header, jobs))
    rows = [(*key, n) for key, n in sorted(summary.changes.items())]
    if rows:
        header = (what, "block", "month", "rule", "what became of it", "findings")
        found.append(table("By block, month and rule", header, rows))
    return found


def _scores(record: Record) -> list[str]:
    found = ["<h2>Scores against what was seen</h2>", f"<p>{escape(MEANS)}</p>"]
    if not record.scores:
        return [*found, _said("No hazard was scored.")]
    for hazard in dict.fromkeys(s.hazard for s in record.scores):
        found.append(f"<h3>{escape(hazard.replace('_', ' '))}</h3>")
        scores = [s for s in record.scores if s.hazard == hazard]
        notes = dict.fromkeys(f"{s.profile}: {note}" for s in scores for note in s.said)
        found += [_said(note) for note in notes]
        found += _score_tables(hazard, [s for s in scores if s.estimates])
    return found


def _score_tables(hazard: str, scores: Sequence[Score]) -> list[str]:
    if not scores:
        return []
    latency = scores[0].latency
    found = []
    if latency is not None:
        found.append(
            f"<p>Symptoms show {latency.least:g} to {latency.most:g} days after: "
            f"{escape(latency.source)} ({escape(latency.tag)}).</p>"
        )
    every = [(f"{s.profile}: {e.name}", e) for s in scores for e in s.estimates]
    if len(every) <= 30:
        found.append(interval_chart(every, f"Scores of {hazard} with their 95 % intervals"))
    rows = [(s.profile, NAMES[e.name], *_numbers(e)) for s in scores for e in s.estimates]
    header: Sequence[str] = (
        "profile", "score", "value", "95 % interval", "open", "cases", "block-seasons", "note",
    )  # fmt: skip
    found.append(table(f"Scores of {hazard}", header, rows))
    counts = [
        (s.profile, t.answered, t.unanswered, t.unlooked, t.foreseen, t.missed, t.open)
        for s in scores
        for t in [s.total]
    ]
    header = (
        "profile", "answered", "false alarms", "nobody looked", "sightings foreseen", "missed",
        "not to be told",
    )  # fmt: skip
    found.append(table("Counts", header, counts))
    return found


def _numbers(e: Estimate) -> tuple[Cell, ...]:
    return (e.value, _span(e.low, e.high), _span(e.least, e.most), e.cases, e.block_seasons, e.said)


def _span(low: float | None, high: float | None) -> str:
    return "none" if low is None or high is None else f"{low:.3g} to {high:.3g}"


def _sweeps(record: Record) -> list[str]:
    found = []
    for i, sweep in enumerate(record.sweeps):
        names = " and ".join(a.threshold for a in sweep.axes)
        found += [f"<h2>Sweep of {escape(names)}</h2>", _said(sweep.said)]
        found += [_said(apart.said) for apart in record.apart[i : i + 1]]
        found.append(sweep_chart(sweep))
        for a in sweep.axes:
            found.append(
                f"<p>{escape(a.threshold)}: now {a.present:g} {escape(a.unit)}, "
                f"{escape(a.source)} ({escape(a.tag)}); set by {escape(a.origin)}.</p>"
            )
        found.append(_sweep_table(sweep))
        for summary in record.swept[i : i + 1]:
            found.append("<h3>What each setting would have changed</h3>")
            found += _change_tables(summary, [row.name for row in sweep.rows], "setting")
    return found


def _sweep_table(sweep: Sweep) -> str:
    rows = []
    for row in sweep.rows:
        name = row.name + (" (now)" if row.present else "")
        cells: list[Cell] = [name]
        for kind in ("detection", "false alarms", "skill"):
            e = row.score.estimate(kind)
            cells += [e.value, _span(e.low, e.high)]
        rows.append([*cells, row.alarms, row.crew_hours])
    header = (
        "setting", "detection", "95 %", "false-alarm ratio", "95 %", "skill", "95 %",
        "findings a block-season", "crew hours a block-season",
    )  # fmt: skip
    return table("Every setting", header, rows)


def _again(record: Record) -> list[str]:
    rows = [(name, version) for name, version in record.versions.items()]
    if record.inputs:
        rows.append(("inputs (SHA-256)", record.inputs))
    return [
        "<h2>To make this again</h2>",
        f"<pre>{escape(record.command)}</pre>",
        table("What it rests on", ("what", "version"), rows),
        "<p>Findings are what the rules find in the finished log of a season, looking back. No "
        "product, rate or spray decision is in it: those belong to the label and a local "
        "adviser.</p>",
    ]
