"""What goes into the store comes out of it to the last bit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.logs.store import Incoming, LogStore
from tests.store.made import differences, item, parse, quick_folder, random_readings, text


@given(st.integers(0, 10**6), st.integers(0, 40))
def test_readings_of_one_file_come_back_exactly(seed: int, n: int) -> None:
    rows, before = random_readings(seed, n), random_readings(seed, n)
    with quick_folder() as folder:
        store = LogStore(folder)
        store.add([Incoming("north", "low", "a.csv", b"x", 5, rows)])
        again = LogStore(folder, create=False).readings("north", "low")
        assert differences(before, again) == []
        assert differences(before, rows) == [], "what was given was changed"
        assert store.check() == []


@given(st.integers(0, 10**6), st.integers(1, 30), st.data())
def test_a_span_is_cut_from_the_whole(seed: int, n: int, data: st.DataObject) -> None:
    rows = random_readings(seed, n)
    times = st.sampled_from(rows.time.tolist())
    first, last = data.draw(times), data.draw(times) + data.draw(st.integers(-1, 1))
    with quick_folder() as folder:
        store = LogStore(folder)
        store.add([Incoming("north", "low", "a.csv", b"x", 5, rows)])
        some = store.readings("north", "low", first, last)
    keep = (rows.time >= first) & (rows.time <= last)
    if keep.any():
        assert differences(rows.only(keep), some) == []
    else:
        assert len(some) == 0


def test_years_lie_in_folders_of_their_own(tmp_path: Path) -> None:
    """The row that ends at midnight of New Year belongs to the old year."""
    store = LogStore(tmp_path)
    store.add([item(text([(0, "1", "50", 0), (3, "2", "60", 0), (4, "3", "70", 0)]))])
    folders = sorted(p.parent.relative_to(tmp_path).as_posix() for p in tmp_path.rglob("*.parquet"))
    assert folders == ["readings/block=north/year=2025", "readings/block=north/year=2026"]
    assert store.readings("north", "low").values["air_temperature"].tolist() == [1, 2, 3]


def test_any_parquet_reader_can_read_a_part(tmp_path: Path) -> None:
    import pyarrow.parquet as pq

    store = LogStore(tmp_path)
    raw = text([(0, "1.5", "", 0)])
    store.add([replace(item(raw), block="")])
    (part,) = tmp_path.rglob("*.parquet")
    table = pq.ParquetFile(part).read().to_pydict()
    assert part.parent.parent.name == "block=_outside"
    assert table["values/air_temperature"] == [1.5]
    assert np.isnan(table["values/relative_humidity"][0])
    assert store.blocks() == [""] and store.sensors("") == ["low"]


@pytest.mark.parametrize(
    "name", ["North", "", "_outside", "a/b", "..", "a b", "1a", "a" * 101, "é"]
)
def test_a_name_that_is_no_folder_name_is_refused(tmp_path: Path, name: str) -> None:
    store = LogStore(tmp_path)
    before = (tmp_path / "manifest.jsonl").read_bytes()
    with pytest.raises(LogError, match="sensor name"):
        store.add([item(text([]), "ok.csv"), replace(item(text([])), sensor=name)])
    assert (tmp_path / "manifest.jsonl").read_bytes() == before
    assert not list(tmp_path.rglob("*.parquet"))


def test_times_that_do_not_rise_are_refused(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    with pytest.raises(LogError, match=r"a\.csv: times do not rise"):
        store.add([item(text([(1, "1", "", 0), (1, "2", "", 0)]))])


def test_last_time_is_that_of_a_usable_measured_value(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    assert store.last_time("north", "low") is None
    raw = text([(0, "1", "", 0), (1, "", "50", 0), (2, "", "bad", 0), (3, "9", "9", 1)])
    store.add([item(raw)])
    assert store.last_time("north", "low") == parse(raw, "").time[1]


def test_nothing_stored_is_no_rows(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    assert len(store.readings("north", "low")) == 0
    assert store.trace("north", "low", 0, "air_temperature") == []
    assert store.blocks() == [] and store.history() == [] and store.check() == []
    with pytest.raises(LogError, match="no log store"):
        LogStore(tmp_path / "none", create=False)
