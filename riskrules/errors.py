"""Errors a user can act on: each says where, what was found, and what is expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class RiskRulesError(Exception):
    """Base of every error this package raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One trouble in a file, at a line and column that an editor can jump to (0: not known)."""

    file: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        """Return ``file:line:column: message``, leaving out what is not known."""
        place = self.file
        if self.line:
            place += f":{self.line}"
            if self.column:
                place += f":{self.column}"
        return f"{place}: {self.message}"


class FileProblems(RiskRulesError):
    """All troubles of a file at once."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class PackError(FileProblems):
    """A pack, profile, farm or job file that cannot be used."""


class LogError(FileProblems):
    """A log or events file that cannot be used."""


class EngineError(RiskRulesError):
    """The rule engine did not do what it was asked."""


class PluginError(RiskRulesError):
    """An installed plug-in that cannot be used."""
