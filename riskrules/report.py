"""A review as plain values for JSON, in a fixed order, and the schema of it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from riskrules.findings.model import plain
from riskrules.packs.model import Pack
from riskrules.review import Review
from riskrules.worklist.rank import WINDOW_WORDS, WorkItem

FORMAT = "riskrules review 1"


def pack_hash(pack: Pack) -> str:
    """Return a hash of a pack's rules and of its thresholds as they are in use."""
    rules = [rule.text.model_dump() for rule in pack.rules]
    body = [rules, {n: asdict(t) for n, t in {**pack.shared, **pack.thresholds}.items()}]
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()[:16]


def as_json(r: Review) -> dict[str, Any]:
    """Return a review as plain values."""
    iso = r.style.iso
    return {
        "format": FORMAT,
        "farm": r.farm.text.farm,
        "assumed": list(r.farm.assumed),
        "now": iso(r.now),
        "from": iso(r.window[0]),
        "to": iso(r.window[1]),
        "evaluator": r.evaluator,
        "profile": r.book.profile,
        "packs": [{"pack": p.name, "hash": pack_hash(p)} for p in r.book.packs],
        "blocks": [plain(b.state) for b in r.blocks],
        "findings": [plain(f) for f in r.findings],
        "withdrawn": list(r.withdrawn),
        "unknowns": [plain(u) for u in r.unknowns],
        "work": {
            "crew_hours": r.work.crew_hours,
            "planned_hours": r.work.planned_hours,
            "said": r.work.said,
            "jobs": [_item(item, r) for item in r.work.items],
        },
    }


def _item(item: WorkItem, r: Review) -> dict[str, Any]:
    return {
        "job": item.job.name,
        "words": item.job.words,
        "window": WINDOW_WORDS[item.job.window],
        "hours_from": item.hours_from,
        "evidence": [{"text": s.text, "tag": s.tag} for s in item.job.evidence],
        "cautions": {c: r.jobs.cautions[c] for c in item.cautions},
        "blocks": [
            {
                "block": b.block,
                "plan": b.plan,
                "start": r.style.iso(b.start),
                "end": r.style.iso(b.end),
                "hours": b.hours,
                "ready": b.guard.ready,
                "checks": list(b.guard.words),
                "severity": b.severity,
                "certainty": b.certainty,
                "fruit_at_stake": b.at_stake,
                "findings": list(b.findings),
            }
            for b in item.blocks
        ],
    }


def dumps(r: Review) -> str:
    """Return the JSON text of a review: the same bytes for the same input."""
    return json.dumps(as_json(r), sort_keys=True, ensure_ascii=False)
