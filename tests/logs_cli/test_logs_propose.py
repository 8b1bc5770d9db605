"""``riskrules logs propose``: what it says, and that it never overwrites a mapping."""

from __future__ import annotations

import json

import pytest
from cli.farm_files import rows
from cli.running import run, text_of

from riskrules.logs.mapping import load_mapping

HEAD = "Date/Time;Temp (°F);RH %;Leaf wet\n"


@pytest.fixture
def log(tmp_path):
    """A log with odd headers, semicolons and a clock without offset."""
    path = tmp_path / "logger 7.csv"
    lines = []
    for row in rows(0, 72):
        time, air, damp, wet = row.strip().split(",")
        warm = f"{float(air) * 1.8 + 32:.1f}"
        lines.append(f"{time.replace('T', ' ').removesuffix('Z')};{warm};{damp};{wet}\n")
    path.write_text(HEAD + "".join(lines), encoding="utf-8")
    return path


def test_it_shows_columns_why_ten_rows_and_what_is_in_doubt(log):
    ran = run("logs", "propose", log)
    text = text_of(ran)
    assert ran.code == 0, ran
    assert "How logger 7.csv is understood" in text and "Rows as understood" in text
    assert "Temp [°F]" in text and "relative_humidity [%]" in text
    air, damp = rows(0, 1)[0].split(",")[1:3]
    assert "line 2, 2026-04-11 00:00:00" in text and f"humidity {damp} %" in text
    assert "Please answer" in text and "zone" in text.lower()
    assert not (log.parent / f"{log.name}.mapping.yaml").exists()
    assert max(len(line) for line in ran.out.splitlines()) <= 100


def test_the_json_holds_the_same(log):
    found = json.loads(run("logs", "propose", log, "--json").out)
    assert found["format"] == "riskrules log proposal 1"
    assert len(found["rows"]) == 10 and found["reasons"] and found["doubts"]
    assert found["mapping"]["columns"]


def test_write_writes_a_mapping_that_can_be_read_and_never_overwrites_one(log):
    beside = log.parent / f"{log.name}.mapping.yaml"
    ran = run("logs", "propose", log, "--write")
    assert ran.code == 0 and str(beside) in ran.err
    assert load_mapping(beside).columns
    beside.write_text("# mine\nzone: Europe/Paris\n", encoding="utf-8")
    again = run("logs", "propose", log, "--write")
    assert again.code == 1 and "exists already" in again.err
    assert beside.read_text(encoding="utf-8") == "# mine\nzone: Europe/Paris\n"


@pytest.mark.parametrize("raw", [b"", b"\x00" * 50, bytes(range(256)), b"a,b\n", b"%PDF-1.7\n"])
def test_a_file_that_is_no_log_exits_1_with_a_message(tmp_path, raw):
    path = tmp_path / "odd.csv"
    path.write_bytes(raw)
    for words in ((), ("--json",), ("--write",)):
        ran = run("logs", "propose", path, *words)
        assert ran.code == 1 and "odd.csv" in ran.err and "Traceback" not in ran.err
    assert list(tmp_path.iterdir()) == [path]
    assert run("logs", "propose", tmp_path / "gone.csv").code == 1


def test_a_folder_that_cannot_be_written_to_is_said(log, monkeypatch):
    from pathlib import Path

    def refused(self, *words, **more):
        raise PermissionError(13, "Permission denied")

    def act():
        return run("logs", "propose", log, "--write")

    act()
    beside = log.parent / f"{log.name}.mapping.yaml"
    beside.unlink()
    real = Path.open
    monkeypatch.setattr(
        Path, "open",
        lambda self, *w, **m: refused(self) if self == beside else real(self, *w, **m),
    )  # fmt: skip
    ran = act()
    assert ran.code == 1 and "cannot be written" in ran.err and "Traceback" not in ran.err
