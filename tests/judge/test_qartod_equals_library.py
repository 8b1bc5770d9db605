"""On random series our functions, which hand over only what matters, equal the whole library."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc import qartod as library

from riskrules.logs.judging import qartod

coarse = st.integers(-8, 8).map(lambda k: k / 2)
fine = st.floats(-30, 30, allow_nan=False)
series = st.lists(st.one_of(coarse, fine), min_size=1, max_size=60).map(np.array)
steady = st.lists(st.sampled_from([1.0, 1.0, 1.0, 1.05, 2.0]), min_size=1, max_size=80)
steps = st.lists(st.sampled_from([60, 600, 3600, 10800]), min_size=80, max_size=80)
bounds = st.floats(0.25, 20, allow_nan=False)


def stamps(seconds: np.ndarray) -> np.ndarray:
    return seconds.astype("datetime64[s]")


def times(gaps: list[int], n: int) -> np.ndarray:
    return np.cumsum(np.array(gaps[:n], dtype=np.int64))


@given(values=series, wide=bounds, narrow=st.floats(0.05, 1))
def test_gross_range(values: np.ndarray, wide: float, narrow: float) -> None:
    fail, suspect = (-wide, wide), (-wide * narrow, wide * narrow)
    whole = library.gross_range_test(values, fail, suspect)
    assert qartod.gross_range(values, fail, suspect).tolist() == whole.tolist()
    assert qartod.gross_range(values, fail).tolist() == (
        library.gross_range_test(values, fail).tolist()
    )


@given(values=series, suspect=bounds, fail=st.one_of(st.none(), bounds))
def test_spike(values: np.ndarray, suspect: float, fail: float | None) -> None:
    whole = library.spike_test(values, suspect, fail, method="differential")
    assert qartod.spike(values, suspect, fail).tolist() == whole.tolist()


@given(values=series, gaps=steps, suspect=bounds, fail=st.one_of(st.none(), bounds))
def test_rate_of_change(
    values: np.ndarray, gaps: list[int], suspect: float, fail: float | None
) -> None:
    time = times(gaps, len(values))
    hardest = None if fail is None else fail / 3600
    whole = library.rate_of_change_test(values, stamps(time), suspect / 3600, hardest)
    assert qartod.rate_of_change(time, values, suspect, fail).tolist() == whole.tolist()


@given(values=series, gaps=steps, suspect=bounds, least=bounds)
def test_a_change_below_the_least_passes_and_no_other_does(
    values: np.ndarray, gaps: list[int], suspect: float, least: float
) -> None:
    time = times(gaps, len(values))
    whole = library.rate_of_change_test(values, stamps(time), suspect / 3600)
    small = np.concatenate(([True], np.abs(np.diff(values)) < least))
    expected = np.where(small, 1, np.asarray(whole))
    assert qartod.rate_of_change(time, values, suspect, least=least).tolist() == expected.tolist()


@given(
    values=st.one_of(steady.map(np.array), series), gaps=steps,
    suspect=st.integers(1, 20), fail=st.integers(1, 30), tolerance=st.sampled_from([1e-4, 0.1]),
)  # fmt: skip
@pytest.mark.parametrize("largest", [qartod.LARGEST_WINDOWS, 40])
def test_flat_line(
    largest: int, values: np.ndarray, gaps: list[int], suspect: int, fail: int, tolerance: float
) -> None:
    time = times(gaps, len(values))
    step = int(np.median(np.diff(time))) if len(time) > 1 else 1
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        whole = library.flat_line_test(values, stamps(time), suspect * 600, fail * 600, tolerance)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(qartod, "LARGEST_WINDOWS", largest)
        ours = qartod.flat_line(step, values, suspect * 600, fail * 600, tolerance)
    assert ours.tolist() == np.asarray(whole).tolist()


def test_a_long_flat_line_is_whole_though_it_is_judged_in_pieces(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(qartod, "LARGEST_WINDOWS", 40)
    values = np.array([3.0, *[2.0] * 200, 3.0])
    time = 3600 * np.arange(len(values), dtype=np.int64)
    whole = np.asarray(library.flat_line_test(values, stamps(time), 18_000, 36_000, 0.1))
    assert qartod.flat_line(3600, values, 18_000, 36_000, 0.1).tolist() == whole.tolist()
    assert whole[11:201].tolist() == [4] * 190
