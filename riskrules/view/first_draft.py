"""A farm that is being begun: what was typed and given so far, on disk until the farm is made."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pydantic import TypeAdapter, ValidationError

from riskrules.errors import RiskRulesError
from riskrules.view.chosen import home
from riskrules.view.first import BlockDraft, LogDraft, PlaceDraft, checked_log

KNOWN = re.compile(r"[0-9a-f]{16}")
MOST = 100
"""Drafts kept at once; another is refused. (assumption)"""
SAID = "said.json"


@dataclass(frozen=True, slots=True)
class Said:
    """What was typed in the first two steps; ``begun`` is when. [s since 1970 UTC]"""

    begun: int
    place: PlaceDraft
    blocks: tuple[BlockDraft, ...]


@dataclass(frozen=True, slots=True)
class Given:
    """A log that was given for a block: its name there, its bytes by their hash, its mapping.

    ``mapping`` is None until somebody changed what was proposed.
    """

    file: str
    sha256: str
    size: int
    mapping: str | None = None


T = TypeVar("T")
_SAID, _GIVEN = TypeAdapter(Said), TypeAdapter(Given)


@dataclass(frozen=True, slots=True)
class Draft:
    """One draft, by its name of 16 hex digits. Its folder is made when something is kept.

    Each thing that was said is a file of its own, put in place whole: a tab that is behind
    loses no log that another one was given.

    Each method raises `RiskRulesError` where the folder cannot be read or written.
    """

    name: str

    @property
    def folder(self) -> Path:
        """Where it is kept."""
        return drafts_folder() / self.name

    @property
    def said(self) -> Said | None:
        """What was typed; None where nothing was."""
        return _read(_SAID, self.folder / SAID)

    def say(self, place: PlaceDraft, blocks: Sequence[BlockDraft], now: int) -> None:
        """Keep what was typed, if it says anything new. [s since 1970 UTC]"""
        before = self.said
        if before is None and (place, tuple(blocks)) == NOTHING:
            return
        new = Said(before.begun if before else now, place, tuple(blocks))
        if new != before:
            self._put(SAID, _SAID.dump_json(new))

    def given(self, block: int) -> Given | None:
        """Return the log that was given for a block, counted from 0."""
        found = _read(_GIVEN, self.folder / f"log_{block}.json")
        return found if found and self.log_path(found).is_file() else None

    def log_path(self, given: Given) -> Path:
        """Return where the bytes of a log are."""
        return self.folder / f"{given.sha256}.log"

    def give(self, block: int, file: str, data: bytes) -> Given:
        """Keep a log of a block, in place of one that was given before.

        Raises
        ------
        LogError
            If it is too large, or of no kind that logs are.
        """
        checked_log(data, file)
        given = Given(file[-200:], hashlib.sha256(data).hexdigest(), len(data))
        if not self.log_path(given).is_file():
            self._put(f"{given.sha256}.log", data)
        self._put(f"log_{block}.json", _GIVEN.dump_json(given))
        return given

    def map(self, block: int, given: Given, mapping: str) -> None:
        """Keep how a log is read, as somebody changed it."""
        if mapping != given.mapping:
            changed = Given(given.file, given.sha256, given.size, mapping)
            self._put(f"log_{block}.json", _GIVEN.dump_json(changed))

    def leave_out(self, block: int) -> None:
        """Leave the log of a block out again. Its bytes stay until the farm is made."""
        path = self.folder / f"log_{block}.json"
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise RiskRulesError(f"{path}: {error.strerror or error}") from None

    def log(self, block: int, name: str, proposed: str) -> LogDraft | None:
        """Return a block's log as `begin_farm` takes it; ``proposed`` is for one not mapped."""
        given = self.given(block)
        if given is None:
            return None
        mapping = proposed if given.mapping is None else given.mapping
        return LogDraft(name, given.file, self.log_path(given).read_bytes(), mapping)

    def end(self) -> None:
        """Take the draft away: the farm is made, or nobody wants it."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _put(self, name: str, data: bytes) -> None:
        """Put a file in place whole, readable by its owner alone."""
        try:
            if not self.folder.is_dir():
                _make_room(self.folder)
            handle, beside = tempfile.mkstemp(prefix=".part", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(beside, self.folder / name)
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise
        except OSError as error:
            raise RiskRulesError(f"{self.folder}: {error.strerror or error}") from None


NOTHING = (PlaceDraft("", None, None, ""), (BlockDraft(""),))
"""What an untouched page says."""


def _make_room(folder: Path) -> None:
    if len(drafts()) >= MOST:
        message = f"{MOST} farms are being begun; expected some to be ended first"
        raise RiskRulesError(f"{folder.parent}: {message}")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)


def drafts_folder() -> Path:
    """Return where drafts are kept, on this computer."""
    return home() / "begun"


def draft_of(name: str) -> Draft:
    """Return the draft of a name; a new one where it is no name of a draft.

    Examples
    --------
    >>> draft_of("0123456789abcdef").name
    '0123456789abcdef'
    >>> draft_of("../other").name == draft_of("").name
    False
    """
    return Draft(name if KNOWN.fullmatch(name) else secrets.token_hex(8))


def drafts() -> list[Draft]:
    """Return the drafts that are kept and say something, the one begun last first."""
    try:
        names = [p.name for p in drafts_folder().iterdir() if KNOWN.fullmatch(p.name)]
    except OSError:
        return []
    said = [(found.begun, n) for n in names if (found := Draft(n).said)]
    return [Draft(name) for _, name in sorted(said, reverse=True)]


def _read(kind: TypeAdapter[T], path: Path) -> T | None:
    """Return what a file says; None where it is not there, or not one of ours."""
    try:
        return kind.validate_json(path.read_bytes())
    except FileNotFoundError:
        return None
    except (OSError, ValidationError) as error:
        message = f"cannot be read ({type(error).__name__}); expected a draft"
        raise RiskRulesError(f"{path}: {message}. Move it away and begin again") from None
