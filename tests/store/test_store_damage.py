"""A damaged file is named, with what to do; nothing damaged is ever read as if it were whole."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.errors import LogError, Problem
from riskrules.logs.store import Incoming, LogStore
from riskrules.logs.store.manifest import dump, load, parse
from tests.store.made import differences, item, quick_folder, random_readings, text

FIRST = text([(0, "1", "50", 0), (3, "2", "60", 0)])
SECOND = text([(1, "3", "70", 0)], "second")


def filled(folder: Path) -> LogStore:
    store = LogStore(folder)
    store.add([item(FIRST, "first.csv")])
    store.set_aside("bad.csv", b"bad", [Problem("bad.csv", 0, 0, "no log")])
    store.add([item(SECOND, "second.csv", written=2)])
    return store


@pytest.fixture
def store(tmp_path: Path) -> LogStore:
    return filled(tmp_path / "store")


def files_of(store: LogStore) -> list[Path]:
    names = [p for p in store.folder.rglob("*") if p.is_file()]
    return sorted(p for p in names if p.name != "writer.lock")


def spoil(path: Path, at: int) -> None:
    raw = bytearray(path.read_bytes())
    raw[at % len(raw)] ^= 0x20
    path.write_bytes(bytes(raw))


@given(which=st.integers(0, 20), at=st.integers(0, 10_000))
def test_any_byte_spoiled_is_found_and_named(which: int, at: int) -> None:
    with quick_folder() as folder:
        store = filled(folder)
        assert store.check() == []
        files = files_of(store)
        assert len(files) == 8  # 2 manifests, 2 parts, 2 originals, 1 aside and its report
        path = files[which % len(files)]
        spoil(path, at)
        try:
            problems = LogStore(store.folder).check()
        except LogError as error:
            problems = list(error.problems)
        assert [p.file for p in problems] == [str(path)]


def test_a_damaged_manifest_says_how_to_go_on(store: LogStore) -> None:
    before = LogStore(store.folder).readings("north", "low")
    path = store.folder / "manifest.jsonl"
    spoil(path, len(path.read_bytes()) // 2)
    with pytest.raises(LogError, match=r"manifest\.jsonl: damaged.*logs mend.*--from-parts"):
        LogStore(store.folder)
    back = LogStore.restore(store.folder)
    assert back.readings("north", "low").files == ("first.csv",)
    assert [o.state for o in back.add([item(SECOND, "second.csv", written=2)])] == ["new"]
    assert differences(before, back.readings("north", "low")) == []
    back.tidy()  # the parts of the reading that was lost with the manifest
    assert back.check() == []


def test_the_manifest_before_has_all_its_files(store: LogStore) -> None:
    """Also where the last change took the place of a part and of an original."""
    before = store.readings("north", "low")
    store.add([item(FIRST + b"9,9,90,0\n", "first.csv", written=3)])
    assert len(store.readings("north", "low")) == len(before) + 1
    spoil(store.folder / "manifest.jsonl", 500)
    back = LogStore.restore(store.folder)
    assert differences(before, back.readings("north", "low")) == []
    assert back.original(hashlib.sha256(FIRST).hexdigest()) == FIRST
    back.tidy()
    assert back.check() == []


def test_any_bit_of_a_manifest_counts(store: LogStore) -> None:
    raw = (store.folder / "manifest.jsonl").read_bytes()
    for at in range(len(raw)):
        spoiled = bytearray(raw)
        spoiled[at] ^= 1 << at % 8
        with pytest.raises(LogError, match="manifest"):
            parse(bytes(spoiled), Path("manifest"))


def test_a_lost_manifest_is_no_new_store(store: LogStore) -> None:
    before = store.readings("north", "low")
    (store.folder / "manifest.jsonl").unlink()
    with pytest.raises(LogError, match=r"manifest\.jsonl: missing, but the store is not empty"):
        LogStore(store.folder)
    (store.folder / "manifest.previous.jsonl").unlink()
    with pytest.raises(LogError, match=r"manifest\.jsonl: missing, but the store is not empty"):
        LogStore(store.folder)
    with pytest.raises(LogError, match=r"manifest\.previous\.jsonl: cannot be read"):
        LogStore.restore(store.folder)
    back = LogStore.rebuild(store.folder)
    assert differences(before, back.readings("north", "low")) == []
    assert back.original(hashlib.sha256(FIRST).hexdigest()) == FIRST


def test_a_store_of_another_format_is_not_touched(store: LogStore) -> None:
    path = store.folder / "manifest.jsonl"
    path.write_bytes(
        path.read_bytes().replace(b'"riskrules_log_store": 1', b'"riskrules_log_store": 2')
    )
    with pytest.raises(LogError, match="store format 2; expected 1"):
        LogStore(store.folder)


def test_a_damaged_or_lost_part_is_named(store: LogStore) -> None:
    part = sorted(store.folder.rglob("*.parquet"))[0]
    spoil(part, 100)
    with pytest.raises(LogError, match=r"\.parquet: damaged") as caught:
        store.readings("north", "low")
    assert caught.value.problems[0].file == str(part)
    part.unlink()
    with pytest.raises(LogError, match=r"\.parquet: missing"):
        store.readings("north", "low")
    assert [p.file for p in store.check()] == [str(part)]


def test_a_damaged_or_lost_original_is_named(store: LogStore) -> None:
    sha256 = hashlib.sha256(FIRST).hexdigest()
    path = store.folder / "originals" / sha256[:2] / sha256
    spoil(path, 3)
    with pytest.raises(LogError, match="damaged") as caught:
        store.original(sha256)
    assert caught.value.problems[0].file == str(path)
    path.unlink()
    with pytest.raises(LogError, match="missing"):
        store.original(sha256)
    with pytest.raises(LogError, match="no file with the hash"):
        store.original("0" * 64)


def test_what_a_stopped_writer_left_is_found_and_removed(store: LogStore) -> None:
    left = ["readings/block=north/year=2020/x.parquet", "originals/00/y", ".tmp-1-2", "aside/z"]
    before = store.readings("north", "low")
    for name in left:
        (store.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (store.folder / name).write_bytes(b"half")
    assert sorted(p.file for p in store.check()) == sorted(str(store.folder / n) for n in left)
    assert store.tidy() == sorted(left)
    assert store.check() == [] and not (store.folder / "originals/00").exists()
    assert differences(before, store.readings("north", "low")) == []


def test_a_manifest_that_contradicts_itself_is_found(store: LogStore) -> None:
    contents = load(store.folder)
    version = next(iter(contents.versions.values()))
    contents.versions[version.id] = version._replace(rows=version.rows + 1, superseded_by="gone")
    del contents.originals[version.sha256]
    (store.folder / "manifest.jsonl").write_bytes(dump(contents))
    said = "\n".join(map(str, LogStore(store.folder).check()))
    assert "has no original" in said and "superseded by a version that is not there" in said
    assert "rows in its parts" in said


@given(st.binary(max_size=300))
def test_any_bytes_as_a_manifest_are_an_error_and_never_a_traceback(raw: bytes) -> None:
    with quick_folder() as folder:
        (folder / "manifest.jsonl").write_bytes(raw)
        with pytest.raises(LogError, match=r"manifest\.jsonl"):
            LogStore(folder)


def test_another_part_in_its_place_is_refused(tmp_path: Path) -> None:
    """A part that is a whole Parquet file, but not the one that was written, is refused."""
    store = LogStore(tmp_path)
    store.add([Incoming("north", "low", "a", b"a", 1, random_readings(1, 30))])
    store.add([Incoming("north", "high", "a", b"b", 1, random_readings(2, 30, "high"))])
    one = next(p for p in tmp_path.rglob("low-*.parquet"))
    two = next(p for p in tmp_path.rglob("high-*.parquet"))
    one.write_bytes(two.read_bytes())
    with pytest.raises(LogError, match="damaged"):
        store.readings("north", "low")
