"""Results of a replay on the disk: one small file a block-season, found again by what it is of.

A file's first line is the hash of the rest, so that one half written is told from a whole one and
done again. It is written beside its place and renamed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from riskrules.errors import RiskRulesError
from riskrules.logs.store.files import cannot_write, write_flushed
from riskrules.tuning.inputs import Piece
from riskrules.tuning.rows import (
    ChanceRow,
    FindingRow,
    JobRow,
    OpenRow,
    ProfileResult,
    SeasonResult,
    SeenRow,
    UnknownRow,
)

SHOWN = 24
"""Hexadecimal digits of a key in a file's name. (assumption: enough to tell all runs apart)"""
ROWS: Mapping[str, Any] = {
    "findings": FindingRow,
    "unknowns": UnknownRow,
    "chances": ChanceRow,
    "jobs": JobRow,
    "open": OpenRow,
}


class ReplayStop(RiskRulesError):
    """A replay that could not go on, or not to its end. What was done is kept."""


def encode(result: SeasonResult | None) -> bytes:
    """Return a result as bytes, the same for the same result; None: nothing was measured."""
    body = json.dumps(result, default=_slots, separators=(",", ":")).encode()
    return hashlib.sha256(body).hexdigest().encode() + b"\n" + body


def decode(raw: bytes) -> SeasonResult | None:
    """Return the result of bytes that `encode` made; ValueError where they are damaged."""
    first, _, body = raw.partition(b"\n")
    if hashlib.sha256(body).hexdigest().encode() != first:
        raise ValueError("damaged: its hash does not fit")
    said = json.loads(body)
    if said is None:
        return None
    said["seen"] = tuple(SeenRow(**row) for row in said["seen"])
    said["profiles"] = tuple(_profile(profile) for profile in said["profiles"])
    return SeasonResult(**said)


def _slots(row: Any) -> dict[str, Any]:
    return {name: getattr(row, name) for name in row.__slots__}


def _profile(said: dict[str, Any]) -> ProfileResult:
    rows = {name: tuple(kind(**row) for row in said[name]) for name, kind in ROWS.items()}
    return ProfileResult(**{**said, **rows})


class Kept:
    """The folder of results that are done.

    Parameters
    ----------
    folder : Path
        Made when the first result is put into it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, piece: Piece, key: str) -> Path:
        """Return where a result belongs."""
        place = self.folder / f"block={piece.block}"
        return place / f"season={piece.season}-{key[:SHOWN]}.json"

    def has(self, piece: Piece, key: str) -> bool:
        """Return whether a whole result is there."""
        try:
            self.get(piece, key)
        except (OSError, ValueError, TypeError, KeyError):
            return False
        return True

    def get(self, piece: Piece, key: str) -> SeasonResult | None:
        """Return a result; ValueError where it is damaged, OSError where it is not there."""
        return decode(self.path(piece, key).read_bytes())

    def put(self, piece: Piece, key: str, raw: bytes) -> None:
        """Keep a result, whole or not at all; ReplayStop where the disk takes no more."""
        path = self.path(piece, key)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_flushed(path, raw, hashlib.sha256(raw).hexdigest())
        except OSError as error:
            stop_writing(path, error)


def stop_writing(path: Path, error: OSError) -> NoReturn:
    """Raise the stop for a file that could not be written: the disk is full, most often."""
    said = cannot_write(path, error).problems[0].message.split(". The store")[0]
    message = f"{path}: {said}. What was done before is kept; make room and start again"
    raise ReplayStop(message) from None
