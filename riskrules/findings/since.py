"""What is new, revised or withdrawn since an earlier review; identities survive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from riskrules.findings.model import Finding, Status, UnknownFinding


def _overlap(made: Finding | UnknownFinding, old: Mapping[str, Any]) -> bool:
    start, end = datetime.fromisoformat(made.start), datetime.fromisoformat(made.end)
    old_start = datetime.fromisoformat(old["start"])
    old_end = datetime.fromisoformat(old["end"])
    return start == old_start or (start < old_end and old_start < end)


def compare(
    now: Sequence[Finding], earlier: Sequence[Mapping[str, Any]]
) -> tuple[list[Finding], list[dict[str, Any]]]:
    """Return the findings with their status, and the earlier ones that are withdrawn.

    A finding is the same as an earlier one of its rule and block whose span overlaps its own;
    it keeps that one's identity (the oldest, where several overlap), so that what people said
    of it stays with it.
    """
    found = []
    taken: set[str] = set()
    own = {made.id for made in now}  # an earlier finding that is still there goes to no other
    for made in now:
        same = [
            old
            for old in earlier
            if old["rule"] == made.rule
            and old["block"] == made.block
            and old["id"] not in taken
            and (old["id"] == made.id or (old["id"] not in own and _overlap(made, old)))
        ]
        if not same:
            found.append(replace(made, status="new"))
            continue
        oldest = min(same, key=lambda old: (datetime.fromisoformat(old["start"]), old["id"]))
        taken |= {old["id"] for old in same}
        status: Status = "same" if oldest["hash"] == made.hash else "revised"
        found.append(replace(made, id=oldest["id"], status=status))
    withdrawn = [dict(old) | {"status": "withdrawn"} for old in earlier if old["id"] not in taken]
    return found, withdrawn
