"""Archives: what is read is what was written, and every doubt about a file is an error."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from riskrules.errors import LogError
from riskrules.farm import BlockText, LogText
from riskrules.logs.store import Incoming, LogStore
from riskrules.tuning.archive import FolderArchive, StoreArchive, open_archive, write_season
from riskrules.tuning.columns import season_sources
from tests.tuning.made_archive import make_archive, season_file, weather

BLOCK = BlockText(block="bed_0", logs=[LogText(file="bed_0.csv")])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_archive(tmp_path / "archive")


def test_a_season_comes_back_as_it_was_written(tmp_path: Path) -> None:
    rows = weather(2024, 5)
    rows.values["air_temperature"][7] = np.nan
    write_season(tmp_path / "a.parquet", [rows])
    found = season_sources((tmp_path / "a.parquet").read_bytes(), tmp_path / "a.parquet", BLOCK)
    assert [r.sensor for r in found] == ["log"]
    assert (found[0].time == rows.time).all() and found[0].step == 3600
    for name, column in rows.values.items():
        np.testing.assert_array_equal(found[0].values[name], column)
    assert found[0].cause["air_temperature"][7] != 0  # missing is unknown, never a number
    assert not found[0].cause["air_temperature"][8]


def test_other_units_and_zones_are_understood(tmp_path: Path) -> None:
    """212 degF is 100 degC by definition; 12:00+02:00 is 10:00 UTC."""
    paris = pa.array([dt.datetime(2024, 5, 1, 10), dt.datetime(2024, 5, 1, 11)],
                     pa.timestamp("us", "Europe/Paris"))  # fmt: skip
    raw = _parquet(tmp_path, {"time": paris, "air_temperature [degF]": [50.0, 59.0]})
    rows = season_sources(raw, tmp_path / "a.parquet", BLOCK)[0]
    assert rows.time.tolist() == [1_714_557_600, 1_714_561_200]  # 2024-05-01T10:00Z, computed
    assert rows.values["air_temperature"].tolist() == [10.0, 15.0]


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"time": [1, 2], "air_temperature": [1.0, 2.0]}, "no unit"),
        ({"time": [1, 2], "air_temperature [stone]": [1.0, 2.0]}, "unit 'stone'"),
        ({"time": [1.5, 2.5], "air_temperature [degC]": [1.0, 2.0]}, "'time' is double"),
        ({"time": [1, None], "air_temperature [degC]": [1.0, 2.0]}, "1 rows without time"),
        ({"when": [1, 2], "air_temperature [degC]": [1.0, 2.0]}, "expected one 'time'"),
        ({"time": pa.array([1, 2], pa.timestamp("s")), "rain [mm]": [0.0, 0.0]}, "no zone"),
        ({"time": [], "rain [mm]": []}, "no rows"),
        ({"time": [1, 2], "sensor": ["a", None], "rain [mm]": [0.0, 0.0]}, "name no sensor"),
        ({"time": [1, 2], "colour": [1.0, 2.0]}, "colour"),
    ],
)
def test_what_cannot_be_trusted_is_refused(
    tmp_path: Path, columns: dict[str, object], said: str
) -> None:
    raw = _parquet(tmp_path, columns)
    with pytest.raises(LogError, match=said):
        season_sources(raw, tmp_path / "a.parquet", BLOCK)


def test_a_file_that_is_no_parquet_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="not readable as Parquet"):
        season_sources(b"PAR1 but not really", tmp_path / "a.parquet", BLOCK)


def test_two_sources_of_one_name_are_not_mixed(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="expected a name for each"):
        write_season(tmp_path / "a.parquet", [weather(2024, 1), weather(2024, 2)])
    assert not (tmp_path / "a.parquet").exists()


def test_pieces_are_every_block_and_season_in_order(folder: Path) -> None:
    found = [(p.block, p.season) for p in open_archive(folder).pieces()]
    assert found == [("bed_0", "2023"), ("bed_0", "2024"), ("bed_1", "2023"), ("bed_1", "2024")]


def test_strange_files_are_named_all_at_once(folder: Path) -> None:
    write_season(season_file(folder, "nobody", 2024), [weather(2024, 1)])
    (folder / "block=bed_0" / "season=24.parquet").write_bytes(b"")
    with pytest.raises(LogError) as caught:
        open_archive(folder).pieces()
    text = str(caught.value)
    assert "no block 'nobody'" in text and "season '24'" in text


def test_only_what_a_season_rests_on_changes_its_hash(folder: Path) -> None:
    before = {p.name: p.inputs for p in open_archive(folder).pieces()}
    with (folder / "events.csv").open("a") as file:
        file.write("2024-05-25T08:00,bed_1,sighting,ripe_fruit gray_mold,,1,90\n")
    write_season(season_file(folder, "bed_0", 2023), [weather(2023, 999)])
    after = {p.name: p.inputs for p in open_archive(folder).pieces()}
    assert {n for n in before if before[n] != after[n]} == {"bed_0 2023", "bed_1 2024"}


def test_a_neighbour_that_lends_belongs_to_the_inputs(tmp_path: Path) -> None:
    folder = make_archive(tmp_path, lends=True)
    archive = FolderArchive(folder)
    before = {p.name: p.inputs for p in archive.pieces()}
    season = archive.load(archive.pieces()[0])
    assert season is not None and [n.text.block for n in season.neighbours] == ["bed_1"]
    write_season(season_file(folder, "bed_1", 2024), [weather(2024, 77)])
    after = {p.name: p.inputs for p in archive.pieces()}
    assert {n for n in before if before[n] != after[n]} == {"bed_0 2024", "bed_1 2024"}


def test_a_file_that_changed_since_it_was_listed_is_refused(folder: Path) -> None:
    archive = open_archive(folder)
    piece = archive.pieces()[0]
    write_season(season_file(folder, "bed_0", 2023), [weather(2023, 999)])
    with pytest.raises(LogError, match="bed_0 2023 changed since the run began"):
        archive.load(piece)


def test_the_log_store_gives_the_same_seasons(folder: Path, tmp_path: Path) -> None:
    store = LogStore(tmp_path / "store")
    for block in ("bed_0", "bed_1"):
        for year in (2023, 2024):
            raw = season_file(folder, block, year).read_bytes()
            rows = season_sources(raw, season_file(folder, block, year), BLOCK)[0]
            store.add([Incoming(block, block, f"{block}_{year}.parquet", raw, year, rows)])
    archive = StoreArchive(folder / "farm.yaml", tmp_path / "store")
    plain = open_archive(folder)
    pairs = list(zip(archive.pieces(), plain.pieces(), strict=True))
    for ours, theirs in pairs:
        assert (ours.name, ours.events) == (theirs.name, theirs.events)
        a, b = archive.load(ours), plain.load(theirs)
        assert a is not None and b is not None
        assert (a.first, a.last, a.events) == (b.first, b.last, b.events)
        for name, column in b.logs.sources[0].values.items():
            np.testing.assert_array_equal(a.logs.sources[0].values[name], column)
    rows = weather(2024, 4)
    store.add([Incoming("bed_1", "bed_1", "late.parquet", b"late", 3000, rows)])
    again = {p.name: p.inputs for p in archive.pieces()}
    assert [p.name for p, _ in pairs if again[p.name] != p.inputs] == ["bed_1 2024"]


def test_no_archive_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no farm.yaml in it"):
        open_archive(tmp_path)
    with pytest.raises(LogError, match="expected a folder of seasons, or a farm file"):
        open_archive()


def _parquet(folder: Path, columns: dict[str, object]) -> bytes:
    pq.write_table(pa.table(columns), folder / "made.parquet")
    return (folder / "made.parquet").read_bytes()
