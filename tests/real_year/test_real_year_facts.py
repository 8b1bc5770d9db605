"""Facts of the typical year against a plain count; the counting uses none of our code."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta, timezone
from typing import Any

import pandas as pd
import pytest
from astral import Observer
from astral.sun import sunrise, sunset

from riskrules.facts.table import Fact, Facts
from riskrules.review import Review
from riskrules.sources import Gathered

from .year import HOUR, pieces, within

PLACE = Observer(36.10, -79.95)
ZONE = timezone(timedelta(hours=-5))
ROUNDING = 6e-5
"""Facts are kept to four decimals."""
HUMID, SATURATED, WARM, HOT, WORK_HOT = 90, 95, 26, 30, 32
"""The shipped thresholds, written out: a change of theirs has to be made here too."""
Count = Callable[[pd.DataFrame], float]


def hours(condition: Callable[[pd.DataFrame], Any]) -> Count:
    return lambda cut: float(cut["h"][condition(cut)].sum())


NIGHT: dict[str, Count] = {
    "humid_hours": hours(lambda c: c["rh"] >= HUMID),
    "saturated_hours": hours(lambda c: c["rh"] >= SATURATED),
    "lowest_temperature": lambda c: float(c["t"].min()),
    "lowest_outside": lambda c: float(c["t"].min()),  # the log stands outside
    "mean_temperature": lambda c: float((c["t"] * c["h"]).sum() / c["h"].sum()),
    "length": lambda c: float(c["h"].sum()),
}
DAY: dict[str, Count] = {
    "warm_hours": hours(lambda c: c["t"] >= WARM),
    "hot_hours": hours(lambda c: c["t"] >= HOT),
    "work_hot_hours": hours(lambda c: c["t"] >= WORK_HOT),
    "humid_hours": hours(lambda c: c["rh"] >= HUMID),
    "degree_hours": lambda c: float(((c["t"] - HOT).clip(lower=0) * c["h"]).sum()),
    "highest_temperature": lambda c: float(c["t"].max()),
    "highest_outside": lambda c: float(c["t"].max()),
}


def seconds(moment: datetime) -> int:
    return int(moment.timestamp())


@pytest.fixture(scope="module")
def days() -> list[tuple[date, int, int]]:
    """Return each day of the year with its sunrise and sunset."""
    found = [date(2025, 1, 1) + timedelta(days=i) for i in range(365)]
    return [
        (d, seconds(sunrise(PLACE, d, tzinfo=ZONE)), seconds(sunset(PLACE, d, tzinfo=ZONE)))
        for d in found
    ]


@pytest.fixture(scope="module")
def facts(reviewed: Review) -> Facts:
    return reviewed.blocks[0].facts


@pytest.fixture(scope="module")
def cut(year: pd.DataFrame, days: list[tuple[date, int, int]], gathered: Gathered) -> pd.DataFrame:
    """Return the hours cut at sunrises, sunsets, and all that people wrote down."""
    moments = [t for e in gathered.events for t in (e.time, e.end or e.time + HOUR)]
    return pieces(year, [*(t for _, *sun in days for t in sun), *moments])


def equal(found: tuple[float, float], expected: float, what: str) -> None:
    assert found[0] == pytest.approx(expected, abs=ROUNDING), what
    assert found[1] == pytest.approx(expected, abs=ROUNDING), what


def open_share(
    found: list[Fact], counts: dict[str, Count], cut: pd.DataFrame, spans: dict[int, int]
) -> float:
    """Compare every fact with the count over its span; return the share of open quantities."""
    opened = 0
    assert {f.start[0] for f in found} == set(spans)
    for fact in found:
        start = fact.start[0]
        assert fact.end[0] == spans[start]
        part = within(cut, start, spans[start])
        assert part["h"].sum() == pytest.approx((spans[start] - start) / HOUR)
        for name, count in counts.items():
            b = fact.quantities[name]
            if b.certain:
                equal((b.least, b.most), count(part), f"{fact.id} {name}")
            else:
                opened += 1
                assert b.least - ROUNDING <= count(part) <= b.most + ROUNDING, (fact.id, name)
    return opened / (len(found) * len(counts))


def only_whole(facts: Facts, kind: str, cut: pd.DataFrame) -> list[Fact]:
    """Return the facts without those that begin before or end after the year."""
    first, last = int(cut["start"].iloc[0]), int(cut["end"].iloc[-1])
    return [f for f in facts[kind] if f.start[0] >= first and f.end[0] <= last]


def test_every_night_of_the_year_has_the_hours_and_temperatures_of_a_plain_count(
    facts: Facts, cut: pd.DataFrame, days: list[tuple[date, int, int]]
) -> None:
    spans = {days[i][2]: days[i + 1][1] for i in range(364)}
    # Where the thermometer stands still for 12 h, or humidity for 36 h, it is taken for stuck.
    assert open_share(only_whole(facts, "night", cut), NIGHT, cut, spans) < 0.02


def test_every_day_of_the_year_has_the_hours_and_degree_hours_of_a_plain_count(
    facts: Facts, cut: pd.DataFrame, days: list[tuple[date, int, int]]
) -> None:
    spans = {rise: fall for _, rise, fall in days}
    assert open_share(only_whole(facts, "day", cut), DAY, cut, spans) < 0.02


def test_the_year_has_hot_days_humid_nights_and_frosts_to_count(
    facts: Facts, year: pd.DataFrame
) -> None:
    assert facts["day"].least["hot_hours"].sum() > 100
    assert facts["night"].least["humid_hours"].sum() > 500
    assert (facts["night"].most["lowest_temperature"] < -1.1).sum() > 20
    assert year["rain"].gt(0).sum() > 200


def watered(cut: pd.DataFrame, gathered: Gathered) -> pd.Series:
    """Return in which pieces overhead water ran."""
    found = pd.Series(False, index=cut.index)
    for e in gathered.events:
        if e.event == "irrigation" and e.what.startswith("overhead") and e.end:
            found |= (cut["start"] >= e.time) & (cut["end"] <= e.end)
    return found


def test_hours_wet_are_those_of_humidity_and_of_rain_on_open_beds(
    facts: Facts, cut: pd.DataFrame, gathered: Gathered
) -> None:
    """Count a wet period's hours by the stated rules, on its own bounds of time.

    The block has no wetness sensor and no tunnel: from 95 %, with 0.2 mm of rain or under
    overhead water an hour is surely wet; under 85 % and without water it is surely dry.
    """
    surely = (cut["least_rh"] >= 95) | (cut["rain"] >= 0.2) | watered(cut, gathered)
    maybe = surely | (cut["most_rh"] >= 85) | (cut["rain"] > 0)
    last = int(cut["end"].iloc[-1])
    checked = 0
    for fact in facts["wet_period"]:
        if fact.start[0] < int(cut["start"].iloc[0]) or fact.end[1] > last:
            continue  # it reaches beyond the year
        inner = (cut["start"] >= fact.start[1]) & (cut["end"] <= fact.end[0])
        outer = (cut["start"] >= fact.start[0]) & (cut["end"] <= fact.end[1])
        b = fact.quantities["hours"]
        if b.least:
            assert b.least == pytest.approx(cut["h"][inner & surely].sum(), abs=ROUNDING)
            assert surely[inner].iloc[0] and surely[inner].iloc[-1], fact.id
        # A stretch that only may be wet keeps the joining gap away from the sure ones, so its
        # edges may fall within an hour: then its hours are a little fewer than those it touches.
        assert b.most == pytest.approx(cut["h"][outer & maybe].sum(), abs=1.0 + ROUNDING)
        checked += 1
    assert checked > 200


def test_no_surely_wet_hour_of_the_year_is_outside_the_wet_periods(
    facts: Facts, cut: pd.DataFrame, gathered: Gathered
) -> None:
    table = facts["wet_period"]
    held = table.least["exists"] == 1
    surely = cut[(cut["least_rh"] >= 95) | (cut["rain"] >= 0.2) | watered(cut, gathered)]
    spans = list(zip(table.start[1][held].tolist(), table.end[0][held].tolist(), strict=True))
    total = sum(float(within(surely, s, e)["h"].sum()) for s, e in spans)
    assert total == pytest.approx(surely["h"].sum(), abs=1e-6)
    gaps = [b[0] - a[1] for a, b in zip(spans, spans[1:], strict=False)]
    assert min(gaps) >= 4 * HOUR  # a shorter dry gap is bridged


def test_the_rain_of_all_spells_is_the_rain_of_the_year(facts: Facts, cut: pd.DataFrame) -> None:
    table = facts["rain_spell"]
    held = table.least["exists"] == 1
    assert table.least["rain"][held].sum() == pytest.approx(cut["rain_mm"].sum(), abs=0.01)
    first, last = int(cut["start"].iloc[0]), int(cut["end"].iloc[-1])
    for fact in table:
        if fact.quantities["exists"].least < 1 or fact.start[0] < first or fact.end[1] > last:
            continue
        part = within(cut, fact.start[0], fact.end[1])
        equal(
            (fact.quantities["rain"].least, fact.quantities["rain"].most),
            part["rain_mm"].sum(),
            fact.id,
        )
        equal((fact.quantities["peak_rate"].least,) * 2, part["rain"].max(), fact.id)


def test_gaps_between_picks_have_the_hours_of_a_plain_count(
    facts: Facts, cut: pd.DataFrame, gathered: Gathered
) -> None:
    picks = sorted((e.time, e.end or e.time + HOUR) for e in gathered.events if e.event == "pick")
    gaps = list(facts["pick_gap"])
    assert len(gaps) == len(picks) > 40
    for gap, (_, ended), (following, _) in zip(gaps, picks, picks[1:], strict=False):
        assert (gap.start[0], gap.end[0]) == (ended, following)
        part = within(cut, ended, following)
        for name, expected in (
            ("hours", (following - ended) / HOUR),
            ("warm_hours", part["h"][part["t"] >= WARM].sum()),
            ("hot_hours", part["h"][part["t"] >= HOT].sum()),
            ("rain", part["rain_mm"].sum()),
        ):
            b = gap.quantities[name]
            equal((b.least, b.most), expected, f"{gap.id} {name}")


def test_the_facts_inside_the_findings_say_the_same_as_the_plain_count(
    reviewed: Review, cut: pd.DataFrame
) -> None:
    """Check what a reader of the JSON sees: each night, day and gap that a finding rests on."""
    counts = {"night": NIGHT, "day": DAY, "pick_gap": {
        "warm_hours": DAY["warm_hours"], "hot_hours": DAY["hot_hours"],
        "rain": lambda c: float(c["rain_mm"].sum())}}  # fmt: skip
    seen = {"night": 0, "day": 0, "pick_gap": 0}
    for finding in reviewed.findings:
        for record in finding.facts:
            if record["kind"] not in counts or record["start"][0] != record["start"][1]:
                continue
            if record["end"][0] != record["end"][1]:
                continue
            start, end = (
                int(datetime.fromisoformat(record[k][0]).timestamp()) for k in ("start", "end")
            )
            part = within(cut, start, end)
            if part["h"].sum() != pytest.approx((end - start) / HOUR):
                continue  # it reaches beyond the year
            for name, count in counts[record["kind"]].items():
                q = record["quantities"][name]
                assert q["least"] - ROUNDING <= count(part) <= q["most"] + ROUNDING
                if "open_because" not in q:
                    equal((q["least"], q["most"]), count(part), f"{record['id']} {name}")
                    seen[record["kind"]] += 1
    assert min(seen.values()) > 20, seen
