"""The whole way in: ``riskrules dashboard --share``, a code, a phone, and its withdrawal."""

import os
import re
import socket
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
from dash_help import ROOT, free_port, settled, shoot

from riskrules.door.devices import Devices, devices_file

pytestmark = pytest.mark.long
START_S = 60


@contextmanager
def shared(farm, tmp_path, *more):
    """Start the command and yield the address of the front and of the pages, and the code."""
    ports = free_port(), free_port()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "RISKRULES_HOME": str(tmp_path / "home")}
    out = tmp_path / "out.txt"
    with out.open("wb") as file:
        child = subprocess.Popen(
            [sys.executable, "-m", "riskrules.cli", "dashboard", "--farm", str(farm), "--port",
             str(ports[0]), "--address", "127.0.0.1", "--share-port", str(ports[1]),
             *(more or ("--share",))],
            stdout=file, stderr=file, env=env, cwd=tmp_path,
        )  # fmt: skip
    try:
        end = time.monotonic() + START_S
        while "Ctrl-C stops all." not in (text := out.read_text()) and time.monotonic() < end:
            assert child.poll() is None, text
            time.sleep(0.1)
        found = re.search(r"https://\S+/pair\?code=\S+", text)
        yield f"https://127.0.0.1:{ports[1]}", f"http://127.0.0.1:{ports[0]}", found and found[0]
    finally:
        child.terminate()
        child.wait(30)
    with pytest.raises(OSError), socket.create_connection(("127.0.0.1", ports[0]), timeout=5):
        pass  # the server of pages was left running


def test_a_phone_is_let_in_and_withdrawn(sample_farm, tmp_path, browser_page):
    with shared(sample_farm, tmp_path, "--share", "--role", "scout") as (front, pages, code):
        phone = browser_page(390)
        answer = phone.goto(front)
        assert answer.status == 401 and phone.locator("h1").inner_text() == "Not paired"
        phone.goto(code)
        shoot(phone, "pair", 390)
        phone.get_by_role("button", name="Let this device in").click()
        settled(phone)
        assert phone.url.startswith(front + "/")
        phone.goto(front + "/people")
        settled(phone)
        assert not phone.get_by_text("Let a device in").count()  # a scout has no such page
        grower = browser_page(1440)
        grower.goto(pages + "/people")
        settled(grower)
        grower.get_by_role("button", name="Make a code").click()
        grower.get_by_text("Take this with").wait_for()
        settled(grower)
        shoot(grower, "people", 1440)
        grower.get_by_role("button", name="Withdraw phone").click()
        grower.get_by_text("None yet.").wait_for()
        assert Devices(devices_file(sample_farm)).all() == []
        phone.wait_for_timeout(2500)
        assert phone.goto(front).status == 401
        again = browser_page(390)
        again.goto(code)
        again.get_by_role("button", name="Let this device in").click()
        assert again.locator("h1").inner_text() == "That code does not work"
