"""What nobody confirmed for long is asked about, and answered with 'the same'."""

from __future__ import annotations

from riskrules.journal.records import Checked
from riskrules.packs.load import load_pack
from riskrules.shipped import rulepacks_folder

from .keyboard import Keyboard

LIMITS = load_pack(rulepacks_folder() / "facts.yaml", {}).thresholds
COVER_D, OPEN_D = LIMITS["cover_stale"].value, LIMITS["open_stale"].value


def stale(farm: Keyboard, *words: object) -> list[tuple[str, str]]:
    return [(s["block"], s["state"]) for s in farm.json("stale", *words)["stale"]]


def covered(farm: Keyboard) -> None:
    """Cover both blocks, and lift the sides of one, nine days ago and more."""
    assert COVER_D < 9  # what the sentences below rest on
    farm.add("cover", "on", "-b", "north_beds", "--at", "2026-06-01T19:00")
    farm.add("cover", "on", "-b", "south_beds", "--at", "2026-06-01T19:30")
    farm.add("sides", "down", "-b", "south_beds", "--at", "2026-06-01T19:40")


def test_a_cover_said_to_be_on_for_nine_days_is_asked_about(farm: Keyboard) -> None:
    assert "Nothing is stale" in farm.done("stale").out
    assert "Nothing is stale" in farm.done("same").out
    covered(farm)
    assert stale(farm) == [
        ("north_beds", "row_cover"), ("south_beds", "row_cover"), ("south_beds", "sides"),
    ]  # fmt: skip
    assert stale(farm, "--block", "north_beds") == [("north_beds", "row_cover")]
    text = " ".join(farm.done("stale").out.split())
    assert (
        "north_beds: the row cover is on, the journal says, but nobody confirmed it for 8 days"
        in text
    )


def test_same_as_before_for_one_block(farm: Keyboard) -> None:
    covered(farm)
    ran = farm.done("same", "-b", "south_beds")
    assert "looked: row cover and sides the same" in " ".join(ran.out.split())
    (record,) = farm.records("--kind", "checked")
    assert record.body == Checked(same=("row_cover", "sides")) and record.block == "south_beds"
    assert stale(farm) == [("north_beds", "row_cover")]


def test_all_blocks_need_a_yes_or_an_answer_for_each(farm: Keyboard) -> None:
    covered(farm)
    said = farm.refused("same")
    assert "Still?" in said and said.endswith("expected --block, or --yes if so")
    farm.refused("same", answers=["n", "n"])
    farm.done("same", answers=["y", "n"])
    assert {block for block, _ in stale(farm)} == {"south_beds"}
    farm.done("same", "--yes")
    assert stale(farm) == []


def test_what_is_not_stale_can_be_confirmed_by_name(farm: Keyboard) -> None:
    farm.add("cover", "on", "-b", "north_beds", "--at", "2026-06-09T19:00")
    farm.done("same", "-b", "north_beds", "--what", "cover")
    assert farm.records("--kind", "checked")[0].body == Checked(same=("row_cover",))
    assert "--what is 'roof'" in farm.refused("same", "-b", "north_beds", "--what", "roof")


def test_suggestions_come_from_the_logs_and_are_never_entered(farm: Keyboard) -> None:
    farm.at("2026-06-10T12:00")
    same = "".join(
        f"2026-06-{9 + hour // 24:02d}T{hour % 24:02d}:00-05:00,{12 + hour % 5 / 10:.1f}\n"
        for hour in range(36)
    )
    for name in ("north.csv", "south.csv", "outside.csv"):
        (farm.folder / name).write_text("time,air_temperature [degC]\n" + same)
    file = farm.folder / "farm.yaml"
    file.write_text(file.read_text().replace("blocks:", "outside: {files: [outside.csv]}\nblocks:"))
    words = ("suggest", "-b", "north_beds")
    assert "suggest nothing" in farm.done(*words).out
    farm.add("cover", "on", "-b", "north_beds", "--at", "2026-06-09T15:00")
    before = farm.count()
    text = " ".join(farm.done(*words).out.split())
    assert (
        "Had it come off?" in text and "add cover off --block north_beds --at 2026-06-09T2" in text
    )
    # The farm shows degrees Fahrenheit.
    assert "0 °F" in text and " K" not in text
    assert farm.json(*words)["suggestions"][0]["block"] == "north_beds"
    assert farm.count() == before


def test_suggestions_need_a_farm(farm: Keyboard) -> None:
    del farm.environment["RISKRULES_FARM"]
    ran = farm.run("suggest", "--journal", farm.folder / "journal.db")
    assert ran.code == 2 and "expected --farm" in ran.err
