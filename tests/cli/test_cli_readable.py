"""What people read: no codes when piped, nothing lost in a narrow terminal, words for severity."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console

from riskrules import cli_show

from .running import ROOT, apart, run, seen, seen_json, text_of

SEEN = "gray_mold.flower_infection"
CODES = re.compile(r"\x1b\[[0-9;]*[A-Za-z]")


def commands(folder: Path) -> list[tuple[object, ...]]:
    farm = (folder, "--farm", folder / "farm.yaml")
    return [("review", *farm), ("review", *farm, "--crew-hours", "0.5"),
            ("explain", *farm, "--rule", SEEN), ("tables",)]  # fmt: skip


def test_there_are_no_colour_codes_when_piped(two_beds):
    words = ("review", two_beds, "--farm", two_beds / "farm.yaml")
    ran = apart(*words, TERM="xterm-256color", COLORTERM="truecolor")
    assert ran.code == 0 and ran.out and "\x1b" not in ran.out + ran.err
    for some in commands(two_beds):
        assert "\x1b" not in run(*some).out


@pytest.mark.parametrize("width", [60, 40])
def test_in_a_narrow_terminal_every_word_is_there_and_no_line_is_too_long(
    two_beds, monkeypatch, width
):
    for some in commands(two_beds):
        wide = run(*some).out
        with monkeypatch.context() as patched:
            made = lambda: Console(highlight=False, width=width, no_color=True)  # noqa: E731
            patched.setattr(cli_show, "console", made)
            narrow = run(*some).out
        assert max(len(line.rstrip()) for line in narrow.splitlines()) <= width
        assert "".join(narrow.split()) == "".join(wide.split())


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_on_a_real_terminal_of_60_columns_nothing_is_lost(two_beds):
    words = ["review", str(two_beds), "--farm", str(two_beds / "farm.yaml")]
    ours, theirs = pty.openpty()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "60", "TERM": "xterm"}
    child = subprocess.Popen([sys.executable, "-m", "riskrules.cli", *words], stdout=theirs,
                             stderr=subprocess.PIPE, env=env)  # fmt: skip
    os.close(theirs)
    raw = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the child has closed its side
            break
        if not piece:
            break
        raw += piece
    os.close(ours)
    child.communicate(timeout=60)
    assert child.returncode == 0
    text = CODES.sub("", raw.decode())
    assert "\x1b" not in text
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 60
    assert "".join(text.split()) == "".join(run(*words).out.split())


def test_severity_reads_without_colour(two_beds):
    out = seen(two_beds).out
    assert "### A high flower infection index" in out and "Severe, Immediate, Likely" in out


def test_every_sentence_of_the_json_is_in_what_people_read(two_beds):
    text, found = text_of(seen(two_beds)), seen_json(two_beds)
    for f in found["findings"]:
        assert f["title"] in text and " ".join(f["sentence"].split()) in text
    for u in found["unknowns"]:
        assert u["sentence"] in text and all(s in text for s in u["settle"])
    for b in found["blocks"]:
        assert b["sentence"] in text
    for j in found["work"]["jobs"]:
        assert j["words"] in text and all(c in text for c in j["cautions"].values())
        for b in j["blocks"]:
            assert all(c in text for c in b["checks"])


def test_no_finding_speaks_of_spraying_but_to_say_who_decides(two_beds):
    text = text_of(seen(two_beds))
    assert "the label and a local adviser decide" in text
    assert not re.search(r"\b(fungicide|spray the|apply)\b", text, re.IGNORECASE)


def test_a_reader_that_closes_early_is_no_error(two_beds):
    command = f"'{sys.executable}' -m riskrules.cli tables --all | head -1"
    done = subprocess.run(["bash", "-c", f"set -o pipefail; {command}"], capture_output=True,
                          text=True, env={**os.environ, "PYTHONPATH": str(ROOT)})  # fmt: skip
    assert done.stderr == ""
