"""Whatever is typed, the answer is a record or a sentence, never a traceback."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .keyboard import Keyboard

LONG = os.environ.get("RISKRULES_LONG") == "1"

WORDS = st.one_of(
    st.sampled_from([
        "add", "cover", "on", "off", "pick", "stages", "60", "seen", "gray_mold", "note", "walk",
        "plan", "enter", "show", "same", "stale", "counts", "correct", "take-back", "--block",
        "north_beds", "--at", "18:30", "06:00", "yesterday 06:00", "--from", "--to", "--kg", "41",
        "--affected", "3", "--of", "120", "--why", "typo", "--set", "kg=3", "--stop", "1=2/10",
        "--all", "--json", "--yes", "--day", "today", "--kind", "--versions", "--clashes", "job",
        "block", "--beds", "--planted", "2026-01-01", "no-entry", "--until", "--whole-farm",
        "--stops", "4", "--seed", "--zone", "Europe/Paris", "nan", "inf", "1e400", "-1",
        "99999999999999999999", "import", "check",
    ]),
    st.text(max_size=12).filter(lambda t: "\0" not in t),
)  # fmt: skip
STARTS = st.sampled_from([
    ("add", "cover"), ("add", "pick", "-b", "north_beds"), ("add", "note"), ("add", "seen"),
    ("add", "stages", "-b", "north_beds"), ("add", "block", "north_beds"), ("show",), ("same",),
    ("add", "irrigation"), ("add", "no-entry", "--until"), ("walk", "plan"), ("walk", "enter"),
    ("correct", "KNOWN", "--why", "x"), ("take-back", "KNOWN"), ("add", "job"), ("counts",),
])  # fmt: skip


@pytest.fixture(scope="module")
def typed_on(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Keyboard, str]]:
    farm = Keyboard(tmp_path_factory.mktemp("any"))
    yield farm, farm.add("pick", "-b", "south_beds", "--kg", 3, "--at", "06:00")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(start=STARTS, words=st.lists(WORDS, max_size=7))
def test_any_words(
    typed_on: tuple[Keyboard, str], start: tuple[str, ...], words: list[str]
) -> None:
    farm, known = typed_on
    if "--journal" in words or "--farm" in words:
        return
    typed = [known if w == "KNOWN" else w for w in (*start, *words)]
    before = farm.count()
    ran = farm.run(*typed)
    assert ran.code in (0, 1, 2)
    assert "Traceback" not in ran.out + ran.err
    if ran.code:
        assert ran.err.strip() and farm.count() == before
    # What is not an entry leaves the journal as it was.
    if start[0] in ("show", "counts"):
        assert farm.count() == before


@settings(max_examples=12 * (4 if LONG else 1))
@given(text=st.text(min_size=1, max_size=40).filter(lambda t: "\0" not in t and t.strip()))
def test_any_note_is_kept_as_it_was_typed(typed_on: tuple[Keyboard, str], text: str) -> None:
    farm, _ = typed_on
    ran = farm.done("add", "note", "--yes", "--json", "--", text)
    (kept,) = json.loads(ran.out)["kept"]
    assert kept["record"]["body"]["text"] == text.strip()
    (shown,) = farm.json("show", kept["record"]["id"])["versions"]
    assert shown["record"] == kept["record"]


def test_a_note_of_control_characters_cannot_draw_on_the_terminal(farm: Keyboard) -> None:
    farm.done("add", "note", "a\x1b[31mred\x07")
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f]", farm.done("show", "--all").out)


def test_bytes_that_are_no_text_are_refused(farm: Keyboard, tmp_path: Path) -> None:
    # A name in another encoding reaches Python as a lone surrogate.
    assert "text is 'caf\\udce9'" in farm.refused("add", "note", "caf\udce9")
    farm.refused("add", "cover", "on", "-b", "caf\udce9")
    farm.refused("import", tmp_path / "caf\udce9.csv")
