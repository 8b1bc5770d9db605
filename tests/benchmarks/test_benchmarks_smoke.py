"""The benchmarks run, and the engines that they time find the same. Nothing depends on time."""

from __future__ import annotations

import doctest
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:  # this folder's name is that of the package it tests
    sys.path.insert(0, str(ROOT))

pytest.importorskip("clips", reason="clipspy is one of the two engines")

from benchmarks import rows, run, timing  # noqa: E402
from benchmarks.against_clips import assert_same  # noqa: E402
from benchmarks.clips_engine import Clips  # noqa: E402
from benchmarks.seasons import block_seasons, book  # noqa: E402
from benchmarks.stages import shares_of  # noqa: E402
from riskrules.engine.evaluate import compiled, evaluate  # noqa: E402
from riskrules.facts.table import Facts  # noqa: E402


@pytest.fixture(scope="module")
def season() -> Facts:
    """Return the facts of one block of the invented sample farm."""
    return block_seasons(1)[0]


@pytest.fixture(scope="module")
def clips() -> Iterator[Clips]:
    """Return CLIPS with the shipped rules."""
    with closing(Clips(compiled(tuple(book().packs)), "cffi")) as made:
        yield made


def test_clips_and_our_engine_find_the_same(season: Facts, clips: Clips) -> None:
    assert assert_same(season, clips) > 100


def test_each_way_of_asserting_gives_clips_the_same_facts(season: Facts) -> None:
    small = {kind: season[kind] for kind in ("pick", "sighting", "field_work", "stage_spell")}
    expected = evaluate(small, book().packs)
    assert expected
    for how in ("slots", "cffi", "text"):
        with closing(Clips(compiled(tuple(book().packs)), how)) as clips:
            assert clips.evaluate(small) == expected


def test_a_rule_less_in_clips_is_noticed(season: Facts) -> None:
    key = evaluate(season, book().packs)[0].rule
    with closing(Clips(compiled(tuple(book().packs)), "cffi")) as lacking:
        for rule in list(lacking._env.rules()):
            if lacking._rules.variants[int(rule.name.removeprefix("r"))].rule.key == key:
                rule.undefine()
        with pytest.raises(AssertionError, match=f"findings differ, such as .*{key}"):
            assert_same(season, lacking)


def test_a_row_tells_whether_its_aim_is_reached() -> None:
    quick, slow = timing.Took([1.0, 2.0, 9.0], [1.0] * 3), timing.Took([4.0, 5.0, 8.0], [3.0] * 3)
    cheap = rows.compared(1, "x", quick, slow, "y", aim=0.5)
    assert (cheap.ratio, cheap.ratio_of_minima, cheap.reached) == (0.4, 0.25, True)
    assert rows.compared(1, "x", slow, quick, "y", aim=0.5).reached is False
    assert rows.compared(1, "x", quick, slow, "y", aim=2.0, faster=True).ratio == 2.5
    assert rows.compared(1, "x", slow, quick, "y", aim=2.0, faster=True).reached is False


def test_shares_count_what_is_inside_a_stage_once() -> None:
    """Every stage named is still where the review calls it, and the shares sum to the whole."""
    from benchmarks.against_reading import last_night
    from benchmarks.seasons import typical_year

    pytest.importorskip("pvlib", reason="it ships the typical year")
    shares = shares_of(lambda: last_night(typical_year()), 1)
    spent = {stage for stage, seconds in shares.seconds.items() if seconds > 0}
    assert spent >= {"read", "judge and cells", "derive facts", "engine", "JSON", "rest"}


def test_the_doctests_of_the_benchmarks_hold() -> None:
    for module in (timing, run):
        found = doctest.testmod(module)
        assert found.attempted and not found.failed


@pytest.mark.long
def test_a_quick_run_prints_its_table_and_writes_it(tmp_path: Path) -> None:
    pytest.importorskip("pvlib", reason="it ships the typical year")
    file = tmp_path / "found.json"
    words = ["--quick", "--only", "1", "--json", str(file)]
    done = subprocess.run(
        [sys.executable, str(ROOT / "benchmarks" / "run.py"), *words],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "reached" in done.stdout.splitlines()[0]
    found = json.loads(file.read_text(encoding="utf-8"))["rows"]
    assert all(row["ours"] > 0 and row["reference"] > 0 for row in found)
    assert {row["reached"] for row in found} <= {True, False, None}


def quick_run(number: int, folder: Path) -> dict[str, Any]:
    """Run one benchmark in short and return what it wrote."""
    file = folder / "found.json"
    words = ["--quick", "--only", str(number), "--json", str(file)]
    subprocess.run(
        [sys.executable, str(ROOT / "benchmarks" / "run.py"), *words],
        cwd=folder, capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found


@pytest.mark.long
def test_the_pages_are_timed_and_none_is_in_trouble(tmp_path: Path) -> None:
    """Each page twice: against the aim and an empty page; marks, many sessions, memory."""
    pytest.importorskip("pvlib", reason="it ships the typical year")
    from benchmarks.dashboard import MARKED, SEASON, pages

    found = quick_run(7, tmp_path)
    named = [row["what"].removesuffix(", warm") for row in found["rows"]]
    assert {*pages(), SEASON, MARKED} <= set(named)
    assert all(row["ours"] > 0 and row["reference"] > 0 for row in found["rows"])
    assert {row["unit"] for row in found["rows"]} == {"s", "MB"}
    assert not [line for line in found["notes"]["7"] if "trouble" in line]


@pytest.mark.long
def test_a_small_archive_is_replayed_in_a_loop_and_by_workers(tmp_path: Path) -> None:
    pytest.importorskip("pvlib", reason="it ships the typical year")
    found = quick_run(8, tmp_path)
    assert all(row["ours"] > 0 and row["reference"] > 0 for row in found["rows"])
    assert {"/s", "s", "MB"} == {row["unit"] for row in found["rows"]}
    assert any("computed, not measured" in line for line in found["notes"]["8"])


def test_a_farm_for_the_pages_has_a_season_in_its_journal(tmp_path: Path) -> None:
    pytest.importorskip("pvlib", reason="it ships the typical year")
    from benchmarks.dashboard_farm import MARKED, write_farm
    from riskrules.view.desk import open_desk

    desk = open_desk(write_farm(tmp_path, 2, 40))
    assert desk.noted is not None and {e.block for e in desk.noted.events} == {*desk.blocks()}
    assert all(len(b.sources[0]) == 40 * 96 for b in desk.logs)
    assert desk.noted.journal.last() > 40 * 2 * len(MARKED)
