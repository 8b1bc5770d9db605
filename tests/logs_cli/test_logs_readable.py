"""What people read of their logs: fits the terminal, in their words and units; wrong use is 2."""

from __future__ import annotations

import json
import re

import pytest
from cli.running import apart, run, text_of
from rich.console import Console

from riskrules import cli_show
from riskrules.commands.logs_words import NAMES
from riskrules.logs.variables import VARIABLES

from .messy import logs


def commands(messy):
    farm = ("--farm", messy / "farm.yaml")
    at = ("--block", "north", "--sensor", "north", "--at", "2026-05-01T00:00")
    return [("report", *farm), ("history", *farm), ("check", *farm), ("trace", *at, *farm),
            ("report", messy / "north.csv")]  # fmt: skip


@pytest.mark.parametrize("width", [80, 40])
def test_in_a_narrow_terminal_every_word_is_there_and_no_line_is_too_long(
    messy, monkeypatch, width
):
    for words in commands(messy):
        wide = run("logs", *words)
        assert wide.code == 0
        with monkeypatch.context() as patched:
            made = lambda: Console(highlight=False, width=width, no_color=True)  # noqa: E731
            patched.setattr(cli_show, "console", made)
            narrow = run("logs", *words).out
        assert max(len(line) for line in narrow.splitlines()) <= width
        assert "".join(narrow.split()) == "".join(wide.out.split())


def test_piped_there_are_no_colour_codes_and_no_traceback(messy):
    farm = ("--farm", messy / "farm.yaml")
    ran = apart("logs", "report", *farm, TERM="xterm-256color", COLORTERM="truecolor")
    assert ran.code == 0 and ran.out and "\x1b" not in ran.out + ran.err
    assert ran.out == run("logs", "report", *farm).out
    gone = apart("logs", "report", messy / "gone.csv")
    assert gone.code == 1 and "no such file" in gone.out and "Traceback" not in gone.err


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("nope",),
        ("propose",),
        ("read",),
        ("read", "x.csv"),
        ("report",),
        ("report", "x.csv", "--store", "y"),
        ("follow", "x"),
        ("status",),
        ("check",),
        ("history",),
        ("trace", "--block", "north"),
        ("report", "x.csv", "--nope"),
    ],
)
def test_wrong_use_exits_2_with_help(words):
    ran = run("logs", *words)
    assert ran.code == 2 and "Usage:" in ran.err + ran.out and "Traceback" not in ran.err


def test_every_command_has_help():
    text = text_of(run("logs", "--help"))
    for name in ("propose", "read", "report", "follow", "status", "check", "history", "trace"):
        assert name in text
        ran = run("logs", name, "--help")
        assert ran.code == 0 and re.search(r"[a-z]{3,}", ran.out)


@pytest.mark.parametrize("command", ["report", "history", "check", "status", "read"])
def test_a_farm_file_that_cannot_be_used_exits_1(tmp_path, command):
    bad = tmp_path / "farm.yaml"
    bad.write_text("farm: [\n")
    more = ("x.csv",) if command == "read" else ()
    ran = run("logs", command, *more, "--farm", bad)
    assert ran.code == 1 and "farm.yaml:" in ran.err and "Traceback" not in ran.err


def test_a_farm_in_fahrenheit_and_inches_reads_its_own_units(messy, tmp_path):
    text = (messy / "farm.yaml").read_text() + "show: {temperature: degF, rain: in}\n"
    farm = messy / "farm_f.yaml"
    farm.write_text(text)
    words = ("--block", "north", "--sensor", "north", "--at", "2026-05-01T00:00")
    line = next(row for row in (messy / "north.csv").read_text().splitlines()
                if row.startswith("2026-05-01T00:00"))  # fmt: skip
    shown = round(float(line.split(",")[1]) * 1.8 + 32)
    ran = run("logs", "trace", *words, "--farm", farm)
    farm.unlink()
    assert f"air temperature: {shown} °F" in text_of(ran) and "°C" not in ran.out


def test_every_variable_has_a_name_in_plain_words():
    assert set(NAMES) == set(VARIABLES)
    assert not any("_" in name for name in NAMES.values())


def test_the_history_is_json(messy):
    found = json.loads(logs(messy, "history", "--json").out)
    assert {f["file"] for f in found["files"]} == {"north.csv", "south.csv", "outside.csv"}
