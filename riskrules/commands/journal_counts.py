"""``riskrules journal counts``: what share is affected, how sure that is, how it changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from riskrules.commands.journal_add import Blocks
from riskrules.commands.journal_desk import Desk, command, say
from riskrules.commands.journal_make import blocks_of
from riskrules.commands.journal_words import short

if TYPE_CHECKING:
    from riskrules.journal.records import Record


def register(parent: typer.Typer) -> None:
    """Add ``counts`` to the journal's commands."""

    @command(parent, "counts")
    def counts(
        desk: Desk,
        block: Blocks = None,
        symptom: Annotated[str | None, typer.Option("--symptom", help="One symptom only.")] = None,
        part: Annotated[str | None, typer.Option("--part", help="One plant part only.")] = None,
    ) -> None:
        """Say what share is affected, by each count, how sure that is, and how it changes."""
        names = blocks_of(desk, block, False) if block else None
        groups: dict[tuple[str, str, str], list[Record]] = {}
        for record in desk.journal().counting(kinds=("sighting",)):
            body: Any = record.body
            key = (record.block or "", body.symptom, body.part)
            if names is not None and record.block not in names:
                continue
            if symptom in (None, key[1]) and part in (None, key[2]):
                groups.setdefault(key, []).append(record)
        _show_counts(desk, groups)


def _show_counts(desk: Desk, groups: Mapping[tuple[str, str, str], Sequence[Record]]) -> None:
    from riskrules.commands.journal_words import dated

    rows = []
    for (block, symptom, part), records in sorted(groups.items()):
        found, change = _estimates(records)
        rows.append(_counts_json(desk, (block, symptom, part), records, found, change))
        if desk.as_json:
            continue
        title = f"{desk.symptoms.title(symptom)}, {desk.symptoms.part_title(part).lower()}"
        say(f"{block or 'whole farm'}: {title}", style="bold")
        for record, each in zip(records, found, strict=True):
            when = dated(desk.style, record.time)
            say(f"{when} ({short(record.id)}): {each.words}", indent=3)
        say(change["words"], indent=3)
    if desk.as_json:
        desk.print_json("counts", counts=rows)
    elif not rows:
        say("Nothing was counted. That does not mean that nothing is there.")


def _estimates(records: Sequence[Record]) -> tuple[list[Any], dict[str, Any]]:
    """Return what each count says, and how the share changes over them."""
    from riskrules.journal.counts import estimate, trend
    from riskrules.journal.records import Stop

    found = []
    for record in records:
        body: Any = record.body
        alone = (Stop(stop=1, affected=body.affected, examined=body.examined),)
        found.append(estimate(body.stops or alone))
    try:
        pairs = [(r.time, e) for r, e in zip(records, found, strict=True)]
        change = asdict(trend(pairs))
    except ValueError as error:
        change = {"counts": len(found), "slope": None, "low": None, "high": None,
                  "words": f"No trend: {error}."}  # fmt: skip
    return found, change


def _counts_json(
    desk: Desk,
    key: tuple[str, str, str],
    records: Sequence[Record],
    found: Sequence[Any],
    change: Mapping[str, Any],
) -> dict[str, Any]:
    block, symptom, part = key
    counts = [
        {"id": str(r.id), "time": desk.style.iso(r.time)} | _finite(asdict(e))
        for r, e in zip(records, found, strict=True)
    ]
    head = {"block": block or None, "symptom": symptom, "part": part}
    return head | {"counts": counts, "trend": _finite(change)}


def _finite(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return values with None for what is no number, which JSON cannot say."""
    return {k: None if isinstance(v, float) and v != v else v for k, v in values.items()}
