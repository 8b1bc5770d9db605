"""Runs that are resumed, fail or find the disk full: the same result, or nothing half-written."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from riskrules.engine.process import EngineCrash, EngineProcess
from riskrules.review import shipped_rulebook
from riskrules.tuning import cluster
from riskrules.tuning.archive import open_archive, write_season
from riskrules.tuning.cluster import Ran, Work, run
from riskrules.tuning.kept import ReplayStop, decode, encode
from riskrules.tuning.replay import replay_one
from riskrules.tuning.seasons import BlockSeason
from tests.tuning.made_archive import make_archive, season_file, weather


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Work:
    folder = make_archive(tmp_path_factory.mktemp("made") / "archive")
    return Work(open_archive(folder), {"shipped": shipped_rulebook()})


@pytest.fixture(scope="module")
def whole(work: Work, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    return run(work, tmp_path_factory.mktemp("whole"))


def tables_of(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


def only_folder(out: Path) -> Path:
    found = [p for p in out.iterdir() if p.name != "pieces"]
    assert len(found) == 1
    return found[0]


def test_the_tables_hold_what_each_block_season_found_alone(work: Work, whole: Ran) -> None:
    rows = pq.read_table(whole.folder / "findings.parquet").to_pylist()
    alone = []
    for piece in work.archive.pieces():
        season = work.archive.load(piece)
        assert season is not None
        result = replay_one(season, work.books)
        assert decode(encode(result)) == result
        alone += [(f.block, f.season, f.id, f.start, f.index_most)
                  for f in result.profile("shipped").findings]  # fmt: skip
    assert alone and len({season for _, season, *_ in alone}) == 2
    assert [(r["block"], r["season"], r["id"], r["start"], r["index_most"]) for r in rows] == alone


def test_the_folder_says_what_its_tables_are(whole: Ran) -> None:
    said = json.loads((whole.folder / "replay.json").read_text())
    hashes = tables_of(whole.folder)
    assert said["tables"] == {
        n.removesuffix(".parquet"): h for n, h in hashes.items() if n != "replay.json"
    }
    assert said["without a reading"] == [] and len(said["block-seasons"]) == 4


def test_what_is_done_is_not_done_again(
    work: Work, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, whole: Ran
) -> None:
    pieces = work.archive.pieces()
    run(work, tmp_path, pieces=pieces[:3])
    done: list[str] = []

    def counted(season: BlockSeason, *args: object) -> object:
        done.append(f"{season.block} {season.season}")
        return replay_one(season, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(cluster, "replay_one", counted)
    again = run(work, tmp_path)
    assert done == [pieces[3].name]
    assert (again.tally.kept, again.tally.done) == (3, 1)
    assert tables_of(again.folder) == tables_of(whole.folder)
    done.clear()
    kept = again.kept.path(pieces[1], work.key(pieces[1]))
    kept.write_bytes(kept.read_bytes()[:-20])  # half-written, as after a loss of power
    run(work, tmp_path)
    assert done == [pieces[1].name]


def test_other_rules_or_readings_are_another_result(work: Work, tmp_path: Path) -> None:
    folder = make_archive(tmp_path / "archive")
    ours = Work(open_archive(folder), work.books)
    before = {p.name: ours.key(p) for p in ours.archive.pieces()}
    assert before == {p.name: work.key(p) for p in work.archive.pieces()}
    write_season(season_file(folder, "bed_0", 2024), [weather(2024, 31)])
    after = {p.name: ours.key(p) for p in ours.archive.pieces()}
    assert [n for n in before if before[n] != after[n]] == ["bed_0 2024"]
    book = shipped_rulebook()
    fewer = Work(work.archive, {"shipped": type(book)(book.packs[1:], book.shared)})
    assert fewer.version != work.version


def test_one_that_cannot_be_read_stops_the_end_and_keeps_the_rest(
    work: Work, tmp_path: Path
) -> None:
    folder = make_archive(tmp_path / "archive")
    season_file(folder, "bed_0", 2024).write_bytes(b"no Parquet")
    ours = Work(open_archive(folder), work.books)
    with pytest.raises(ReplayStop, match="1 of 4 .* 3 are done and kept") as caught:
        run(ours, tmp_path / "out")
    assert "bed_0 2024" in str(caught.value) and "not readable as Parquet" in str(caught.value)
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["pieces"]
    write_season(season_file(folder, "bed_0", 2024), [weather(2024, 2024)])
    assert run(ours, tmp_path / "out").tally.done == 1


def test_a_rule_engine_that_dies_is_no_result(
    work: Work, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def dies(*_: object) -> object:
        raise EngineCrash("it died")

    monkeypatch.setattr(EngineProcess, "fired", dies)
    with pytest.raises(ReplayStop, match="not evaluated under shipped: it died"):
        run(work, tmp_path, pieces=work.archive.pieces()[:1])
    assert not list(tmp_path.rglob("*.json"))


def test_a_season_without_a_measured_row_is_said_to_be_empty(work: Work, tmp_path: Path) -> None:
    folder = make_archive(tmp_path / "archive", years=(2024,))
    write_season(season_file(folder, "bed_1", 2023), [weather(2021, 3)])
    ran = run(Work(open_archive(folder), work.books), tmp_path / "out")
    said = json.loads((ran.folder / "replay.json").read_text())
    assert said["without a reading"] == ["bed_1 2023"]
    assert [(r.block, r.season) for r in ran.results()] == [("bed_0", "2024"), ("bed_1", "2024")]
