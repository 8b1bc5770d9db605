"""A replay says what reviews done one by one say, once for each profile."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest

from riskrules.engine.evaluate import evaluate
from riskrules.engine.match import Match
from riskrules.engine.process import EngineCrash
from riskrules.errors import LogError
from riskrules.facts.kinds import Cause
from riskrules.farm import BorrowText
from riskrules.packs.load import Rulebook
from riskrules.packs.model import Pack
from riskrules.review import Review, review, shipped_jobs, shipped_rulebook
from riskrules.sources import Gathered, gather
from riskrules.tuning import answers, replay
from riskrules.tuning.answers import foretells
from riskrules.tuning.replay import (
    ProfileResult,
    SeasonResult,
    changes,
    count_changes,
    facts_key,
    replay_one,
    season_facts,
)
from riskrules.tuning.seasons import BlockSeason, block_seasons

from .made_up import humid_block_season, only_gray_mold

SHIPPED = shipped_rulebook()


def seconds(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp())


def reviewed(season: BlockSeason, book: Rulebook) -> Review:
    return review(
        season.farm, [season.logs], season.events, book, first=season.first, last=season.last
    )


@pytest.fixture(scope="module")
def farm(sample_logs: Path) -> Gathered:
    return gather([sample_logs], sample_logs / "farm.yaml")


@pytest.fixture(scope="module")
def seasons(farm: Gathered) -> list[BlockSeason]:
    return block_seasons(farm.farm, farm.blocks, farm.events, months=(5, 5))


@pytest.fixture(scope="module")
def books(checkout: Path) -> dict[str, Rulebook]:
    regions = checkout / "rulepacks" / "regions"
    return {
        "shipped": SHIPPED,
        "valley": shipped_rulebook(regions / "humid_valley.yaml"),
        "coast": shipped_rulebook(regions / "cool_coast.yaml"),
    }


def same(said: ProfileResult, one: Review) -> None:
    """Hold a replay's rows against the findings and unknowns of a review."""
    rows = [
        (f.id, f.rule, f.hazard, f.start, f.end, f.severity, f.certainty) for f in said.findings
    ]
    wanted = [
        (f.id, f.rule, f.hazard, seconds(f.start), seconds(f.end), f.severity, f.certainty)
        for f in one.findings
    ]
    assert sorted(rows) == sorted(wanted)
    assert [u.id for u in said.unknowns] == [u.id for u in one.unknowns]
    assert [u.causes.split("; ") for u in said.unknowns] == [list(u.causes) for u in one.unknowns]
    assert [u.start for u in said.unknowns] == [seconds(u.start) for u in one.unknowns]


def test_a_replay_is_what_a_review_says(
    seasons: list[BlockSeason], books: dict[str, Rulebook]
) -> None:
    season = next(s for s in seasons if s.block == "north_beds")
    result = replay_one(season, {n: books[n] for n in ("valley", "shipped")})
    assert [p.name for p in result.profiles] == ["shipped", "valley"]
    for said in result.profiles:
        assert said.profile == books[said.name].profile
        assert len(said.findings) > 30
        same(said, reviewed(season, books[said.name]))


def test_a_block_that_borrows_of_another_is_what_a_review_of_both_says() -> None:
    rng, book = np.random.default_rng(9), only_gray_mold()
    one, other = (humid_block_season(rng, b, 2024, 7, days=15) for b in ("a", "b"))
    rows = one.logs.sources[0]
    dry = {k: v for k, v in rows.values.items() if k != "relative_humidity"}
    loan = BorrowText(of="b", variables=["relative_humidity"])
    text = one.logs.text.model_copy(update={"borrow": [loan]})
    logs = replace(one.logs, text=text, sources=(replace(rows, values=dry, cause={
        k: c for k, c in rows.cause.items() if k in dry}),))  # fmt: skip
    both = block_seasons(one.farm, [logs, other.logs], [*one.events, *other.events])
    season = next(s for s in both if s.block == "a")
    assert [n.text.block for n in season.neighbours] == ["b"]
    said = replay_one(season, {"p": book}).profile("p")
    whole = review(
        one.farm, [season.logs, *season.neighbours], [*one.events, *other.events], book,
        first=season.first, last=season.last,
    )  # fmt: skip
    rows_of_a = sorted((f.id, f.certainty) for f in whole.findings if f.block == "a")
    assert sorted((f.id, f.certainty) for f in said.findings) == rows_of_a != []


