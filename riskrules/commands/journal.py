"""The journal commands: thin over the library. Exit codes are those of `riskrules.cli`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Annotated

import typer

from riskrules.commands import journal_correct, journal_counts, journal_files, journal_stale
from riskrules.commands.journal_add import app as add_app
from riskrules.commands.journal_desk import Desk, command
from riskrules.commands.journal_make import blocks_of, chosen
from riskrules.commands.journal_walk import app as walk_app
from riskrules.errors import RiskRulesError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="The field journal: what was done and seen. Nothing in it is overwritten or erased.",
)
RECENT_D = 7
"""Days that are shown where nobody asks for others. [d] (assumption)"""


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
    from riskrules.commands.journal_show import show_versions, versions_json

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
    from riskrules.commands.journal_show import clashes_json, show_records
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
    from riskrules.commands.journal_show import clashes_json, show_clashes
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
    ends = (f"From {start}" if start else "", f"to {end}" if end else "")
    about = " ".join(filter(None, ends))
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


app.add_typer(add_app, name="add")
app.add_typer(walk_app, name="walk")
for module in (
    journal_correct,
    journal_stale,
    journal_counts,
    journal_files,
):
    module.register(app)
