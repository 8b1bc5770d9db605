"""Talk to the evaluating process: start it, feed it, and start another when it dies."""

from __future__ import annotations

import atexit
import json
import os
import select
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any

from riskrules.engine.compile import Compiled
from riskrules.errors import EngineError

PATIENCE_S = 120.0
"""How long one evaluation may take before the process counts as hung. [s] (assumption)"""
TRIES = 2


class EngineCrash(EngineError):
    """The evaluating process died, or hung, each time it was tried."""


class EngineProcess:
    """A child process that holds durable-rules. One request at a time."""

    name = "durable-rules"

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None
        self._known: set[str] = set()
        self._owner = os.getpid()
        self.crashes: list[str] = []

    def start(self) -> None:
        """Start the process early, so that it loads while the log is read."""
        if self._owner != os.getpid():  # a fork must not talk through its parent's pipes
            self._child, self._owner = None, os.getpid()
        if self._child is not None and self._child.poll() is not None:
            self.crashes.append(f"it had ended (exit {self._child.returncode})")
            self.close()
        if self._child is None:
            root = str(Path(__file__).resolve().parents[2])
            path = os.pathsep.join(filter(None, [root, os.environ.get("PYTHONPATH", "")]))
            self._known = set()
            self._child = subprocess.Popen(
                [sys.executable, "-W", "ignore", "-m", "riskrules.engine.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": path},
            )

    @property
    def pid(self) -> int | None:
        """The child's process id, or None."""
        return self._child.pid if self._child else None

    def close(self) -> None:
        """End the process."""
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        if child.stdin:
            with suppress(OSError):  # closing flushes what a dead process has not read
                child.stdin.close()
        child.wait()
        if child.stdout:
            child.stdout.close()

    def fired(self, rules: Compiled, facts: str) -> list[tuple[str, dict[str, str]]]:
        """Return what fires for a batch of facts.

        Raises
        ------
        EngineCrash
            If the process died or hung twice on these facts.
        EngineError
            If the engine refused the rules or the facts.
        """
        for _ in range(TRIES):
            try:
                return self._once(rules, facts)
            except (OSError, EOFError, TimeoutError, ValueError) as error:
                code = self._child.poll() if self._child else None
                self.crashes.append(f"{type(error).__name__} {error} (exit {code})")
                self.close()
        raise EngineCrash(f"the rule engine died {TRIES} times: {self.crashes[-1]}")

    def _once(self, rules: Compiled, facts: str) -> list[tuple[str, dict[str, str]]]:
        self.start()
        reply = self._ask(rules, facts)
        if "full" in reply:
            self.close()
            self.start()
            reply = self._ask(rules, facts)
        if "error" in reply:
            raise EngineError(reply["error"])
        self._known.add(rules.key)
        return [(rule, ids) for rule, ids in reply["fired"]]

    def _ask(self, rules: Compiled, facts: str) -> dict[str, Any]:
        child = self._child
        if child is None or child.stdin is None or child.stdout is None:
            raise EOFError("no process")
        definition = None if rules.key in self._known else rules.definition
        request = json.dumps({"key": rules.key, "rules": definition})
        hung = threading.Timer(PATIENCE_S, child.kill)  # a child that reads nothing blocks us
        hung.start()
        try:
            child.stdin.write(f"{request}\n{facts}\n".encode())
            child.stdin.flush()
        finally:
            hung.cancel()
        ready, _, _ = select.select([child.stdout], [], [], PATIENCE_S)
        if not ready:
            raise TimeoutError(f"no answer within {PATIENCE_S:.0f} s")
        line = child.stdout.readline()
        if not line.endswith(b"\n"):
            raise EOFError("the process ended")
        reply: dict[str, Any] = json.loads(line)
        return reply


_shared: EngineProcess | None = None


def shared_engine() -> EngineProcess:
    """Return the one evaluating process of this process, made when first asked for."""
    global _shared
    if _shared is None:
        _shared = EngineProcess()
        atexit.register(_shared.close)
    return _shared
