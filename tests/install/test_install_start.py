"""start.py: what it says on an unsuited machine, and when it sets up again."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def start(checkout: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("start", checkout / "start.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def copy(start: ModuleType, checkout: Path, tmp_path: Path) -> Path:
    """Point start.py at a folder of its own, with the two files that a setup depends on."""
    root = tmp_path / "a folder"
    root.mkdir()
    for name in ("pyproject.toml", "constraints.txt"):
        (root / name).write_bytes((checkout / name).read_bytes())
    start.ROOT = str(root)
    return root


@pytest.fixture
def steps(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Note what a setup would do in place of doing it; a made folder gets its Python."""
    done: list[tuple[str, ...]] = []

    def make(folder: str) -> None:
        done.append(("make",))
        python = Path(start.python_in(folder))
        python.parent.mkdir(parents=True, exist_ok=True)
        python.touch()

    monkeypatch.setattr(start, "make_folder", make)
    monkeypatch.setattr(start, "install", lambda folder, *what: done.append(what))
    monkeypatch.setattr(start, "compile_own", lambda folder: None)
    return done


def script(path: Path, text: str) -> Path:
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


def test_it_parses_with_the_grammar_of_python_3_6(checkout):
    text = (checkout / "start.py").read_text()
    ast.parse(text, feature_version=(3, 6))
    # Neither is refused by feature_version, yet both are newer than 3.6.
    assert "from __future__" not in text
    assert not re.search(r"\bf[\"']", text)


def test_it_imports_the_standard_library_only(checkout):
    tree = ast.parse((checkout / "start.py").read_text())
    names = {a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names}
    names |= {n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}
    assert names
    assert names <= set(sys.stdlib_module_names)


@pytest.mark.parametrize("version", [(3, 6), (3, 10), (3, 13), (3, 14)])
def test_an_unsuited_python_alone_gets_one_sentence(start, monkeypatch, tmp_path, version):
    monkeypatch.setattr(start.sys, "version_info", (*version, 0))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(start.SetupError) as caught:
        start.suited_python(None)
    sentence = str(caught.value)
    assert caught.value.code == 2
    assert "\n" not in sentence
    assert f"Python {version[0]}.{version[1]}" in sentence
    assert "install Python 3.12 or 3.11" in sentence
    assert ("cannot be loaded on Python 3.13 or later" in sentence) == (version >= (3, 13))


def test_a_shim_with_nothing_behind_it_is_passed_over(start, monkeypatch, tmp_path):
    """Found by trying each, not by its name: the first 3.12 fails, the first 3.11 is a 3.9."""
    for folder in ("shims", "real"):
        (tmp_path / folder).mkdir()
    script(tmp_path / "shims" / "python3.12", "echo command not found >&2; exit 127")
    script(tmp_path / "shims" / "python3.11", "echo 3 9")
    real = script(tmp_path / "real" / "python3.11", "echo 3 11")
    monkeypatch.setattr(start.sys, "version_info", (3, 9, 0))
    monkeypatch.setenv("PATH", os.pathsep.join(str(tmp_path / f) for f in ("shims", "real")))
    assert start.suited_python(None) == str(real)


def test_a_named_python_is_tried_first(start, tmp_path):
    with pytest.raises(start.SetupError, match="no Python that runs here"):
        start.suited_python(str(tmp_path / "absent"))
    old = script(tmp_path / "old", "echo 3 8")
    with pytest.raises(start.SetupError, match=r"this is Python 3\.8; riskrules needs"):
        start.suited_python(str(old))
    assert start.suited_python(sys.executable) == os.path.abspath(sys.executable)


@pytest.mark.parametrize("tool", ["cc", "gcc", "clang", None])
def test_only_a_machine_without_a_compiler_is_told_to_install_one(
    start, monkeypatch, tmp_path, tool
):
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(start, "has_headers", lambda: True)
    if tool:
        script(tmp_path / tool, "exit 0")
        assert start.compiler() == tool
        assert start.cannot_compile() is None
    else:
        assert "no C compiler" in start.cannot_compile()
        assert "apt install gcc python3-dev" in start.cannot_compile()


def test_missing_headers_are_told_too(start, monkeypatch):
    monkeypatch.setattr(start, "compiler", lambda: "cc")
    monkeypatch.setattr(start, "has_headers", lambda: False)
    assert "C headers of Python 3.1" in start.cannot_compile()


