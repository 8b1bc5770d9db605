"""Another package adds a pack, a kind of fact, a printed value and a log reader.

Installed into a folder of its own; each command runs in a process that has it on its path.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from importlib.metadata import distributions
from pathlib import Path

import pytest

HERE = Path(__file__).parent / "riskrules_extra"
CHECKOUT = Path(__file__).parents[2]
METADATA = "Metadata-Version: 2.1\nName: riskrules-extra\nVersion: 0.1\n"
HOOKS = ("riskrules_packs", "riskrules_kinds", "riskrules_printed_values", "riskrules_log_reader")


def installed(folder: Path, change: dict[str, str] | None = None) -> Path:
    """Put the plug-in into a folder as an installer would: modules, metadata, entry point."""
    folder.mkdir(exist_ok=True)
    for name in ("riskrules_extra.py", "extra_pack.yaml"):
        text = (HERE / name).read_text(encoding="utf-8")
        for old, new in (change or {}).items():
            text = text.replace(old, new)
        (folder / name).write_text(text, encoding="utf-8")
    info = folder / "riskrules_extra-0.1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(METADATA)
    (info / "entry_points.txt").write_text("[riskrules]\nextra = riskrules_extra\n")
    return folder


def command(where: Path | None, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command with the plug-in's folder on the path."""
    path = os.pathsep.join([str(CHECKOUT), *([str(where)] if where else [])])
    return subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "riskrules.cli", *words],
        capture_output=True, text=True, timeout=120, env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip


@pytest.fixture(scope="module")
def extra(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return installed(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return 48 hours of an invented format, from 2026-03-01 00:00 UTC: 14 of them near 5 °C."""
    path = tmp_path_factory.mktemp("log") / "hut.twocol"
    begin = 1_772_323_200
    rows = [f"{begin + i * 3600};{(50 if 10 < i <= 24 else 120) + i % 3}" for i in range(1, 49)]
    path.write_text("\n".join(rows))
    return path


def test_a_rule_over_a_new_kind_fires_on_a_log_of_a_new_format(extra: Path, log: Path) -> None:
    ended = command(extra, "review", str(log), "--json")
    assert ended.returncode == 0, ended.stderr
    found = json.loads(ended.stdout)
    (chilled,) = [f for f in found["findings"] if f["rule"] == "extra.chilled"]
    assert chilled["sentence"] == "It was chilly for 14 h; a look is due from 10 h."
    assert "extra" in [p["pack"] for p in found["packs"]]
    assert "scout_flowers" in [j["job"] for j in found["work"]["jobs"]]


def test_without_the_plug_in_the_log_cannot_be_read(log: Path) -> None:
    ended = command(None, "review", str(log), "--json")
    assert ended.returncode == 1
    assert "hut.twocol" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_rule_over_a_new_kind_is_explained(extra: Path, log: Path) -> None:
    ended = command(extra, "explain", str(log), "--rule", "extra.chilled")
    assert ended.returncode == 0, ended.stderr
    assert "beyond it by 4 h" in " ".join(ended.stdout.split())


def test_tables_show_the_printed_value_of_a_plug_in(extra: Path) -> None:
    ended = command(extra, "tables", "--json")
    assert ended.returncode == 0, ended.stderr
    rows = {row["id"]: row for row in json.loads(ended.stdout)}
    assert (rows["extra_share"]["verdict"], rows["extra_share"]["computed"]) == ("agrees", 0.25)
    assert "extra_share" not in command(None, "tables", "--json").stdout


def test_packs_list_and_check_the_pack_of_a_plug_in(extra: Path) -> None:
    ended = command(extra, "packs", "--rules")
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "extra: Chilling (invented for a test) (1 rules, 1 thresholds" in ended.stdout
    assert "chilled: It was chilly for" in ended.stdout


def test_a_pack_file_may_speak_of_the_kind_of_a_plug_in(extra: Path) -> None:
    path = str(HERE / "extra_pack.yaml")
    ended = command(extra, "packs", path)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "3 of 3 examples give what they say" in ended.stdout
    refused = command(None, "packs", path)
    assert refused.returncode == 1
    assert "no kind of fact 'chill_spell'; did you mean" in refused.stderr


def test_an_example_of_a_plug_in_that_does_not_hold_is_said(tmp_path: Path) -> None:
    extra = installed(tmp_path / "site", {"chill_hours: 12}": "chill_hours: 3}"})
    ended = command(extra, "packs")
    assert ended.returncode == 1
    assert "chilled example 1 gives quiet; it says fires" in " ".join(ended.stdout.split())


def one_clear_message(ended: subprocess.CompletedProcess[str]) -> str:
    assert ended.returncode == 1
    assert "Traceback" not in ended.stderr
    assert ended.stdout == ""
    (line,) = ended.stderr.strip().splitlines()
    return line


@pytest.mark.parametrize("words", [("packs",), ("tables",), ("review",)], ids=lambda w: w[0])
def test_a_misspelt_hook_is_refused_at_start(tmp_path: Path, log: Path, words: list[str]) -> None:
    extra = installed(tmp_path / "site", {"def riskrules_packs(": "def riskrules_pakcs("})
    line = one_clear_message(command(extra, *words, *([str(log)] if words[0] == "review" else [])))
    assert "plug-in 'extra'" in line
    assert "riskrules_pakcs" in line
    assert all(hook in line for hook in HOOKS)


def test_a_hook_with_an_argument_that_is_not_given_is_refused(tmp_path: Path) -> None:
    extra = installed(tmp_path / "site", {"def riskrules_packs()": "def riskrules_packs(folder)"})
    assert "plug-in 'extra'" in one_clear_message(command(extra, "packs"))


def test_a_plug_in_that_cannot_be_imported_is_named(tmp_path: Path) -> None:
    extra = installed(tmp_path / "site", {"import numpy as np": "import no_such_module_x as np"})
    line = one_clear_message(command(extra, "packs"))
    assert "plug-in 'extra' (riskrules_extra)" in line
    assert "no_such_module_x" in line


def test_the_hand_made_installation_is_what_the_project_file_says() -> None:
    import tomllib

    project = tomllib.loads((HERE / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["entry-points"]["riskrules"] == {"extra": "riskrules_extra"}
    files = project["tool"]["hatch"]["build"]["targets"]["wheel"]["only-include"]
    assert files == ["riskrules_extra.py", "extra_pack.yaml"]


@pytest.mark.heavy
def test_pip_installs_the_plug_in_and_it_is_found(tmp_path: Path, log: Path) -> None:
    if "hatchling" not in {d.metadata["Name"] for d in distributions()}:
        pytest.skip("hatchling is not installed here")
    source, target = tmp_path / "source", tmp_path / "site"
    shutil.copytree(HERE, source)
    run = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index",
           "--no-build-isolation", "--target", str(target), str(source)]  # fmt: skip
    subprocess.run(run, check=True, timeout=300)
    ended = command(target, "review", str(log), "--json")
    assert "extra.chilled" in ended.stdout
