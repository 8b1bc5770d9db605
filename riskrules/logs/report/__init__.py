"""The log report: what became of every row and every value of the logs, and why."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from riskrules.errors import Problem, RiskRulesError
from riskrules.logs.readings import Note

FORMAT = "riskrules log report 1"
STATES = ("passed", "not_evaluated", "suspect", "failed", "missing", "filled", "borrowed")
"""What a value of a row can be: the flags of QARTOD (read), and two for values of elsewhere."""
ABSENT = "absent"
"""State of a step that no row of the log covers."""
OUTSIDE_BLOCK = ""
"""Stands for the block of the farm's logs of the air outside, as in the store."""


@dataclass(frozen=True, slots=True)
class FileRows:
    """What became of the rows of one file: each has exactly one fate.

    ``read`` is the sum of kept, refused, repeated and blank. Of the kept rows ``replaced`` gave
    way to those of a later file; the others are ``in_use``. ``doubted`` rows are in use and have
    at least one value that is suspect or failed.
    """

    file: str
    block: str
    sensor: str
    read: int
    kept: int
    refused: int
    repeated: int
    blank: int
    in_use: int
    replaced: int
    doubted: int

    def __post_init__(self) -> None:
        fates = self.kept + self.refused + self.repeated + self.blank
        _same(f"{self.file}: rows read", self.read, "their fates", fates)
        _same(f"{self.file}: rows kept", self.kept, "their uses", self.in_use + self.replaced)
        numbers = (self.read, self.kept, self.refused, self.repeated, self.blank,
                   self.in_use, self.replaced, self.doubted)  # fmt: skip
        if min(numbers) < 0 or self.doubted > self.in_use:
            raise RiskRulesError(f"{self.file}: the log report counts wrongly: {numbers}")


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch in which a variable was other than well measured: for drawing.

    ``rows`` of the stretch are in that state. All of them are, unless there were so many
    stretches that near ones were joined.
    """

    start: int
    end: int
    state: str
    rows: int


@dataclass(frozen=True, slots=True)
class VariableRows:
    """How many values of one variable are in each state; they add up to ``rows``."""

    variable: str
    rows: int
    passed: int
    not_evaluated: int
    suspect: int
    failed: int
    missing: int
    filled: int
    borrowed: int
    runs: tuple[Run, ...] = ()

    def __post_init__(self) -> None:
        total = sum(self.of(state) for state in STATES)
        _same(f"{self.variable}: values", self.rows, "their states", total)
        drawn = Counter[str]()
        for run in self.runs:
            drawn[run.state] += run.rows
        for state in STATES[2:]:
            _same(f"{self.variable}: {state}", self.of(state), "drawn", drawn[state])

    def of(self, state: str) -> int:
        """Return the count of one of the states."""
        return int(getattr(self, state))


@dataclass(frozen=True, slots=True)
class SourceRows:
    """One sensor: its rows, the steps without any, and the state of its values.

    ``rows`` are those in use, ``added`` among them those that no file has, made by filling or
    borrowing; ``absent`` counts the steps between first and last row that no row covers, drawn
    in ``runs``. ``steps`` is the sum of rows and absent.
    """

    block: str
    sensor: str
    placed: str
    first: int | None
    last: int | None
    step: int
    steps: int
    rows: int
    added: int
    forecast: int
    absent: int
    runs: tuple[Run, ...]
    variables: tuple[VariableRows, ...]

    def __post_init__(self) -> None:
        where = f"{self.block or 'outside'}/{self.sensor}"
        _same(f"{where}: steps", self.steps, "rows and absent", self.rows + self.absent)
        _same(f"{where}: absent", self.absent, "drawn", sum(run.rows for run in self.runs))
        for v in self.variables:
            _same(f"{where}: rows", self.rows, f"values of {v.variable}", v.rows)


@dataclass(frozen=True, slots=True)
class Example:
    """One row as an example: where it stands, what is wrong with it, and the row as written."""

    file: str
    line: int
    says: str
    row: str = ""


@dataclass(frozen=True, slots=True)
class TroubleRows:
    """One kind of trouble of one sensor: how often, from when to when, and an example.

    ``variable`` is empty for troubles of whole rows; ``by_file`` adds up to ``count``.
    """

    trouble: str
    words: str
    block: str
    sensor: str
    variable: str
    count: int
    first: int | None
    last: int | None
    by_file: dict[str, int]
    example: Example

    def __post_init__(self) -> None:
        total = sum(self.by_file.values())
        _same(f"{self.block}/{self.sensor}: {self.trouble}", self.count, "by file", total)


@dataclass(frozen=True, slots=True)
class BlockRows:
    """Sums over the files and sensors of one block; the states count values, not rows."""

    block: str
    files: int
    read: int
    kept: int
    refused: int
    repeated: int
    blank: int
    in_use: int
    replaced: int
    doubted: int
    added: int
    absent: int
    passed: int
    not_evaluated: int
    suspect: int
    failed: int
    missing: int
    filled: int
    borrowed: int


ROW_SUMS = ("read", "kept", "refused", "repeated", "blank", "in_use", "replaced", "doubted")


@dataclass(frozen=True, slots=True)
class LogReport:
    """What became of every row and value of some logs.

    Raises
    ------
    RiskRulesError
        If sums don't add up: then the report is wrong, and nobody should see it.
    """

    files: tuple[FileRows, ...]
    sources: tuple[SourceRows, ...]
    troubles: tuple[TroubleRows, ...]
    remarks: tuple[Note, ...] = ()
    aside: tuple[Problem, ...] = ()

    def __post_init__(self) -> None:
        for s in self.sources:
            used = sum(f.in_use for f in self.files_of(s))
            _same(f"{s.block}/{s.sensor}: rows of files", s.rows - s.added, "in use", used)
        known = {(s.block, s.sensor) for s in self.sources}
        for f in self.files:
            if (f.block, f.sensor) not in known:
                raise RiskRulesError(f"{f.file}: its sensor is not in the log report")

    def files_of(self, source: SourceRows) -> list[FileRows]:
        """Return the files of one sensor."""
        key = (source.block, source.sensor)
        return [f for f in self.files if (f.block, f.sensor) == key]

    @property
    def blocks(self) -> tuple[BlockRows, ...]:
        """Sums by block, in the order in which the blocks were given."""
        names = dict.fromkeys(s.block for s in self.sources)
        return tuple(self._block(name) for name in names)

    def _block(self, name: str) -> BlockRows:
        files = [f for f in self.files if f.block == name]
        sources = [s for s in self.sources if s.block == name]
        return BlockRows(
            name,
            len(files),
            **{k: sum(getattr(f, k) for f in files) for k in ROW_SUMS},
            added=sum(s.added for s in sources),
            absent=sum(s.absent for s in sources),
            **{k: sum(v.of(k) for s in sources for v in s.variables) for k in STATES},
        )


def only_block(report: LogReport, block: str) -> LogReport:
    """Return the part of a report that is about one block; RiskRulesError if it has none."""
    names = [b.block for b in report.blocks]
    if block not in names:
        known = ", ".join(name or "''" for name in names)
        raise RiskRulesError(f"no block '{block}'; expected one of {known}")
    files = tuple(f for f in report.files if f.block == block)
    theirs = {f.file for f in files}
    return LogReport(
        files,
        tuple(s for s in report.sources if s.block == block),
        tuple(t for t in report.troubles if t.block == block),
        tuple(n for n in report.remarks if n.file in theirs),
        report.aside,
    )


def _same(what: str, count: int, other: str, sum_: int) -> None:
    if count != sum_:
        message = f"the log report does not add up: {what} {count:,}, {other} {sum_:,}"
        raise RiskRulesError(message)
