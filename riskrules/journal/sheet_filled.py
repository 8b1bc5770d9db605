"""A filled walk sheet as a CSV file: the table to type it into, and records made of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from riskrules.errors import LogError, Problem
from riskrules.facts.kinds import PARTS
from riskrules.journal.records import Record, Sighting, Stop
from riskrules.journal.sheet_text import counted_on, walk_of
from riskrules.journal.symptoms import SymptomList, load_symptoms
from riskrules.logs.read import check_zone, decode, fail, read_bytes

NEEDED = ("walk", "stop", "symptom", "part", "affected", "examined")
COLUMNS = (
    "walk", "block", "time", "who", "stop", "bed", "metres", "symptom", "part", "affected",
    "examined", "note",
)  # fmt: skip
AS_ABOVE = ("walk", "block", "time", "who")
"""Columns in which a blank cell says the same as the line above."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of the file and where it begins, both from 1."""

    text: str
    line: int
    column: int


def filled_template(walk: Record, symptoms: SymptomList | None = None) -> str:
    """Return the table to type a filled sheet of a walk into, as CSV.

    One line for each stop and symptom; when, who, and the counts are left to fill in. ``time``
    and ``who`` may stand in the first line alone.

    Raises
    ------
    ValueError
        If the record is no walk, or names a symptom that is not listed.
    """
    plan = walk_of(walk)
    columns = counted_on(plan, symptoms or load_symptoms()) or (("", ""),)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for stop, bed, metres in plan.stops:
        for symptom, part in columns:
            first = (str(walk.id), walk.block or "", "", "")
            writer.writerow((*first, stop, bed, f"{metres:g}", symptom, part, "", "", ""))
    return out.getvalue()


def read_filled(
    path: Path,
    symptoms: SymptomList | None = None,
    walks: Iterable[Record] = (),
    zone: str | None = None,
) -> list[Record]:
    """Read a filled sheet: one record for each walk, symptom and part, with its stops.

    A line without counts is a stop where nobody looked for that symptom, and counts for nothing.
    The identifier of a record follows from walk, symptom and part, and its ``made`` is the time
    of the walk: a sheet read twice gives the same records, which a journal keeps once. A sheet
    typed again with other counts gives records that differ under the same identifier, which a
    journal tells.

    Parameters
    ----------
    path : Path
        CSV with commas, semicolons or tabs, UTF-8; see `filled_template`. Blank cells of
        ``walk, block, time, who`` say the same as the line above.
    symptoms : SymptomList, optional
        Those that may be seen; ours where not given.
    walks : iterable of Record
        Walks that are known: they tell the block and which stops there are. Where none is given
        the file is believed.
    zone : str, optional
        Zone of times without offset, such as ``Europe/Paris``.

    Raises
    ------
    LogError
        With every problem, each at its line and column: a wrong line hides what was seen, so
        nothing is read from a file that has one.
    """
    check_zone(zone, path.name)
    rows = list(cells_of(decode(read_bytes(path), path.name), path.name))
    known = {record.id: record for record in walks}
    reader = _Reader(path.name, symptoms or load_symptoms(), known, zone)
    return reader.records(rows)


def cells_of(text: str, file: str) -> Iterator[list[Cell]]:
    """Yield the cells of each line that is not blank, with their places; quotes as in CSV.

    Raises
    ------
    LogError
        If a quote is not closed.
    """
    head = text.lstrip("\n").split("\n", 1)[0]
    delimiter = max(",;\t", key=head.count)
    row: list[Cell] = []
    line, column, i = 1, 1, 0
    while i < len(text):
        start, place = i, Cell("", line, column)
        if text[i] == '"':
            i = _closing(text, i + 1)
            if i < 0:
                raise fail(file, 'a quote is not closed; expected another "', line)
        while i < len(text) and text[i] != delimiter and text[i] != "\n":
            i += 1
        raw = text[start:i]
        row.append(Cell(_unquoted(raw).strip(), place.line, place.column))
        line += raw.count("\n")
        column = len(raw) - raw.rfind("\n") if "\n" in raw else column + len(raw)
        if i >= len(text) or text[i] == "\n":
            if any(cell.text for cell in row):
                yield row
            row, line, column = [], line + 1, 0
        i, column = i + 1, column + 1
    if any(cell.text for cell in row):
        yield row


def _closing(text: str, i: int) -> int:
    """Return the place after the quote that closes, doubled ones passed over; -1 for none."""
    while (i := text.find('"', i)) >= 0:
        if text[i + 1 : i + 2] != '"':
            return i + 1
        i += 2
    return -1


def _unquoted(raw: str) -> str:
    if not raw.startswith('"'):
        return raw
    end = _closing(raw, 1)
    return raw[1 : end - 1].replace('""', '"') + raw[end:]


@dataclass(frozen=True, slots=True)
class _Line:
    """A line that says what was counted."""

    walk: UUID
    block: str
    time: int
    who: str
    symptom: str
    part: str
    stop: Stop
    note: str
    cells: Mapping[str, Cell]


