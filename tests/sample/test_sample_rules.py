"""Every situation the packs speak of is in the samples, and no rule cries all season."""

from __future__ import annotations

import re
from collections import defaultdict
from datetime import date, datetime, timedelta

from riskrules.findings.model import SEVERITIES
from riskrules.review import Review, shipped_rulebook

MOST_OF_BLOCK_DAYS = 0.6
"""Above this share of block-days a rule that is more than Minor only cries wolf. (assumption)"""


def test_every_shipped_rule_fires_at_least_once(reviews: dict[str, Review]) -> None:
    fired = {f.rule for r in reviews.values() for f in r.findings}
    assert sorted({rule.key for rule in shipped_rulebook().rules} - fired) == []


def test_the_invented_farm_alone_shows_every_rule(reviews: dict[str, Review]) -> None:
    fired = {f.rule for n, r in reviews.items() if n != "typical year" for f in r.findings}
    assert sorted({rule.key for rule in shipped_rulebook().rules} - fired) == []


def test_rules_that_need_a_forecast_fire_only_in_the_reviews_that_have_one(
    reviews: dict[str, Review],
) -> None:
    for name, forecast in (("hot morning", True), ("rain ahead", True), ("typical year", False)):
        ahead = [f for f in reviews[name].findings if f.basis == "forecast"]
        assert bool(ahead) is forecast, name


def block_days(review: Review, first: date, last: date) -> dict[str, set[tuple[str, date]]]:
    """Return the (block, day) pairs that the findings of each rule touch."""
    found: dict[str, set[tuple[str, date]]] = defaultdict(set)
    for f in review.findings:
        start, end = datetime.fromisoformat(f.start), datetime.fromisoformat(f.end)
        until = max(end, start + timedelta(seconds=1)) - timedelta(seconds=1)
        day = max(start.date(), first)
        while day <= min(until.date(), last):
            found[f.rule].add((f.block, day))
            day += timedelta(days=1)
    return found


def share_of_days(review: Review, first: date, last: date) -> dict[str, float]:
    """Return the share of block-days on which each rule has a finding."""
    all_of = ((last - first).days + 1) * len(review.blocks)
    return {rule: len(d) / all_of for rule, d in block_days(review, first, last).items()}


def test_no_rule_above_minor_fires_on_most_block_days_of_the_season(
    reviews: dict[str, Review],
) -> None:
    season = reviews["season"]
    minor = SEVERITIES.index("Minor")
    severe = {f.rule for f in season.findings if SEVERITIES.index(f.severity) < minor}
    shares = share_of_days(season, date(2026, 4, 1), date(2026, 10, 20))
    loud = {r: s for r, s in shares.items() if r in severe and s > MOST_OF_BLOCK_DAYS}
    assert loud == {}
    assert len(severe) > 40  # else nothing was checked


def test_no_rule_above_minor_fires_on_most_days_of_any_one_block(
    reviews: dict[str, Review],
) -> None:
    first, last = date(2026, 4, 1), date(2026, 10, 20)
    days = (last - first).days + 1
    severity_of = {r.key: r.text.finding.severity for r in shipped_rulebook().rules}
    loud = []
    for rule, pairs in block_days(reviews["season"], first, last).items():
        if SEVERITIES.index(severity_of[rule]) >= SEVERITIES.index("Minor"):
            continue
        for block in {b for b, _ in pairs}:
            share = sum(b == block for b, _ in pairs) / days
            if share > MOST_OF_BLOCK_DAYS:
                loud.append((rule, block, round(share, 2)))
    assert loud == []


def test_the_last_dawn_has_findings_in_every_block_that_still_bears(
    reviews: dict[str, Review],
) -> None:
    blocks = {f.block for f in reviews["season"].findings if f.start[:10] >= "2026-10-19"}
    assert blocks == {"north_beds", "south_beds", "hill_beds"}


def test_no_sentence_holds_an_unfilled_name_or_a_number_without_sense(
    reviews: dict[str, Review],
) -> None:
    odd = re.compile(r"[{}]|\bnan\b|\binf\b|\bNone\b|99999|-\d+(\.\d+)? (h|in|mm|days)\b|  ")
    strange = {f.sentence for r in reviews.values() for f in r.findings if odd.search(f.sentence)}
    assert strange == set()


def test_every_sentence_is_one_a_grower_can_read_aloud(reviews: dict[str, Review]) -> None:
    for r in reviews.values():
        for f in r.findings:
            assert re.match(r"[A-Z]|-?\d", f.sentence), f.rule
            assert f.sentence.endswith("."), f.rule
            assert len(f.sentence) < 420, f.rule


SIDES_AND_COVERS = {
    "open_sides", "open_sides_to_dry", "shut_sides", "lift_row_cover", "put_cover_on",
    "uncover_for_bees",
}  # fmt: skip


def test_an_open_block_without_covers_is_given_no_job_with_sides_or_covers(
    reviews: dict[str, Review],
) -> None:
    wrong = {
        (name, item.job.name)
        for name, r in reviews.items()
        for item in r.work.items
        for b in item.blocks
        if b.block == "hill_beds" and item.job.name in SIDES_AND_COVERS
    }
    assert wrong == set()


def test_the_morning_after_a_stage_record_nobody_is_told_that_nothing_was_picked(
    reviews: dict[str, Review],
) -> None:
    """The creek beds were picked on Saturday, their stage recorded on Monday, it is Tuesday."""
    told = [
        f.sentence for f in reviews["hot morning"].findings
        if f.rule == "postharvest_mold.ripe_and_never_picked" and f.block == "creek_beds"
    ]  # fmt: skip
    assert told == []


def test_no_sentence_says_that_plants_may_be_wet_for_more_than_twenty_days(
    reviews: dict[str, Review],
) -> None:
    wet = re.compile(r"wet for (?:[\d.]+ to )?([\d.]+) h")
    said = [(f.rule, m[1]) for r in reviews.values() for f in r.findings
            for m in wet.finditer(f.sentence)]  # fmt: skip
    assert [x for x in said if float(x[1]) > 480] == []
