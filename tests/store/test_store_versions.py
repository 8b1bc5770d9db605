"""Corrections, grown files, copies and new mappings: which value wins, and what stays on record."""

from __future__ import annotations

import hashlib
import itertools
import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from riskrules.errors import LogError, Problem
from riskrules.logs.store import LogStore
from tests.store.made import START, differences, item, parse, text

T, H = "air_temperature", "relative_humidity"


def sha(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def manifest(store: LogStore) -> bytes:
    return (store.folder / "manifest.jsonl").read_bytes()


def test_the_same_file_twice_changes_nothing(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    raw = text([(0, "1", "50", 0)])
    assert [o.state for o in store.add([item(raw)])] == ["new"]
    before = manifest(store), sorted(p.name for p in tmp_path.rglob("*"))
    again = store.add([item(raw), item(raw, "copy of a.csv", written=9)])
    assert [(o.state, o.rows) for o in again] == [("known", 1), ("known", 1)]
    assert (manifest(store), sorted(p.name for p in tmp_path.rglob("*"))) == before
    assert store.knows(sha(raw)) and not store.knows(sha(b""))


def test_a_correction_wins_where_it_says_something(tmp_path: Path) -> None:
    """A value stays where the later file is empty; a cell marked as bad takes a value back."""
    store = LogStore(tmp_path)
    old = text([(0, "1", "50", 0), (1, "2", "60", 0), (2, "3", "70", 0)])
    new = text([(1, "20", "", 0), (2, "bad", "71", 0), (3, "4", "", 0)], "corrected")
    store.add([item(new, "new.csv", written=2)])
    store.add([item(old, "old.csv", written=1)])
    rows = store.readings("north", "low")
    assert rows.time.tolist() == [START + 3600 * i for i in range(4)]
    assert np.array_equal(rows.values[T], [1, 20, np.nan, 4], equal_nan=True)
    assert np.array_equal(rows.values[H], [50, 60, 71, np.nan], equal_nan=True)
    assert rows.reasons[T].tolist() == [0, 0, 256, 0]
    assert rows.files == ("old.csv", "new.csv") and rows.rows_read == 6
    assert rows.source.tolist() == [0, 1, 1, 1] and rows.line.tolist() == [2, 3, 4, 5]
    assert [tuple(t) for t in store.trace("north", "low", START + 3600, T)] == [
        ("new.csv", 3, sha(new), 20.0, True),
        ("old.csv", 3, sha(old), 2.0, False),
    ]
    winner, loser = store.trace("north", "low", START + 3600, H)
    assert (winner.file, winner.value, winner.wins) == ("old.csv", 60.0, True)
    assert loser.file == "new.csv" and np.isnan(loser.value) and not loser.wins
    assert [r.state for r in store.history("north")] == ["counts", "counts"]


def test_measured_goes_before_forecast_whenever_written(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    store.add([item(text([(0, "1", "", 0)]), "m.csv", written=1)])
    store.add([item(text([(0, "7", "50", 1), (1, "8", "60", 1)]), "f.csv", written=2)])
    store.add([item(text([(1, "9", "", 1)], "newer"), "g.csv", written=3)])
    rows = store.readings("north", "low")
    assert rows.forecast.tolist() == [False, True]
    assert rows.values[T].tolist() == [1, 9]
    assert np.isnan(rows.values[H][0]) and rows.values[H][1] == 60
    assert [t.wins for t in store.trace("north", "low", START, T)] == [True, False]


def test_a_grown_file_takes_the_place_of_its_beginning(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    whole = text([(i, str(i), "50", 0) for i in range(8)])
    sizes = [len(whole), 80, 95]  # cut within a row: a half-written number
    cuts = [whole[:n] for n in sorted(sizes)]
    half = parse(cuts[0].rsplit(b"\n", 1)[0], "a.csv")
    states = []
    for i, raw in enumerate(cuts):
        incoming = replace(item(whole, written=i), original=raw)
        if raw != whole:
            incoming.readings = half
        states += [o.state for o in store.add([incoming])]
    assert states == ["new", "grown", "grown"]
    assert (
        differences(store.readings("north", "low"), replace(parse(whole, "a.csv"), sensor="low"))
        == []
    )
    assert [r.state for r in store.history()] == ["grown", "grown", "counts"]
    assert store.history()[-1].superseded == (("a.csv", sha(cuts[1])),)
    assert store.history()[0].superseded_by == ("a.csv", sha(cuts[1]))
    store.add([item(text([(0, "1", "", 0)]), "other.csv", sensor="other")])
    kept = [p for p in (tmp_path / "originals").rglob("*") if p.is_file()]
    assert {p.name for p in kept} == {sha(whole), sha(text([(0, "1", "", 0)]))}
    assert [store.original(sha(raw)) for raw in cuts] == cuts
    assert all(store.knows(sha(raw)) for raw in cuts)
    assert store.check() == []


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
@pytest.mark.parametrize("at_once", [True, False])
def test_beginnings_in_any_order_give_the_same(
    tmp_path: Path, order: tuple[int, ...], at_once: bool
) -> None:
    store = LogStore(tmp_path)
    whole = text([(i, str(i), "50", 0) for i in range(60)])
    lines = whole.splitlines(keepends=True)
    cuts = [b"".join(lines[:n]) for n in (3, 30, len(lines))]
    items = [item(cuts[i], written=10 - i) for i in order]
    if at_once:
        store.add(items)
    else:
        for one in items:
            store.add([one])
    rows = store.readings("north", "low")
    assert differences(rows, replace(parse(whole, "a.csv"), sensor="low")) == []
    assert [store.original(sha(raw)) for raw in cuts] == cuts
    assert store.check() == []


def test_a_copy_made_later_does_not_undo_a_correction(tmp_path: Path) -> None:
    first, second = text([(0, "1", "", 0)]), text([(0, "2", "", 0)], "corrected")
    for i, order in enumerate(itertools.permutations([(first, 5), (second, 7), (first, 9)])):
        store = LogStore(tmp_path / str(i))
        for raw, written in order:
            store.add([item(raw, written=written)])
        assert store.readings("north", "low").values[T].tolist() == [2]
        assert [t.value for t in store.trace("north", "low", START, T)] == [2, 1]
        assert store.check() == []
        assert {r.written for r in store.history()} == {5, 7}


def test_another_mapping_replaces_and_can_be_taken_back(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    raw = text([(0, "1", "50", 0)])
    seen = []
    for mapping, shift in (("m1", 0.0), ("m2", 100.0), ("m2", 100.0), ("m1", 0.0)):
        assert store.knows(sha(raw), mapping) == (len(seen) == 2)
        (outcome,) = store.add([item(raw, mapping=mapping, shift=shift)])
        seen.append((outcome.state, store.readings("north", "low").values[T].tolist()))
    assert seen == [("new", [1]), ("new", [101]), ("known", [101]), ("new", [1])]
    assert sorted(r.state for r in store.history()) == ["counts", "mapping"]
    assert store.tidy() == [] and store.check() == []


def test_tables_of_one_file_are_told_apart(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    one, two = text([(0, "1", "", 0)]), text([(1, "2", "", 0)])
    items = [replace(item(one, "a.zip/one.csv"), original=b"zip")]
    items += [replace(item(two, "a.zip/two.csv"), original=b"zip")]
    assert [o.state for o in store.add(items)] == ["new", "new"]
    assert [o.state for o in store.add(items)] == ["known", "known"]
    assert store.readings("north", "low").values[T].tolist() == [1, 2]
    clash = [replace(i, file="b.csv", original=b"other") for i in items]
    with pytest.raises(LogError, match="two tables of one file have the same name"):
        store.add(clash)


def test_steps_that_differ_become_spans(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    hourly = item(text([(i, "1", "", 0) for i in range(3)]))
    quick = item(text([(5, "2", "", 0), (6, "3", "", 0)], "x"), "b.csv")
    quick.readings.step, quick.readings.time = 600, START + np.array([36_000, 36_600])
    alone = item(text([(20, "4", "", 0)], "y"), "c.csv")
    store.add([hourly, quick, alone])
    rows = store.readings("north", "low")
    assert rows.step == 3600
    assert rows.spans.tolist() == [3600, 3600, 3600, 600, 600, 3600]
    assert store.readings("north", "low", START + 36_000).step == 3600


def test_set_aside_keeps_the_file_beside_its_report(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    raw = b"\xff\x00 not a log"
    problems = [Problem("x.csv", 3, 0, "no time column")]
    outcome = store.set_aside("x.csv", raw, problems, "m1")
    before = manifest(store)
    assert store.set_aside("x.csv", raw, problems, "m1") == outcome
    assert outcome.state == "aside" and manifest(store) == before
    assert store.knows(sha(raw), "m1") and not store.knows(sha(raw), "m2")
    assert store.original(sha(raw)) == raw and store.blocks() == []
    (report,) = (tmp_path / "aside").rglob("*.json")
    said = json.loads(report.read_bytes())
    assert (said["file"], said["sha256"]) == ("x.csv", sha(raw))
    assert said["problems"] == [
        {"file": "x.csv", "line": 3, "column": 0, "message": "no time column"}
    ]
    assert [a.problems for a in store.asides()] == [tuple(problems)]
    assert [r.state for r in store.history()] == ["aside"] and store.history("north") == []
    good = replace(item(text([(0, "1", "", 0)]), mapping="m2"), original=raw)
    store.add([good])
    assert store.asides() == [] and len(store.asides(unresolved=False)) == 1
    assert store.check() == []


def test_a_file_that_changed_while_it_was_read_is_refused(tmp_path: Path) -> None:
    store = LogStore(tmp_path / "store")
    path = tmp_path / "a.csv"
    path.write_bytes(text([(0, "1", "", 0)]))
    read = item(path.read_bytes())
    incoming = replace(read, original=path, sha256=sha(path.read_bytes()))
    path.write_bytes(text([(0, "1", "", 0), (1, "2", "", 0)]))
    with pytest.raises(LogError, match="changed while it was read"):
        store.add([item(text([]), "b.csv"), incoming])
    assert store.history() == [] and store.check() == []


def test_reviews_are_written_down(tmp_path: Path) -> None:
    store = LogStore(tmp_path)
    assert store.last_review() is None
    store.note_review(200, date(2026, 5, 3), (0, 100))
    store.note_review(100, date(2026, 5, 2))
    last = LogStore(tmp_path).last_review()
    assert last is not None and (last.when, last.for_day, last.window) == (
        200,
        date(2026, 5, 3),
        (0, 100),
    )
    (tmp_path / "reviews.json").write_text("[1]")
    with pytest.raises(LogError, match=r"reviews\.json: damaged"):
        store.last_review()
