"""``riskrules journal walk enter``: what was counted, stop by stop or all at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID, uuid5

import typer

from riskrules.commands.journal_add import At, Noted
from riskrules.commands.journal_desk import Desk, is_terminal, note
from riskrules.commands.journal_make import chosen, keep_and_say, record_of, span_of
from riskrules.commands.journal_words import short
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Record, Walk

WalkId = Annotated[str, typer.Argument(metavar="WALK", help="A walk, its first characters.")]
Pairs = dict[int, tuple[int, int | None]]


def walk_plan(record: Record) -> Walk:
    """Return the plan of a walk; refused where the record is none."""
    from riskrules.journal.records import Walk

    if not isinstance(record.body, Walk):
        message = f"{short(record.id)} is a {record.kind.replace('_', ' ')}"
        raise RiskRulesError(f"{message}; expected a walk, as 'journal show --kind walk' lists")
    return record.body


def found_walk(desk: Desk, known: str) -> Record:
    """Return a walk by its identifier."""
    found = desk.find(known)
    walk_plan(found.record)
    return found.record


def stop_counts(texts: Sequence[str], per_stop: int | None) -> Pairs:
    """Return counts typed as '4=2/10' or '4=2', by stop.

    Examples
    --------
    >>> stop_counts(["1=0", "4=2/8"], 10)
    {1: (0, 10), 4: (2, 8)}
    """
    found: Pairs = {}
    for text in (part for each in texts for part in each.replace(",", " ").split()):
        stop, is_set, counts = text.partition("=")
        if not is_set or not _whole(stop) or (pair := _pair(counts, per_stop)) is None:
            raise RiskRulesError(f"--stop is '{text}'; expected such as 4=2/10: stop 4, 2 of 10")
        if int(stop) in found:
            raise RiskRulesError(f"--stop names stop {int(stop)} twice; expected it once")
        found[int(stop)] = pair
    return found


def _whole(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 8


def _pair(text: str, per_stop: int | None) -> tuple[int, int | None] | None:
    """Return affected and examined typed as '2/10' or '2'; None where it is neither."""
    affected, of, examined = text.strip().partition("/")
    if not _whole(affected.strip()) or (of and not _whole(examined.strip())):
        return None
    return int(affected), int(examined) if of else per_stop


def enter_counts(
    desk: Desk,
    walk: WalkId,
    stop: Annotated[
        list[str] | None,
        typer.Option("--stop", help="Affected at a stop, such as 4=2 or 4=2/8; again for more."),
    ] = None,
    symptom: Annotated[
        str | None, typer.Option("--symptom", help="Of which; needed where the walk has several.")
    ] = None,
    part: Annotated[str | None, typer.Option("--part", help="On which plant part.")] = None,
    pattern: Annotated[
        str | None,
        typer.Option("--pattern", metavar="scattered|patches|edge|everywhere", help="Where."),
    ] = None,
    at: At = None,
    noted: Noted = "",
) -> None:
    """Enter what was counted: stop by stop at the keyboard, or with --stop for each."""
    record = found_walk(desk, walk)
    wanted = _wanted(desk, record, symptom, part, several=not stop)
    begins, _ = span_of(desk, at, None, None)
    if not stop and not is_terminal():
        message = "nobody is there to ask; expected --stop for each stop, such as 4=2/10"
        raise RiskRulesError(message)
    plan = walk_plan(record)
    given = {wanted[0]: stop_counts(stop, plan.per_stop)} if stop else None
    counted = {k: v for k, v in (given or _asked_counts(desk, plan, wanted)).items() if v}
    if not counted:
        raise RiskRulesError("no stop was counted; nothing was kept")
    spread = chosen(pattern) if pattern else None
    shared = {"block": record.block, "time": begins, "who": desk.who, "made": desk.now}
    records = []
    for looks, counts in counted.items():
        body = _counted(record.id, plan, looks, counts, spread)
        own = {"id": uuid5(record.id, "/".join(looks)), "body": body, "note": noted}
        records.append(record_of(shared | own))
    _refuse_again(desk, records)
    keep_and_say(desk, records)


def _wanted(
    desk: Desk, record: Record, symptom: str | None, part: str | None, several: bool
) -> list[tuple[str, str]]:
    """Return which symptoms on which parts are entered."""
    planned = walk_plan(record).symptoms
    names = [chosen(symptom)] if symptom is not None else list(planned)
    if not names or (len(names) > 1 and not several):
        expected = f" of {', '.join(planned)}" if planned else ""
        raise typer.BadParameter(f"counts of what? expected --symptom{expected}")
    for name in names:
        if said := desk.symptoms.refusal(name):
            raise RiskRulesError(said)
    listed = desk.symptoms.symptoms
    return [(name, chosen(part) if part is not None else listed[name].parts[0]) for name in names]


def _counted(
    walk: UUID, plan: Walk, looks: tuple[str, str], counts: Pairs, pattern: str | None
) -> dict[str, Any]:
    beds = {number: bed for number, bed, _ in plan.stops}
    for number in counts:
        if number not in beds:
            raise RiskRulesError(f"stop {number}; expected one of 1 to {len(beds)}")
    rows = [
        {"stop": n, "affected": a, "examined": plan.per_stop if of is None else of, "bed": beds[n]}
        for n, (a, of) in sorted(counts.items())
    ]
    for row in rows:
        if row["affected"] > row["examined"] or row["examined"] == 0:
            message = (
                f"stop {row['stop']}: {row['affected']} affected of {row['examined']} examined"
            )
            raise RiskRulesError(f"{message}; expected 0 to {row['examined']} of 1 or more")
    affected = sum(row["affected"] for row in rows)
    return {
        "kind": "sighting", "symptom": looks[0], "part": looks[1], "affected": affected,
        "examined": sum(row["examined"] for row in rows), "stops": rows, "walk": walk,
        "pattern": pattern or (None if affected else "none_seen"),
    }  # fmt: skip


def _asked_counts(
    desk: Desk, plan: Walk, wanted: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], Pairs]:
    """Ask stop by stop; an empty answer is a stop where nobody looked."""
    found: dict[tuple[str, str], Pairs] = {looks: {} for looks in wanted}
    note(f"Affected of {plan.per_stop} at each stop: 2, or 2/8 where fewer were looked at. "
         "Only Enter: nobody looked there.")  # fmt: skip
    for number, bed, metres in plan.stops:
        for looks in wanted:
            title = desk.symptoms.title(looks[0])
            on = desk.symptoms.part_title(looks[1]).lower()
            question = f"Stop {number}, bed {bed}, {metres:g} m: {title}, {on}"
            pair = _asked_pair(question, plan.per_stop)
            if pair is not None:
                found[looks][number] = pair
    return found


def _asked_pair(question: str, per_stop: int) -> tuple[int, int | None] | None:
    while True:
        answer = str(typer.prompt(question, default="", show_default=False, err=True)).strip()
        if not answer:
            return None
        pair = _pair(answer, per_stop)
        if pair is not None and pair[1] and pair[0] <= pair[1]:
            return pair
        note(f"'{answer}'; expected such as 2, or 2/8, from 0 to {per_stop}")


def _refuse_again(desk: Desk, records: Sequence[Record]) -> None:
    """Refuse counts of a walk that are here already: other ones are a correction."""
    for record in records:
        found = desk.journal().history(record.id)
        if found:
            now = next((s.record for s in found if s.replaced is None), found[-1].record)
            counted = getattr(record.body, "symptom", "")
            correct = f"riskrules journal correct {short(now.id)} --stop 1=2/10 --why ..."
            message = f"{counted} was entered for this walk already, by {now.who}"
            raise RiskRulesError(f"{message}; if that was wrong: {correct}")
