"""``riskrules journal stale``, ``same`` and ``suggest``: what somebody should look at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated
from uuid import uuid4

import typer

from riskrules.commands.journal_add import Blocks, Noted
from riskrules.commands.journal_desk import Desk, command, is_terminal, note, say
from riskrules.commands.journal_make import blocks_of, chosen, keep_and_say, record_of
from riskrules.commands.journal_words import THINGS, listed
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.hints import Hint
    from riskrules.journal.stale import Stale
    from riskrules.packs.model import Threshold


def thresholds(desk: Desk) -> dict[str, Threshold]:
    """Return the shared thresholds, after how long a state is stale among them."""
    from riskrules.packs.load import load_pack
    from riskrules.shipped import rulepacks_folder
    from riskrules.sources import profile_of

    profile = profile_of(desk.farm) if desk.farm is not None else None
    if profile is not None:
        from riskrules.review import shipped_rulebook

        return shipped_rulebook(profile).shared
    return dict(load_pack(rulepacks_folder() / "facts.yaml", {}).thresholds)


def _stale(desk: Desk, blocks: Sequence[str | None]) -> list[Stale]:
    from riskrules.journal.stale import stale as found_stale

    journal, shared = desk.journal(), thresholds(desk)
    return [s for name in blocks for s in found_stale(journal, desk.now, shared, name)]


def stale(desk: Desk, block: Blocks = None) -> None:
    """Ask about what nobody confirmed for long; rules take it as uncertain meanwhile."""
    from riskrules.commands.journal_show import show_stale, stale_json

    found = _stale(desk, blocks_of(desk, block, False) if block else [None])
    if desk.as_json:
        return desk.print_json("stale", stale=stale_json(desk, found))
    return show_stale(desk, found)


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
    _show_hints(desk, found)


def _show_hints(desk: Desk, found: Sequence[Hint]) -> None:
    if desk.as_json:
        iso = desk.style.iso
        rows = [{"block": h.block, "first": iso(h.first), "last": iso(h.last), "most_k": h.most_k,
                 "sentence": h.sentence} for h in found]  # fmt: skip
        desk.print_json("suggestions", suggestions=rows)
        return
    for hint in found:
        # The library says kelvins; people read the degrees of their farm.
        apart = desk.style.value(hint.most_k, "K")
        say(hint.sentence.replace(f"{hint.most_k:.1f} K", apart))
        at = desk.style.iso(hint.first)[:16]
        say(f"If so: riskrules journal add cover off --block {hint.block} --at {at}", indent=3)
    if not found:
        say("The logs suggest nothing that the journal does not say.")


def register(app: typer.Typer) -> None:
    """Add these commands to the journal's commands."""
    command(app, "stale")(stale)
    command(app, "same", writes=True)(same)
    command(app, "suggest")(suggest)
