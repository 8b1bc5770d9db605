"""Days, 'now', profiles and hours: what a review speaks of, and where it says quiet."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any

import pytest

from .farm_files import DAYS, EVENT_HEAD, HEAD, NOW, events, make, outside, rows
from .running import by_rule, reviewed, run, seen, seen_json, state, text_of

HIGH, SEEN = "gray_mold.flower_infection_high", "gray_mold.flower_infection"


def test_now_is_the_last_measured_row_and_not_a_forecast(two_beds):
    assert seen_json(two_beds)["now"] == NOW


def test_a_day_is_from_the_sunset_before_to_its_end(two_beds):
    found = seen_json(two_beds, "--on", "2026-05-26")
    # 40 degN 0 degE on 25 May: sunset about 19:17 UTC (NOAA's sunrise equation, computed)
    start = datetime.fromisoformat(found["from"])
    assert (start.day, start.hour) == (25, 19) and 10 <= start.minute <= 25
    assert found["to"] == "2026-05-27T00:00:00+00:00" and found["now"] == NOW


def test_a_span_of_days_holds_what_happened_in_it_and_one_before_it_does_not(two_beds):
    assert SEEN in by_rule(seen_json(two_beds, "--from", "2026-05-20", "--to", "2026-05-30"))
    assert SEEN not in by_rule(seen_json(two_beds, "--from", "2026-05-20", "--to", "2026-05-29"))
    assert SEEN in by_rule(seen_json(two_beds, "--on", "2026-05-31"))


def test_what_came_after_now_does_not_count(two_beds, tmp_path):
    now = "2026-05-31T09:00"
    made = make(tmp_path, rows(18, DAYS * 24 + 10), [e for e in events() if e < now])
    (made / "south.csv").write_text(HEAD + "".join(rows(0, DAYS * 24 + 10)))
    head = "time,air_temperature [degC],relative_humidity [%],rain [mm],forecast\n"
    known = [r for r in outside() if r < now or r.startswith(now) or r.endswith(",1\n")]
    (made / "outside.csv").write_text(head + "".join(known))
    seen, cut = seen_json(two_beds, "--as-of", f"{now}Z"), reviewed(made)
    for part in ("now", "from", "to", "findings", "unknowns", "work"):
        assert seen[part] == cut[part], part
    # wet until 06:00, and what flowers caught by then is not undone by what comes
    assert SEEN in by_rule(seen)


def test_now_without_an_offset_is_on_the_farms_clock(tmp_path):
    made = make(tmp_path)
    text = (made / "farm.yaml").read_text().replace("zone: UTC", "zone: America/Chicago")
    (made / "farm.yaml").write_text(text)
    assert reviewed(made, "--as-of", "2026-05-31T04:00")["now"] == "2026-05-31T04:00:00-05:00"


def test_quiet_is_said_only_with_the_time_the_log_covers(two_beds):
    found = seen_json(two_beds, "--on", "2026-05-26")
    for block in ("north", "south"):
        assert state(found, block)["state"] == "quiet"
        assert (
            "the log covers Mon 25 May 19:17 to Wed 27 May 00:00" in state(found, block)["sentence"]
        )


def test_a_log_that_ends_before_the_window_is_not_quiet(tmp_path):
    made = make(tmp_path, rows(0, (DAYS - 6) * 24))
    found = reviewed(made, "--on", "2026-05-28")
    assert state(found)["state"] == "unknown" and state(found, "south")["state"] == "quiet"
    assert "The log covers" in state(found)["sentence"] and "only" in state(found)["sentence"]


def test_a_log_that_begins_within_the_window_is_not_quiet(tmp_path):
    found = reviewed(make(tmp_path, rows(0)[45 * 24 :]), "--on", "2026-05-26")
    assert state(found)["state"] == "unknown" and state(found, "south")["state"] == "quiet"


@pytest.mark.parametrize("spoil", ["gone", "empty", "text"])
def test_a_hole_in_the_window_is_not_quiet(tmp_path, spoil):
    north = rows(0)
    hole = slice(47 * 24 + 2, 47 * 24 + 8)  # 28 May 02:00 to 08:00
    if spoil == "gone":
        del north[hole]
    else:
        cells = {"empty": ",,", "text": "?,?,?"}[spoil]
        north[hole] = [row.split(",")[0] + f",{cells}\n" for row in north[hole]]
    found = reviewed(make(tmp_path, north), "--on", "2026-05-28")
    assert state(found)["state"] == "unknown" and state(found, "south")["state"] == "quiet"
    assert state(reviewed(tmp_path, "--on", "2026-05-26"))["state"] == "quiet"


def test_a_stuck_sensor_is_not_quiet_and_is_named(tmp_path):
    north = rows(0)
    for i in range(45 * 24, 46 * 24):
        at, _, damp, wet = north[i].split(",")
        north[i] = f"{at},14.0,{damp},{wet}"
    found = reviewed(make(tmp_path, north), "--on", "2026-05-26")
    assert state(found)["state"] == "unknown"
    causes = {c for u in found["unknowns"] if u["block"] == "north" for c in u["causes"]}
    assert "a sensor stuck at one value" in causes


def test_two_logs_of_a_block_that_together_cover_the_window_are_quiet(tmp_path):
    made = make(tmp_path, rows(0)[: 30 * 24])
    (made / "north_2.csv").write_text(HEAD + "".join(rows(0)[30 * 24 :]))
    for files in (
        "{file: north.csv}, {file: north_2.csv}",
        "{file: north_2.csv}, {file: north.csv}",
    ):
        text = (made / "farm.yaml").read_text()
        start = text.index("logs: [", text.index("north"))
        (made / "farm.yaml").write_text(
            text[:start] + f"logs: [{files}]" + text[text.index("]", start) + 1 :]
        )
        assert state(reviewed(made, "--on", "2026-05-26"))["state"] == "quiet"


PROFILE = """\
profile: mild_hills
title: Invented
changes:
- threshold: gray_mold.flower_high
  value: 0.9
  unit: "1"
  reason: invented
  who: invented
  when: 2026-01-01
