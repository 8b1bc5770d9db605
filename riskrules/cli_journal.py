"""The journal commands: thin over the library. Exit codes are those of `riskrules.cli`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated, Any
from uuid import uuid4

import typer

from riskrules.cli_journal_add import At, Blocks, Noted, To
from riskrules.cli_journal_add import app as add_app
from riskrules.cli_journal_desk import Desk, command, is_terminal, note
from riskrules.cli_journal_files import register as register_files
from riskrules.cli_journal_make import blocks_of, chosen, codes_of, keep_and_say, record_of, span_of
from riskrules.cli_journal_walk import app as walk_app
from riskrules.cli_journal_walk import register as register_counts
from riskrules.cli_journal_words import THINGS, listed, short
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Record
    from riskrules.journal.rows import Stored
    from riskrules.journal.stale import Stale
    from riskrules.packs.model import Threshold

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="The field journal: what was done and seen. Nothing in it is overwritten or erased.",
)
app.add_typer(add_app, name="add")
app.add_typer(walk_app, name="walk")

Identifier = Annotated[str, typer.Argument(metavar="ID", help="A record, its first characters.")]
Why = Annotated[str, typer.Option("--why", help="Why it was wrong.")]
FIELDS = {"kg": "weight_kg", "of": "examined"}
"""Words of the keyboard for fields of records."""
RECENT_D = 7
"""Days that are shown where nobody asks for others. [d] (assumption)"""


@command(app, "correct", writes=True)
def correct(
    desk: Desk,
    known: Identifier,
    why: Why,
    sets: Annotated[
        list[str] | None,
        typer.Option("--set", help="What is right, such as kg=38, what=off, codes='60 65'."),
    ] = None,
    stops: Annotated[
        list[str] | None,
        typer.Option("--stop", help="The right count of one stop of a walk, such as 4=2/10."),
    ] = None,
    block: Annotated[str | None, typer.Option("--block", "-b", help="The right block.")] = None,
    at: At = None,
    to: To = None,
    noted: Annotated[str | None, typer.Option("--note", help="The right note.")] = None,
) -> None:
    """Say what is right in place of a record; the old one is kept, and who, when and why."""
    old = _standing(desk, known)
    body = _body(old, sets or [], stops or [])
    begins, ends = old.time, old.end
    if at is not None or to is not None:
        iso = desk.style.iso(old.time)
        begins, ends = span_of(desk, at if at is not None else iso, None, to)
        ends = old.end if to is None else ends
    values = old.model_dump(mode="json") | {
        "id": uuid4(), "made": desk.now, "who": desk.who, "came_by": "hand", "why": why,
        "replaces": old.id, "body": body, "time": begins, "end": ends,
    }  # fmt: skip
    if block is not None:
        values["block"] = blocks_of(desk, [block], False)[0]
    if noted is not None:
        values["note"] = noted
    same = {key: values[key] for key in ("block", "time", "end", "note", "body")}
    if same.items() <= old.model_dump(mode="json").items():
        raise RiskRulesError("nothing is other than before; expected what is right, such as --set")
    keep_and_say(desk, [record_of(values)])


def _body(old: Record, sets: Sequence[str], stops: Sequence[str]) -> dict[str, Any]:
    """Return the body of a record with what was set, as plain values."""
    body: dict[str, Any] = old.body.model_dump(mode="json")
    for text in sets:
        name, is_set, value = text.partition("=")
        field = FIELDS.get(chosen(name), chosen(name))
        if not is_set or field not in body or field in ("kind", "stops", "walk", "photos"):
            names = [n for n in body if n not in ("kind", "stops", "walk", "photos")]
            back = {v: k for k, v in FIELDS.items()}
            expected = ", ".join(f"{back.get(n, n)}=..." for n in names)
            raise RiskRulesError(f"--set is '{text}'; expected {expected or 'none of this kind'}")
        body[field] = _value(field, value)
    if stops:
        _set_stops(body, stops)
    return body


def _value(field: str, text: str) -> Any:
    if field == "codes":
        return codes_of([text])
    if field == "symptoms":
        return [chosen(part) for part in text.replace(",", " ").split()]
    if field == "same":
        return [chosen(part) for part in text.split(",")]
    if text == "":
        return None
    return text if field in ("text", "finding") or "-" in text and text[:1].isdigit() else _plain(text)


def _plain(text: str) -> Any:
    return chosen(text) if text.strip()[:1].isalpha() else text.strip()


def _set_stops(body: dict[str, Any], stops: Sequence[str]) -> None:
    """Put the right counts into some stops, and the sums with them."""
    from riskrules.cli_journal_walk import stop_counts

    if not body.get("stops"):
        raise RiskRulesError("--stop, but the record has no stops; expected --set affected=...")
    by_number = {stop["stop"]: stop for stop in body["stops"]}
    for number, (affected, examined) in stop_counts(stops, None).items():
        if number not in by_number:
            message = f"no stop {number} in the record; expected one of"
            raise RiskRulesError(f"{message} {', '.join(map(str, sorted(by_number)))}")
        old = by_number[number]
        old["affected"] = affected
        old["examined"] = old["examined"] if examined is None else examined
    body["affected"] = sum(stop["affected"] for stop in body["stops"])
    body["examined"] = sum(stop["examined"] for stop in body["stops"])
    if body["affected"] and body.get("pattern") == "none_seen":
        body["pattern"] = None


def _standing(desk: Desk, known: str) -> Record:
    """Return a record that nothing replaces yet: to replace another makes a clash."""
    found = desk.find(known)
    if found.replaced is not None:
        later: list[Stored] = desk.journal().history(found.record.id)
        by = next(s.record for s in later if s.seq == found.replaced)
        what = "taken back" if by.kind == "taken_back" else f"corrected, in {short(by.id)}"
        raise RiskRulesError(f"{short(found.record.id)} was {what}, by {by.who}; expected a record "
                             "that stands")  # fmt: skip
    if found.record.kind == "taken_back":
        raise RiskRulesError(f"{short(found.record.id)} takes another record back; "
                             "expected a record to write anew: riskrules journal add")  # fmt: skip
    return found.record


@command(app, "take-back", writes=True)
def take_back(desk: Desk, known: Identifier, why: Why) -> None:
    """Say that a record was a mistake; it stays to be seen, and counts no more."""
    old = _standing(desk, known)
    values = {
        "id": uuid4(), "block": old.block, "time": old.time, "body": {"kind": "taken_back"},
        "who": desk.who, "made": desk.now, "replaces": old.id, "why": why,
    }  # fmt: skip
    keep_and_say(desk, [record_of(values)])


@command(app, "show")
def show(
    desk: Desk,
    known: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="One record and all its versions.")
    ] = None,
    day: Annotated[str | None, typer.Option("--day", help="One day.")] = None,
    first: Annotated[str | None, typer.Option("--from", help="First day.")] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="All days.")] = False,
    block: Annotated[
        str | None, typer.Option("--block", "-b", help="One block, and what is of the whole farm.")
    ] = None,
    kind: Annotated[
        list[str] | None, typer.Option("--kind", help="Such as pick, sighting, row_cover, note.")
    ] = None,
    as_known_at: Annotated[
        str | None, typer.Option("--as-known-at", help="As the journal was at that time.")
    ] = None,
    versions: Annotated[
        bool, typer.Option("--versions", help="Also what was corrected or taken back.")
    ] = False,
    clashes: Annotated[
        bool, typer.Option("--clashes", help="Where two people changed the same record.")
    ] = False,
) -> None:
    """Show what is written: the last week, or the days, block or kinds asked for."""
    from riskrules.cli_journal_show import show_versions, versions_json

    if clashes:
        return _show_clashes(desk, as_known_at)
    if known is not None:
        found = desk.journal().history(desk.find(known).record.id)
        if desk.as_json:
            return desk.print_json("versions", versions=versions_json(found))
        return show_versions(desk, found)
    span, about = _span(desk, day, first, last, everything)
    moment = desk.clock.moment(as_known_at, "--as-known-at") if as_known_at else None
    if block is not None:
        blocks_of(desk, [block], False)
    kinds = _kinds(kind)
    if not versions:
        return _show_standing(desk, block, kinds, span, moment, about)
    stored = desk.journal().versions(block, moment, *span)
    stored = [s for s in stored if kinds is None or s.record.kind in kinds]
    if desk.as_json:
        return desk.print_json("versions", versions=versions_json(stored))
    return show_versions(desk, stored)


def _show_standing(
    desk: Desk,
    block: str | None,
    kinds: set[str] | None,
    span: tuple[int | None, int | None],
    moment: int | None,
    about: str,
) -> None:
    from riskrules.cli_journal_show import clashes_json, show_records
    from riskrules.journal.clashes import clash_of
    from riskrules.journal.records import canonical

    journal = desk.journal()
    found = journal.records(block, kinds, *span, moment)
    here = {r.id for r in found}
    open_now = [c for c in journal.clashes(moment) if here & {s.record.id for s in c.versions}]
    if desk.as_json:
        desk.print_json(
            "records",
            zone=desk.clock.zone.key,
            records=[canonical(r) for r in found],
            clashes=clashes_json(open_now),
        )
        return
    if moment is not None:
        about += f", as known {desk.style.moment(moment)}"
    show_records(desk, found, clash_of(open_now), about)


def _show_clashes(desk: Desk, as_known_at: str | None) -> None:
    from riskrules.cli_journal_show import clashes_json, show_clashes
    from riskrules.journal.records import canonical

    moment = desk.clock.moment(as_known_at, "--as-known-at") if as_known_at else None
    found = desk.journal().clashes(moment)
    aside = desk.journal().differing()
    if desk.as_json:
        set_aside = [{"received": d.received, "record": canonical(d.record)} for d in aside]
        return desk.print_json("clashes", clashes=clashes_json(found), set_aside=set_aside)
    return show_clashes(desk, found, aside)


def _span(
    desk: Desk, day: str | None, first: str | None, last: str | None, everything: bool
) -> tuple[tuple[int | None, int | None], str]:
    """Return the first and last second to show [s since 1970 UTC], and what to call that."""
    if (day is not None) + (first is not None or last is not None) + everything > 1:
        raise typer.BadParameter("give one of --day, --all, or --from and --to")
    clock, step = desk.clock, timedelta(days=1)
    if everything:
        return (None, None), "All that is written"
    if day is not None:
        one = clock.day(day, "--day")
        return (clock.starts(one), clock.starts(one + step) - 1), f"{one:%a %-d %b %Y}"
    if first is None and last is None:
        begin = clock.today - timedelta(days=RECENT_D - 1)
        about = f"From {begin:%a %-d %b} on; --from or --all for more"
        return (clock.starts(begin), None), about
    start = clock.day(first, "--from") if first is not None else None
    end = clock.day(last, "--to") if last is not None else None
    if start and end and end < start:
        raise typer.BadParameter(f"--to {end} is before --from {start}")
    about = " ".join(filter(None, (start and f"From {start}", end and f"to {end}")))
    after = clock.starts(end + step) - 1 if end else None
    return (clock.starts(start) if start else None, after), about[:1].upper() + about[1:]


def _kinds(given: Sequence[str] | None) -> set[str] | None:
    from riskrules.journal import records

    if not given:
        return None
    known = {f.default for b in vars(records).values() if isinstance(b, type)
             and issubclass(b, records.Body) and (f := b.model_fields.get("kind"))}  # fmt: skip
    words = {"cover": "row_cover", "seen": "sighting"}
    wanted = {words.get(k, k) for k in (chosen(part) for text in given for part in text.split(","))}
    if wrong := sorted(wanted - known):
        raise RiskRulesError(f"no kind '{wrong[0]}'; expected one of {', '.join(sorted(known))}")
    return wanted


def thresholds(desk: Desk) -> dict[str, Threshold]:
    """Return the shared thresholds, after how long a state is stale among them."""
    from riskrules.packs.load import load_pack
    from riskrules.shipped import rulepacks_folder

    if desk.farm is not None and desk.farm.text.profile:
        from riskrules.review import shipped_rulebook

        return shipped_rulebook(desk.farm.folder / desk.farm.text.profile).shared
    return dict(load_pack(rulepacks_folder() / "facts.yaml", {}).thresholds)


def _stale(desk: Desk, blocks: Sequence[str | None]) -> list[Stale]:
    from riskrules.journal.stale import stale as found_stale

    journal, shared = desk.journal(), thresholds(desk)
    return [s for name in blocks for s in found_stale(journal, desk.now, shared, name)]


@command(app, "stale")
def stale(desk: Desk, block: Blocks = None) -> None:
    """Ask about what nobody confirmed for long; rules take it as uncertain meanwhile."""
    from riskrules.cli_journal_show import show_stale, stale_json

    found = _stale(desk, blocks_of(desk, block, False) if block else [None])
    if desk.as_json:
        return desk.print_json("stale", stale=stale_json(desk, found))
    return show_stale(desk, found)


@command(app, "same", writes=True)
def same(
    desk: Desk,
    block: Blocks = None,
    what: Annotated[
        list[str] | None,
        typer.Option("--what", help="Such as row_cover or sides; else all that went stale."),
    ] = None,
    noted: Noted = "",
) -> None:
    """Say that what went stale is the same as before: looked at, and nothing changed."""
    asked = blocks_of(desk, block, False) if block else [None]
    found = _stale(desk, asked)
    if what:
        states = {chosen(part) for text in what for part in text.split(",")}
        wrong = sorted({"row_cover" if s == "cover" else s for s in states} - set(THINGS))
        if wrong:
            message = f"--what is '{wrong[0]}'; expected one of {', '.join(THINGS)}"
            raise RiskRulesError(message)
        named = tuple(k for k in THINGS if k in states or (k == "row_cover" and "cover" in states))
        answers = {name: named for name in (asked if block else blocks_of(desk, None, not block))}
    else:
        answers = {}
        for each in found:
            answers[each.block or None] = (*answers.get(each.block or None, ()), each.state)
    if not answers:
        return _nothing_stale(desk)
    if not block and not desk.yes and not what:
        answers = _asked(found, answers)
    shared = {"time": desk.now, "made": desk.now, "who": desk.who, "note": noted}
    keep_and_say(desk, [
        record_of(shared | {"id": uuid4(), "block": name, "body": {"kind": "checked", "same": k}})
        for name, k in answers.items()
    ])  # fmt: skip
    return None


def _nothing_stale(desk: Desk) -> None:
    if desk.as_json:
        desk.print_json("kept", kept=[])
        return
    print("Nothing is stale: no question is open. To confirm all the same, name it with --what.")


def _asked(
    found: Sequence[Stale], answers: dict[str | None, tuple[str, ...]]
) -> dict[str | None, tuple[str, ...]]:
    """Ask block by block; without anybody to answer nothing is confirmed unseen."""
    if not is_terminal():
        questions = "\n".join(each.question for each in found)
        raise RiskRulesError(f"{questions}\nNothing was kept; expected --block, or --yes if so")
    kept: dict[str | None, tuple[str, ...]] = {}
    for name, states in answers.items():
        for each in found:
            if (each.block or None) == name:
                note(each.question)
        things = listed([THINGS[s] for s in states])
        if typer.confirm(f"{name or 'whole farm'}: {things} the same?", err=True):
            kept[name] = states
    if not kept:
        raise RiskRulesError("Nothing was kept.")
    return kept


@command(app, "suggest")
def suggest(desk: Desk, block: Blocks = None) -> None:
    """Say what the logs suggest that the journal does not say; nothing is entered by it."""
    from riskrules.blocks import ready_blocks
    from riskrules.journal.hints import suggest as found_hints
    from riskrules.sources import block_logs, store_of

    if desk.farm is None:
        raise typer.BadParameter("suggestions come from the farm's logs; expected --farm")
    named = blocks_of(desk, block, False) if block else desk.farm_blocks
    store = store_of(desk.farm)
    logs = ready_blocks(desk.farm, block_logs(desk.farm, [], None, store), desk.now)
    found = [
        hint for each in logs if each.text.block in named
        for hint in found_hints(
            desk.journal(), each.sources, desk.farm.place, each.text.block, desk.now
        )
    ]  # fmt: skip
    if desk.as_json:
        iso = desk.style.iso
        rows = [{"block": h.block, "first": iso(h.first), "last": iso(h.last), "most_k": h.most_k,
                 "sentence": h.sentence} for h in found]  # fmt: skip
        return desk.print_json("suggestions", suggestions=rows)
    from riskrules.cli_logs_words import say
    from riskrules.cli_show import console

    out = console()
    for hint in found:
        say(out, hint.sentence)
        at = desk.style.iso(hint.first)[:16]
        say(out, f"If so: riskrules journal add cover off --block {hint.block} --at {at}", indent=3)
    if not found:
        say(out, "The logs suggest nothing that the journal does not say.")
    return None


register_files(app)
register_counts(app)
