"""The log report as plain values for JSON: times on the farm's clock, stretches as numbers."""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from riskrules.logs.report import FORMAT, LogReport, Run, SourceRows, TroubleRows


def as_plain(report: LogReport, farm: str, zone: ZoneInfo) -> dict[str, Any]:
    """Return a report as plain values.

    Times are ISO 8601 on the clock of ``zone``; stretches to draw are
    ``[start, end, state, rows]`` with times in seconds since 1970 UTC.
    """
    return {
        "format": FORMAT,
        "farm": farm,
        "zone": str(zone),
        "files": [asdict(f) for f in report.files],
        "blocks": [asdict(b) for b in report.blocks],
        "sources": [_source(s, zone) for s in report.sources],
        "troubles": [_trouble(t, zone) for t in report.troubles],
        "remarks": [{"file": n.file, "line": n.row, "message": n.message, "count": n.count}
                    for n in report.remarks],
        "aside": [asdict(p) for p in report.aside],
    }  # fmt: skip


def dumps(report: LogReport, farm: str, zone: ZoneInfo) -> str:
    """Return the JSON text of a report: the same bytes for the same input."""
    return json.dumps(as_plain(report, farm, zone), sort_keys=True, ensure_ascii=False)


def _moment(seconds: int | None, zone: ZoneInfo) -> str | None:
    return None if seconds is None else datetime.fromtimestamp(seconds, zone).isoformat()


def _runs(runs: tuple[Run, ...]) -> list[list[int | str]]:
    return [[r.start, r.end, r.state, r.rows] for r in runs]


def _source(s: SourceRows, zone: ZoneInfo) -> dict[str, Any]:
    plain = {f.name: getattr(s, f.name) for f in fields(s)}
    variables = [
        {f.name: getattr(v, f.name) for f in fields(v)} | {"runs": _runs(v.runs)}
        for v in s.variables
    ]
    ends = {key: _moment(plain[key], zone) for key in ("first", "last")}
    return {**plain, **ends, "runs": _runs(s.runs), "variables": variables}


def _trouble(t: TroubleRows, zone: ZoneInfo) -> dict[str, Any]:
    return {**asdict(t), "first": _moment(t.first, zone), "last": _moment(t.last, zone)}
