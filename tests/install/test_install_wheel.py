"""The wheel on its own: built, installed in an empty environment, run far from the checkout."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.heavy


def run(*command: str | Path, cwd: Path, **env: str) -> subprocess.CompletedProcess[str]:
    """Run a command; a failure shows all that it printed."""
    clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(word) for word in command],
        cwd=cwd,
        env=clean | env,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == 0, f"{done.args}\n{done.stdout}\n{done.stderr}"
    return done


@pytest.fixture(scope="module")
def wheel(checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    pytest.importorskip("build", reason="builds a wheel")
    pytest.importorskip("hatchling", reason="builds a wheel")
    out = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "-o", out, ".", cwd=checkout)
    (path,) = out.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel: Path, checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the programs' folder of an environment that holds the wheel and what it needs."""
    env = tmp_path_factory.mktemp("env") / "venv"
    run(sys.executable, "-m", "venv", env, cwd=env.parent)
    pins = (checkout / "constraints.txt").as_uri()
    pip = (env / "bin" / "python", "-m", "pip", "install", "--no-compile", "--no-input")
    run(*pip, wheel, cwd=env.parent, PIP_CONSTRAINT=pins, PIP_BUILD_CONSTRAINT=pins)
    return env / "bin"


@pytest.fixture
def away(tmp_path: Path, sample_logs: Path) -> Path:
    """Return an empty folder with the sample logs copied in."""
    for path in sample_logs.iterdir():
        if path.suffix in (".csv", ".yaml"):
            shutil.copy(path, tmp_path)
    return tmp_path


def test_the_wheel_holds_the_package_its_packs_pages_and_sample_farm(wheel, checkout):
    names = set(zipfile.ZipFile(wheel).namelist())
    packs = {p.relative_to(checkout).as_posix() for p in (checkout / "rulepacks").rglob("*.yaml")}
    assert len(packs) > 3
    assert {f"riskrules/{name}" for name in packs} <= names
    folder = checkout / "dashboard"
    found = [p for pattern in ("**/*.py", "**/*.yaml") for p in folder.glob(pattern)]
    pages = {p.relative_to(folder).as_posix() for p in found}
    assert {f"riskrules/dashboard_app/{name}" for name in pages} <= names
    sample = {p.name for p in (checkout / "sample_logs").iterdir() if p.suffix in (".csv", ".yaml")}
    assert {f"riskrules/sample_logs/{name}" for name in sample} <= names
    assert not [name for name in names if name.startswith("riskrules/sample_logs/make_")]
    assert {"riskrules/py.typed", "riskrules/cli.py"} <= names
    tops = {name.split("/")[0] for name in names}
    assert tops == {"riskrules", next(t for t in tops if t.endswith(".dist-info"))}


def test_the_installed_wheel_reviews_a_log_far_from_the_checkout(installed, away, checkout):
    program = "import riskrules, riskrules.shipped as s; print(s.rulepacks_folder())"
    folder = run(installed / "python", "-c", program, cwd=away).stdout.strip()
    assert Path(folder).is_relative_to(installed.parent)
    assert not Path(folder).is_relative_to(checkout)

    job = (installed / "riskrules", "review", "north_beds.csv", "--farm", "farm.yaml")
    there = run(*job, "--on", "2026-05-14", cwd=away).stdout
    assert "north_beds" in there


def test_it_says_there_what_it_says_in_the_checkout(installed, away):
    """The same words from the wheel's own packs as from the packs in the checkout."""
    job = ("review", ".", "--farm", "farm.yaml", "--on", "2026-05-14")
    here = Path(sys.executable).parent / "riskrules"
    if not here.exists():
        pytest.skip("riskrules is not installed beside this Python")
    wheel_says = run(installed / "riskrules", *job, cwd=away).stdout
    checkout_says = run(here, *job, cwd=away).stdout
    assert len(wheel_says) > 200
    assert wheel_says == checkout_says


def test_the_sample_farm_can_be_begun_there(installed, away):
    program = (
        "from pathlib import Path; from riskrules.view.first import begin_sample; "
        "print(begin_sample(Path('begun')))"
    )
    farm = away / run(installed / "python", "-c", program, cwd=away).stdout.strip()
    said = run(installed / "riskrules", "review", farm.parent, "--farm", farm, cwd=away).stdout
    assert "invented" in said.splitlines()[0]


def test_the_rule_engine_runs_there_and_not_the_fallback(installed, away):
    program = "import riskrules.engine.evaluate as e; print(e.evaluator_name())"
    assert run(installed / "python", "-c", program, cwd=away).stdout.strip() == "durable-rules"
