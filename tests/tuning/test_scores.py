"""Scores against a printed table, against scikit-learn, and against truths made up here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss, jaccard_score, precision_score, recall_score

from riskrules.tuning.answers import foretells
from riskrules.tuning.rows import ChanceRow, OpenRow, SeasonResult
from riskrules.tuning.scores import (
    critical_success,
    detection,
    false_alarm_ratio,
    interval,
    resampled,
    same_seasons,
    score,
    skill,
    split_by_season,
)
from riskrules.tuning.tally import Latency, Tally, matrix, published_latencies, tally

from .made_up import BOOK, DAY, HOUR, LATENCY, START, at_random, finding, from_hidden, result
from .made_up import season as made_season


def of_table(hits: int, false: int, misses: int, quiet: int) -> np.ndarray:
    """Return counts of a table of four: each finding has one sighting, each day one forecast."""
    one = Tally(
        answered=hits, unanswered=false, foreseen=hits, missed=misses, false_days=false,
        quiet_days=quiet,
    )  # fmt: skip
    return matrix([one])[0]


def test_finley_s_tornado_forecasts_of_1884() -> None:
    """Finley's 1884 tornado forecasts: 28 hits, 72 false alarms, 23 misses, 2680 quiet.

    The table and its scores (POD 0.549, FAR 0.720, CSI 0.228, Peirce 0.523) as printed in texts
    on forecast verification, e.g. Wilks, Statistical Methods in the Atmospheric Sciences, chapter
    on forecast verification (tag: memory).
    """
    counts = of_table(28, 72, 23, 2680)
    assert detection(counts) == pytest.approx(0.549, abs=5e-4)
    assert false_alarm_ratio(counts) == pytest.approx(0.720, abs=5e-4)
    assert critical_success(counts) == pytest.approx(0.228, abs=5e-4)
    assert skill(counts) == pytest.approx(0.523, abs=5e-4)


@pytest.mark.parametrize("seed", range(20))
def test_scores_are_scikit_learn_s(seed: int) -> None:
    rng = np.random.default_rng(seed)
    truth = rng.random(60) < rng.uniform(0.1, 0.9)
    said = np.where(rng.random(60) < 0.7, truth, rng.random(60) < 0.5)
    counts = of_table(
        int((truth & said).sum()), int((~truth & said).sum()),
        int((truth & ~said).sum()), int((~truth & ~said).sum()),
    )  # fmt: skip
    assert detection(counts) == pytest.approx(recall_score(truth, said))
    assert 1 - false_alarm_ratio(counts) == pytest.approx(precision_score(truth, said))
    assert critical_success(counts) == pytest.approx(jaccard_score(truth, said))
    false = 1 - recall_score(~truth, ~said)
    assert skill(counts) == pytest.approx(recall_score(truth, said) - false)


def test_scores_without_cases_are_none_never_zero() -> None:
    counts = of_table(0, 0, 0, 0)
    for statistic in (detection, false_alarm_ratio, critical_success, skill):
        assert np.isnan(statistic(counts))
    nothing_seen = of_table(0, 5, 0, 9)
    assert np.isnan(detection(nothing_seen))
    assert false_alarm_ratio(nothing_seen) == 1
    assert critical_success(nothing_seen) == 0


def one(findings: list, seen: list, **more: object) -> SeasonResult:
    return result("b", "s", {"p": findings}, seen, **more)  # type: ignore[arg-type]


def counted(findings: list, seen: list) -> dict[str, int]:
    t = tally(one(findings, seen), "p", LATENCY)
    return {
        k: v
        for k in ("answered", "unanswered", "unlooked", "foreseen", "missed", "open", "false_days",
                  "quiet_days", "open_days")
        if (v := getattr(t, k))
    }  # fmt: skip


def test_a_finding_is_answered_from_the_first_to_the_last_day_of_the_latency() -> None:
    """Symptoms of gray mold show 14 to 28 days after infection (UF/IFAS PP152, read)."""
    began = START + 50 * DAY
    said = [finding(began, hours=8)]
    first, last = began + 14 * DAY, began + 8 * HOUR + 28 * DAY
    for time in (first, last):
        assert counted(said, [(time, 1)]) == {"answered": 1, "foreseen": 1}
    for time in (first - 1, last + 1):
        assert counted(said, [(time, 1)]) == {"unlooked": 1, "missed": 1}


def test_what_nobody_looked_for_is_no_false_alarm() -> None:
    began = START + 50 * DAY
    assert counted([finding(began)], []) == {"unlooked": 1}
    due = began + 20 * DAY
    assert counted([finding(began)], [(due, 0)]) == {"unanswered": 1, "false_days": 1}
    assert counted([finding(began)], [(began + 2 * DAY, 0)]) == {"unlooked": 1, "quiet_days": 1}


def test_few_examined_and_none_seen_is_not_none_there() -> None:
    base = one([finding(START + 50 * DAY)], [(START + 70 * DAY, 0)])
    assert tally(base, "p", LATENCY).unanswered == 1
    assert tally(base, "p", LATENCY, enough=61).unlooked == 1


def test_many_findings_of_one_sighting_are_one_sighting_foreseen() -> None:
    said = [finding(START + d * DAY) for d in (50, 51, 52)]
    assert counted(said, [(START + 70 * DAY, 3)]) == {"answered": 3, "foreseen": 1}


def test_a_sighting_of_a_time_that_is_unknown_is_open_not_missed() -> None:
    time = START + 70 * DAY
    base = one([], [(time, 2), (START + 150 * DAY, 2)])
    span = START + 50 * DAY, START + 51 * DAY
    said = tuple(replace(p, open=(OpenRow("gray_mold", *span),)) for p in base.profiles)
    known = replace(base, profiles=said)
    t = tally(known, "p", LATENCY)
    assert (t.open, t.missed) == (1, 1)
    got = score([known], "p", "gray_mold", LATENCY).estimate("detection")
    assert (got.value, got.least, got.most) == (0.0, 0.0, 0.5)


def test_a_sighting_before_the_log_could_foretell_it_is_open() -> None:
    short = one([], [(START + 5 * DAY, 2)])
    late = replace(short, logged_from=START)
    assert tally(late, "p", LATENCY).open == 1


def test_the_index_is_scored_as_scikit_learn_does() -> None:
    rng = np.random.default_rng(3)
    index, seen = rng.random(40), rng.random(40) < 0.5
    chances, walks = [], []
    for i, (p, yes) in enumerate(zip(index, seen, strict=True)):
        began = START + i * 40 * DAY  # so far apart that each has its own walk
        chances.append(ChanceRow("gray_mold", began, began + HOUR, float(p), float(p)))
        walks.append((began + 20 * DAY, int(yes)))
    held = one([], walks, chances=chances, days=1700)
    got = score([held], "p", "gray_mold", LATENCY).estimate("brier")
    assert got.value == pytest.approx(brier_score_loss(seen, index), abs=1e-6)
    assert got.least == got.most == got.value


def test_an_open_index_has_a_brier_score_in_bounds_only() -> None:
    chance = ChanceRow("gray_mold", START, START + HOUR, 0.2, 0.7)
    held = one([], [(START + 20 * DAY, 1)], chances=[chance])
    got = score([held], "p", "gray_mold", LATENCY).estimate("brier")
    assert got.value is None
    assert (got.least, got.most) == (pytest.approx(0.09), pytest.approx(0.64))


def test_a_hazard_without_a_published_latency_is_not_scored_and_says_so() -> None:
    known = published_latencies(BOOK)
    assert sorted(known) == ["anthracnose", "gray_mold"]
    assert (known["gray_mold"].least, known["gray_mold"].most) == (14, 28)  # UF/IFAS PP152 (read)
    got = score([one([], [])], "p", "leather_rot", known.get("leather_rot"))
    assert got.estimates == ()
    assert "not scored" in got.said[0] and "leather_rot" in got.said[0]


def test_rules_that_rest_on_sightings_are_not_answered_by_them() -> None:
    circular = {r.name for r in BOOK.rules if not foretells(r)}
    assert {"sighting_confirms", "mold_without_warning", "anthracnose_before_symptoms"} <= circular
    assert not {"flower_infection", "humid_night_under_cover", "anthracnose_infection"} & circular


def archive(shows: object, n: int = 24, seed: int = 0, **thresholds: float) -> list[SeasonResult]:
    rng = np.random.default_rng(seed)
    return [made_season(rng, f"b{i % 6}", str(2000 + i // 6), thresholds or {"p": 7}, shows)  # type: ignore[arg-type]
            for i in range(n)]  # fmt: skip


def test_every_score_has_its_interval_and_it_holds_the_value() -> None:
    got = score(archive(at_random), "p", "gray_mold", LATENCY, draws=500)
    for name in ("detection", "false alarms", "success", "skill"):
        e = got.estimate(name)
        assert e.low < e.value < e.high, name
        assert e.least <= e.value <= e.most, name
    again = score(archive(at_random), "p", "gray_mold", LATENCY, draws=500)
    assert got == again
    other = score(archive(at_random), "p", "gray_mold", LATENCY, draws=500, seed=1)
    assert other.estimate("skill").low != got.estimate("skill").low
    assert other.estimate("skill").value == got.estimate("skill").value


def test_sightings_that_follow_the_rule_give_full_scores_with_an_interval_still() -> None:
    got = score(archive(from_hidden(7)), "p", "gray_mold", LATENCY)
    pod = got.estimate("detection")
    assert pod.value == 1
    assert pod.low < 1  # 24 block-seasons of 24 do not prove that none is ever missed
    assert got.estimate("success").value > 0.95


def test_few_sightings_are_said_to_be_too_few() -> None:
    few = score(archive(from_hidden(11.8), n=8), "p", "gray_mold", LATENCY)
    assert any("too few sightings to tell" in note for note in few.said)
    assert "too few sightings to tell" in few.estimate("detection").said
    of_two = score(archive(at_random, n=2), "p", "gray_mold", LATENCY)
    assert "2 block-seasons" in of_two.estimate("detection").said


def test_chosen_and_scored_on_the_same_seasons_is_warned_of() -> None:
    done = archive(at_random)
    assert same_seasons(["2000"], ["2001"]) == ""
    got = score(done, "p", "gray_mold", LATENCY, tuned_on=["2001", "1990"], draws=50)
    assert any("same seasons (2001)" in note for note in got.said)
    tune, held = split_by_season(done, seed=4)
    assert {r.season for r in tune}.isdisjoint({r.season for r in held})
    assert len(tune) + len(held) == len(done) and tune and held
    assert split_by_season(done, seed=4) == (tune, held)
    with pytest.raises(ValueError, match="expected some in each"):
        split_by_season([r for r in done if r.season == "2000"])


def test_draws_keep_block_seasons_whole() -> None:
    counts = np.array([[1.0, 10.0], [2.0, 20.0], [4.0, 40.0]])
    drawn = resampled(counts, draws=200, seed=0)
    assert np.allclose(drawn[:, 1], 10 * drawn[:, 0])
    assert drawn[:, 0].min() >= 3 and drawn[:, 0].max() <= 12
    assert abs(drawn[:, 0].mean() - 7) < 0.5


@pytest.mark.long
@pytest.mark.parametrize(("units", "least"), [(8, 0.86), (20, 0.90), (60, 0.92)])
def test_intervals_hold_the_truth_about_as_often_as_they_say(units: int, least: float) -> None:
    """Block-seasons differ: each has its own chance of detection, Beta(4, 2), mean 2/3.

    1,000 archives; a nominal 95 % interval of so few units is known to be somewhat short, and
    ``least`` is what we ask of it. (assumption)
    """
    rng = np.random.default_rng(7)
    inside = 0
    for trial in range(1000):
        seen = 1 + rng.poisson(3, units)
        foreseen = rng.binomial(seen, rng.beta(4, 2, units))
        counts = matrix([Tally(foreseen=int(f), missed=int(s - f))
                         for f, s in zip(foreseen, seen, strict=True)])  # fmt: skip
        low, high, _ = interval(counts, detection, draws=600, seed=trial)
        inside += low <= 2 / 3 <= high
    assert least <= inside / 1000 <= 0.99


def test_latency_comes_from_the_packs_as_they_ship_with_source() -> None:
    got: Latency = published_latencies(BOOK)["anthracnose"]
    assert (got.least, got.most) == (2, 17)  # King et al. 1997, Phytopathology 87:77 (read)
    assert "King et al. 1997" in got.source and got.tag == "read"
