"""The evaluating process dies, hangs or refuses: the answer stays right, or its lack is said."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from findings.small_farm import reviewed, write_farm

from riskrules.cli_show import show_review
from riskrules.engine import evaluate as evaluating
from riskrules.engine import process, worker
from riskrules.engine.compile import Compiled, compile_packs
from riskrules.engine.evaluate import DURABLE, PLAIN, batch_of, evaluate
from riskrules.engine.plain import matches
from riskrules.engine.process import EngineCrash, EngineProcess
from riskrules.errors import EngineError
from riskrules.facts.table import Facts
from riskrules.packs.examples import example_facts
from riskrules.packs.load import load_rulebook, pack_files
from riskrules.report import as_json
from riskrules.review import Review

pytest.importorskip("durable_rules_engine", reason="without it there is no evaluating process")

CHECKOUT = Path(__file__).parents[2]
BOOK = load_rulebook(pack_files([CHECKOUT / "rulepacks"]))
PACK = BOOK.pack("gray_mold")
RULE = next(r for r in PACK.rules if r.name == "flower_infection")
FACTS: Facts = example_facts(RULE, RULE.text.examples[0])
EXPECTED = matches(FACTS, [PACK])
WET = compile_packs([PACK])[0]


@pytest.fixture
def engine() -> Iterator[EngineProcess]:
    made = EngineProcess()
    yield made
    made.close()


def killed(engine: EngineProcess) -> int:
    """Kill the evaluating process as the system would, and return its number."""
    pid = engine.pid
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    return pid


def gone(pid: int) -> bool:
    """Return whether a process ends within ten seconds (or is left to be reaped)."""
    for _ in range(200):
        stat = Path(f"/proc/{pid}/stat")
        if not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] == "Z":
            return True
        time.sleep(0.05)
    return False


def test_the_process_and_plain_python_agree_to_begin_with(engine: EngineProcess) -> None:
    assert evaluate(FACTS, [PACK], engine) == EXPECTED
    assert any(m.sure for m in EXPECTED)
    assert engine.pid != os.getpid()


def raises_inside(text: str) -> Compiled:
    return replace(WET, key="broken", definition=text)


@pytest.mark.parametrize(
    ("rules", "batch", "said"),
    [
        ("no JSON", "[]", "JSONDecodeError"),
        ('{"r": {"all": [{"a": {"$nope": {"b": 1}}}]}}', "[]", "error"),
        (WET.definition, '[{"kind":"wet","id":"w","sid":"u"}]', "closing rule fired 0 times"),
    ],
    ids=["rules that are no JSON", "rules the engine refuses", "facts without the closing one"],
)
def test_what_raises_inside_the_worker_surfaces_as_an_engine_error(
    engine: EngineProcess, rules: str, batch: str, said: str
) -> None:
    engine.start()
    pid = engine.pid
    with pytest.raises(EngineError, match=said) as caught:
        engine.fired(raises_inside(rules), batch)
    assert not isinstance(caught.value, EngineCrash)
    assert evaluate(FACTS, [PACK], engine) == EXPECTED
    assert (engine.pid, engine.crashes) == (pid, [])


# Killed


def test_a_process_killed_before_an_evaluation_is_replaced(engine: EngineProcess) -> None:
    assert evaluate(FACTS, [PACK], engine) == EXPECTED
    pid = killed(engine)
    assert gone(pid)
    assert evaluate(FACTS, [PACK], engine) == EXPECTED
    assert engine.pid != pid
    assert engine.crashes == ["it had ended (exit -9)"]


@pytest.mark.parametrize("rows", [1, 1_500], ids=["a short batch", "more than a pipe holds"])
def test_a_process_killed_during_an_evaluation_is_replaced_and_asked_again(
    engine: EngineProcess, rows: int
) -> None:
    """Stopped first, so that the kill surely falls between the question and the answer."""
    engine.start()
    pid = engine.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    timer = threading.Timer(0.4, os.kill, (pid, signal.SIGKILL))
    timer.start()
    batch = batch_of(FACTS, WET)
    assert batch is not None
    first = batch[:-1].split("},")[0] + "}"
    padded = "[" + ",".join([first.replace("0", str(i), 1) for i in range(1, rows)] + [batch[1:]])
    assert (len(padded) > 2**17) == (rows > 1)
    found = engine.fired(WET, padded)
    timer.join()
    assert found
    assert engine.pid != pid
    assert len(engine.crashes) == 1
    assert "exit -9" in engine.crashes[0] or "exit None" in engine.crashes[0]
    assert evaluate(FACTS, [PACK], engine) == EXPECTED


DIVIDES = {"$gt": {"v": {"$div": {"$l": {"$m": "x"}, "$r": {"$m": "z"}}}}}
OPENED = {"all": [{"o": {"kind": "opening"}}]}
DIVIDED = {"all": [{"a": {"$and": [{"kind": "wet"}, DIVIDES]}}]}
POISON = raises_inside(json.dumps({"opening": OPENED, "r": DIVIDED}))


def test_facts_that_kill_the_engine_each_time_give_an_engine_crash(engine: EngineProcess) -> None:
    """A division by zero, which our compiler never writes, ends the real process in its C code."""
    with pytest.raises(EngineCrash, match="the rule engine died 2 times: .*process ended"):
        engine.fired(POISON, '[{"kind":"wet","id":"w","x":1,"v":3,"z":0,"sid":"u"}]')
    assert len(engine.crashes) == process.TRIES
    assert evaluate(FACTS, [PACK], engine) == EXPECTED


class Poisoned(EngineProcess):
    """An engine whose process is killed whenever it is asked about one block."""

    def __init__(self, block: str, times: int = 99) -> None:
        super().__init__()
        self.block, self.times, self.killed = block, times, 0

    def _ask(self, rules: Compiled, facts: str) -> dict[str, Any]:
        if f'"{self.block}"' in facts and self.killed < self.times:
            self.killed += 1
            assert self._child is not None
            os.kill(self._child.pid, signal.SIGKILL)
            self._child.wait()
        return super()._ask(rules, facts)


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_farm(tmp_path_factory.mktemp("farm"))


@pytest.fixture(scope="module")
def whole(farm: Path) -> Review:
    return reviewed(farm)


def test_a_crash_costs_one_block_which_says_so_and_changes_no_other(
    farm: Path, whole: Review
) -> None:
    engine = Poisoned("second_beds")
    found = reviewed(farm, engine=engine)
    engine.close()
    assert any(f.block == "second_beds" for f in whole.findings)
    assert {f.block for f in whole.findings} - {"second_beds"} == {"first_beds", "third_beds"}
    assert found.findings == tuple(f for f in whole.findings if f.block != "second_beds")
    assert found.unknowns == tuple(u for u in whole.unknowns if u.block != "second_beds")
    states = {b.state.block: b.state for b in found.blocks}
    assert states["second_beds"].state == "not evaluated"
    assert "Not evaluated: the rule engine died 2 times" in states["second_beds"].sentence
    assert {b.state for b in states.values()} == {"findings", "not evaluated"}
    assert '"not evaluated"' in json.dumps(as_json(found))
    assert not [b for item in found.work.items for b in item.blocks if b.block == "second_beds"]


def test_a_crash_that_does_not_come_back_changes_nothing(farm: Path, whole: Review) -> None:
    engine = Poisoned("second_beds", times=1)
    found = reviewed(farm, engine=engine)
    engine.close()
    assert engine.killed == 1
    assert as_json(found) == as_json(whole)


def test_a_block_that_was_not_evaluated_is_shown_as_such(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    engine = Poisoned("second_beds")
    show_review(reviewed(farm, engine=engine))
    engine.close()
    assert "second_beds: Not evaluated:" in " ".join(capsys.readouterr().out.split())


# Hung


class Hung(EngineProcess):
    """An engine whose process stops answering the first few times."""

    def __init__(self, times: int) -> None:
        super().__init__()
        self.times, self.pids = times, list[int]()

    def _ask(self, rules: Compiled, facts: str) -> dict[str, Any]:
        assert self._child is not None
        if len(self.pids) < self.times:
            self.pids.append(self._child.pid)
            os.kill(self._child.pid, signal.SIGSTOP)
        return super()._ask(rules, facts)


def test_a_hung_process_is_killed_and_the_evaluation_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    engine = Hung(times=1)
    engine.start()
    monkeypatch.setattr(process, "PATIENCE_S", 3.0)
    started = time.monotonic()
    assert evaluate(FACTS, [PACK], engine) == EXPECTED
    assert time.monotonic() - started >= 3
    assert engine.crashes == ["TimeoutError no answer within 3 s (exit None)"]
    assert gone(engine.pids[0])
    assert engine.pid != engine.pids[0]
    engine.close()


def test_a_process_that_hangs_each_time_gives_an_engine_crash(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(process, "PATIENCE_S", 0.3)
    engine = Hung(times=99)
    with pytest.raises(EngineCrash, match="died 2 times: TimeoutError no answer within 0 s"):
        evaluate(FACTS, [PACK], engine)
    assert len(engine.pids) == process.TRIES
    assert all(gone(pid) for pid in engine.pids)
    engine.close()


# Leaves nothing behind


def test_closing_ends_the_process_and_it_starts_anew_when_asked(engine: EngineProcess) -> None:
    engine.start()
    pid = engine.pid
    assert pid is not None
    engine.close()
    engine.close()
    assert engine.pid is None
    assert gone(pid)
    assert evaluate(FACTS, [PACK], engine) == EXPECTED


def test_the_process_ends_with_the_one_that_started_it() -> None:
    code = (
        "import os, sys; from riskrules.engine.process import EngineProcess\n"
        "e = EngineProcess(); e.start(); print(e.pid, flush=True); os._exit(0)"
    )
    run = [sys.executable, "-W", "ignore", "-c", code]
    ended = subprocess.run(run, capture_output=True, text=True, timeout=60, cwd=CHECKOUT)
    assert gone(int(ended.stdout))


def resident_kb(pid: int | None) -> int:
    """Return the memory of a process. [kB]"""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    raise LookupError(pid)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc here")
@pytest.mark.parametrize("rounds", [200, pytest.param(1000, marks=pytest.mark.long)])
def test_memory_of_the_process_stays_flat(engine: EngineProcess, rounds: int) -> None:
    """Batches of 100 facts: what is never given back is 6.9 MB a 1,000 facts. [computed]

    So a leak would show as 138 MB in the short run; one step of the allocator is 5 MB.
    """
    batch = json.loads(str(batch_of(FACTS, WET)))
    (fact,) = batch[:-1]
    many = [{**fact, "id": f"{fact['kind']}.{i}"} for i in range(100)]
    text = json.dumps([*many, batch[-1]], separators=(",", ":"))
    fired = [len(engine.fired(WET, text)) for _ in range(rounds // 10)]
    before = resident_kb(engine.pid)
    fired += [len(engine.fired(WET, text)) for _ in range(rounds)]
    assert resident_kb(engine.pid) - before < 8_000
    assert set(fired) == {fired[0]} and fired[0] >= 100


def test_a_failing_batch_in_each_round_costs_no_memory_and_no_answer(
    engine: EngineProcess,
) -> None:
    for _ in range(40):
        with pytest.raises(EngineError):
            engine.fired(WET, '[{"kind":"a0","id":"x","sid":"u"}]')
        assert evaluate(FACTS, [PACK], engine) == EXPECTED


# Several


def test_two_processes_at_once_answer_each_its_own(engine: EngineProcess) -> None:
    other = EngineProcess()
    found: dict[str, list[Any]] = {"a": [], "b": []}

    def ask(name: str, own: EngineProcess) -> None:
        for _ in range(20):
            found[name].append(evaluate(FACTS, [PACK], own))

    threads = [threading.Thread(target=ask, args=x) for x in (("a", engine), ("b", other))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {"a": [EXPECTED] * 20, "b": [EXPECTED] * 20}
    assert other.pid != engine.pid
    other.close()


def test_more_rulesets_than_a_process_holds_start_another(engine: EngineProcess) -> None:
    engine.start()
    pid = engine.pid
    batch = str(batch_of(FACTS, WET))
    sets = [replace(WET, key=f"set {i}") for i in range(worker.MOST_RULESETS + 2)]
    counts = {len(engine.fired(rules, batch)) for rules in sets + sets[:3]}
    assert len(counts) == 1
    assert counts != {0}
    assert engine.pid != pid
    assert engine.crashes == []


# Without the engine


def test_without_the_engine_a_review_says_so_and_finds_the_same(
    farm: Path, whole: Review, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(evaluating, "evaluator_name", lambda: PLAIN)
    evaluating.engine_version.cache_clear()
    try:
        found = reviewed(farm, engine=Poisoned("second_beds"))
    finally:
        evaluating.engine_version.cache_clear()
    assert found.evaluator == PLAIN
    assert whole.evaluator.startswith(DURABLE)
    assert found.findings == whole.findings
    assert found.unknowns == whole.unknowns
    assert as_json(found) == {**as_json(whole), "evaluator": PLAIN}
    show_review(found)
    assert f"Evaluated by {PLAIN}." in " ".join(capsys.readouterr().out.split())


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
def test_a_forked_process_starts_a_worker_of_its_own() -> None:
    engine = EngineProcess()
    engine.start()
    parents = engine.pid
    read, write = os.pipe()
    child = os.fork()
    if child == 0:  # only what cannot raise: pytest must not go on in here
        engine.start()
        os.write(write, str(engine.pid).encode())
        engine.close()
        os._exit(0)
    os.waitpid(child, 0)
    assert int(os.read(read, 20)) != parents
    assert engine.pid == parents
    engine.start()
    assert engine.pid == parents
    os.close(read)
    os.close(write)
    engine.close()
