"""The region profile of a farm: begun where there is none, and edited by an adviser."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock

from riskrules.errors import PackError, Problem
from riskrules.farm import FarmText, load_farm
from riskrules.packs.load import Rulebook, apply_profile
from riskrules.packs.marked import Marked, read_marked
from riskrules.packs.profile_history import (
    Version,
    begin_profile,
    set_threshold,
    take_back,
    versions,
)
from riskrules.packs.regions import Change, Link, chain_of
from riskrules.review import shipped_rulebook
from riskrules.shipped import rulepacks_folder
from riskrules.view.desk import Desk


@dataclass(frozen=True, slots=True)
class Region:
    """The profile a farm uses: the chain, the nearest first, and the nearest one's versions."""

    chain: tuple[Link, ...]
    versions: tuple[Version, ...]

    @property
    def version(self) -> str | None:
        """The version in use of the nearest profile; None where there is no profile."""
        return self.chain[0].version if self.chain else None

    @property
    def own(self) -> dict[str, Change]:
        """What the nearest profile itself sets, by threshold."""
        return {c.threshold: c for c in self.chain[0].text.changes} if self.chain else {}


def region_of(desk: Desk) -> Region:
    """Return the profile that a farm uses; an empty one where it uses none."""
    path = desk.profile
    if path is None:
        return Region((), ())
    return Region(chain_of(read_marked(path)), versions(path) if editable(path) else ())


def editable(path: Path) -> bool:
    """Return whether a profile may be edited here: the shipped ones may not."""
    return rulepacks_folder().resolve() not in path.resolve().parents


def save_threshold(desk: Desk, change: Change, seen: str | None) -> str:
    """Set a threshold in the farm's profile, begun where the farm has none; return its version.

    ``seen`` is the version the adviser looked at, None for no profile. A farm that uses a shipped
    profile gets an own one built on it.

    Raises
    ------
    PackError
        Where the change is not allowed or somebody else changed the profile; nothing is changed.
    """
    packs = shipped_rulebook()
    path = desk.profile
    if path is None or not editable(path):
        if path is None and seen is not None:
            raise _trouble(desk.farm_file, "the farm has no profile any more; look again")
        _allowed(packs, change)
        path, seen = _begin(desk, packs, path), None
    return set_threshold(path, change, packs, seen)


def undo_threshold(desk: Desk, threshold: str, note: Version, seen: str | None) -> str:
    """Take a threshold out of the farm's own profile; return the new version.

    Raises
    ------
    PackError
        Where the farm's own profile does not set it, or somebody else changed it.
    """
    path = desk.profile
    if path is None or not editable(path):
        raise _trouble(desk.farm_file, "the farm has no profile of its own; nothing to take back")
    return take_back(path, threshold, shipped_rulebook(), note, seen)


def _allowed(packs: Rulebook, change: Change) -> None:
    """Refuse a change before any file is made for it."""
    text = f"profile: tried\ntitle: tried\nchanges:\n- {change.model_dump_json()}\n"
    apply_profile(packs, Marked("the change", text))


def _begin(desk: Desk, packs: Rulebook, of: Path | None) -> Path:
    """Begin a profile beside the farm file, and name it there."""
    farm = desk.farm.text.farm
    name = re.sub(r"[^a-z0-9]+", "_", farm.lower()).strip("_")[:40] or "farm"
    name = name if name[0].isalpha() else f"farm_{name}"
    path = desk.farm.folder / f"{name}_profile.yaml"
    built_on = None if of is None else os.path.relpath(of.resolve(), desk.farm.folder.resolve())
    if path.exists():  # begun before, then no longer named by the farm file
        apply_profile(packs, read_marked(path))
    else:
        begin_profile(path, name, farm, packs, built_on)
    _name_profile(desk.farm_file, desk.farm.text, path.name)
    return path


def _name_profile(farm_file: Path, text: FarmText, name: str) -> None:
    """Write a profile's name into a farm file; the rest of the file stays as it is."""
    with FileLock(farm_file.with_name(f".{farm_file.name}.lock"), timeout=10):
        old = farm_file.read_bytes().decode("utf-8")
        end = "\r\n" if "\r\n" in old else "\n"
        if text.profile is None:
            new = old if old.endswith("\n") else old + end
            new += f'profile: "{name}"{end}'
        else:
            new = re.sub(r"(?m)^profile:[^\r\n]*", f'profile: "{name}"', old, count=1)
        beside = farm_file.with_name(f".{farm_file.name}.tmp")
        try:
            beside.write_bytes(new.encode())
            told = load_farm(beside).text
            if told != text.model_copy(update={"profile": name}):
                message = f"cannot name the profile in it; write 'profile: {name}' by hand"
                raise _trouble(farm_file, message)
            os.replace(beside, farm_file)
        finally:
            beside.unlink(missing_ok=True)


def _trouble(path: Path, message: str) -> PackError:
    return PackError([Problem(str(path), 0, 0, message)])
