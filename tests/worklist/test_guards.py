"""No job that opens, lifts, vents or wets goes ahead in air too cold for what is on the plants.

Critical temperatures: open flower -1.1 °C, green fruit -2.2 °C (Perry and Poling 1985, printed by
the Ontario ministry [read]); the margin on top is 1 K (ours [assumption]). Weather is invented.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from facts.hand import BOOK, HOUR, TUNNEL, at, event, facts, log
from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.table import Facts
from riskrules.logs.events import Event
from riskrules.review import shipped_jobs
from riskrules.show import Style
from riskrules.worklist.guards import GuardAnswer, guard
from riskrules.worklist.jobs import Job
from riskrules.worklist.rank import BlockDay, window

NOW = at("2026-04-20 06:00")
STYLE = Style(ZoneInfo("UTC"))
JOBS = shipped_jobs().jobs
COLD = [job for job in JOBS.values() if "cold" in job.guards]
MARGIN = BOOK.value("lift_margin")
AHEAD = int(BOOK.value("cold_ahead"))
BLOOM = event("2026-04-19 12:00", "stages", stages=(60, 65))
LIFT = JOBS["lift_row_cover"]


def weather(
    outside: float | None,
    ahead: list[float] | None,
    events: list[Event] | None = None,
    inside: float = 8.0,
    stale_h: int = 0,
) -> Facts:
    """Return the facts of a block with air outside as given, now and in the hours after."""
    past = [None if outside is None else outside + 0.01 * i for i in range(12)]
    own = log("2026-04-19 19:00", t=[inside + 0.1 * (i % 5) for i in range(12)])
    sources = [own]
    if outside is not None:
        column = [x for x in reversed(past)][: 12 - stale_h]
        sources.append(log("2026-04-19 19:00", out=column))
    if ahead is not None:
        sources.append(log("2026-04-20 07:00", forecast=len(ahead), out=ahead))
    return facts(sources, [BLOOM] if events is None else events, TUNNEL, NOW)


def asked(found: Facts, job: Job = LIFT, style: Style = STYLE) -> GuardAnswer:
    return guard(job, found, style, MARGIN, NOW)


def words(answer: GuardAnswer) -> str:
    return " ".join(answer.words)


# Cold


def test_the_cold_check_passes_when_it_is_warm_outside_and_stays_so() -> None:
    answer = asked(weather(6, [7.0] * 14))
    assert answer.ready == "ready"
    assert "Cold check passed up to Mon 20 Apr 18:00: 6 °C outside now" in words(answer)
    assert "lowest until then 7 °C" in words(answer)


def test_it_waits_until_the_hour_from_which_the_forecast_stays_warm() -> None:
    answer = asked(weather(-3, [-2, -1, -0.2, 3, 0, 4, 5, 6, 7, 7, 7, 7, 7, 7]))
    assert (answer.ready, answer.until) == ("not before", NOW + 3 * HOUR)
    assert "thermometer outside the cover, at plant height, reads -0.1 °C or more" in words(answer)
    assert "by the forecast about Mon 20 Apr 09:00" in words(answer)


def test_a_later_frost_within_the_hours_ahead_counts_too() -> None:
    answer = asked(weather(5, [6, 6, 6, 6, -0.2, 6, 6, 6, 6, 6, 6, 6, 6]))
    assert (answer.ready, answer.until) == ("not before", NOW + 5 * HOUR)


def test_it_waits_without_a_time_when_the_cold_lasts() -> None:
    answer = asked(weather(-3, [-3.0] * 14))
    assert (answer.ready, answer.until) == ("wait", 0)
    assert "too cold ahead by the forecast" in words(answer)
    assert "thermometer" in words(answer)


def test_a_forecast_warmer_than_what_was_just_read_is_not_believed() -> None:
    answer = asked(weather(-4, [5.0] * 14))
    assert (answer.ready, answer.until) == ("wait", 0)
    assert "colder than the forecast says" in words(answer)
    assert "thermometer" in words(answer)


@pytest.mark.parametrize("ahead", [None, [9.0] * 14], ids=["no forecast", "a warm forecast"])
def test_without_an_outside_reading_there_is_only_the_number_a_thermometer_must_read(
    ahead: list[float] | None,
) -> None:
    """However warm it is under the cover."""
    answer = asked(weather(None, ahead, inside=25))
    assert (answer.ready, answer.until) == ("wait", 0)
    (said, _) = answer.words
    assert said.replace(" since Sun 19 Apr 18:00", "") == (
        "No fresh outside reading: wait until a thermometer outside the cover, at plant height, "
        "reads -0.1 °C or more (open flower is harmed at -1.1 °C of tissue)."
    )


def test_a_reading_of_hours_ago_does_not_say_what_it_is_now() -> None:
    assert asked(weather(9, [9.0] * 14, stale_h=1)).ready == "ready"
    answer = asked(weather(9, [9.0] * 14, stale_h=4))
    assert answer.ready == "wait"
    assert "No fresh outside reading" in words(answer)


def test_without_a_forecast_a_warm_reading_is_not_enough() -> None:
    answer = asked(weather(9, None))
    assert answer.ready == "wait"
    assert "no forecast for the hours ahead" in words(answer)
    short = asked(weather(9, [9.0] * (AHEAD - 2)))
    assert short.ready == "wait"


@pytest.mark.parametrize(
    ("stages", "part", "needed"),
    [
        ((), "open flower", -0.1),  # nothing recorded: open blossom is assumed [assumption]
        ((65,), "open flower", -0.1),  # -1.1 °C, Ontario [read]
        ((67,), "open flower", -0.1),  # petal fall counts as open blossom [assumption]
        ((59,), "popcorn", -1.2),  # -2.2 °C, Ontario, and 28 °F, North Carolina [read]
        ((73,), "green fruit", -1.2),  # -2.2 °C, Ontario [read]
        ((85,), "green fruit", -1.2),  # ripening counts as green fruit [assumption]
        ((73, 85), "green fruit", -1.2),
        ((65, 85), "open flower", -0.1),  # the most tender part present counts
    ],
)
def test_the_part_at_risk_follows_the_stages_on_record(
    stages: tuple[int, ...], part: str, needed: float
) -> None:
    journal = [event("2026-04-19 12:00", "stages", stages=stages)] if stages else []
    assert asked(weather(needed + 0.2, [needed + 0.2] * 14, journal)).ready == "ready"
    answer = asked(weather(needed - 0.2, [needed - 0.2] * 14, journal))
    assert answer.ready == "wait"
    assert f"reads {needed:g} °C or more ({part} is harmed" in words(answer)


def test_an_old_record_of_stages_counts_as_none() -> None:
    old = [event("2026-02-01 12:00", "stages", stages=(73,))]
    assert asked(weather(-0.5, [-0.5] * 14, old)).ready == "wait"
    fresh = [event("2026-04-18 12:00", "stages", stages=(73,))]
    assert asked(weather(-0.5, [-0.5] * 14, fresh)).ready == "ready"


def test_the_number_is_said_in_the_unit_the_grower_chose() -> None:
    answer = asked(weather(None, None), style=Style(ZoneInfo("UTC"), "degF"))
    assert "reads 32 °F or more (open flower is harmed at 30 °F" in words(answer)


temperatures = st.integers(-60, 80).map(lambda tenth: tenth / 10)


@given(
    outside=st.none() | temperatures,
    ahead=st.none() | st.lists(temperatures, min_size=AHEAD, max_size=AHEAD + 2),
    stages=st.sampled_from([(), (57,), (59,), (65,), (73,), (85,), (65, 85)]),
    job=st.sampled_from(COLD),
)
def test_no_guarded_job_is_ready_while_it_is_or_will_be_too_cold(
    outside: float | None, ahead: list[float] | None, stages: tuple[int, ...], job: Job
) -> None:
    journal = [event("2026-04-19 12:00", "stages", stages=stages)] if stages else []
    found = weather(outside, ahead, journal)
    watch = found["cold_watch"].fact(0)
    critical = watch.quantities["critical_temperature"].most
    answer = asked(found, job)
    if answer.ready == "ready":
        assert outside is not None and ahead is not None
        assert min(outside, *ahead[:AHEAD]) >= critical + MARGIN - 1e-9
    else:
        assert "thermometer" in words(answer)
    if answer.ready == "not before":
        assert ahead is not None
        hours = (answer.until - NOW) // HOUR
        assert hours > 0
        assert min(ahead[hours:AHEAD]) >= critical + MARGIN - 1e-9
        assert ahead[hours - 1] < critical + MARGIN
    if answer.ready == "wait":
        assert answer.until == 0


def test_every_job_that_opens_lifts_or_wets_is_among_the_guarded() -> None:
    """Named one by one here, so that a new pack cannot lose one in silence."""
    assert {job.name for job in COLD} >= {
        "lift_row_cover", "uncover_for_bees", "open_sides", "open_sides_to_dry",
        "use_drip_not_overhead", "water_in_morning", "drip_after_pick", "brief_drip_at_sunset",
    }  # fmt: skip


def test_a_check_that_passed_now_does_not_speak_of_tomorrow() -> None:
    found = weather(15, [15.0] * AHEAD)
    sun = at("2026-04-20 05:15")
    day = BlockDay("b", found, 1, sun, at("2026-04-20 18:45"), sun + 24 * HOUR)
    noon = NOW + 6 * HOUR
    start, _ = window(LIFT, day, noon)
    assert start > NOW + AHEAD * HOUR
    assert asked(found).ready != "ready" or "again" in words(asked(found))


# No entry, no pick


def limited(*events: Event) -> Facts:
    return weather(9, [9.0] * 14, [BLOOM, *events])


ENTRY, PICK = JOBS["scout_flowers"], JOBS["pick_sooner"]


def test_nobody_is_sent_in_before_the_recorded_time() -> None:
    found = limited(event("2026-04-19 20:00", "no_entry", end="2026-04-20 20:00"))
    answer = asked(found, ENTRY)
    assert (answer.ready, answer.until) == ("not before", at("2026-04-20 20:00"))
    assert answer.words == ("No entry before Mon 20 Apr 20:00.",)


def test_of_several_times_the_last_counts() -> None:
    found = limited(
        event("2026-04-19 20:00", "no_entry", end="2026-04-21 08:00"),
        event("2026-04-20 05:00", "no_entry", end="2026-04-20 20:00"),
        event("2026-04-19 20:00", "no_pick", end="2026-04-22 08:00"),
    )
    assert asked(found, ENTRY).until == at("2026-04-21 08:00")
    answer = asked(found, PICK)
    assert (answer.ready, answer.until) == ("not before", at("2026-04-22 08:00"))
    assert answer.words == ("No entry before Tue 21 Apr 08:00.", "No pick before Wed 22 Apr 08:00.")


def test_no_pick_does_not_keep_people_from_looking() -> None:
    found = limited(event("2026-04-19 20:00", "no_pick", end="2026-04-22 08:00"))
    assert asked(found, ENTRY).ready == "ready"
    assert asked(found, PICK).ready == "not before"


def test_a_time_that_has_passed_is_said_to_have_passed() -> None:
    found = limited(event("2026-04-19 08:00", "no_entry", end="2026-04-20 06:00"))
    answer = asked(found, ENTRY)
    assert (answer.ready, answer.until) == ("ready", 0)
    assert answer.words == ("The recorded 'no entry' time has passed.",)


def test_where_no_time_is_recorded_it_says_to_check() -> None:
    answer = asked(limited(), PICK)
    assert answer.ready == "ready"
    for which in ("entry", "pick"):
        said = f"No 'no {which}' time is recorded: check the label and the signs before going in."
        assert said in answer.words


def test_the_strictest_of_all_guards_holds() -> None:
    found = weather(-5, [-5.0] * 14, [BLOOM, event("2026-04-19 20:00", "no_entry",
                                                     end="2026-04-20 20:00")])  # fmt: skip
    answer = asked(found)
    assert answer.ready == "wait"
    assert answer.until == at("2026-04-20 20:00")
    assert len(answer.words) == 2


@pytest.mark.parametrize("job", JOBS.values(), ids=list(JOBS))
def test_a_job_is_asked_for_each_of_its_guards_and_no_other(job: Job) -> None:
    assert len(asked(limited(), job).words) == len(job.guards)