@pytest.mark.long
def test_every_block_and_profile_is_what_reviews_say(
    farm: Gathered, books: dict[str, Rulebook]
) -> None:
    for season in block_seasons(farm.farm, farm.blocks, farm.events):
        result = replay_one(season, books)
        for said in result.profiles:
            same(said, reviewed(season, books[said.name]))


def test_the_same_input_gives_the_same_result_kept_facts_or_not() -> None:
    season = humid_block_season(np.random.default_rng(1), "b", 2024, 7, days=30)
    books = {"one": only_gray_mold(), "two": only_gray_mold()}
    first = replay_one(season, books)
    kept = season_facts(season, books["one"])
    again = replay_one(season, books, kept={kept.key: kept})
    assert first == again
    assert replace(again.profile("two"), name="one") == again.profile("one")


def test_facts_are_derived_once_for_each_set_of_shared_thresholds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    season = humid_block_season(np.random.default_rng(2), "b", 2024, 7, days=20)
    base = only_gray_mold()
    pack = base.packs[0]
    strict = pack.thresholds | {"humid_long": replace(pack.thresholds["humid_long"], value=9)}
    other = base.shared | {"humid": replace(base.shared["humid"], value=88)}
    books = {
        "base": base,
        "pack": replace(base, packs=(replace(pack, thresholds=strict),)),
        "shared": replace(base, shared=other, packs=(replace(pack, shared=other),)),
    }
    assert facts_key(books["base"]) == facts_key(books["pack"]) != facts_key(books["shared"])
    derived = []
    monkeypatch.setattr(
        replay, "season_facts", lambda s, b: derived.append(b) or season_facts(s, b)
    )
    replay_one(season, books)
    assert len(derived) == 2


def test_what_changes_is_what_sets_differ_in(
    seasons: list[BlockSeason], books: dict[str, Rulebook]
) -> None:
    season = next(s for s in seasons if s.block == "hill_beds")
    result = replay_one(season, {n: books[n] for n in ("shipped", "valley")})
    a, z = result.profiles
    rows = changes(a, z)
    before = {(f.rule, f.start, f.end) for f in a.findings}
    after = {(f.rule, f.start, f.end) for f in z.findings}
    old = {(r.rule, r.start_before, r.end_before) for r in rows if r.what != "came"}
    new = {(r.rule, r.start_after, r.end_after) for r in rows if r.what != "went"}
    assert rows
    assert (old, new) == (before - after, after - before)
    assert sum(count_changes(rows).values()) == len(rows)
    for r in rows:
        if r.what == "moved":
            assert r.start_before < r.end_after and r.start_after < r.end_before
    assert changes(a, a) == ()


def test_changes_of_two_blocks_are_refused(result_pair: tuple[SeasonResult, SeasonResult]) -> None:
    one, other = result_pair
    with pytest.raises(ValueError, match="expected one block-season"):
        changes(one.profiles[0], other.profiles[0])


@pytest.fixture
def result_pair() -> tuple[SeasonResult, SeasonResult]:
    rng, books = np.random.default_rng(3), {"p": only_gray_mold()}
    one, other = (humid_block_season(rng, b, 2024, 7, days=12) for b in ("a", "b"))
    return replay_one(one, books), replay_one(other, books)


def test_jobs_count_once_a_day_and_cost_the_farm_s_own_hours(
    seasons: list[BlockSeason], books: dict[str, Rulebook]
) -> None:
    season = next(s for s in seasons if s.block == "north_beds")
    said = replay_one(season, {"shipped": SHIPPED}).profile("shipped")
    zone = season.farm.zone
    days = {
        datetime.fromtimestamp(f.start, zone).date()
        for f in said.findings
        if "lift_row_cover" in next(r for r in SHIPPED.rules if r.key == f.rule).text.jobs
    }
    rows = [j for j in said.jobs if j.job == "lift_row_cover"]
    assert sum(j.days for j in rows) == len(days) > 0
    assert sum(j.hours for j in rows) == pytest.approx(0.5 * len(days))  # as its farm file says
    assert {j.hours_from for j in rows} == {"your own figure"}
    book = shipped_jobs()
    others = [j for j in said.jobs if j.job not in season.farm.text.hours]
    for j in others:
        assert j.hours == pytest.approx(j.days * book.jobs[j.job].hours)
    assert said.crew_hours == pytest.approx(sum(j.hours for j in said.jobs))


