"""Missing is never safe: taking readings away may only turn what is sure into unknown."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.table import DECIMALS, Fact, Facts

from .hand import BOOK
from .random_logs import Season, completed, season, seeds, some, told, trusted, without

ROUNDING = 2 * 10.0**-DECIMALS
SPELLS = ("wet_period", "rain_spell", "cover_spell", "shut_spell", "heat_spell", "warm_spell")
ONE_BY_ONE = ("night", "day", "pick", "pick_gap", "irrigation")


def boxed(inner: Fact, outer: Fact) -> list[str]:
    """Return what of one fact lies outside the bounds of another."""
    found = []
    for name, b in outer.quantities.items():
        own = inner.quantities[name]
        if name == "journal_current":
            continue
        if own.least < b.least - ROUNDING or own.most > b.most + ROUNDING:
            found.append(f"{name} {own.least}..{own.most} not in {b.least}..{b.most}")
    for name in ("start", "end"):
        (a, z), (low, high) = getattr(inner, name), getattr(outer, name)
        if a < low or z > high:
            found.append(f"{name} {a}..{z} not in {low}..{high}")
    return found


def surely(facts: Facts, kind: str) -> list[Fact]:
    return [f for f in facts[kind] if f.quantities["exists"].least == 1]


def check_completion(gappy: Facts, whole: Facts) -> None:
    for kind in ONE_BY_ONE:
        assert gappy[kind].ids == whole[kind].ids
        for known, fact in zip(gappy[kind], whole[kind], strict=True):
            assert not boxed(fact, known), (fact.id, boxed(fact, known))
    for kind in SPELLS:
        for fact in surely(whole, kind):
            near = [g for g in gappy[kind] if g.start[0] < fact.end[1] and fact.start[0] < g.end[1]]
            tried = {g.id: boxed(fact, g) for g in near}
            assert not all(tried.values()), (fact.id, tried)
        for known in surely(gappy, kind):
            inside = {f.id: boxed(f, known) for f in surely(whole, kind)
                      if f.start[0] < known.end[1] and known.start[0] < f.end[1]}  # fmt: skip
            assert not all(inside.values()), (known.id, inside)


@some
@given(seed=seeds, holes=seeds, fill=seeds)
def test_whatever_the_missing_readings_were_every_bound_contains_the_truth(
    seed: int, holes: int, fill: int
) -> None:
    s = season(seed, doubt=False)
    gaps = without(s.rows, holes)
    truth = completed(gaps, s.rows, fill)
    check_completion(s.facts(trusted(gaps)), s.facts(trusted(truth)))


ABOUT_GAPS = {r.key for r in BOOK.rules if "log_gap" in r.given.values()}
"""Rules that speak of missing readings themselves: they fire because of them."""
SAYS_AHEAD = {
    r.key for r in BOOK.rules
    if {"wet_period", "rain_spell"} & set(r.given.values())
    and any(".basis" in text for text in r.text.when)
}  # fmt: skip
"""Rules that ask whether a period lies ahead: a word of a fact is certain, see below."""


def check_removal(s: Season, holes: int, leave: set[str] = ABOUT_GAPS) -> None:
    full, less = told(s.facts()), told(s.facts(without(s.rows, holes)))
    full, less = ([t for t in each if t.rule not in leave] for each in (full, less))
    for fired in (f for f in less if f.sure):
        assert any(f.sure and f.touches(fired) for f in full), f"only without readings: {fired}"
    for fired in (f for f in full if f.sure):
        assert any(f.touches(fired) for f in less), f"quiet without readings: {fired}"


@some
@given(seed=seeds, holes=seeds, doubt=st.booleans())
def test_taking_readings_away_never_turns_a_finding_into_quiet_or_quiet_into_a_finding(
    seed: int, holes: int, doubt: bool
) -> None:
    check_removal(season(seed, doubt), holes)


@some
@given(seed=seeds, holes=seeds)
def test_taking_readings_away_from_log_and_forecast_never_swaps_fired_and_quiet(
    seed: int, holes: int
) -> None:
    check_removal(season(seed, doubt=True, forecast=True), holes, ABOUT_GAPS | SAYS_AHEAD)
