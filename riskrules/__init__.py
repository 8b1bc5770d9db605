"""riskrules: what last night did to each block of strawberries, and what to do first.

The library in a few names; each is imported when first used, so that a command starts quickly.

>>> import riskrules
>>> book = riskrules.shipped_rulebook()
>>> len(book.rules) >= 30
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "Review": "riskrules.review",
    "review": "riskrules.review",
    "shipped_rulebook": "riskrules.review",
    "shipped_jobs": "riskrules.review",
    "gather": "riskrules.sources",
    "read_log": "riskrules.logs.read",
    "read_events": "riskrules.logs.events",
    "load_farm": "riskrules.farm",
    "load_rulebook": "riskrules.packs.load",
    "derive": "riskrules.facts.derive",
    "evaluate": "riskrules.engine.evaluate",
    "as_json": "riskrules.report",
    "RiskRulesError": "riskrules.errors",
}

if TYPE_CHECKING:
    from riskrules.engine.evaluate import evaluate as evaluate
    from riskrules.errors import RiskRulesError as RiskRulesError
    from riskrules.facts.derive import derive as derive
    from riskrules.farm import load_farm as load_farm
    from riskrules.logs.events import read_events as read_events
    from riskrules.logs.read import read_log as read_log
    from riskrules.packs.load import load_rulebook as load_rulebook
    from riskrules.report import as_json as as_json
    from riskrules.review import Review as Review
    from riskrules.review import shipped_jobs as shipped_jobs
    from riskrules.review import shipped_rulebook as shipped_rulebook
    from riskrules.sources import gather as gather


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'riskrules' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
