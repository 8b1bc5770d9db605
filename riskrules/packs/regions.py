"""Region profiles as files say them: a farm's of a county's of a state's, the nearest first."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.facts.table import DECIMALS
from riskrules.packs.check import meant
from riskrules.packs.marked import Marked, read_marked, schema_problems
from riskrules.packs.model import Name, Strict, Threshold

SHOWN = 12
"""Hexadecimal digits of a version. (assumption: enough to tell the versions of one file apart)"""
Tables = Mapping[str, Mapping[str, Threshold]]
"""Thresholds by pack and name."""


class Change(Strict):
    """One threshold that a region sets otherwise."""

    threshold: str
    value: float
    unit: str
    reason: str
    who: str
    when: Annotated[str, Field(description="The day it was set, as 2026-03-31.")]
    evidence: Annotated[str, Field(description="What it rests on: walks, logs, a paper.")] = ""


class ProfileText(Strict):
    """A region profile file as written. ``of`` is the file of the profile it builds on."""

    profile: Name
    title: str
    of: Annotated[str | None, Field(description="File of the profile that this builds on.")] = None
    changes: list[Change]


@dataclass(frozen=True, slots=True)
class Link:
    """One profile of a chain: what it says, where, and which version of it this is."""

    doc: Marked
    text: ProfileText
    version: str

    @property
    def path(self) -> Path | None:
        """Where the file lies, if it lies anywhere."""
        return self.doc.path


def version_of(text: str) -> str:
    r"""Return the version of a text: a short hash of it, the same on every system.

    Examples
    --------
    >>> version_of("profile: a\n") == version_of("profile: a\r\n")
    True
    """
    plain = text.replace("\r\n", "\n")
    return hashlib.sha256(plain.encode()).hexdigest()[:SHOWN]


def link_of(doc: Marked) -> Link:
    """Return a document as a profile; PackError where it is none."""
    try:
        text = ProfileText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    return Link(doc, text, version_of(doc.text))


def chain_of(doc: Marked) -> tuple[Link, ...]:
    """Return a profile and those it builds on, the nearest first.

    Raises
    ------
    PackError
        Where a file is no profile, is not there, or is in the end one of itself.
    """
    found = [link_of(doc)]
    seen = {doc.path.resolve()} if doc.path else set()
    while (of := found[-1].text.of) is not None:
        here = found[-1].doc
        if here.path is None:
            raise PackError([here.problem(("of",), f"'{of}'; expected a file that lies somewhere")])
        path = here.path.parent / of
        if path.resolve() in seen:
            names = " of ".join(link.text.profile for link in found)
            message = f"'{of}' closes a circle ({names} of itself); expected a profile not of this"
            raise PackError([here.problem(("of",), message)])
        seen.add(path.resolve())
        if not path.is_file():
            raise PackError([here.problem(("of",), f"'{of}': no such file; expected a profile")])
        found.append(link_of(read_marked(path)))
    return tuple(found)


def said_of(chain: Sequence[Link]) -> str:
    """Return a chain in words: each profile with its version."""
    return " of ".join(f"{link.text.profile} {link.version}" for link in chain)


def with_changes(tables: Tables, chain: Sequence[Link]) -> dict[str, dict[str, Threshold]]:
    """Return thresholds with the changes of a chain in place, the nearest over the farther.

    Raises
    ------
    PackError
        With every change that names no threshold, another unit or a value out of range.
    """
    changed = {pack: dict(table) for pack, table in tables.items()}
    problems: list[Problem] = []
    for link in reversed(chain):
        seen: set[str] = set()
        for i, change in enumerate(link.text.changes):
            pack, _, name = change.threshold.partition(".")
            old = changed.get(pack, {}).get(name)
            problem = _refusal(link.doc, i, change, old, changed)
            if change.threshold in seen:
                message = f"'{change.threshold}' is changed twice; expected once"
                problem = link.doc.problem(("changes", i, "threshold"), message)
            seen.add(change.threshold)
            if problem or old is None:
                problems += [problem] if problem else []
                continue
            changed[pack][name] = replace(old, value=change.value, origin=origin_of(link, change))
    if problems:
        raise PackError(problems)
    return changed


def origin_of(link: Link, change: Change) -> str:
    """Return where a changed threshold comes from, in words."""
    more = f"; evidence: {change.evidence}" if change.evidence else ""
    return f"profile {link.text.profile} ({change.who}, {change.when}: {change.reason}{more})"


def _refusal(
    doc: Marked, i: int, change: Change, old: Threshold | None, tables: Tables
) -> Problem | None:
    if old is None:
        names = [f"{pack}.{name}" for pack, table in tables.items() for name in table]
        message = f"no threshold '{change.threshold}'{meant(change.threshold, names)}"
        return doc.problem(("changes", i, "threshold"), message)
    if change.unit != old.unit:
        message = f"'{change.threshold}' is given in {change.unit}; expected {old.unit}"
        return doc.problem(("changes", i, "unit"), message)
    if round(change.value, DECIMALS) != change.value:
        message = f"'{change.threshold}' is {change.value!r}; expected at most {DECIMALS} decimals"
        return doc.problem(("changes", i, "value"), message)
    if not old.least <= change.value <= old.most:
        message = (
            f"'{change.threshold}' is {change.value:g}; "
            f"expected {old.least:g} to {old.most:g} {old.unit}"
        )
        return doc.problem(("changes", i, "value"), message)
    return None
