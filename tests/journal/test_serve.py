"""The farm's server: who is let in, and what becomes of what is sent."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import suppress
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from uuid import uuid4, uuid5

import pytest

from riskrules.journal import serve_http
from riskrules.journal.records import Note, Pick, Sighting, Stop, TakenBack, canonical
from riskrules.journal.serve import Receiver, receive
from riskrules.journal.store import open_journal

from .phone_browser import PLANNED, WALK, planned
from .small_records import JPEG, corrected, made

TOKEN = "an-invented-token-of-a-test"


TWELVE = {"kind": "sighting", "symptom": "gray_mold", "part": "leaf", "affected": 12}
TWELVE |= {"examined": 10, "walk": str(WALK)}


@pytest.fixture
def receiver(tmp_path: Path) -> Iterator[Receiver]:
    url = tmp_path / "journal.db"
    with open_journal(url) as journal:
        journal.add([planned()])
    with receive(url, token=TOKEN) as made_receiver:
        made_receiver.clock = lambda: PLANNED + 86_400.0
        yield made_receiver


def seen(**more: Any) -> Any:
    stops = (Stop(stop=1, affected=1, examined=10, bed=1),)
    body = Sighting(
        symptom="gray_mold", part="leaf", affected=1, examined=10, stops=stops, walk=WALK
    )
    return made(body.model_copy(update=more), came_by="form")


def asked(
    receiver: Receiver,
    method: str,
    path: str,
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
) -> tuple[int, str, dict[str, str]]:
    host, port = receiver.url.removeprefix("http://").split(":")
    connection = HTTPConnection(host, int(port), timeout=10)
    connection.request(method, path, body, headers or {})
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer.status, text, dict(answer.getheaders())


def sent(receiver: Receiver, *records: Any, **more: Any) -> tuple[int, Any]:
    headers = {"Authorization": f"Bearer {TOKEN}", "Content-Type": "application/json"}
    plain = [r if isinstance(r, dict) else canonical(r) for r in records]
    values = {"format": "riskrules walk 1", "walk": str(WALK), "records": plain, "photos": {}}
    values |= more.pop("values", {})
    status, text, _ = asked(
        receiver,
        "POST",
        "/records",
        more.pop("data", json.dumps(values).encode()),
        headers | more,
    )
    return status, json.loads(text)


def test_it_listens_on_this_computer_alone(receiver: Receiver) -> None:
    assert receiver.url.startswith("http://127.0.0.1:")


def test_a_walk_has_its_form_for_who_has_the_link(receiver: Receiver) -> None:
    path = receiver.link(WALK).removeprefix(receiver.url)
    status, page, headers = asked(receiver, "GET", path)
    assert (
        status == 200 and str(WALK) in page and "connect-src 'self'" in page.replace("&#x27;", "'")
    )
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"].startswith("private, max-age=")
    status, page, _ = asked(receiver, "GET", path.split("?")[0])
    assert status == 403 and TOKEN not in page
    assert asked(receiver, "GET", f"/walk/{uuid4()}?token={TOKEN}")[0] == 404
    assert asked(receiver, "GET", f"/walk/../x?token={TOKEN}")[0] == 404
    assert asked(receiver, "GET", f"/?token={TOKEN}")[0] == 404
    assert asked(receiver, "PUT", "/records")[0] == 501


def test_a_walk_taken_back_has_no_form_but_what_was_counted_is_taken(receiver: Receiver) -> None:
    receiver.journal.add([corrected(planned())])
    path = receiver.link(WALK).removeprefix(receiver.url)
    status, text, _ = asked(receiver, "GET", path)
    assert status == 410 and "taken back" in text
    assert sent(receiver, seen())[1]["records"][0]["state"] == "new"


def test_sent_twice_is_kept_once(receiver: Receiver) -> None:
    record = seen()
    assert sent(receiver, record)[1]["records"][0]["state"] == "new"
    assert sent(receiver, record)[1]["records"][0]["state"] == "known"
    other = record.model_copy(update={"note": "other"})
    assert sent(receiver, other)[1]["records"][0]["state"] == "differs"
    assert receiver.journal.records(kinds=("sighting",)) == [record]
    assert [each.record for each in receiver.journal.differing()] == [other]


def test_photos_are_kept_by_their_hash(receiver: Receiver) -> None:
    from base64 import b64encode
    from hashlib import sha256

    known = sha256(JPEG).hexdigest()
    values = {"photos": {known: b64encode(JPEG).decode()}}
    assert sent(receiver, values=values) == (200, {"records": [], "photos": [known]})
    photo = receiver.journal.photo(known)
    assert photo is not None and photo.data == JPEG


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Authorization": ""}, 403),
        ({"Authorization": "Bearer x"}, 403),
        ({"Authorization": "Bearer \xe4"}, 403),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Host": "elsewhere.example"}, 421),
        ({"Content-Type": "text/plain"}, 415),
        ({"Content-Length": "999999999"}, 413),
        ({"Content-Length": "-1"}, 411),
        ({"Transfer-Encoding": "chunked"}, 411),
    ],
)
def test_who_is_not_the_form_is_kept_out(
    receiver: Receiver, headers: dict[str, str], status: int
) -> None:
    found, answer = sent(receiver, seen(), **headers)
    assert found == status and answer["error"]
    assert receiver.journal.last() == 1


@pytest.mark.parametrize("data", [b"", b"{", b"[]", b"\xff", b"[" * 90_000, b'{"format": 1}'])
def test_what_is_no_sending_is_refused_in_words(receiver: Receiver, data: bytes) -> None:
    status, answer = sent(receiver, data=data)
    assert status == 400 and "expected" in answer["error"]


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (canonical(seen()) | {"block": "south"}, "expected north, as walked"),
        (canonical(seen()) | {"block": None}, "expected north, as walked"),
        (canonical(seen()) | {"came_by": "hand"}, "it came by hand"),
        (canonical(seen()) | {"time": PLANNED + 2 * 86_400}, "is in the future"),
        (canonical(seen()) | {"extra": 1}, "'extra' is no part"),
        (canonical(seen(walk=uuid4())), f"expected {WALK}"),
        (canonical(seen(symptom="unheard_of")), "no symptom 'unheard_of'"),
        (
            canonical(seen(stops=(Stop(stop=9, affected=1, examined=10, bed=1),))),
            "stop 9 in bed 1 is not in the walk",
        ),
        (canonical(seen()) | {"body": TWELVE}, "12 affected of 10 examined"),
        ({"id": "x" * 999}, "id is"),
    ],
)
def test_a_wrong_record_is_refused_with_its_reason_and_the_others_are_kept(
    receiver: Receiver, record: dict[str, Any], reason: str
) -> None:
    good = seen()
    status, answer = sent(receiver, record, good)
    assert status == 200
    states = {each["id"]: each for each in answer["records"]}
    refused = states.pop(str(record["id"])[:36])
    assert refused["state"] == "refused" and reason in refused["reason"]
    assert states[str(good.id)]["state"] == "new"
    assert receiver.journal.records(kinds=("sighting",)) == [good]


def test_a_link_to_a_walk_does_not_let_correct_what_others_wrote(receiver: Receiver) -> None:
    by_hand = made(Pick())
    receiver.journal.add([by_hand])
    back = made(TakenBack(), replaces=by_hand.id, why="x", came_by="form")
    walk = made(TakenBack(), replaces=WALK, why="x", came_by="form")
    _, answer = sent(receiver, back, walk)
    assert [each["state"] for each in answer["records"]] == ["refused", "refused"]
    assert by_hand in receiver.journal.records()


def test_a_correction_and_its_original_may_come_together(receiver: Receiver) -> None:
    first = seen().model_copy(update={"id": uuid5(WALK, "gray_mold/leaf")})
    second = seen().model_copy(update={"replaces": first.id, "why": "counted again"})
    _, answer = sent(receiver, second, first)
    assert [(e["state"], e["asks"]) for e in answer["records"]] == [("new", []), ("new", [])]
    assert receiver.journal.records(kinds=("sighting",)) == [second]
    other = made(Note(text="x"), replaces=second.id, why="x", came_by="form")
    assert sent(receiver, other)[1]["records"][0]["state"] == "refused"


def test_what_is_doubtful_is_kept_and_asked_about(receiver: Receiver) -> None:
    night = made(Pick(), "2026-06-10 23:30", came_by="form")
    _, answer = sent(receiver, night)
    assert answer["records"][0]["state"] == "new"
    assert answer["records"][0]["asks"] == ["a pick at 23:30, by night?"]


def test_a_sending_cut_off_on_the_way_keeps_nothing(receiver: Receiver) -> None:
    host, port = receiver.url.removeprefix("http://").split(":")
    lines = f"POST /records HTTP/1.1\r\nHost: {host}:{port}\r\nAuthorization: Bearer {TOKEN}\r\n"
    lines += "Content-Type: application/json\r\nContent-Length: 999\r\n\r\n{"
    with socket.create_connection((host, int(port)), timeout=10) as wire:
        wire.sendall(lines.encode())
        wire.shutdown(socket.SHUT_WR)
        assert b" 400 " in wire.recv(4096)
    assert receiver.journal.last() == 1


def test_too_many_at_once_are_asked_to_come_again(receiver: Receiver) -> None:
    for _ in range(serve_http.AT_ONCE):
        receiver._server.room.acquire()
    assert sent(receiver, seen())[0] == 503
    for _ in range(serve_http.AT_ONCE):
        receiver._server.room.release()
    assert sent(receiver, seen())[0] == 200


def test_a_closed_server_ends_connections_that_stay_open(tmp_path: Path) -> None:
    with receive(tmp_path / "journal.db", token=TOKEN) as opened:
        host, port = opened.url.removeprefix("http://").split(":")
        wire = socket.create_connection((host, int(port)), timeout=10)
        wire.sendall(b"POST /records HTTP/1.1\r\n")
    with wire, suppress(ConnectionResetError):
        assert b" 200 " not in wire.recv(1000)
    with pytest.raises(OSError):
        socket.create_connection((host, int(port)), timeout=2)


def test_a_short_token_and_a_broken_journal_are_refused(tmp_path: Path) -> None:
    from riskrules.journal.trouble import JournalError

    with pytest.raises(ValueError, match="too short"):
        receive(tmp_path / "journal.db", token="short")
    (tmp_path / "other.db").write_text("no database, but long enough to be read as one" * 99)
    with pytest.raises(JournalError):
        receive(tmp_path / "other.db")
