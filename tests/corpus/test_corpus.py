"""Every file of the corpus comes out as its case says, and every row is accounted for."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from riskrules.errors import LogError
from riskrules.logs.read import read_log
from riskrules.logs.readings import Readings

from .case import Case
from .make_corpus import all_cases, write

CASES = all_cases()


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return write(tmp_path_factory.mktemp("corpus"))


@pytest.fixture(scope="module")
def outcomes(paths: dict[str, Path]) -> dict[str, Readings | LogError]:
    return {case.name: outcome(case, paths[case.name]) for case in CASES}


def outcome(case: Case, path: Path) -> Readings | LogError:
    try:
        return read_log(path, case.zone, mapping=case.mapping)
    except LogError as error:
        return error


def test_the_corpus_is_large_enough():
    assert len(CASES) >= 150


@pytest.mark.parametrize("case", [c for c in CASES if c.error], ids=lambda c: c.name)
def test_a_file_that_cannot_be_trusted_is_refused_at_its_line(case: Case, outcomes) -> None:
    assert case.error is not None
    error = outcomes[case.name]
    assert isinstance(error, LogError)
    problem, (line, word) = error.problems[0], case.error
    assert problem.file.startswith(case.file) and word in problem.message, problem
    assert problem.line == line or case.name == "a_picture", problem


@pytest.mark.parametrize("case", [c for c in CASES if not c.error], ids=lambda c: c.name)
def test_a_file_is_read_as_its_case_says(case: Case, outcomes) -> None:
    rows = outcomes[case.name]
    assert isinstance(rows, Readings), rows
    (tally,) = rows.tallies
    found = (tally.kept, tally.refused, tally.repeated, tally.blank)
    assert found == (case.kept, case.refused, case.repeated, case.blank)
    assert len(rows) == case.kept and rows.rows_read == tally.read == sum(found)
    if case.above >= 0:
        assert tally.read == case.rows_in_file()
    assert sorted(n.trouble for n in rows.notes if n.trouble) == sorted(case.troubles), rows.notes
    said = [str(n) for n in rows.notes]
    assert any(case.says in s for s in said) or not case.says, said
    assert not (case.quiet and said), said
    assert tuple(rows.spans.tolist()) == case.spans
    for (name, at), value in case.values.items():
        have = rows.values[name][at]
        assert np.isnan(have) if value is None else have == pytest.approx(value, rel=1e-9), name


@pytest.mark.parametrize("case", [c for c in CASES if not c.error], ids=lambda c: c.name)
def test_what_is_unknown_has_a_reason_and_every_row_its_line(case: Case, outcomes) -> None:
    rows = outcomes[case.name]
    assert isinstance(rows, Readings)
    assert (np.diff(rows.time) > 0).all() and len(rows.line) == len(rows) == len(rows.source)
    assert len(set(rows.line.tolist())) == len(rows) and (rows.line >= 1).all()
    for name, column in rows.values.items():
        gone = np.isnan(column)
        assert ((rows.cause[name] != 0) == gone).all() or name == "wind_speed"
        assert (gone | (rows.reasons[name] == 0)).all()
    for note in rows.notes:
        assert note.count >= 1
        assert (note.first is None) == (note.last is None)
        assert note.first is None or note.last is None or note.first <= note.last


def test_the_answer_is_the_same_whatever_the_order_of_the_files(paths, outcomes) -> None:
    mixed = CASES[:]
    random.Random(7).shuffle(mixed)
    for case in mixed:
        again = outcome(case, paths[case.name])
        assert _shown(again) == _shown(outcomes[case.name]), case.name


def _shown(found: Readings | LogError) -> object:
    if isinstance(found, LogError):
        return found.problems
    values = {n: c.tobytes() for n, c in found.values.items()}
    return found.time.tolist(), values, found.notes, found.tallies, found.line.tolist()
