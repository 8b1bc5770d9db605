"""The server hands the form of a walk to a phone, takes what it sends, and stops at Ctrl-C."""

from __future__ import annotations

import json
import socket
from typing import Any
from unittest.mock import patch
from urllib.request import Request, urlopen

from riskrules.journal.serve import Receiver

from .keyboard import Keyboard


def test_a_walk_is_served_and_its_counts_are_kept(farm: Keyboard) -> None:
    farm.done("add", "block", "north_beds", "--beds", 4, "--bed-length", 40)
    plan = ("walk", "plan", "-b", "north_beds", "--stops", 3, "--symptom", "gray_mold")
    record = farm.json(*plan)["kept"][0]["record"]
    walk, (stop, bed, _) = record["id"], record["body"]["stops"][0]
    body = {
        "kind": "sighting", "symptom": "gray_mold", "part": "flower", "affected": 1, "examined": 10,
        "stops": [{"stop": stop, "bed": bed, "affected": 1, "examined": 10}], "walk": walk,
    }  # fmt: skip
    plain: dict[str, Any] = {
        "id": "0b0c7a4e-5f0e-4a43-9a53-1f2d3c4b5a60", "block": "north_beds", "time": farm.now,
        "body": body, "who": "bo", "made": farm.now, "came_by": "form",
    }  # fmt: skip
    sent = {"format": "riskrules walk 1", "walk": walk, "records": [plain], "photos": {}}
    seen = {}

    def somebody_walks(receiver: Receiver) -> None:
        with urlopen(receiver.link(walk), timeout=10) as answer:
            seen["form"] = answer.read().decode()
        head = {"Content-Type": "application/json", "Authorization": f"Bearer {receiver.token}"}
        data = json.dumps(sent).encode()
        try:
            with urlopen(Request(f"{receiver.url}/records", data, head), timeout=10) as answer:
                seen["answer"] = answer.read().decode()
        finally:
            raise KeyboardInterrupt

    with patch.object(Receiver, "wait", somebody_walks):
        ran = farm.done("serve", "--port", 0)
    assert "Stopped." in ran.err and f"/walk/{walk}?token=" in ran.out
    assert walk in seen["form"] and "new" in seen["answer"]
    assert [r.who for r in farm.records("--kind", "sighting")] == ["bo"]


def test_a_port_that_is_taken_is_told(farm: Keyboard) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        said = farm.refused("serve", "--port", taken.getsockname()[1])
    assert "port" in said
    assert "the token is too short" in farm.refused("serve", "--port", 0, "--token", "abc")
