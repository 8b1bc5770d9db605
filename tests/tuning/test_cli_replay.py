"""The command: thin, resumable, and clear about what it cannot do."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from riskrules.cli_replay import months_of, register, vary_of
from riskrules.errors import RiskRulesError
from tests.tuning.made_archive import make_archive

app = typer.Typer()
register(app)


@app.callback()
def _root() -> None:
    """Keep the command's name."""


def call(*words: object, code: int = 0) -> str:
    done = CliRunner().invoke(app, ["replay", *map(str, words)])
    if isinstance(done.exception, RiskRulesError):
        assert code == 1
        return str(done.exception)
    assert done.exit_code == code, done.output
    return done.output


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_archive(tmp_path_factory.mktemp("made") / "archive", 1)


def test_it_writes_tables_and_record_and_goes_on(archive: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    said = call(archive, "--out", out, "--season", "2024", "--question", "Enough?")
    assert "profiles: 1 of 1 block-seasons" in said and f"Record: {out / 'record.html'}" in said
    assert "<p>Enough?</p>" in (out / "record.html").read_text(encoding="utf-8")
    again = call(archive, "--out", out, "--record", tmp_path / "b.html")
    assert "profiles: 2 of 2 block-seasons (1 from before)" in again
    assert (tmp_path / "b.html").exists()
    tables = [line.removeprefix("Tables: ") for line in again.splitlines() if "Tables" in line]
    assert len(tables) == 1 and (Path(tables[0]) / "findings.parquet").exists()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--workers", 2, "--scheduler", "tcp://127.0.0.1:1"], 2, "either --workers or"),
        (["--vary", "a.b", "--vary", "a.c", "--vary", "a.d"], 2, "expected at most 2"),
        (["--vary", "gray_mold.wet_onset=6;8"], 2, "expected such as PACK.NAME"),
        (["--months", "5"], 2, "expected such as 3-9"),
        (["--season", "1999"], 1, "no season 1999; expected some of 2023, 2024"),
        (["--hazard", "rust"], 1, "no hazard 'rust'; expected one of"),
        (["--hazard", "heat", "--vary", "gray_mold.wet_onset"], 1, "no published time"),
        (["--vary", "gray_mold.wet_onset=99"], 1, "expected 2 to 24 h"),
        (["--vary", "facts.gray_mold_shows_from"], 1, "several hazards may be meant"),
    ],
)
def test_wrong_use_is_refused_before_anything_is_done(
    archive: Path, tmp_path: Path, words: list[object], code: int, said: str
) -> None:
    text = call(archive, "--out", tmp_path / "out", *words, code=code)
    assert said in " ".join(text.replace("│", " ").split())
    assert not (tmp_path / "out").exists()


def test_without_an_archive_it_says_what_it_needs() -> None:
    assert "expected a folder of seasons, or" in call(code=2).replace("\n", " ")


def test_words_of_options_are_understood() -> None:
    assert vary_of("a.b").values == () and vary_of("a.b=1, 2.5").values == (1.0, 2.5)
    assert months_of("11-5") == (11, 5)
    with pytest.raises(typer.BadParameter):
        months_of("0-13")
