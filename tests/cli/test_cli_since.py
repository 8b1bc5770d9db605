"""``--since``: what is new, revised or withdrawn; an identity survives more and corrected logs."""

from __future__ import annotations

from pathlib import Path

import pytest

from .farm_files import DAYS, make, rows
from .running import by_rule, on_farm, reviewed, seen_json, text_of

HIGH, SEEN = "gray_mold.flower_infection_high", "gray_mold.flower_infection"
BOTH = "gray_mold.tip_burn_hours_feed_gray_mold"
HOUR_10 = DAYS * 24 + 11


def kept(folder: Path, *words: object) -> tuple[dict, Path]:
    """Review a farm and keep its JSON."""
    ran = on_farm(folder, "--json", *words)
    path = folder / "earlier.json"
    path.write_text(ran.out)
    return reviewed(folder, *words), path


def test_the_same_input_again_changes_nothing(two_beds, tmp_path):
    first, path = kept(make(tmp_path))
    again = seen_json(two_beds, "--since", path)
    assert {f["status"] for f in again["findings"]} == {"same"} and not again["withdrawn"]
    assert [(f["id"], f["hash"]) for f in again["findings"]] == [
        (f["id"], f["hash"]) for f in first["findings"]
    ]
    assert {f["status"] for f in first["findings"]} == {""}


def test_an_hour_more_of_log_keeps_identities(tmp_path):
    first, path = kept(make(tmp_path, rows(18, HOUR_10)))
    make(tmp_path, rows(18, HOUR_10 + 1))
    later = reviewed(tmp_path, "--since", path)
    old, new = by_rule(first), by_rule(later)
    assert {HIGH, SEEN} <= set(old)
    for rule in (HIGH, SEEN):
        assert new[rule]["id"] == old[rule]["id"]
        assert new[rule]["status"] in ("same", "revised")
        assert (new[rule]["status"] == "same") == (new[rule]["hash"] == old[rule]["hash"])
    assert not later["withdrawn"]


def test_what_the_new_hours_bring_is_new(tmp_path):
    first, path = kept(make(tmp_path, rows(18, HOUR_10 - 14)))  # 8 h wet so far, at 20:00
    assert not {HIGH, SEEN} & set(by_rule(first))
    make(tmp_path, rows(18, HOUR_10 + 1))
    later = by_rule(reviewed(tmp_path, "--since", path))
    assert later[HIGH]["status"] == later[SEEN]["status"] == "new"
    assert "Open flowers were wet long enough for gray mold: north [new]" in text_of(
        on_farm(tmp_path, "--since", path)
    )


def test_a_corrected_log_revises_one_finding_and_withdraws_another(tmp_path):
    first, path = kept(make(tmp_path))
    # Bulger, Ellis and Madden 1987 (read): at 15 degC and 18 h the index is 0.65, under 0.7
    make(tmp_path, rows(18, wet_air=15))
    later = reviewed(tmp_path, "--since", path)
    assert by_rule(later)[SEEN]["status"] == "revised"
    assert by_rule(later)[SEEN]["id"] == by_rule(first)[SEEN]["id"]
    assert by_rule(later)[SEEN]["hash"] != by_rule(first)[SEEN]["hash"]
    (gone,) = [w for w in later["withdrawn"] if w["rule"] == HIGH]
    assert gone["status"] == "withdrawn" and gone["id"] == by_rule(first)[HIGH]["id"]
    text = text_of(on_farm(tmp_path, "--since", path))
    assert "Withdrawn since the earlier review" in text
    assert "A high flower infection index for gray mold (2026-05-30" in text
    assert "[revised]" in text


def test_an_identity_survives_a_start_that_moves(tmp_path):
    first, path = kept(make(tmp_path))
    north = rows(18)
    at = next(i for i, row in enumerate(north) if row.startswith("2026-05-30T12:00Z"))
    north[at] = "2026-05-30T12:00Z,20.0,98,1\n"
    later = reviewed(make(tmp_path, north), "--since", path)
    old, new = by_rule(first)[SEEN], by_rule(later)[SEEN]
    assert new["start"] < old["start"] and new["id"] == old["id"] and new["status"] == "revised"


def test_a_whole_night_corrected_to_dry_withdraws_all_of_it(tmp_path):
    first, path = kept(make(tmp_path))
    later = reviewed(make(tmp_path, rows(0)), "--since", path)
    assert {w["id"] for w in later["withdrawn"]} == {f["id"] for f in first["findings"]}
    assert not later["findings"]


def test_identities_hold_over_a_chain_of_reviews(tmp_path):
    first, path = kept(make(tmp_path, rows(18, HOUR_10)))
    for hour in (1, 2):
        make(tmp_path, rows(18, HOUR_10 + hour))
        path.write_text(on_farm(tmp_path, "--json", "--since", path).out)
    later = reviewed(tmp_path, "--since", path)
    assert by_rule(later)[SEEN]["id"] == by_rule(first)[SEEN]["id"]


def test_findings_outside_the_window_are_not_called_withdrawn(two_beds, tmp_path):
    _, path = kept(make(tmp_path))
    earlier_day = seen_json(two_beds, "--since", path, "--on", "2026-05-26")
    assert not earlier_day["withdrawn"]


@pytest.mark.parametrize("block", ["south"])
def test_a_finding_of_another_block_is_no_kin(two_beds, tmp_path, block):
    _, path = kept(make(tmp_path))
    path.write_text(path.read_text().replace("north", block))
    later = seen_json(two_beds, "--since", path)
    assert {f["status"] for f in later["findings"]} == {"new"} and later["withdrawn"]
