"""Region profiles edited: one threshold at a time, with comments and order kept."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from riskrules.errors import PackError, Problem
from riskrules.facts.table import DECIMALS
from riskrules.packs.marked import Marked
from riskrules.packs.regions import Change, ProfileText, link_of
from riskrules.packs.yaml_parts import ListEdit, in_quotes

LONGEST = 2_000
"""Characters that a reason or evidence may have. (assumption)"""
EMPTY = "# Region profile: what is set otherwise here than in the packs, and why.\n"


@dataclass(frozen=True, slots=True)
class Differs:
    """A threshold that two versions of a profile set differently; None where one leaves it."""

    threshold: str
    before: Change | None
    after: Change | None


def difference(before: ProfileText, after: ProfileText) -> tuple[Differs, ...]:
    """Return what differs between two versions of a profile, in order of the thresholds' names.

    Only a change's words may differ: then both values are the same.
    """
    old = {c.threshold: c for c in before.changes}
    new = {c.threshold: c for c in after.changes}
    return tuple(
        Differs(name, old.get(name), new.get(name))
        for name in sorted({*old, *new})
        if old.get(name) != new.get(name)
    )


def parsed(text: str, file: str = "profile", path: Path | None = None) -> ProfileText:
    """Return a profile's text as checked values; PackError with line and column where it is none.

    Names and ranges of thresholds need the packs: see `riskrules.packs.load.apply_profile`.
    """
    return link_of(Marked(file, text, path)).text


def with_change(text: str, change: Change, file: str = "profile") -> str:
    """Return a profile's text with one threshold set, in place of what it said of it before.

    Parameters
    ----------
    text : str
        The profile as it is.
    change : Change
        What to set. Its words are written in quotes, so that none is taken for anything else.
    file : str
        Named in problems.

    Raises
    ------
    PackError
        If the text is no profile, the words cannot be kept, or the edit would change other parts.
    """
    _words_fit(change, file)

    old = parsed(text, file)
    wanted = [change if c.threshold == change.threshold else c for c in old.changes]
    if change not in wanted:
        wanted.append(change)
    edit = ListEdit(text, "changes")
    at = next((i for i, c in enumerate(old.changes) if c.threshold == change.threshold), None)
    if at is None:
        edit.append(_written(change))
    else:
        before = _written(old.changes[at])
        after = {"evidence": in_quotes("")} if "evidence" in before else {}
        after |= _written(change)
        edit.update(at, {k: v for k, v in after.items() if before.get(k) != v})
    return _checked(edit.made(), file, old.model_copy(update={"changes": wanted}))


def without_change(text: str, threshold: str, file: str = "profile") -> str:
    """Return a profile's text that leaves a threshold as it is without this profile.

    A comment that stands beside the change goes with it.

    Raises
    ------
    PackError
        If the text is no profile, or sets no such threshold.
    """
    old = parsed(text, file)
    wanted = [c for c in old.changes if c.threshold != threshold]
    if len(wanted) == len(old.changes):
        raise PackError([Problem(file, 0, 0, f"it does not set '{threshold}'")])

    edit = ListEdit(text, "changes")
    edit.remove(next(i for i, c in enumerate(old.changes) if c.threshold == threshold))
    return _checked(edit.made(), file, old.model_copy(update={"changes": wanted}))


def new_profile(name: str, title: str, of: str | None = None) -> str:
    """Return the text of a profile that sets nothing yet, built on another if one is named."""
    more = "" if of is None else f"of: {in_quotes(of)}\n"
    made = f"{EMPTY}profile: {name}\ntitle: {in_quotes(title)}\n{more}changes: []\n"
    parsed(made)
    return made


def _words_fit(change: Change, file: str) -> None:
    """Refuse numbers and words that are missing, too long, or hold what a line of text cannot."""
    if not math.isfinite(change.value) or round(change.value, DECIMALS) != change.value:
        message = f"value is {change.value!r}; expected a number of at most {DECIMALS} decimals"
        raise PackError([Problem(file, 0, 0, message)])
    for key in ("reason", "who", "when", "evidence"):
        words = getattr(change, key)
        if key != "evidence" and not words.strip():
            raise PackError([Problem(file, 0, 0, f"{key} is empty; expected words")])
        if len(words) > LONGEST:
            message = f"{key} has {len(words):,} characters; expected at most {LONGEST:,}"
            raise PackError([Problem(file, 0, 0, message)])
        strange = next((c for c in words if not c.isprintable()), None)
        if strange is not None:
            message = f"{key} holds {strange!r}; expected one line of text"
            raise PackError([Problem(file, 0, 0, message)])


def _written(change: Change) -> dict[str, str]:
    """Return a change as it shall be written, by key; evidence only where there is some."""
    found = {"threshold": change.threshold, "value": f"{change.value:.{DECIMALS}f}"}
    if "." in found["value"]:
        found["value"] = found["value"].rstrip("0").rstrip(".")
    for key in ("unit", "reason", "who", "when", "evidence"):
        words = getattr(change, key)
        if words or key != "evidence":
            found[key] = in_quotes(words)
    if _is_day(change.when):
        found["when"] = change.when
    return found


def _is_day(words: str) -> bool:
    try:
        return date.fromisoformat(words).isoformat() == words
    except ValueError:
        return False


def _checked(text: str, file: str, wanted: ProfileText) -> str:
    """Return an edited text if it says just what is wanted, by the reader of profiles."""
    try:
        same = parsed(text, file) == wanted
    except PackError as error:
        message = f"cannot be edited here: {error}"
        raise PackError([Problem(file, 0, 0, message)]) from None
    if not same:
        message = "cannot be edited here without changing other parts of it; edit it by hand"
        raise PackError([Problem(file, 0, 0, message)])
    return text
