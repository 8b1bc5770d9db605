"""The evaluating process: holds durable-rules, and nothing that a user could lose.

It reads requests from standard input and answers on standard output. A crash of the engine's C
code ends this process only; the parent starts another. Run as ``python -m
riskrules.engine.worker``; it imports neither pandas nor numpy, so that it starts quickly.
"""

from __future__ import annotations

import json
import os
import re
import sys
from typing import Any, BinaryIO

OPENING = "opening"
CLOSING = "closing"
_IDS = re.compile(r'"(f_\w+)":\{"id":"([^"]+)"')
UNIT = "u"
"""The one ``sid``: a unit of work is opened, evaluated and deleted before the next."""
MOST_RULESETS = 256


class _Stub:
    """Stands where durable-rules wants a host, without its timer threads."""

    def get_action(self, name: str) -> Any:
        """Refuse: no rule of ours names an action."""
        raise LookupError(name)


def _no_action(context: Any) -> None:
    """Take the place of an action: what fired is read from the engine's own messages."""


class Rules:
    """One durable-rules ruleset and the order in which it is fed."""

    def __init__(self, name: str, definition: dict[str, Any]) -> None:
        from durable.engine import Ruleset

        runnable = {rule: {**parts, "run": _no_action} for rule, parts in definition.items()}
        self._rules = Ruleset(name, _Stub(), runnable)
        self._handle = self._rules._handle

    def fired(self, facts: str) -> list[tuple[str, dict[str, str]]]:
        """Assert a batch and return what fired: engine rule and the facts' ids.

        Parameters
        ----------
        facts : str
            JSON list of facts that ends with the closing fact; all of sid ``u``.

        Raises
        ------
        RuntimeError
            If the engine did not read the batch to its end, or saw a fact twice.
        """
        import durable_rules_engine as engine

        opening = json.dumps({"kind": OPENING, "id": OPENING, "sid": UNIT})
        # The state is the opening's: what a batch that was cut hands back may point nowhere.
        _, state = engine.assert_fact(self._handle, opening)
        try:
            code, _ = engine.assert_facts(self._handle, facts)
            messages = []
            started = engine.start_action_for_state(self._handle, state)
            message = started[1] if started else None
            while message:
                messages.append(message)
                message = engine.complete_and_start_action(self._handle, state)
        finally:
            self._rules.delete_state(UNIT)
        if code not in (0, 1):  # 1: some fact matched no rule, which is no trouble
            raise RuntimeError(f"the engine refused the batch with code {code}")
        return _read(messages)


def _read(messages: list[str]) -> list[tuple[str, dict[str, str]]]:
    """Return rule and ids of each message; a message repeats whole facts, id first, as sent."""
    found, closed = [], 0
    for text in messages:
        rule = text[2 : text.index('"', 2)]
        if rule == CLOSING:
            closed += 1
        elif rule != OPENING:
            found.append((rule, dict(_IDS.findall(text))))
    if closed != 1:
        raise RuntimeError(f"the closing rule fired {closed} times; expected once")
    return found


def answer(request: dict[str, Any], facts: str, held: dict[str, Rules]) -> dict[str, Any]:
    """Evaluate one request; errors come back as text."""
    try:
        key = request["key"]
        if key not in held:
            if request.get("rules") is None:
                return {"unknown_rules": True}
            if len(held) >= MOST_RULESETS:
                return {"full": True}
            held[key] = Rules(key, json.loads(request["rules"]))
        return {"fired": held[key].fired(facts)}
    except Exception as error:  # the parent shows it
        return {"error": f"{type(error).__name__}: {error}"}


def serve(source: BinaryIO, sink: BinaryIO) -> None:
    """Answer requests until the input ends: a line of JSON, then a line of facts."""
    held: dict[str, Rules] = {}
    while line := source.readline():
        facts = source.readline().decode().rstrip("\n")
        reply = answer(json.loads(line), facts, held)
        sink.write(json.dumps(reply).encode() + b"\n")
        sink.flush()


def main() -> None:
    """Serve on the process's own pipes; whatever else prints goes to standard error."""
    sink = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    serve(sys.stdin.buffer, sink)


if __name__ == "__main__":
    main()
