"""Every version of a region profile: saved whole or not at all, the earlier ones kept beside.

Beside ``valley.yaml`` lies the folder ``valley.history``: each version as ``VERSION.yaml``, named
by a hash of its text, and ``order.jsonl``, which says in what order they came, by whom and why.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from riskrules.errors import PackError, Problem
from riskrules.packs.load import Rulebook, apply_profile
from riskrules.packs.marked import Marked
from riskrules.packs.profiles import (
    Differs,
    difference,
    new_profile,
    parsed,
    with_change,
    without_change,
)
from riskrules.packs.regions import SHOWN, Change, version_of

PATIENCE_S = 10.0
"""How long to wait for somebody else who saves the same profile. [s] (assumption)"""


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a profile. ``threshold``, ``who`` and ``why`` say what made it, if known."""

    version: str
    when: str = ""
    who: str = ""
    threshold: str = ""
    why: str = ""


def history_of(path: Path) -> Path:
    """Return the folder in which a profile's versions are kept."""
    return path.with_name(f"{path.stem}.history")


def versions(path: Path) -> tuple[Version, ...]:
    """Return the versions of a profile, the oldest first, the one in use last.

    A file that was edited by hand since it was last saved here is a version too.
    """
    order = history_of(path) / "order.jsonl"
    lines = order.read_text(encoding="utf-8").splitlines() if order.exists() else []
    found = [Version(**json.loads(line)) for line in lines if line.strip()]
    now = version_of(_read(path))
    if not found or found[-1].version != now:
        found.append(Version(now))
    return tuple(found)


def text_of(path: Path, version: str) -> str:
    """Return the text of a version of a profile.

    Raises
    ------
    PackError
        If there is no such version, or the kept file was changed since.
    """
    now = _read(path)
    if version == version_of(now):
        return now
    kept = history_of(path) / f"{version}.yaml"
    if len(version) != SHOWN or not version.isalnum() or not kept.exists():
        raise _trouble(path, f"no version {version!r}; expected one of its history")
    text = _read(kept)
    if version_of(text) != version:
        raise _trouble(kept, f"it was changed: its text is version {version_of(text)}")
    return text


def difference_of(path: Path, before: str, after: str) -> tuple[Differs, ...]:
    """Return what differs between two versions of a profile; PackError if one is not there."""
    return difference(
        parsed(text_of(path, before), path.name), parsed(text_of(path, after), path.name)
    )


def set_threshold(path: Path, change: Change, packs: Rulebook, seen: str | None = None) -> str:
    """Set one threshold in a profile file and return the new version.

    Parameters
    ----------
    path : Path
        The profile file.
    change : Change
    packs : Rulebook
        The packs without any profile: they hold the allowed ranges.
    seen : str, optional
        The version that the person saw; if the file is another by now, nothing is changed.

    Raises
    ------
    PackError
        Where the change is not allowed, or the file changed or cannot be written. It is then as
        it was.
    """
    note = Version("", change.when, change.who, change.threshold, change.reason)
    return _save(path, lambda old: with_change(old, change, path.name), note, packs, seen)


def take_back(
    path: Path, threshold: str, packs: Rulebook, note: Version, seen: str | None = None
) -> str:
    """Take a change out of a profile file and return the new version; see `set_threshold`.

    ``note`` says when, by whom and why.
    """
    return _save(path, lambda old: without_change(old, threshold, path.name), note, packs, seen)


def begin_profile(path: Path, name: str, title: str, packs: Rulebook, of: str | None = None) -> str:
    """Write a new profile that sets nothing yet; return its version. It never overwrites.

    Raises
    ------
    PackError
        If a file is there already, the name is none, or what it builds on cannot be used.
    """
    text = new_profile(name, title, of)
    apply_profile(packs, Marked(path.name, text, path))
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise _trouble(path, "is there already; expected a new name") from None
    except OSError as error:
        raise _trouble(path, error.strerror or str(error)) from None
    return version_of(text)


def _save(
    path: Path, edit: Callable[[str], str], note: Version, packs: Rulebook, seen: str | None
) -> str:
    path = path.resolve()
    folder = history_of(path)
    try:
        folder.mkdir(exist_ok=True)
        with FileLock(folder / "lock", timeout=PATIENCE_S):
            old = _read(path)
            before = version_of(old)
            if seen is not None and seen != before:
                message = f"it is version {before} by now, not {seen}: somebody changed it"
                raise _trouble(path, message)
            new = edit(old)
            apply_profile(packs, Marked(path.name, new, path))
            _keep(path, old, new, note)
    except Timeout:
        raise _trouble(path, "somebody else is saving it; try again") from None
    except OSError as error:
        raise _trouble(path, error.strerror or str(error)) from None
    return version_of(new)


def _keep(path: Path, old: str, new: str, note: Version) -> None:
    """Write both versions into the history, then the new one in place of the old."""
    folder, order = history_of(path), history_of(path) / "order.jsonl"
    known = versions(path)
    for text in (old, new):
        kept = folder / f"{version_of(text)}.yaml"
        if not kept.exists() or _read(kept) != text:
            _write(kept, text)
    _write(path, new)
    made = Version(version_of(new), note.when, note.who, note.threshold, note.why)
    lines = [json.dumps(asdict(v), ensure_ascii=False) for v in (*known, made)]
    _write(order, "\n".join(lines) + "\n")


def _write(path: Path, text: str) -> None:
    """Write a file beside its place, flush it, and put it there in one step."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        with beside.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            beside.chmod(path.stat().st_mode & 0o777)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def _read(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        raise _trouble(path, "no such file") from None
    except UnicodeDecodeError as error:
        raise _trouble(path, f"byte {error.start} is not UTF-8; expected UTF-8 text") from None


def _trouble(path: Path, message: str) -> PackError:
    return PackError([Problem(str(path), 0, 0, message)])