"""


def test_a_profile_changes_findings_and_is_named_wherever_it_steered(two_beds, tmp_path):
    path = tmp_path / "hills.yaml"
    path.write_text(PROFILE)
    plain, hills = seen_json(two_beds), seen_json(two_beds, "--profile", path)
    assert HIGH in by_rule(plain) and HIGH not in by_rule(hills)
    version = hashlib.sha256(PROFILE.encode()).hexdigest()[:12]
    assert hills["profile"] == by_rule(hills)[SEEN]["profile"] == f"mild_hills {version}"
    assert plain["profile"] == ""
    hashes = [{p["pack"]: p["hash"] for p in found["packs"]} for found in (plain, hills)]
    assert {n for n in hashes[0] if hashes[0][n] != hashes[1][n]} == {"gray_mold"}
    assert f"Profile mild_hills {version}." in text_of(seen(two_beds, "--profile", path))
    told = text_of(seen(two_beds, "--profile", path, "--rule", HIGH, command="explain"))
    assert "flower_high = 0.9; short by 0.11" in told
    assert "from profile mild_hills (invented, 2026-01-01: invented)" in told


def test_the_profile_that_the_farm_file_names_counts_unless_another_is_given(tmp_path):
    folder = make(tmp_path / "farm")
    (folder / "hills.yaml").write_text(PROFILE)
    (folder / "plain.yaml").write_text(PROFILE.replace("mild_hills", "plain").replace("0.9", "0.8"))
    with (folder / "farm.yaml").open("a") as file:
        file.write("profile: hills.yaml\n")
    named, given = seen_json(folder), seen_json(folder, "--profile", folder / "plain.yaml")
    assert named["profile"].startswith("mild_hills ") and HIGH not in by_rule(named)
    assert given["profile"].startswith("plain ")


def test_hours_at_hand_leave_jobs_undone_and_say_so(two_beds):
    found = seen_json(two_beds, "--crew-hours", "0.5")
    work = found["work"]
    plans = {j["job"]: b["plan"] for j in work["jobs"] for b in j["blocks"]}
    assert plans["scout_flowers"] == "left undone"
    assert (
        "0.5 h filled" in work["said"]
        and "Left undone: scout flowers in north (1 h)" in work["said"]
    )
    assert work["planned_hours"] == 0 and work["crew_hours"] == 0.5
    text = text_of(seen(two_beds, "--crew-hours", "0.5"))
    assert work["said"] in text and "[left undone]" in text


def test_enough_hours_leave_nothing_undone_and_none_given_says_what_is_needed(two_beds):
    enough = seen_json(two_beds, "--crew-hours", "8")["work"]
    assert "are enough" in enough["said"] and enough["planned_hours"] == 1
    plain = seen_json(two_beds)["work"]
    assert plain["crew_hours"] is None and plain["said"] == "1 h of work today."
    assert {j["job"] for j in plain["jobs"]} == {j["job"] for j in enough["jobs"]}


def test_hours_of_the_farm_file_take_the_place_of_ours_and_are_told_apart(two_beds):
    jobs = {j["job"]: j for j in seen_json(two_beds)["work"]["jobs"]}
    assert jobs["lift_row_cover"]["hours_from"] == "your own figure"
    assert jobs["lift_row_cover"]["blocks"][0]["hours"] == 0.5
    assert jobs["scout_flowers"]["hours_from"] == "common practice, no source"


def test_only_the_blocks_whose_logs_are_named_are_seen_json(two_beds):
    ran = run("review", two_beds / "south.csv", "--farm", two_beds / "farm.yaml")
    assert ran.code == 0 and "south:" in ran.out and "north:" not in ran.out


FROST = "time,air_temperature [degC]\n" + "".join(
    f"2026-05-31T{h:02d}:00Z,-6\n" for h in range(13, 24)
) + "".join(f"2026-06-01T{h:02d}:00Z,-6\n" for h in range(24))  # fmt: skip


def cold(found: dict[str, Any]) -> list[dict[str, Any]]:
    return [f for f in found["findings"] if f["hazard"] == "cold"]


def test_a_forecast_log_goes_in_with_every_block(tmp_path):
    made = make(tmp_path)
    head = "time,air_temperature [degC],relative_humidity [%],rain [mm],forecast\n"
    (made / "outside.csv").write_text(head + "".join(r for r in outside() if r.endswith(",0\n")))
    (made / "more.csv").write_text(FROST)
    assert not cold(reviewed(made))
    found = reviewed(made, "--forecast", made / "more.csv")
    assert found["now"] == NOW
    assert {f["block"] for f in cold(found)} == {"north", "south"}
    assert {f["basis"] for f in cold(found)} <= {"forecast", "partly_forecast"}
    assert {f["certainty"] for f in cold(found)} <= {"Possible", "Likely"}


def test_a_forecast_of_frost_is_not_lost_beside_a_milder_one(two_beds, tmp_path):
    path = tmp_path / "more.csv"
    path.write_text(FROST)
    found = seen_json(two_beds, "--forecast", path)
    left = {r for u in found["unknowns"] for r in u["rules"]}
    assert cold(found) or "heat_stress.cold_night_ahead" in left


def test_events_given_by_hand_take_the_place_of_the_farms(two_beds, tmp_path):
    path = tmp_path / "e.csv"
    path.write_text(EVENT_HEAD)
    found = seen_json(two_beds, "--events", path)
    assert SEEN not in by_rule(found)  # no stage is recorded: not told, and not low
    left = {r for u in found["unknowns"] for r in u["rules"] if u["block"] == "north"}
    assert SEEN in left
