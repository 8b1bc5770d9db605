"""What another installed package can add: packs, models, kinds of fact, log readers.

A plug-in is a module named by an entry point of the group ``riskrules``; it implements some of
the hooks below, each marked with `hook`. Names are checked at start: a misspelt hook is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from importlib.metadata import entry_points
from pathlib import Path
from typing import TYPE_CHECKING

import pluggy

from riskrules.errors import PluginError

if TYPE_CHECKING:
    from riskrules.facts.derive import MoreFacts
    from riskrules.facts.kinds import Kind
    from riskrules.logs.readings import Readings
    from riskrules.science.printed_value import PrintedValue

GROUP = "riskrules"
hook = pluggy.HookimplMarker(GROUP)
_spec = pluggy.HookspecMarker(GROUP)
Reader = Callable[[Path], "Readings"]


class Hooks:
    """The hooks. Each may be implemented by any number of plug-ins; results are put together."""

    @_spec
    def riskrules_packs(self) -> Sequence[Path]:  # type: ignore[empty-body]
        """Return the paths of further pack files."""

    @_spec
    def riskrules_kinds(self) -> Sequence[tuple[Kind, MoreFacts]]:  # type: ignore[empty-body]
        """Return further kinds of fact, each with the function that derives its table."""

    @_spec
    def riskrules_printed_values(self) -> Sequence[PrintedValue]:  # type: ignore[empty-body]
        """Return the printed values by which further models are checked in ``tables``."""

    @_spec(firstresult=True)
    def riskrules_log_reader(self, path: Path) -> Reader | None:
        """Return a reader for a log file of a format of your own, or None."""


@lru_cache(maxsize=1)
def manager() -> pluggy.PluginManager:
    """Return the plug-in manager with every installed plug-in loaded and checked.

    Raises
    ------
    PluginError
        If a plug-in implements a hook that there is none of, or cannot be loaded.
    """
    found = pluggy.PluginManager(GROUP)
    found.add_hookspecs(Hooks)
    for entry in entry_points(group=GROUP):
        try:
            found.register(entry.load(), entry.name)
            found.check_pending()
        except (pluggy.PluginValidationError, ImportError, AttributeError) as error:
            hooks = ", ".join(name for name in vars(Hooks) if name.startswith(GROUP))
            said = f"{type(error).__name__}: {error}".replace("\n", " ")
            message = f"plug-in '{entry.name}' ({entry.value}) cannot be used: {said}"
            raise PluginError(f"{message}; the hooks are {hooks}") from None
    return found


def more_packs() -> list[Path]:
    """Return the pack files of all plug-ins."""
    return [path for paths in manager().hook.riskrules_packs() for path in paths]


def more_kinds() -> list[tuple[Kind, MoreFacts]]:
    """Return the kinds of fact of all plug-ins, with what derives them."""
    return [pair for pairs in manager().hook.riskrules_kinds() for pair in pairs]


def more_printed_values() -> list[PrintedValue]:
    """Return the printed check values of all plug-ins."""
    return [value for values in manager().hook.riskrules_printed_values() for value in values]


def reader_for(path: Path) -> Reader | None:
    """Return a plug-in's reader for a file, or None."""
    found: Reader | None = manager().hook.riskrules_log_reader(path=path)
    return found
