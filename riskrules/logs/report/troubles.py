"""Each kind of trouble of a log with its count, first and last time, and a row as example."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from riskrules.errors import RiskRulesError
from riskrules.logs.readings import Bits, Ints, Note, Readings
from riskrules.logs.report import Example, TroubleRows
from riskrules.logs.troubles import WORDS, Trouble, name_of

RowText = Callable[[str, int], str]
BY_NAME = {name_of(trouble): trouble for trouble in WORDS}


def no_text(file: str, line: int) -> str:
    """Return no text: for readings whose file is not at hand."""
    return ""


def troubles_of(
    block: str, sensor: str, rows: Readings, row_text: RowText = no_text
) -> list[TroubleRows]:
    """Return the troubles of one sensor.

    Those of values are counted from the reasons of the values in use; those of whole rows,
    which left no value, from the notes of the reader.
    """
    said = _notes(rows.notes)
    found = []
    for name, bits in rows.reasons.items():
        for trouble in _present(bits):
            at = np.flatnonzero(bits & np.uint32(trouble))
            notes = said.pop((name, name_of(trouble)), [])
            found.append(_of_values(block, sensor, name, trouble, rows, at, notes, row_text))
    for (name, word), notes in said.items():
        if word not in BY_NAME:
            raise RiskRulesError(f"no trouble '{word}'; expected one of {', '.join(BY_NAME)}")
        found.append(_of_notes(block, sensor, name, BY_NAME[word], notes, row_text))
    return found


def _notes(notes: Sequence[Note]) -> dict[tuple[str, str], list[Note]]:
    found: dict[tuple[str, str], list[Note]] = {}
    for note in notes:
        if note.trouble and note.count:
            found.setdefault((note.variable, note.trouble), []).append(note)
    return found


def _present(bits: Bits) -> Iterator[Trouble]:
    """Yield the troubles that any of some values has."""
    union = int(np.bitwise_or.reduce(bits)) if len(bits) else 0
    yield from (trouble for trouble in WORDS if union & trouble)


def _of_values(
    block: str, sensor: str, name: str, trouble: Trouble, rows: Readings, at: Ints,
    notes: Sequence[Note], row_text: RowText,
) -> TroubleRows:  # fmt: skip
    source = rows.source[at] if len(rows.source) else np.zeros(len(at), dtype=np.int64)
    files = rows.files or ("log",)
    numbers, counts = np.unique(source, return_counts=True)
    by_file = {files[k] if k >= 0 else "": n
               for k, n in zip(numbers.tolist(), counts.tolist(), strict=True)}  # fmt: skip
    file = files[int(source[0])] if source[0] >= 0 else ""
    line = int(rows.line[at[0]]) if len(rows.line) else 0
    note = next((n for n in notes if n.file == file), notes[0] if notes else None)
    if note is not None and note.row:  # its message speaks of this very row
        file, line = note.file, note.row
    says = note.message if note else WORDS[trouble]
    example = Example(file, line, says, row_text(file, line) if line else "")
    return TroubleRows(
        name_of(trouble), WORDS[trouble], block, sensor, name, len(at),
        int(rows.time[at[0]]), int(rows.time[at[-1]]), by_file, example,
    )  # fmt: skip


def _of_notes(
    block: str, sensor: str, name: str, trouble: Trouble, notes: Sequence[Note], row_text: RowText
) -> TroubleRows:
    by_file: dict[str, int] = {}
    for note in notes:
        by_file[note.file] = by_file.get(note.file, 0) + note.count
    firsts = [n.first for n in notes if n.first is not None]
    lasts = [n.last for n in notes if n.last is not None]
    one = notes[0]
    row = row_text(one.file, one.row) if one.row else ""
    return TroubleRows(
        name_of(trouble), WORDS[trouble], block, sensor, name, sum(by_file.values()),
        min(firsts, default=None), max(lasts, default=None), by_file,
        Example(one.file, one.row, one.message, row),
    )  # fmt: skip