def test_a_block_without_covers_is_given_no_job_with_them(seasons: list[BlockSeason]) -> None:
    season = next(s for s in seasons if s.block == "hill_beds")
    said = replay_one(season, {"shipped": SHIPPED}).profile("shipped")
    needs = {j.job: shipped_jobs().jobs[j.job].needs for j in said.jobs}
    assert needs
    assert not any(n & {"tunnel", "row_covers"} for n in needs.values())


def test_a_crash_is_not_a_quiet_season(monkeypatch: pytest.MonkeyPatch) -> None:
    season = humid_block_season(np.random.default_rng(4), "b", 2024, 7, days=12)

    def crash(*args: object, **more: object) -> None:
        raise EngineCrash("died twice")

    monkeypatch.setattr(answers, "evaluate", crash)
    said = replay_one(season, {"p": only_gray_mold()}).profile("p")
    assert (said.state, said.why, said.findings) == ("not evaluated", "died twice", ())
    monkeypatch.setattr(answers, "evaluate", evaluate)
    whole = replay_one(season, {"p": only_gray_mold()}).profile("p")
    with pytest.raises(ValueError, match="died twice"):
        changes(whole, said)


def test_a_season_without_a_reading_is_refused() -> None:
    season = humid_block_season(np.random.default_rng(4), "b", 2024, 7, days=12)
    nothing = season.logs.sources[0].only(np.zeros(12 * 24, dtype=bool))
    empty = replace(season, logs=replace(season.logs, sources=(nothing,)))
    with pytest.raises(LogError, match="no measured row"):
        replay_one(empty, {"p": only_gray_mold()})


def test_readings_that_are_gone_leave_unknowns_not_quiet() -> None:
    season = humid_block_season(np.random.default_rng(6), "b", 2024, 5, days=30)
    rows = season.logs.sources[0]
    gone = {k: v.copy() for k, v in rows.values.items()}
    gone["relative_humidity"][:] = np.nan
    cause = dict(rows.cause)
    cause["relative_humidity"] = np.full(len(rows), int(Cause.NO_HUMIDITY), dtype=np.int64)
    blind = replace(rows, values=gone, cause=cause)
    said = replay_one(
        replace(season, logs=replace(season.logs, sources=(blind,))), {"p": only_gray_mold()}
    ).profile("p")
    left = "; ".join(u.rules for u in said.unknowns)
    assert "gray_mold.humid_night_under_cover" in left
    assert not any(f.rule == "gray_mold.humid_night_under_cover" for f in said.findings)


def test_seasons_are_calendar_years_or_stated_months(farm: Gathered) -> None:
    whole = block_seasons(farm.farm, farm.blocks, farm.events)
    assert [(s.block, s.season) for s in whole] == [
        (b, "2026") for b in ("creek_beds", "hill_beds", "north_beds", "south_beds")
    ]
    assert {(s.first, s.last) for s in whole} == {(date(2026, 1, 1), date(2026, 12, 31))}
    may = block_seasons(farm.farm, farm.blocks, farm.events, months=(5, 5))
    zone = farm.farm.zone
    for s in may:
        times = [datetime.fromtimestamp(int(t), zone) for r in s.logs.own for t in r.time[[0, -1]]]
        assert min(times).date() >= date(2026, 4, 29)  # two days before, for the first night
        assert max(times) <= datetime(2026, 6, 1, tzinfo=zone)
        assert all(e.block in ("", s.block) for e in s.events)
    assert block_seasons(farm.farm, farm.blocks, farm.events, years=[2031]) == []
    with pytest.raises(ValueError, match="expected a first and a last one"):
        block_seasons(farm.farm, farm.blocks, farm.events, months=(0, 5))


