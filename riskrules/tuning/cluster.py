"""Many block-seasons replayed: in a plain loop, on this machine's cores, or on a cluster.

Each task is one block-season: it reads its own input and returns a few small rows. The process
that asked keeps each result in a file at once, so that a run that was stopped goes on where it
was, and puts the tables together in order at the end: whoever did the work, the bytes are the
same.
"""

from __future__ import annotations

import gc
import hashlib
import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import import_module
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from riskrules.errors import EngineError, RiskRulesError
from riskrules.packs.load import Rulebook
from riskrules.tuning.archive import Archive
from riskrules.tuning.inputs import Piece
from riskrules.tuning.kept import Kept, ReplayStop, encode
from riskrules.tuning.replay import replay_one
from riskrules.tuning.rows import SeasonResult
from riskrules.tuning.tables import SAYS, write_tables
from riskrules.tuning.versions import code_version, rules_version, versions

AHEAD = 2
"""Tasks handed out for each thread of the cluster: one at work and one to follow. What bounds the
memory of all that take part. (assumption)"""
PATIENCE_S = 60
"""How long to wait for a cluster's first worker. [s] (assumption)"""
SHOWN = 8
"""Failed block-seasons that a message names. (assumption)"""

Progress = Callable[["Tally"], None]
Said = tuple[bool, bytes | str]
"""Whether a block-season could be replayed; its result, or why not. (Our errors do not travel.)"""


@dataclass(frozen=True, slots=True)
class Tally:
    """How far a run is: of ``total`` block-seasons, ``kept`` were there before it began."""

    total: int
    kept: int
    done: int = 0
    failed: int = 0

    @property
    def left(self) -> int:
        """Block-seasons still to be done."""
        return self.total - self.kept - self.done - self.failed


@dataclass(frozen=True)
class Work:
    """What is to be done with each block-season: read it, and replay it under every profile."""

    archive: Archive
    books: Mapping[str, Rulebook]

    @cached_property
    def version(self) -> str:
        """One hash of rules and code: with a piece's inputs it names a result."""
        both = f"{rules_version(self.books)} {code_version()}"
        return hashlib.sha256(both.encode()).hexdigest()

    def key(self, piece: Piece) -> str:
        """Return what names the result of a block-season by all that it rests on."""
        said = f"{piece.block} {piece.season} {piece.inputs} {self.version}"
        return hashlib.sha256(said.encode()).hexdigest()

    def do(self, piece: Piece) -> bytes:
        """Read and replay one block-season.

        Raises
        ------
        RiskRulesError
            Where it cannot be read, or the rule engine died on it.
        """
        season = self.archive.load(piece)
        if season is None:
            return encode(None)
        result = replay_one(season, self.books)
        for profile in result.profiles:
            if profile.state != "done":
                raise EngineError(f"not evaluated under {profile.name}: {profile.why}")
        return encode(result)

    def said(self, piece: Piece) -> Said:
        """Return the result of a block-season, or why there is none."""
        try:
            return True, self.do(piece)
        except RiskRulesError as error:
            return False, str(error)


@dataclass(frozen=True, slots=True)
class Where:
    """Where the work is done: ``scheduler`` on a cluster, else ``workers`` processes here.

    No workers: in this process, one block-season after the other.
    """

    workers: int = 0
    scheduler: str = ""


@dataclass(frozen=True)
class Ran:
    """A run that came to its end: its folder of tables, and its results one by one."""

    folder: Path
    tally: Tally
    pieces: tuple[Piece, ...]
    work: Work
    kept: Kept

    def results(self) -> Iterator[SeasonResult]:
        """Yield the results in order of block and season; those without a reading are left out."""
        for piece in self.pieces:
            result = self.kept.get(piece, self.work.key(piece))
            if result is not None:
                yield result


def run(
    work: Work,
    out: Path,
    where: Where | None = None,
    progress: Progress | None = None,
    pieces: Sequence[Piece] | None = None,
) -> Ran:
    """Replay every block-season of an archive and write the tables.

    Results that are there already, of the same input, rules and code, are not done again.

    Parameters
    ----------
    work : Work
    out : Path
        Folder for ``pieces/`` (results one by one) and ``run-.../`` (the tables).
    where : Where, optional
        By default in this process.
    progress : callable, optional
        Told after each block-season how far the run is.
    pieces : sequence of Piece, optional
        By default all of the archive.

    Raises
    ------
    ReplayStop
        If some could not be replayed, or the disk is full. What was done is kept; no tables are
        written.
    """
    every = tuple(work.archive.pieces() if pieces is None else sorted(pieces))
    kept = Kept(out / "pieces")
    todo = [p for p in every if not kept.has(p, work.key(p))]
    tally = Tally(len(every), len(every) - len(todo))
    tell = progress or (lambda _: None)
    tell(tally)
    failed: list[str] = []
    with _doing(work, todo, where or Where()) as done:
        for piece, (good, said) in done:
            if good and isinstance(said, bytes):
                kept.put(piece, work.key(piece), said)
                tally = replace(tally, done=tally.done + 1)
            else:
                failed.append(f"{piece.name}: {said!s}")
                tally = replace(tally, failed=tally.failed + 1)
            tell(tally)
    if failed:
        raise ReplayStop(_stopped(failed, tally))
    ran = Ran(out / f"run-{_run_key(work, every)[:16]}", tally, every, work, kept)
    if not (ran.folder / SAYS).exists():
        write_tables(ran.folder, ran.results(), _says(work, every, kept))
    return ran


