"""A walk is planned, printed, entered at the keyboard or imported, and read."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from cli.running import text_of

from riskrules.journal.counts import estimate
from riskrules.journal.records import RECORD, Record, Sighting, Stop, Walk
from riskrules.journal.walks import plan_walk, size_to_see

from .keyboard import OPEN, Keyboard

B = ("-b", "north_beds")
PLAN = ("walk", "plan", *B, "--stops", 4, "--per-stop", 10, "--seed", 7)


@pytest.fixture
def beds(farm: Keyboard) -> Keyboard:
    """Return a farm whose north block is known bed by bed."""
    words = ("--beds", 6, "--bed-length", 50, "--plants-per-bed", 250, "--at", "06:00")
    farm.add("block", "north_beds", *words)
    return farm


def planned(farm: Keyboard, *words: object) -> Record:
    (kept,) = farm.json(*(words or (*PLAN, "--symptom", "gray_mold")))["kept"]
    return RECORD.validate_python(kept["record"])


def test_a_plan_is_that_of_the_library_and_kept(beds: Keyboard) -> None:
    walk = planned(beds)
    with OPEN(beds.folder / "journal.db") as journal:
        block = journal.blocks()["north_beds"]
    assert walk.body == plan_walk(block, "random", 7, 4, 10, ("gray_mold",))
    text = text_of(beds.done(*PLAN, "--pattern", "all-beds", "--stops", 6))
    assert "6 stops of 10 in all beds with seed 7" in text and "stop 6: bed 6" in text


def test_how_many_follows_from_what_is_wanted(beds: Keyboard) -> None:
    with OPEN(beds.folder / "journal.db") as journal:
        block = journal.blocks()["north_beds"]
    size = size_to_see(block, 5, 0.02)
    ran = beds.done("walk", "plan", *B, "--see", "2%", "--per-stop", 5)
    assert size.words in text_of(ran)
    (walk,) = beds.records("--kind", "walk")
    assert isinstance(walk.body, Walk) and len(walk.body.stops) == size.stops
    assert walk.body.seed == 20260610
    text = text_of(beds.done("walk", "plan", *B, "--about", "10%", "--within", "0.1"))
    assert "To know a share of about 10.0 % within 10.0 % of it" in text


def test_a_plan_that_cannot_be_is_told(beds: Keyboard) -> None:
    assert "beds of the block is not known" in beds.refused(
        "walk", "plan", "-b", "south_beds", "--stops", 4
    )
    assert "expected 1 to 150" in beds.refused("walk", "plan", *B, "--stops", 1000)
    assert "--pattern is 'spiral'" in beds.refused(*PLAN, "--pattern", "spiral")
    assert "no symptom 'rot'" in beds.refused(*PLAN, "--symptom", "rot")
    assert "--see is '120%'" in beds.refused("walk", "plan", *B, "--see", "120%")
    assert beds.run("walk", "plan", *B, "--about", "10%").code == 2


def test_the_sheet_is_written_in_each_form_and_never_over_another(beds: Keyboard) -> None:
    known = str(planned(beds).id)
    for name, start in (("a.pdf", b"%PDF"), ("a.html", b"<!DOCTYPE html>"), ("a.csv", b"walk,")):
        out = beds.folder / name
        beds.done("walk", "sheet", known[:8], "--out", out)
        assert out.read_bytes().startswith(start)
        assert "is there already" in beds.refused("walk", "sheet", known, "--out", out)
    assert beds.run("walk", "sheet", known, "--out", beds.folder / "a.docx").code == 2
    missing = beds.folder / "none" / "a.pdf"
    assert "cannot be written" in beds.refused("walk", "sheet", known, "--out", missing)
    note = beds.add("note", "no walk")
    assert f"{note} is a note; expected a walk" in beds.refused(
        "walk", "sheet", note, "--out", beds.folder / "b.pdf"
    )


def test_the_form_is_one_file_with_the_walk_in_it(beds: Keyboard) -> None:
    known = str(planned(beds).id)
    out = beds.folder / "walk.html"
    beds.done("walk", "form", known[:8], "--out", out, "--who", "bo")
    assert known in out.read_text(encoding="utf-8")


def test_counts_are_entered_without_a_terminal(beds: Keyboard) -> None:
    walk = planned(beds)
    stops = ("--stop", "1=0", "--stop", "2=3/8", "--stop", "3=0,4=1")
    ran = beds.done("walk", "enter", str(walk.id)[:8], *stops, "--at", "09:30", "--note", "dew")
    assert "Gray mold: 4 of 38 ripe fruit, at 4 stops (dew)" in text_of(ran)
    (found,) = beds.records("--kind", "seen")
    assert isinstance(walk.body, Walk) and isinstance(found.body, Sighting)
    bed = {number: bed for number, bed, _ in walk.body.stops}
    assert found.body.stops == (
        Stop(stop=1, affected=0, examined=10, bed=bed[1]),
        Stop(stop=2, affected=3, examined=8, bed=bed[2]),
        Stop(stop=3, affected=0, examined=10, bed=bed[3]),
        Stop(stop=4, affected=1, examined=10, bed=bed[4]),
    )
    assert (found.body.affected, found.body.examined) == (4, 38)
    assert found.body.walk == walk.id and found.block == "north_beds" and found.note == "dew"
    said = beds.refused("walk", "enter", str(walk.id), "--stop", "1=5")
    assert "entered for this walk already" in said and f"correct {str(found.id)[:8]}" in said


def test_wrong_counts_are_told(beds: Keyboard) -> None:
    enter = ("walk", "enter", str(planned(beds).id))
    assert "stop 1: 12 affected of 10 examined" in beds.refused(*enter, "--stop", "1=12")
    assert "stop 9; expected one of 1 to 4" in beds.refused(*enter, "--stop", "9=0")
    assert "twice" in beds.refused(*enter, "--stop", "1=0", "--stop", "1=2")
    assert "--stop is '1'; expected such as 4=2/10" in beds.refused(*enter, "--stop", "1")
    assert "expected --stop for each stop" in beds.refused(*enter)
    assert "in the future" in beds.refused(*enter, "--stop", "1=0", "--at", "11:00")


def test_counts_are_asked_stop_by_stop_on_a_terminal(beds: Keyboard) -> None:
    walk = planned(beds, *PLAN, "--symptom", "gray_mold", "--symptom", "anthracnose")
    # Two symptoms at each of four stops; a wrong answer is asked again, Enter leaves out.
    answers = ["2", "0", "12", "3/8", "0", "", "0", "1", ""]
    ran = beds.done("walk", "enter", str(walk.id), answers=answers)
    assert "'12'; expected such as 2, or 2/8, from 0 to 10" in ran.err
    found = {r.body.symptom: r.body for r in beds.records("--kind", "sighting")}  # type: ignore[union-attr]
    gray, other = found["gray_mold"], found["anthracnose"]
    assert isinstance(gray, Sighting) and isinstance(other, Sighting)
    assert [(s.stop, s.affected, s.examined) for s in gray.stops] == [
        (1, 2, 10), (2, 3, 8), (4, 1, 10),
    ]  # fmt: skip
    assert [(s.stop, s.affected) for s in other.stops] == [(1, 0), (2, 0), (3, 0)]
    assert other.pattern == "none_seen"


def test_nothing_counted_is_nothing_kept(beds: Keyboard) -> None:
    walk = planned(beds)
    assert "no stop was counted" in beds.refused("walk", "enter", str(walk.id), answers=[""] * 4)


def filled(beds: Keyboard, walk: Record, counts: dict[int, int]) -> Path:
    """Type a filled sheet of a walk."""
    out = beds.folder / f"{walk.id}.csv"
    beds.done("walk", "sheet", str(walk.id), "--out", out)
    rows = list(csv.DictReader(io.StringIO(out.read_text())))
    rows[0] |= {"time": "2026-06-10T09:00", "who": "cy"}
    for row in rows:
        if int(row["stop"]) in counts:
            row |= {"affected": str(counts[int(row["stop"])]), "examined": "10"}
    with out.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return out


def test_a_filled_sheet_is_taken_in_once_however_often_it_comes(beds: Keyboard) -> None:
    walk = planned(beds)
    sheet = filled(beds, walk, {1: 2, 2: 0, 3: 1})
    assert "1 record, 1 new" in text_of(beds.done("walk", "import", sheet))
    (found,) = beds.records("--kind", "sighting")
    assert (found.who, found.came_by) == ("cy", "sheet")
    assert beds.local(found.time) == "2026-06-10 09:00"
    assert "0 new, 1 known already" in text_of(beds.done("import", sheet))
    # Typed again with other counts: what came first counts, the other is told and set aside.
    sheet.unlink()
    text = text_of(beds.done("import", filled(beds, walk, {1: 3, 2: 0, 3: 1})))
    assert "1 set aside as other than before" in text and "Differs from" in text
    assert beds.records("--kind", "sighting") == [found]
    assert "Set aside" in beds.done("show", "--clashes").out


def test_a_wrong_sheet_is_refused_with_line_and_column(beds: Keyboard) -> None:
    walk = planned(beds)
    sheet = filled(beds, walk, {1: 12})
    said = beds.refused("walk", "import", sheet)
    assert f"{sheet.name}:2:" in said and "12 affected of 10 examined" in said


def test_what_a_phone_handed_over_is_taken_in(beds: Keyboard) -> None:
    walk = planned(beds)
    body = {
        "kind": "sighting", "symptom": "gray_mold", "part": "flower", "affected": 1, "examined": 10,
        "stops": [{"stop": 1, "affected": 1, "examined": 10}], "walk": str(walk.id),
    }  # fmt: skip
    plain: dict[str, Any] = {
        "id": "0b0c7a4e-5f0e-4a43-9a53-1f2d3c4b5a60", "block": "north_beds", "time": beds.now - 60,
        "body": body, "who": "bo", "made": beds.now - 60, "came_by": "form",
    }  # fmt: skip
    file = beds.folder / "handed over.json"
    whole = {"format": "riskrules walk 1", "walk": str(walk.id), "records": [plain], "photos": {}}
    file.write_text(json.dumps(whole))
    assert "1 record, 1 new" in text_of(beds.done("walk", "import", file))
    assert "0 new, 1 known already" in text_of(beds.done("import", file))
    file.write_text(json.dumps(whole)[:-40])
    beds.refused("import", file)


def test_counts_are_read_with_their_interval_and_words(beds: Keyboard) -> None:
    walk = planned(beds)
    beds.done("walk", "enter", str(walk.id), "--stop", "1=0,2=3,3=0,4=1")
    beds.add("seen", "gray_mold", "--affected", 0, "--of", 60, "-b", "south_beds")
    found = {c["block"]: c for c in beds.json("counts")["counts"]}
    north = found["north_beds"]["counts"][0]
    (record,) = beds.records("--kind", "sighting", "--block", "north_beds")
    assert isinstance(record.body, Sighting)
    expected = estimate(record.body.stops)
    assert (north["low"], north["high"]) == (expected.low, expected.high)
    text = text_of(beds.done("counts"))
    assert expected.words in text
    # None seen is never shown as none there.
    assert "None seen of 60 examined at 1 stop: up to" in text
    assert "No trend: counts of 1 calendar weeks" in text
    assert beds.json("counts", "--symptom", "mucor")["counts"] == []
    assert [c["block"] for c in beds.json("counts", "-b", "south_beds")["counts"]] == ["south_beds"]


def test_the_trend_over_weeks_is_told(beds: Keyboard) -> None:
    for day, affected in (("2026-05-18", 2), ("2026-05-25", 8), ("2026-06-01", 25)):
        words = ("seen", "gray_mold", "--affected", affected, "--of", 100, *B)
        beds.add(*words, "--at", f"{day}T09:00")
    (found,) = beds.json("counts")["counts"]
    assert found["trend"]["slope"] > 0 and found["trend"]["low"] < found["trend"]["slope"]
    assert "the odds change" in text_of(beds.done("counts"))


def test_a_stop_of_a_walk_is_corrected_and_the_sums_with_it(beds: Keyboard) -> None:
    walk = planned(beds)
    beds.done("walk", "enter", str(walk.id), "--stop", "1=0,2=3,3=0,4=0")
    (old,) = beds.records("--kind", "sighting")
    beds.done("correct", str(old.id), "--stop", "2=0", "--stop", "4=1/9", "--why", "mixed up")
    (new,) = beds.records("--kind", "sighting")
    assert isinstance(new.body, Sighting)
    assert (new.body.affected, new.body.examined) == (1, 39)
    assert [s.affected for s in new.body.stops] == [0, 0, 0, 1]
    assert "no stop 5" in beds.refused("correct", str(new.id), "--stop", "5=1", "--why", "x")
