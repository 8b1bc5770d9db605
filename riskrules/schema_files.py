"""The JSON schemas that ship with the package: of a review, and of the files people write."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from riskrules.errors import RiskRulesError

NAMES = ("farm", "pack", "profile", "review", "log_report")


def schema(name: str) -> dict[str, Any]:
    """Return a JSON Schema (draft 2020-12).

    Parameters
    ----------
    name : {'farm', 'pack', 'profile', 'review', 'log_report'}
        ``review`` is what ``review --json`` prints, ``log_report`` what ``logs report --json``
        does; the others are files that people write.

    Raises
    ------
    RiskRulesError
        If there is no schema of that name.

    Examples
    --------
    >>> schema("farm")["title"]
    'Farm file'
    """
    if name not in NAMES:
        raise RiskRulesError(f"no schema '{name}'; expected one of {', '.join(NAMES)}")
    text = (files("riskrules") / "schemas" / f"{name}.schema.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


TITLES = {"farm": "Farm file", "pack": "Rule pack", "profile": "Region profile"}
WORDS = {
    "latitude": "Degrees north; south is negative.",
    "longitude": "Degrees east; west is negative.",
    "zone": "Named zone of clock times that carry no offset, such as America/Chicago.",
    "elevation": "Metres above the sea.",
    "columns": "Header in the log to header as we write it, such as T1: 'air_temperature [degF]'.",
    "placed": "Where the sensor hangs.",
    "ground": "What lies between and under the plants.",
    "fruit_at_stake": "How much fruit the block bears, from 0 to 5, to order the jobs.",
    "hours": "Your own hours of work for one block, by job.",
    "outside": "Logs of the air outside; forecasts among them.",
    "events": "Events files: what was done and seen.",
    "given": "Name to kind of fact; all facts are of one block.",
    "when": "Conditions, all of which must hold; numbers are named thresholds.",
    "unless": "A fact that must not be there.",
    "stages": "BBCH stages of strawberry, one of which must be present.",
    "range": "Least and most that a profile may set.",
    "tag": "How the number or statement is known.",
    "sentence": "What the finding says, with {fact.quantity} and {threshold} filled in.",
    "examples": "Invented facts, and what the rule must give to them.",
    "threshold": "Pack and threshold, such as gray_mold.flower_attention.",
    "reason": "Why it is set otherwise here.",
    "who": "Who says so.",
}
"""What a key means, where its name alone does not say."""


def generated(name: str) -> dict[str, Any]:
    """Return the schema of a file that people write, from the model that reads it."""
    from pydantic import BaseModel

    from riskrules.farm import FarmText
    from riskrules.packs.load import ProfileText
    from riskrules.packs.model import PackText

    models: dict[str, type[BaseModel]] = {
        "farm": FarmText,
        "pack": PackText,
        "profile": ProfileText,
    }
    body = _plain(models[name].model_json_schema())
    first = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": TITLES[name]}
    return {**first, **body}


def _plain(node: Any) -> Any:
    """Return a schema without titles made of code names, and with our words on its keys."""
    if isinstance(node, list):
        return [_plain(item) for item in node]
    if not isinstance(node, dict):
        return node
    found = {k: _plain(v) for k, v in node.items() if not (k == "title" and isinstance(v, str))}
    for key, value in found.get("properties", {}).items():
        if key in WORDS and isinstance(value, dict):
            value.setdefault("description", WORDS[key])
    return found


def write() -> None:
    """Write the generated schemas anew, in a checkout."""
    for name in TITLES:
        path = files("riskrules") / "schemas" / f"{name}.schema.json"
        text = json.dumps(generated(name), indent=1, ensure_ascii=False)
        Path(str(path)).write_text(f"{text}\n", encoding="utf-8")


if __name__ == "__main__":
    write()