def _run_key(work: Work, pieces: Sequence[Piece]) -> str:
    return hashlib.sha256("".join(work.key(p) for p in pieces).encode()).hexdigest()


def _says(work: Work, pieces: Sequence[Piece], kept: Kept) -> dict[str, Any]:
    """Return what a run's tables are of: the same for the same work, so no clock is in it."""
    empty = [p.name for p in pieces if kept.get(p, work.key(p)) is None]
    return {
        "profiles": {name: work.books[name].profile for name in sorted(work.books)},
        "versions": versions(),
        "rules and code": work.version,
        "block-seasons": [[p.block, p.season, p.inputs] for p in pieces],
        "without a reading": empty,
    }


def _stopped(failed: Sequence[str], tally: Tally) -> str:
    shown = "\n".join(sorted(failed)[:SHOWN])
    more = f"\nand {len(failed) - SHOWN} more" if len(failed) > SHOWN else ""
    done = tally.kept + tally.done
    return (
        f"{len(failed)} of {tally.total} block-seasons could not be replayed, so no tables were "
        f"written; {done} are done and kept:\n{shown}{more}"
    )


@contextmanager
def _doing(
    work: Work, todo: Sequence[Piece], where: Where
) -> Iterator[Iterator[tuple[Piece, Said]]]:
    """Give an iterator over block-seasons as they are done, and end what does them."""
    with ExitStack() as stack:
        if not todo or not (where.workers or where.scheduler):
            stack.enter_context(_loaded_left_alone())
            yield ((piece, work.said(piece)) for piece in todo)
            return
        client = stack.enter_context(_client(where, len(todo)))
        yield _on_dask(client, work, todo)


@contextmanager
def _loaded_left_alone() -> Iterator[None]:
    """Keep the collector of unused objects from going over all that was loaded before."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


@contextmanager
def _client(where: Where, most: int) -> Iterator[Any]:
    """Connect to a cluster, or start worker processes of one thread each on this machine."""
    dask = _dask()
    if where.scheduler:
        try:
            client = dask.Client(where.scheduler, timeout=f"{PATIENCE_S}s")
        except (OSError, ValueError) as error:
            raise ReplayStop(f"--scheduler {where.scheduler}: not reached: {error}") from None
        with client:
            yield client
        return
    workers = min(where.workers, most)
    config = import_module("dask.config")
    with (
        TemporaryDirectory(prefix="riskrules-replay-") as folder,
        # A worker's own profile of its calls grows by 0.2 MB a second.
        config.set({"distributed.worker.profile.enabled": False}),
        dask.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address="127.0.0.1:0", local_directory=folder, silence_logs=50,
            security=True,
        ) as cluster,
        dask.Client(cluster) as client,
    ):  # fmt: skip
        yield client


def _on_dask(client: Any, work: Work, todo: Sequence[Piece]) -> Iterator[tuple[Piece, Said]]:
    """Yield block-seasons as they are done; only a few are handed out at a time."""
    _ready(client, work)
    left = iter(todo)
    pieces: dict[str, Piece] = {}
    running = _dask().as_completed()

    def hand_out(count: int) -> None:
        for piece in islice(left, count):
            future = client.submit(_task, work.version, piece, pure=False)
            pieces[future.key] = piece
            running.add(future)

    hand_out(AHEAD * max(sum(client.nthreads().values()), 1))
    for future in running:
        yield pieces.pop(future.key), _outcome(future)
        hand_out(1)


def _dask() -> Any:
    """Return dask.distributed, whose functions have no types; it loads for a second."""
    try:
        return import_module("distributed")
    except ImportError:
        message = "dask is not installed; expected `pip install dask[distributed]`, or no workers"
        raise ReplayStop(message) from None


def _outcome(future: Any) -> Said:
    dask = _dask()
    try:
        said: Said = future.result()
    except dask.KilledWorker as error:
        return False, f"the process that replayed it ended each time it was tried ({error})"
    except dask.client.FutureCancelledError as error:
        raise ReplayStop(f"the cluster was lost; what was done is kept: {error}") from None
    return said


def _ready(client: Any, work: Work) -> None:
    """Wait for a worker, refuse workers with other code, and give the work to all to come."""
    plugin: Any = _dask().WorkerPlugin

    class GivesWork(plugin):  # type: ignore[misc]
        """Gives each worker, also one started later, what it is to do."""

        name = f"riskrules-{work.version[:16]}"
        given = work

        def setup(self, worker: Any) -> None:
            """Keep the work in the worker's process."""
            take(self.given)

    try:
        client.wait_for_workers(1, timeout=PATIENCE_S)
    except TimeoutError:
        raise ReplayStop(f"no worker within {PATIENCE_S} s; expected one at least") from None
    for address, theirs in client.run(code_version).items():
        if theirs != code_version():
            message = f"worker {address} has other code ({theirs[:16]}); expected"
            raise ReplayStop(f"{message} {code_version()[:16]}, as here")
    client.register_plugin(GivesWork())


_given: dict[str, Work] = {}
_one_at_a_time = threading.Lock()


def take(work: Work) -> None:
    """Keep what is to be done in this process."""
    _given[work.version] = work
    gc.freeze()  # a process of its own: what is loaded by now stays


def _task(version: str, piece: Piece) -> Said:
    """Do one block-season in a worker: one at a time, as a process has one rule engine."""
    with _one_at_a_time:
        return _given[version].said(piece)


def cores() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
