"""The limits file: what ships is whole and sourced, and what is wrong is named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from riskrules.errors import PackError
from riskrules.logs.limits import PLACEMENTS, Limits, check_limits, load_limits, true_ends
from riskrules.logs.variables import VARIABLES
from riskrules.packs.marked import Marked
from riskrules.shipped import rulepacks_folder

FILE = rulepacks_folder() / "limits.yaml"
TEXT = FILE.read_text(encoding="utf-8")


def problem(old: str, new: str, count: int = 1) -> str:
    """What the file says is wrong after one change."""
    assert TEXT.count(old) >= 1, old
    with pytest.raises(PackError) as caught:
        check_limits(Marked("limits.yaml", TEXT.replace(old, new, count)))
    (found,) = caught.value.problems
    line = next(i for i, s in enumerate(TEXT.split("\n"), 1) if old.split("\n")[0] in s)
    assert found.line in (line, line - 1) and found.column > 0, found
    return str(found)


def test_the_shipped_file_has_limits_for_each_variable_and_placement() -> None:
    limits = load_limits()
    assert limits is load_limits()  # read once
    for name, variable in VARIABLES.items():
        for placed in PLACEMENTS:
            limit = limits.of(name, placed)
            least, most = true_ends(name)
            assert least <= limit.fail_span[0] and limit.doubt > 0
            assert limit.fail_span[1] <= variable.most
            if name != "relative_humidity":
                assert limit.fail_span[1] <= most


def test_outside_columns_have_the_limits_of_the_outside() -> None:
    limits = load_limits()
    assert limits.of("air_temperature_outside", "in_bed") == limits.of("air_temperature", "outside")
    assert limits.of("air_temperature", "outside") != limits.of("air_temperature", "under_cover")


def test_what_may_be_filled_is_what_goes_without_jumps() -> None:
    found = load_limits().filled_per_hour("outside")
    assert found.keys() == {
        "air_temperature", "relative_humidity", "dew_point_temperature", "soil_temperature"
    }  # fmt: skip
    assert all(width > 0 for width in found.values())


def test_another_file_is_read_in_place_of_the_shipped_one(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(TEXT.replace("spike: {value: 10,", "spike: {value: 9,", 1), encoding="utf-8")
    mine = load_limits(path)
    assert isinstance(mine, Limits) and mine.of("air_temperature", "outside").spike == 9


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('unit: "%"\n    everywhere', 'unit: "1"\n    everywhere', "expected %"),
        ("fail_span: {value: [-40, 60]", "fail_span: {value: [60, -40]", "the lower first"),
        ("suspect_span: {value: [-35, 48]", "suspect_span: {value: [-45, 48]", "within -40 to 60"),
        ("spike: {value: 10,", "spike: {value: 0,", "spike is 0; expected more than 0"),
        ("spike: {value: 10,", "spike: {value: ten,", "value is 'ten'"),
        ("spike: {value: 10, tag: assumption", "spike: {value: 10, tag: guess", "tag is 'guess'"),
        ("seen_share: {value: 0.5", "seen_share: {value: 2", "seen_share is 2; expected 0 to 1"),
        ("flat_hours: {value: 12, tag", "flat_hours: {value: 12, tags: 1, tag", "'tags' is not"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(old: str, new: str, says: str) -> None:
    assert says in problem(old, new)


def test_a_name_misspelt_is_named_with_a_hint_and_what_is_missing_then() -> None:
    with pytest.raises(PackError) as caught:
        check_limits(Marked("limits.yaml", TEXT.replace("  wind_speed:", "  wind_sped:")))
    words = str(caught.value)
    assert "no variable named 'wind_sped'; did you mean 'wind_speed'?" in words
    assert "'wind_speed' is missing" in words


@pytest.mark.parametrize("key", ["source", "means", "tag"])
def test_a_number_without_source_meaning_or_tag_is_refused(key: str) -> None:
    head, body = TEXT.split("limits:\n", 1)
    wrong = f"{head}limits:\n" + body.replace(f"{key}: ", f"{key}x: ", 1)
    with pytest.raises(PackError, match=f"'{key}' is missing"):
        check_limits(Marked("limits.yaml", wrong))
