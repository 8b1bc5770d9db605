"""A wrong entry gets one clear sentence; a doubtful one is asked about, not refused."""

from __future__ import annotations

import pytest

from .keyboard import Keyboard

N = ("-b", "north_beds")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("seen", "gray_mold", "--affected", 12, "--of", 10, *N),
         "12 affected of 10 examined; expected 0 to 10"),
        (("seen", "gray_mould", "--affected", 1, "--of", 10, "--part", "flower", *N),
         "no symptom 'gray_mould'"),
        (("seen", "gray_mold", "--part", "root", "--affected", 1, "--of", 9, *N), "part is 'root'"),
        (("stages", 60, 64, *N), "64 is no BBCH code of strawberry"),
        (("stages", "bloom", *N), "'bloom' is no BBCH code of strawberry"),
        (("cover", "up", *N), "what is 'up'; input should be 'on' or 'off'"),
        (("irrigation", "drip", "frost", *N), "frost water by drip; expected overhead"),
        (("pick", "--kg", -3, *N), "weight_kg is -3.0; input should be greater than or equal to 0"),
        (("pick", "--from", "09:00", "--to", "06:00", *N), "--to 06:00 is before --from 09:00"),
        (("note", "   "), "text is ''"),
        (("no-entry", "--until", "06:00", *N), "--until 06:00 is before --at now"),
        (("job", "lift_row_cover", "maybe", *N), "what is 'maybe'"),
        (("block", "North Beds", "--beds", 3), "block is 'North Beds'"),
        (("cover", "on", "--who", "", *N), "who is ''"),
    ],
)  # fmt: skip
def test_a_wrong_entry_gets_one_clear_sentence(
    farm: Keyboard, words: tuple[object, ...], said: str
) -> None:
    # With --yes it stays wrong.
    found = farm.refused("add", *words, "--yes")
    assert said in found


def test_a_time_in_the_future_is_refused(farm: Keyboard) -> None:
    said = farm.refused("add", "cover", "on", *N, "--at", "18:30")
    assert said.startswith("the time 2026-06-10 18:30 is in the future; it is 2026-06-10 09:45 now")
    assert "'yesterday 18:30'" in said
    farm.done("add", "cover", "on", *N, "--at", "yesterday 18:30")
    assert farm.local(farm.records()[0].time) == "2026-06-09 18:30"


def test_a_pick_before_planting_is_refused(farm: Keyboard) -> None:
    farm.add("block", "north_beds", "--planted", "2026-04-20", "--at", "2026-04-20T09:00")
    said = farm.refused("add", "pick", *N, "--at", "2026-04-18T09:00")
    assert said == "a pick on 2026-04-18 09:00, before north_beds was planted on 2026-04-20"


DOUBTFUL = [
    (("pick", "--at", "03:00", *N), "a pick at 03:00, by night?"),
    (("pick", "--kg", 2500, *N), "2,500 kg from one block in one pick?"),
    (("irrigation", "overhead", "frost", "--at", "2026-06-09T13:00", *N),
     "overhead water against frost at 13:00, by day?"),
    (("irrigation", "drip", "--from", "2026-06-08 06:00", "--to", "2026-06-09 18:00", *N),
     "water for 36 hours without a break?"),
    (("note", "late", "--at", "2026-02-01T09:00", *N), "was 128 days before this was written"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "question"), DOUBTFUL)
def test_without_a_terminal_a_doubtful_entry_is_refused_and_the_question_printed(
    farm: Keyboard, words: tuple[object, ...], question: str
) -> None:
    said = farm.refused("add", *words)
    assert question in said and said.endswith("Nothing was kept; expected --yes if so")


@pytest.mark.parametrize(("words", "question"), DOUBTFUL)
def test_with_yes_it_is_taken_and_the_question_told(
    farm: Keyboard, words: tuple[object, ...], question: str
) -> None:
    ran = farm.done("add", *words, "--yes")
    assert question in ran.err and len(farm.records()) == 1


@pytest.mark.parametrize(("words", "question"), DOUBTFUL)
def test_on_a_terminal_it_is_asked_about(
    farm: Keyboard, words: tuple[object, ...], question: str
) -> None:
    said = farm.refused("add", *words, answers=["n"])
    assert question in said and said.endswith("Nothing was kept.")
    ran = farm.done("add", *words, answers=["y"])
    assert question in ran.err and len(farm.records()) == 1


def test_a_cover_that_is_on_already_and_a_pick_under_no_entry_are_doubtful(farm: Keyboard) -> None:
    farm.add("cover", "on", *N, "--at", "07:00")
    assert "the row cover is on since 2026-06-10 07:00 already" in farm.refused(
        "add", "cover", "on", *N
    )
    farm.add("no-entry", "--until", "tomorrow 06:00", *N, "--at", "08:00")
    said = farm.refused("add", "pick", *N, "--at", "09:00")
    assert "'no entry' holds until 2026-06-11 06:00" in said
    # In the other block nobody said so.
    farm.add("pick", "-b", "south_beds", "--at", "09:00")


def test_nobody_answers_at_the_terminal(farm: Keyboard) -> None:
    farm.refused("add", "pick", "--at", "03:00", *N, answers=[])


def test_wrong_in_one_of_two_blocks_keeps_neither(farm: Keyboard) -> None:
    farm.add("block", "south_beds", "--planted", "2026-06-01", "--at", "2026-06-01T09:00")
    said = farm.refused("add", "pick", "-b", "north_beds,south_beds", "--at", "2026-05-30T09:00")
    assert said.startswith("south_beds: a pick on 2026-05-30 09:00, before south_beds was planted")


@pytest.mark.parametrize(
    "words",
    [
        ("add", "cover"),
        ("add", "pick", "--kg", "many", *N),
        ("add", "cover", "on", "--at", "09:00", "--whole-farm", *N),
        ("add", "pick", "--at", "06:00", "--from", "06:00", *N),
        ("add", "pick", "--to", "06:00", *N),
        ("add", "no-entry", *N),
        ("show", "--day", "today", "--all"),
        ("correct", "abcd1234"),
        ("walk", "plan", *N),
        ("frobnicate",),
    ],
)
def test_wrong_use_is_exit_code_2(farm: Keyboard, words: tuple[object, ...]) -> None:
    ran = farm.run(*words)
    assert ran.code == 2 and ran.err and "Traceback" not in ran.err