class _Wrong(ValueError):
    def __init__(self, cell: Cell, message: str) -> None:
        self.cell = cell
        super().__init__(message)


class _Reader:
    """Turns cells into records and gathers what is wrong."""

    def __init__(
        self, file: str, symptoms: SymptomList, walks: Mapping[UUID, Record], zone: str | None
    ) -> None:
        self.file, self.symptoms, self.walks, self.zone = file, symptoms, walks, zone
        self.problems: list[Problem] = []

    def records(self, rows: list[list[Cell]]) -> list[Record]:
        if not rows:
            raise fail(self.file, "empty; expected a header and lines")
        header = self._header(rows[0])
        lines: dict[tuple[UUID, str, str], dict[int, _Line]] = {}
        above: dict[str, Cell] = {}
        for row in rows[1:]:
            try:
                line = self._line(self._named(row, header, above))
            except _Wrong as error:
                self._problem(error.cell, str(error))
                continue
            if line is not None:
                self._add(lines.setdefault((line.walk, line.symptom, line.part), {}), line)
        found = [record for group in lines.values() if (record := self._record(group))]
        if not self.problems and not found:
            self._problem(rows[0][0], "no line has counts; expected affected and examined")
        if self.problems:
            raise LogError(sorted(self.problems, key=lambda p: (p.line, p.column)))
        return sorted(found, key=lambda r: (r.time, str(r.id)))

    def _problem(self, cell: Cell, message: str) -> None:
        self.problems.append(Problem(self.file, cell.line, cell.column, message))

    def _header(self, row: list[Cell]) -> list[str]:
        names = [cell.text.lower() for cell in row]
        for cell, name in zip(row, names, strict=True):
            if name not in ("", *COLUMNS):
                expected = ", ".join(COLUMNS)
                self._problem(cell, f"no column '{cell.text}' in a sheet; expected {expected}")
            elif name and names.count(name) > 1:
                self._problem(cell, f"column '{name}' stands twice; expected once")
        for name in NEEDED:
            if name not in names:
                self._problem(row[0], f"no column '{name}'; expected {', '.join(NEEDED)}")
        if self.problems:
            raise LogError(self.problems)
        return names

    def _named(self, row: list[Cell], header: list[str], above: dict[str, Cell]) -> dict[str, Cell]:
        for cell in row[len(header) :]:
            if cell.text:
                raise _Wrong(cell, f"a cell beyond the header: '{cell.text}'; expected none")
        blank = Cell("", row[0].line, 0)
        cells = {name: blank for name in COLUMNS} | dict(zip(header, row, strict=False))
        if cells["walk"].text and cells["walk"].text != above.get("walk", blank).text:
            above.clear()
        for name in AS_ABOVE:
            if cells[name].text:
                above[name] = cells[name]
            elif name in above:
                cells[name] = Cell(above[name].text, cells[name].line, cells[name].column)
        return cells

    def _line(self, cells: Mapping[str, Cell]) -> _Line | None:
        """Return what a line counts; None where nobody looked."""
        affected, examined = cells["affected"], cells["examined"]
        if not affected.text and not examined.text and not cells["note"].text:
            return None
        if not affected.text and not examined.text:
            said = "a note without counts; expected it in a line that has them"
            raise _Wrong(cells["note"], said)
        walk = self._walk(cells["walk"])
        return _Line(
            walk,
            self._block(cells["block"], walk),
            self._time(cells["time"]),
            self._text(cells["who"], "who", "the name of the one who looked"),
            self._symptom(cells["symptom"]),
            self._part(cells["part"]),
            self._stop(cells, walk),
            cells["note"].text,
            cells,
        )

    def _walk(self, cell: Cell) -> UUID:
        try:
            found = UUID(cell.text)
        except ValueError:
            said = f"walk is '{cell.text}'; expected the identifier printed on the sheet"
            raise _Wrong(cell, said) from None
        if self.walks and found not in self.walks:
            raise _Wrong(cell, f"no walk {found} here; expected one that was planned")
        return found

    def _block(self, cell: Cell, walk: UUID) -> str:
        planned = self.walks[walk].block if walk in self.walks else None
        if planned and cell.text and cell.text != planned:
            raise _Wrong(
                cell, f"block is '{cell.text}'; expected {planned}, as the walk was planned"
            )
        return planned or self._text(cell, "block", "the block that was walked")

    def _text(self, cell: Cell, name: str, expected: str) -> str:
        if not cell.text:
            raise _Wrong(cell, f"{name} is blank here and above; expected {expected}")
        return cell.text

    def _time(self, cell: Cell) -> int:
        example = "such as 2026-06-10T09:30"
        if not cell.text:
            raise _Wrong(cell, f"time is blank here and above; expected when it was, {example}")
        try:
            moment = datetime.fromisoformat(cell.text)
        except ValueError:
            raise _Wrong(cell, f"time is '{cell.text}'; expected {example}") from None
        if len(cell.text) < 13:
            raise _Wrong(cell, f"time is '{cell.text}', a day; expected the hour too, {example}")
        if moment.tzinfo is None:
            moment = self._placed(cell, moment)
        seconds = int(moment.timestamp())
        if seconds < 0:
            raise _Wrong(cell, f"time is '{cell.text}'; expected a year from 1970")
        return seconds

    def _placed(self, cell: Cell, moment: datetime) -> datetime:
        if self.zone is None:
            raise _Wrong(cell, f"time '{cell.text}' has no offset; expected one, or a zone")
        early = moment.replace(tzinfo=ZoneInfo(self.zone), fold=0)
        late = moment.replace(tzinfo=ZoneInfo(self.zone), fold=1)
        if early.utcoffset() != late.utcoffset():
            said = f"time '{cell.text}' happens twice or never in {self.zone}; expected an offset"
            raise _Wrong(cell, said)
        return early

    def _symptom(self, cell: Cell) -> str:
        if said := self.symptoms.refusal(cell.text):
            raise _Wrong(cell, said)
        return cell.text

    def _part(self, cell: Cell) -> str:
        if cell.text not in PARTS:
            raise _Wrong(cell, f"part is '{cell.text}'; expected one of {', '.join(PARTS)}")
        return cell.text

    def _stop(self, cells: Mapping[str, Cell], walk: UUID) -> Stop:
        number = self._whole(cells["stop"], "stop", 1)
        affected = self._whole(cells["affected"], "affected", 0)
        examined = self._whole(cells["examined"], "examined", 1)
        if affected > examined:
            said = f"{affected} affected of {examined} examined; expected 0 to {examined}"
            raise _Wrong(cells["affected"], said)
        bed = self._whole(cells["bed"], "bed", 1) if cells["bed"].text else None
        if walk in self.walks:
            bed = self._planned_bed(cells, walk, number, bed)
        return Stop(stop=number, affected=affected, examined=examined, bed=bed)

    def _planned_bed(
        self, cells: Mapping[str, Cell], walk: UUID, number: int, bed: int | None
    ) -> int:
        beds = {stop: planned for stop, planned, _ in walk_of(self.walks[walk]).stops}
        if number not in beds:
            raise _Wrong(
                cells["stop"], f"stop {number}; expected one of 1 to {max(beds, default=0)}"
            )
        if bed not in (None, beds[number]):
            said = f"stop {number} in bed {bed}; expected bed {beds[number]}, as planned"
            raise _Wrong(cells["bed"], said)
        return beds[number]

    def _whole(self, cell: Cell, name: str, least: int) -> int:
        if not (cell.text.isascii() and cell.text.isdecimal() and len(cell.text) < 8):
            hint = " (0 where none was seen)" if name == "affected" and not cell.text else ""
            said = f"{name} is '{cell.text}'; expected a whole number{hint}"
            raise _Wrong(cell, said)
        if int(cell.text) < least:
            raise _Wrong(cell, f"{name} is {cell.text}; expected {least} or more")
        return int(cell.text)

    def _add(self, group: dict[int, _Line], line: _Line) -> None:
        old = group.setdefault(line.stop.stop, line)
        if old is not line:
            what = f"stop {line.stop.stop} of {line.symptom} on {line.part}"
            before = old.cells["stop"].line
            self._problem(line.cells["stop"], f"{what} stands in line {before} already")
        first = next(iter(group.values()))
        for name in ("who", "block"):
            here, there = getattr(line, name), getattr(first, name)
            if here != there:
                said = f"{name} is '{here}', but '{there}' in line {first.cells['stop'].line}"
                self._problem(line.cells[name], f"{said}; expected one for a walk and symptom")

    def _record(self, group: Mapping[int, _Line]) -> Record | None:
        lines = [group[stop] for stop in sorted(group)]
        first, times = lines[0], [line.time for line in lines]
        values: dict[str, Any] = {
            "id": uuid5(first.walk, f"{first.symptom}/{first.part}"),
            "block": first.block,
            "time": min(times),
            "end": max(times) if max(times) > min(times) else None,
            "who": first.who,
            "made": max(times),
            "note": "; ".join(f"stop {x.stop.stop}: {x.note}" for x in lines if x.note),
        }
        try:
            return Record(**values, body=_sighting(lines), came_by="sheet")
        except ValueError as error:
            self._problem(first.cells["walk"], f"no record can be made of it: {error}")
            return None


def _sighting(lines: Sequence[_Line]) -> Sighting:
    stops = tuple(line.stop for line in lines)
    affected = sum(stop.affected for stop in stops)
    return Sighting(
        symptom=lines[0].symptom,
        part=lines[0].part,
        affected=affected,
        examined=sum(stop.examined for stop in stops),
        pattern=None if affected else "none_seen",
        stops=stops,
        walk=lines[0].walk,
    )