def test_a_winter_season_runs_over_new_year_s_day() -> None:
    season = humid_block_season(np.random.default_rng(7), "b", 2024, 7, days=12)
    found = block_seasons(season.farm, [season.logs], season.events, months=(11, 5))
    assert [(s.season, s.first, s.last) for s in found] == [
        ("2023-24", date(2023, 11, 1), date(2024, 5, 31))
    ]


def test_states_noted_before_a_season_go_with_it_and_old_sightings_do_not() -> None:
    season = humid_block_season(np.random.default_rng(7), "b", 2024, 7, days=40)
    found = block_seasons(season.farm, [season.logs], season.events, months=(5, 12))[0]
    april = [e for e in found.events if e.time < seconds("2024-05-01T00:00+00:00")]
    assert {"row_cover", "stages"} <= {e.event for e in april}
    assert [s.time for s in replay_one(found, {"p": only_gray_mold()}).seen] == [
        e.time
        for e in season.events
        if e.event == "sighting" and e.time >= seconds("2024-05-01T00:00+00:00")
    ]


def test_rules_answered_once_for_many_profiles_say_what_each_profile_says_alone(
    seasons: list[BlockSeason],
) -> None:
    book = shipped_rulebook()
    names = [(p.name, t) for p in book.packs for t in p.thresholds]
    random = np.random.default_rng(7)
    books = {"shipped": book}
    for i in range(6):
        pack, name = names[int(random.integers(len(names)))]
        own = book.pack(pack)
        t = own.thresholds[name]
        value = round(float(random.uniform(t.least, t.most)), 3)
        changed = replace(own, thresholds=own.thresholds | {name: replace(t, value=value)})
        packs = tuple(changed if p.name == pack else p for p in book.packs)
        books[f"{i} {pack}.{name}"] = replace(book, packs=packs)
    for season in seasons[:2]:
        together = replay_one(season, books)
        for name, alone in books.items():
            assert replay_one(season, {name: alone}).profile(name) == together.profile(name)


def test_only_rules_that_ask_otherwise_go_to_the_engine_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    season = humid_block_season(np.random.default_rng(2), "b", 2024, 7, days=20)
    base = only_gray_mold()
    pack = base.packs[0]
    strict = pack.thresholds | {"humid_long": replace(pack.thresholds["humid_long"], value=9)}
    sent: list[int] = []

    def count(facts: object, packs: tuple[Pack, ...], engine: object) -> list[Match]:
        sent.append(sum(len(p.rules) for p in packs))
        return evaluate(facts, packs, engine)  # type: ignore[arg-type]

    monkeypatch.setattr(answers, "evaluate", count)
    replay_one(season, {"a": base, "b": replace(base, packs=(replace(pack, thresholds=strict),))})
    asking = [r for r in pack.rules if "humid_long" in str(r.text.when) + str(r.text.unless)]
    assert sent == [len(pack.rules), len(asking)]
    assert 0 < len(asking) < len(pack.rules)


def test_open_stretches_of_a_hazard_are_all_its_rules_and_no_others(
    seasons: list[BlockSeason],
) -> None:
    book = shipped_rulebook()
    season = seasons[0]
    said = replay_one(season, {"shipped": book}).profile("shipped")
    assert {o.hazard for o in said.open} > {"gray_mold"}
    for hazard in {o.hazard for o in said.open}:
        packs = tuple(
            replace(p, rules=own) for p in book.packs
            if (own := tuple(r for r in p.rules if r.text.finding.hazard == hazard))
        )  # fmt: skip
        alone = replay_one(season, {"alone": replace(book, packs=packs)}).profile("alone")
        own = [o for o in said.open if o.hazard == hazard]
        assert own == [o for o in alone.open if o.hazard == hazard]
        for a, b in itertools.pairwise(own):
            assert a.start <= a.end < b.start
        for unknown in alone.unknowns:  # told together over a day's distance, so never shorter
            inside = [o for o in own if unknown.start <= o.start and o.end <= unknown.end]
            rules = unknown.rules.split("; ")
            assert inside or not any(foretells(r) for r in book.rules if r.key in rules)
