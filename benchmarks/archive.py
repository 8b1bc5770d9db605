"""8: an archive of a thousand block-years replayed, in a plain loop and on worker processes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import numpy as np

from benchmarks.rows import Result, Row
from benchmarks.seasons import book
from benchmarks.timing import cpu_of
from riskrules.engine.process import shared_engine
from riskrules.logs.readings import Readings
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year
from riskrules.tuning.archive import open_archive, write_season
from riskrules.tuning.cluster import Tally, Where, Work
from riskrules.tuning.cluster import run as replay_all
from riskrules.tuning.kept import Kept, encode
from riskrules.tuning.replay import replay_one, season_facts
from riskrules.tuning.sweep import axis_of, sweep_books

NUMBER = 8
AIM_RATE, AIM_SPEED_UP, AIM_MEMORY = 40.0, 1.8, 1.1
"""Block-seasons a second from cached facts, times as fast with two workers (both the issue's), and
times the memory of a tenth that the whole may take (assumption)."""
YEARS = tuple(range(1991, 2011))
SIZES, QUICK_SIZES = (10, 100, 1000), (4, 8, 16)
STAGED, QUICK_STAGED = 40, 4
NAMES = ("air_temperature", "relative_humidity", "surface_wetness",
         "thickness_of_rainfall_amount", "wind_speed")  # fmt: skip
SEED = 20250801
CORES = 100
FARM = """\
# Invented data: no such farm exists; the weather is a typical year's, changed at random.
farm: Made-up archive (invented)
place: {{latitude: 36.1, longitude: -79.95, zone: America/New_York}}
events: [events.csv]
blocks:
{blocks}"""
BLOCK = (
    "  - {{block: {name}, logs: [{{file: {name}.csv}}], tunnel: low_tunnel, "
    "row_covers: false, plants: day_neutral}}\n"
)
Weather = dict[str, Any]


def make_archive(folder: Path, size: int) -> int:
    """Write an archive of so many block-years and return how many readings it holds."""
    typical = read_typical_year(locate(f"{PREFIX}723170TYA.CSV"))
    random = np.random.default_rng(SEED)
    blocks = [f"bed_{i:03}" for i in range(-(-size // len(YEARS)))]
    text = "".join(BLOCK.format(name=name) for name in blocks)
    (folder / "farm.yaml").write_text(FARM.format(blocks=text), encoding="utf-8")
    rows, count = ["time,block,event,what,end,affected,examined"], 0
    for i, (name, year) in enumerate((n, y) for n in blocks for y in YEARS):
        if i >= size:
            break
        made = _weather(typical, year, random)
        count += len(made) * len(made.values)
        write_season(folder / f"block={name}" / f"season={year}.parquet", [made])
        rows += _events(name, year, random)
    (folder / "events.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return count


def _weather(typical: Readings, year: int, random: np.random.Generator) -> Readings:
    """Return the typical year laid on another one, a little warmer or wetter all through."""
    start = int(datetime(year, 1, 1, 5, tzinfo=UTC).timestamp())
    n = len(typical)
    wetter, warmer = random.uniform(-5, 5), random.uniform(-2, 2)
    air = np.round(typical.values["air_temperature"] + warmer + random.normal(0, 0.3, n), 1)
    damp = np.clip(np.round(typical.values["relative_humidity"] + wetter), 1, 100)
    values: Weather = {
        **{name: typical.values[name] for name in NAMES[3:]},
        "air_temperature": air,
        "relative_humidity": damp,
        "surface_wetness": (damp >= 92).astype(float),
    }
    cause = {name: np.zeros(n, dtype=np.int64) for name in values}
    time = start + 3600 * np.arange(1, n + 1)
    return Readings(time, 3600, values, cause, np.zeros(n, dtype=bool), sensor="log")


def _events(block: str, year: int, random: np.random.Generator) -> Iterator[str]:
    for day in range(1, 29, 7):
        for month in (4, 5, 6):
            moment = f"{year}-{month:02}-{day:02}"
            yield f"{moment}T07:00,{block},stages,65 71 81,,,"
            sick = int(random.integers(0, 4))
            yield f"{moment}T08:00,{block},sighting,ripe_fruit gray_mold,,{sick},80"


@dataclass(slots=True)
class Watched:
    """What one run took. ``first`` is the time until the first result. [s, MB]"""

    seconds: float = 0.0
    first: float = 0.0
    count: int = 0
    peaks: dict[str, float] = field(default_factory=dict)

    @property
    def steady(self) -> float:
        """Seconds after the first result, for one block-season less."""
        return max(self.seconds - self.first, 1e-9)

    @property
    def rate(self) -> float:
        """Block-seasons a second once all are at work."""
        return (self.count - 1) / self.steady


def watched(folder: Path, out: Path, workers: int, count: int) -> Watched:
    """Replay so many block-seasons in a process of its own and return what it took."""
    words = [sys.executable, "-m", "benchmarks.archive",
             *map(str, (folder, out, workers, count))]  # fmt: skip
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=dict(os.environ))
    return Watched(**json.loads(done.stdout))


def main(words: list[str]) -> None:
    """Replay in this process and print what it took as JSON."""
    folder, out, workers, count = Path(words[0]), Path(words[1]), int(words[2]), int(words[3])
    work = Work(open_archive(folder), {"shipped": book()})
    pieces = work.archive.pieces()[:count]
    seen = Watched(count=len(pieces))
    start = perf_counter()

    def tell(tally: Tally) -> None:
        if tally.done == 1:
            seen.first = perf_counter() - start
        if tally.done and (tally.done % 10 == 0 or tally.left < 3):
            look(seen.peaks)

    replay_all(work, out, Where(workers), tell, pieces)
    seen.seconds = perf_counter() - start
    look(seen.peaks)
    print(json.dumps({n: getattr(seen, n) for n in ("seconds", "first", "count", "peaks")}))


def look(peaks: dict[str, float]) -> None:
    """Note the most memory that each kind of process below this one ever held. [MB]"""
    for pid, words in _family(os.getpid()):
        kind = "engine" if "engine.worker" in words else (
            "worker" if "spawn_main" in words else "client" if pid == os.getpid() else "other"
        )  # fmt: skip
        try:
            text = Path(f"/proc/{pid}/status").read_text(encoding="ascii", errors="replace")
        except OSError:
            continue
        most = next((int(x.split()[1]) / 1024 for x in text.splitlines() if "VmHWM" in x), 0.0)
        peaks[kind] = max(peaks.get(kind, 0.0), most)


def _family(root: int) -> list[tuple[int, str]]:
    """Return this process and all below it, with their command lines."""
    parents, words = {}, {}
    for path in Path("/proc").glob("[0-9]*"):
        try:
            stat = (path / "stat").read_text(errors="replace")
            words[int(path.name)] = (path / "cmdline").read_bytes().decode(errors="replace")
        except OSError:
            continue
        parents[int(path.name)] = int(stat.rpartition(")")[2].split()[1])
    found, todo = [], [root]
    while todo:
        pid = todo.pop()
        found.append((pid, words.get(pid, "")))
        todo += [child for child, parent in parents.items() if parent == pid]
    return found


Stages = dict[str, tuple[float, float]]
"""Seconds of each stage by the clock, and of processor time (the rule engine's included)."""


def _clocks() -> tuple[float, float]:
    return perf_counter(), process_time() + cpu_of(shared_engine().pid)


def stages(folder: Path, count: int) -> Stages:
    """Return what each stage takes over some block-seasons, one after the other."""
    archive, books = open_archive(folder), {"shipped": book()}
    took: Stages = dict.fromkeys(("reading", "facts", "engine and rows", "writing"), (0.0, 0.0))
    with tempfile.TemporaryDirectory() as out:
        kept = Kept(Path(out))
        for i, piece in enumerate([archive.pieces()[0], *archive.pieces()[:count]]):
            marks = [_clocks()]
            season = archive.load(piece)
            if season is None:
                raise ValueError(f"{piece.name}: nothing measured")
            marks.append(_clocks())
            facts = season_facts(season, books["shipped"])
            marks.append(_clocks())
            result = replay_one(season, books, kept={facts.key: facts})
            marks.append(_clocks())
            kept.put(piece, "0" * 24, encode(result))
            marks.append(_clocks())
            if i:  # the first is for warming up
                for name, (wall, cpu) in zip(took, np.diff(marks, axis=0).tolist(), strict=True):
                    took[name] = took[name][0] + wall, took[name][1] + cpu
    return took


SWEPT = "gray_mold.flower_high"
"""The threshold of the sweep that is timed: two rules ask for it."""


def swept(folder: Path, count: int) -> tuple[int, float, float]:
    """Return how often block-seasons were replayed in a sweep, and the seconds that it took.

    By the clock, and of processor time; from facts that were derived before.
    """
    archive, base = open_archive(folder), book()
    books = sweep_books(base, [axis_of(base, SWEPT)])
    took = np.zeros(2)
    for i, piece in enumerate([archive.pieces()[0], *archive.pieces()[:count]]):
        season = archive.load(piece)
        if season is None:
            raise ValueError(f"{piece.name}: nothing measured")
        facts = season_facts(season, base)
        begin = _clocks()
        replay_one(season, books, kept={facts.key: facts})
        if i:  # the first is for warming up
            took += np.subtract(_clocks(), begin)
    return count * len(books), float(took[0]), float(took[1])


def run(quick: bool) -> Result:
    """Replay archives of three sizes and say what it took, and what more cores would do."""
    sizes, staged = (QUICK_SIZES, QUICK_STAGED) if quick else (SIZES, STAGED)
    with tempfile.TemporaryDirectory() as name:
        folder, outs = Path(name) / "archive", Path(name)
        folder.mkdir()
        readings = make_archive(folder, sizes[-1])
        took, again = stages(folder, staged), swept(folder, staged)
        loop = watched(folder, outs / "loop", 0, sizes[1])
        one = {n: watched(folder, outs / f"one-{n}", 1, n) for n in sizes}
        two = watched(folder, outs / "two", 2, sizes[-1])
    return Result(
        (*_cached(took, staged, again), *_rows(loop, one, two)),
        _lines(took, staged, loop, one, two, readings),
    )


def _cached(took: Stages, staged: int, again: tuple[int, float, float]) -> list[Row]:
    """Return the rows of what is replayed from facts that are there already."""
    times, wall, cpu = again
    return [
        _rate("block-seasons a second, facts cached", staged, *took["engine and rows"]),
        _rate(f"the same in a sweep of {times // staged} values", times, wall, cpu),
    ]


def _rate(what: str, count: int, wall: float, cpu: float) -> Row:
    rate = count / wall
    return Row(NUMBER, what, rate, AIM_RATE, "aim", "/s", rate / AIM_RATE, rate / AIM_RATE,
               count / cpu / AIM_RATE, 1.0, True)  # fmt: skip


def _rows(loop: Watched, one: dict[int, Watched], two: Watched) -> tuple[Row, ...]:
    sizes = sorted(one)
    few, most = one[sizes[1]], one[sizes[-1]]
    rows = [
        _row(f"{most.count:,} block-seasons, whole", most.seconds, two.seconds, "2 workers", "s",
             AIM_SPEED_UP, True),
        _row("the same after the first result", most.steady, two.steady, "2 workers", "s", None,
             True),
        _row(f"1 worker, {few.count} block-seasons", few.seconds, loop.seconds, "plain loop", "s"),
        _row("the same after the first result", few.steady, loop.steady, "plain loop", "s"),
    ]  # fmt: skip
    rows += [
        _row(f"peak memory of {who}, {most.count:,}", most.peaks[who], few.peaks[who],
             f"of {few.count}", "MB", AIM_MEMORY)
        for who in ("client", "worker", "engine") if who in most.peaks and who in few.peaks
    ]  # fmt: skip
    return tuple(rows)


def _row(
    what: str, ours: float, other: float, name: str, unit: str, aim: float | None = None,
    faster: bool = False,
) -> Row:  # fmt: skip
    ratio = ours / other
    return Row(NUMBER, what, ours, other, name, unit, ratio, ratio, None, aim, faster)


def _lines(
    took: Stages, staged: int, loop: Watched, one: dict[int, Watched], two: Watched,
    readings: int,
) -> tuple[str, ...]:  # fmt: skip
    whole = sum(cpu for _, cpu in took.values())
    shares = ", ".join(
        f"{name} {cpu / whole:.0%} ({cpu / staged * 1000:.0f} ms, {wall / staged * 1000:.0f} by "
        "the clock)"
        for name, (wall, cpu) in took.items()
    )
    each = readings / two.count
    rates = "; ".join(
        f"{n:,}: {w.rate:.1f}/s, " + ", ".join(f"{k} {m:.0f} MB" for k, m in w.peaks.items())
        for n, w in one.items()
    )
    return (
        f"a block-season in a plain loop, processor time: {shares}",
        f"1 worker, {rates}",
        f"2 workers: {two.rate:.1f} block-seasons/s, {two.rate * each:,.0f} readings/s; "
        f"plain loop: {loop.rate:.1f}/s, {loop.rate * each:,.0f} readings/s",
        _many(took, staged, loop),
    )


def _many(took: Stages, staged: int, loop: Watched) -> str:
    """Say what many cores would do, computed from what was measured, and what would stop them."""
    alone = took["writing"][0] / staged
    at_most = 1 / alone if alone else float("inf")
    perfect = CORES * loop.rate
    return (
        f"computed, not measured: {CORES} cores would do at most {perfect:,.0f} block-seasons/s; "
        f"the one client that keeps results can take {at_most:,.0f}/s, so it stops them from "
        f"{at_most / loop.rate:,.0f} cores on; then the shared folder they all read, and the "
        f"start of {CORES} processes"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
