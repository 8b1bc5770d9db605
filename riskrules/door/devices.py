"""Paired devices: codes that work once and soon end, and tokens that are kept hashed."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from filelock import FileLock
from pydantic import TypeAdapter, ValidationError

from riskrules.door.people import Role
from riskrules.errors import RiskRulesError

CODE_LIFE_S = 600
"""How long a pairing code works. [s] (assumption)"""
DEVICE_LIFE_S = 200 * 86_400
"""How long a device stays paired: a season. [s] (assumption)"""
TOKEN_BYTES, CODE_BYTES = 32, 16
"""Random bytes: 256 bits of a token, 128 of a code; neither can be guessed. [bytes] (memory)"""


class DoorError(RiskRulesError):
    """The list of devices cannot be used, or a code does not fit."""


@dataclass(frozen=True, slots=True)
class Device:
    """A paired device; ``hash`` is of its token. Times are seconds since 1970 UTC."""

    id: str
    name: str
    role: Role
    hash: str
    paired: int
    ends: int


@dataclass(frozen=True, slots=True)
class Code:
    """A pairing code that was made and not yet used; ``hash`` is of it."""

    hash: str
    role: Role
    ends: int
    name: str = ""


@dataclass(slots=True)
class _Book:
    devices: list[Device] = field(default_factory=list)
    codes: list[Code] = field(default_factory=list)


_BOOK = TypeAdapter(_Book)


def hashed(secret: str) -> str:
    """Return the hash by which a random secret is kept. It is too long to be guessed back."""
    return hashlib.sha256(secret.encode()).hexdigest()


def devices_file(farm_file: Path) -> Path:
    """Return where the devices of a farm are listed."""
    return farm_file.parent / f".{farm_file.stem}.devices.json"


@dataclass(frozen=True, slots=True)
class Devices:
    """The devices of a farm, in one file that only its owner may read.

    Processes may share it: each change is made whole under a lock.
    """

    path: Path
    clock: Callable[[], float] = time.time

    def new_code(self, role: Role, name: str = "") -> str:
        """Return a new pairing code for a device that will have a role."""
        code = secrets.token_urlsafe(CODE_BYTES)
        now = int(self.clock())
        with self._changing() as book:
            book.codes = [c for c in book.codes if c.ends > now]
            book.codes.append(Code(hashed(code), role, now + CODE_LIFE_S, name[:80]))
        return code

    def exchange(self, code: str, name: str) -> tuple[Device, str]:
        """Take a code, once, and return the new device and its token.

        Raises
        ------
        DoorError
            If there is no such code, or it has ended or was used.
        """
        now, digest, token = int(self.clock()), hashed(code), secrets.token_urlsafe(TOKEN_BYTES)
        with self._changing() as book:
            found = [c for c in book.codes if c.hash == digest and c.ends > now]
            if not found:
                raise DoorError("this pairing code is used up, too old, or never was one")
            book.codes = [c for c in book.codes if c.hash != digest and c.ends > now]
            code_ = found[0]
            device = Device(
                secrets.token_hex(4), (code_.name or name)[:80], code_.role, hashed(token), now,
                now + DEVICE_LIFE_S,
            )  # fmt: skip
            book.devices.append(device)
        return device, token

    def of_token(self, token: str) -> Device | None:
        """Return the device that has a token, if it is paired still."""
        digest = hashed(token)
        return next((d for d in self.all() if secrets.compare_digest(d.hash, digest)), None)

    def of_id(self, known: str) -> Device | None:
        """Return a device by its id, if it is paired still."""
        return next((d for d in self.all() if d.id == known), None)

    def all(self) -> list[Device]:
        """Return the devices that are paired now."""
        now = self.clock()
        return [d for d in self._read().devices if d.ends > now]

    def withdraw(self, known: str) -> None:
        """Take a device off the list; from now on its token is worth nothing."""
        with self._changing() as book:
            book.devices = [d for d in book.devices if d.id != known]

    def _read(self) -> _Book:
        try:
            return _BOOK.validate_json(self.path.read_bytes())
        except FileNotFoundError:
            return _Book()
        except (OSError, ValidationError) as error:
            message = "no list of paired devices; expected one. Move it away and pair again"
            raise DoorError(f"{self.path}: {message} ({type(error).__name__})") from None

    @contextmanager
    def _changing(self) -> Iterator[_Book]:
        with FileLock(f"{self.path}.lock", timeout=10, mode=0o600):
            book = self._read()
            yield book
            _write_private(self.path, asdict(book))


def _write_private(path: Path, data: dict[str, Any]) -> None:
    """Put a file in place whole, readable by its owner alone."""
    aside = path.with_name(f"{path.name}.new")
    aside.unlink(missing_ok=True)
    handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(data, file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    os.replace(aside, path)
