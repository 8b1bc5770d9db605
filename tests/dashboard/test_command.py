"""``riskrules dashboard`` as a command: here only, what it refuses, and that it leaves nothing."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from dash_help import ROOT, free_port
from typer.testing import CliRunner

from riskrules.cli import app
from riskrules.door import start


def test_the_server_listens_here_alone_and_stops_with_the_command(sample_farm, tmp_path):
    port = free_port()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "RISKRULES_HOME": str(tmp_path)}
    out = tmp_path / "out.txt"
    with out.open("wb") as file:
        child = subprocess.Popen(
            [sys.executable, "-m", "riskrules.cli", "dashboard", "--farm", str(sample_farm),
             "--port", str(port), "--no-browser"], stdout=file, stderr=file, env=env,
        )  # fmt: skip
    end = time.monotonic() + 60
    while "The pages are at" not in out.read_text() and time.monotonic() < end:
        assert child.poll() is None, out.read_text()
        time.sleep(0.1)
    socket.create_connection(("127.0.0.1", port), timeout=5).close()
    listening = [
        line.split()[1]
        for name in ("tcp", "tcp6")
        for line in Path(f"/proc/net/{name}").read_text("ascii").splitlines()[1:]
        if line.split()[3] == "0A" and line.split()[1].endswith(f":{port:04X}")
    ]
    assert listening == [f"0100007F:{port:04X}"]  # 127.0.0.1 as Linux writes it, and no other
    child.send_signal(signal.SIGTERM)
    assert child.wait(30) == 0
    with pytest.raises(OSError), socket.create_connection(("127.0.0.1", port), timeout=5):
        pass


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--farm", "none.yaml"], "no farm file"),
        (["--share", "--role", "boss", "--farm", "FARM"], "expected one of grower"),
        (["--share", "--address", "8.8.8.8", "--farm", "FARM"], "own network"),
        (["--share"], "no farm to share"),
    ],
)
def test_what_it_refuses(sample_farm, words, said):
    given = [str(sample_farm) if w == "FARM" else w for w in words]
    found = CliRunner().invoke(app, ["dashboard", *given])
    assert found.exit_code == 2 and said in " ".join(found.output.replace("│", "").split())


def test_a_taken_port_and_a_missing_list_of_people(sample_farm):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        found = CliRunner().invoke(app, ["dashboard", "--port", str(port)])
        assert "expected a free --port" in str(found.exception)
    found = CliRunner().invoke(app, ["dashboard", "--sign-in", "--farm", str(sample_farm)])
    assert "nobody listed" in str(found.exception)


def test_the_app_is_found_in_a_checkout_and_in_a_wheel(tmp_path, monkeypatch):
    assert start.app_file() == ROOT / "dashboard" / "app.py"
    package = tmp_path / "riskrules"
    (package / "door").mkdir(parents=True)
    (package / "dashboard_app").mkdir()
    (package / "dashboard_app" / "app.py").touch()
    monkeypatch.setattr(start, "__file__", str(package / "door" / "start.py"))
    assert start.app_file() == package / "dashboard_app" / "app.py"


def test_the_app_runs_under_the_name_it_has_in_a_wheel(tmp_path):
    """There the folder is ``dashboard_app``, and ``dashboard`` cannot be imported by name."""
    (tmp_path / "riskrules").symlink_to(ROOT / "riskrules")
    (tmp_path / "dashboard_app").symlink_to(ROOT / "dashboard")
    code = (
        "import sys; from streamlit.testing.v1 import AppTest;"
        f"r = AppTest.from_file({str(tmp_path / 'dashboard_app' / 'app.py')!r}).run(timeout=60);"
        "assert not r.exception, r.exception; print(sys.modules['dashboard'].__file__)"
    )
    env = {**os.environ, "PYTHONPATH": str(tmp_path), "RISKRULES_HOME": str(tmp_path)}
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", code], cwd=tmp_path, env=env,
                          capture_output=True, text=True, timeout=120, check=False)  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
