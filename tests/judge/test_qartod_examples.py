"""Worked examples of the library ioos_qc agree through our functions.

The first gross range example is that of the docstring in ioos_qc 3.0.0 (read). Those of rate and
flat line follow the library's own test file, tests/test_qartod.py in its repository (memory: the
source package 3.0.0 on the registry carries no tests). The second range example and the spike are
ours, worked by the library's definitions (computed). All are checked against the library too.
"""

from __future__ import annotations

import numpy as np
from ioos_qc import qartod as library

from riskrules.logs.judging import qartod


def stamps(seconds: np.ndarray) -> np.ndarray:
    return seconds.astype("datetime64[s]")


def test_gross_range_of_the_docstring() -> None:
    values = np.array([1.0, 2, 3, 4, 8])
    expected = [1, 1, 1, 1, 4]
    assert qartod.gross_range(values, (0, 5), (1, 4)).tolist() == expected
    assert library.gross_range_test(values, (0, 5), (1, 4)).tolist() == expected


def test_gross_range_with_and_without_a_user_span() -> None:
    values = np.array([-1.0, 0, 11, 13, 36, 51])
    assert qartod.gross_range(values, (0, 50)).tolist() == [4, 1, 1, 1, 1, 4]
    flags = qartod.gross_range(values, (0, 50), (12, 40)).tolist()
    assert flags == library.gross_range_test(values, (0, 50), (12, 40)).tolist()
    assert flags == [4, 3, 3, 1, 1, 4]


def test_rate_of_change_at_quarter_hours() -> None:
    # threshold: 5 units in a quarter of an hour
    values = np.array([2, 10, 2.1, 3, 4, 5, 7, 10, 0, 2, 2.2, 2])
    time = 900 * np.arange(len(values), dtype=np.int64)
    expected = [1, 3, 3, 1, 1, 1, 1, 1, 3, 1, 1, 1]
    assert qartod.rate_of_change(time, values, 20).tolist() == expected
    found = library.rate_of_change_test(values, stamps(time), 5 / 15 / 60)
    assert found.tolist() == expected


def test_flat_line_at_quarter_hours() -> None:
    values = np.array(
        [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]
    )  # fmt: skip
    time = 900 * np.arange(len(values), dtype=np.int64)
    expected = [1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3]
    assert qartod.flat_line(900, values, 3000, 4800, 0.01).tolist() == expected
    found = library.flat_line_test(values, stamps(time), 3000, 4800, 0.01)
    assert np.asarray(found).tolist() == expected


def test_a_spike_flags_itself_alone_and_the_ends_are_not_evaluated() -> None:
    # By the definition in the library's docstring: both neighbours on one side, the nearer of
    # them farther than the threshold. 999.99 is 976.99 from the nearer, 40 is 25 from it.
    values = np.array([10.0, 12, 999.99, 23, 15, 40, 9, 9])
    expected = [2, 1, 4, 1, 1, 3, 1, 2]
    assert qartod.spike(values, 24, 50).tolist() == expected
    assert library.spike_test(values, 24, 50, "differential").tolist() == expected