def test_a_failed_build_of_the_engine_names_the_compiler(start, monkeypatch):
    monkeypatch.setattr(start, "compiler", lambda: None)
    monkeypatch.setattr(start, "run", lambda *_: (1, "Building wheel for durable_rules\nfailed"))
    with pytest.raises(start.SetupError, match="no C compiler") as caught:
        start.install("folder", "durable-rules")
    assert caught.value.code == 2


def test_another_failure_of_pip_shows_its_last_lines_and_one_sentence(start, monkeypatch, capsys):
    monkeypatch.setattr(start, "compiler", lambda: None)
    text = "\n".join(f"line {i}" for i in range(100))
    monkeypatch.setattr(start, "run", lambda *_: (1, text))
    with pytest.raises(start.SetupError, match="pip could not install") as caught:
        start.install("folder", "--editable", ".")
    assert caught.value.code == 1
    shown = capsys.readouterr().err.split("\n")[:-1]
    assert shown == [f"line {i}" for i in range(100 - start.PIP_LINES, 100)]


def test_a_finished_setup_is_not_done_again(start, copy, steps):
    folder = str(copy / ".venv")
    assert not start.is_ready(folder, "")
    start.set_up(folder, "")
    assert steps == [("make",), ("durable-rules",), ("--editable", str(copy))]
    assert start.is_ready(folder, "")
    assert not start.is_ready(folder, "test")


def test_the_tests_are_added_to_what_is_there(start, copy, steps):
    folder = str(copy / ".venv")
    start.set_up(folder, "")
    steps.clear()
    start.set_up(folder, "test")
    assert ("make",) not in steps
    assert steps[-1] == ("--no-compile", "--editable", f"{copy}[test]")
    assert start.is_ready(folder, "")
    assert start.is_ready(folder, "test")


@pytest.mark.parametrize("change", ["pyproject.toml", "constraints.txt", "python", "version"])
def test_whatever_it_depends_on_makes_it_set_up_anew(start, copy, steps, monkeypatch, change):
    folder = str(copy / ".venv")
    start.set_up(folder, "test")
    assert start.is_ready(folder, "test")
    if change == "python":
        os.remove(start.python_in(folder))
    elif change == "version":
        monkeypatch.setattr(start.sys, "version_info", (3, 99, 0))
    else:
        with (copy / change).open("a") as file:
            file.write("# changed\n")
    assert not start.is_ready(folder, "test")
    assert not start.is_ready(folder, "")
    steps.clear()
    start.set_up(folder, "test")
    assert steps[0] == ("make",)


@pytest.mark.parametrize("stop", [KeyboardInterrupt, OSError])
def test_a_broken_off_setup_leaves_no_stamp(start, copy, steps, monkeypatch, stop):
    folder = str(copy / ".venv")
    start.set_up(folder, "")

    def broken_off(folder: str, *what: str) -> None:
        raise stop

    monkeypatch.setattr(start, "install", broken_off)
    with pytest.raises(stop):
        start.set_up(folder, "test")
    assert not start.is_ready(folder, "")
    assert not list((copy / ".venv").glob("*.stamp*"))


def test_looking_whether_it_is_ready_takes_no_time(start, copy, steps):
    folder = str(copy / ".venv")
    start.set_up(folder, "")
    before = time.perf_counter()
    assert start.is_ready(folder, "")
    assert time.perf_counter() - before < 0.1  # of the 0.3 s that a second run may add


def test_the_pins_reach_pip_from_a_folder_with_a_blank_in_its_name(start, copy):
    env = start.pip_environment()
    assert " " in str(copy)
    assert " " not in env["PIP_CONSTRAINT"]
    assert env["PIP_BUILD_CONSTRAINT"] == env["PIP_CONSTRAINT"]


def test_further_arguments_go_to_the_command(start):
    words = ["review", "--on", "2026-05-14", "--python", "/there/python"]
    assert start.parse(words) == ("review", "/there/python", ["--on", "2026-05-14"])
    assert start.parse(["--python=p", "test", "-k", "x"]) == ("test", "p", ["-k", "x"])


def test_no_command_shows_how_to_call_it(start, monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["start.py"])
    assert start.main() == 2
    assert "start.py review" in capsys.readouterr().err
