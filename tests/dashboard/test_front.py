"""Real requests through the front: without a token, with a withdrawn one, with a guessed code."""

import socket
import time
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import quote
from uuid import uuid4

import pytest
from front_help import SECRET, running
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from riskrules.door.front import COOKIE, FORM_LARGEST, LARGEST
from riskrules.door.guesses import EACH
from riskrules.door.pairing import pair_address, picture
from riskrules.door.start import port_of
from riskrules.journal.serve import receive


@pytest.fixture
def front(tmp_path):
    with running(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """A front that tests only ask what it refuses, one for all of them."""
    with running(tmp_path_factory.mktemp("closed")) as made:
        yield made


def stream(front, token=None, origin="own", path="/_stcore/stream", **more):
    headers = {"Cookie": f"{COOKIE}={token}; other=1"} if token else {}
    return connect(
        f"wss://127.0.0.1:{front.port}{path}", ssl=front.tls(), additional_headers=headers,
        origin=front.origin if origin == "own" else origin, proxy=None, **more,
    )  # fmt: skip


PATHS = ("/", "/_stcore/health", "/_stcore/stream", "/static/x.js", "/_stcore/upload_file/a/b",
         "/walk", "/records", "/%2e%2e/etc/passwd", "//evil", "/pair/x", "/media/a")  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_without_a_token_nothing_is_shown(closed, path):
    for token in (None, "guess", "x" * 5000):
        status, headers, body = closed.ask(path=path, token=token)
        assert status == 401 and b"Not paired" in body
        assert "default-src 'none'" in headers["content-security-policy"]
    assert closed.inner.seen == []


def test_a_device_gets_through_and_says_nothing_for_the_front(front):
    device, token = front.pair()
    lies = {"X-Riskrules-Front": "a lie", "X-Riskrules-Device": "other", "Via": "1.1 x",
            "X-Forwarded-For": "127.0.0.1", "Forwarded": "for=127.0.0.1"}  # fmt: skip
    status, headers, body = front.ask(path="/a%2Fb?q=1", headers=lies, token=token)
    assert (status, body) == (200, b"inner " * 1000)
    seen = front.inner.seen[0]["headers"]
    assert seen["x-riskrules-front"] == SECRET and seen["x-riskrules-device"] == device.id
    assert not {"via", "x-forwarded-for", "forwarded", "cookie"} & set(seen)


def test_pairing(front):
    code = front.devices.new_code("scout")
    path = pair_address("", code)
    status, _, body = front.ask(path=path)
    assert status == 200 and code.encode() in body
    assert front.ask(path=path)[0] == 200  # a look uses nothing up
    form = f"code={quote(code)}&name=my+phone"
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert front.ask("POST", "/pair", kind, form)[0] == 403  # no page of ours sent it
    evil = kind | {"Origin": "https://evil.example"}
    assert front.ask("POST", "/pair", evil, form)[0] == 403
    own = kind | {"Origin": front.origin}
    status, headers, _ = front.ask("POST", "/pair", own, form)
    assert (status, headers["location"]) == (303, "/")
    cookie = headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    assert all(
        f"; {word}" in cookie for word in ("HttpOnly", "Secure", "SameSite=strict", "Path=/")
    )
    assert "Domain" not in cookie
    token = cookie.split(";")[0].split("=", 1)[1]
    assert front.ask(token=token)[0] == 200
    assert front.devices.of_token(token).name == "my phone"
    assert front.ask("POST", "/pair", own, form)[0] == 403  # it works once


def test_guessed_codes_are_refused_and_soon_not_looked_at(front):
    own = {"Origin": front.origin}
    for i in range(EACH):
        assert front.ask("POST", "/pair", own, f"code=guess{i}")[0] == 403
    code = front.devices.new_code("grower")
    assert front.ask("POST", "/pair", own, f"code={code}")[0] == 429
    assert front.devices.all() == []


def test_a_code_used_at_once_by_many_lets_one_in(front):
    code, own = front.devices.new_code("scout"), {"Origin": front.origin}
    with ThreadPoolExecutor(4) as pool:
        found = list(
            pool.map(lambda _: front.ask("POST", "/pair", own, f"code={code}")[0], range(4))
        )
    assert sorted(found) == [303, 403, 403, 403] and len(front.devices.all()) == 1


def test_what_is_typed_into_the_address_is_text(closed):
    _, _, body = closed.ask(path="/pair?code=%22%3E%3Cscript%3Ealert(1)%3C/script%3E")
    assert b"<script" not in body and b"&lt;script" in body


@pytest.mark.parametrize(
    "form", ["", "code", "code=%ff", "a=1&" * 50, "x" * (FORM_LARGEST + 1), "\x80"]
)
def test_strange_forms_are_wrong_codes(front, form):
    status, _, _ = front.ask("POST", "/pair", {"Origin": front.origin}, form.encode("latin-1"))
    assert status == 403


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "a@127.0.0.1", ""])
def test_a_foreign_host_is_refused(closed, host):
    _, token = closed.pair()
    assert closed.ask(headers={"Host": host}, token=token)[0] == 400


def test_a_withdrawn_device_is_cut_at_once(front):
    device, token = front.pair()
    with stream(front, token, subprotocols=["streamlit", "x"]) as ws:
        assert ws.subprotocol == "streamlit"
        for message in ("text", b"\x00\xff" * 10_000):
            ws.send(message)
            assert ws.recv(timeout=5) == message
        seen = front.inner.seen[-1]["headers"]
        assert seen["x-riskrules-device"] == device.id and seen["cookie"] == "other=1"
        assert seen["host"] == f"127.0.0.1:{front.port}" and seen["origin"] == front.origin
        other, kept = front.pair("reader")
        with stream(front, kept) as stays:
            front.devices.withdraw(device.id)
            begin = time.monotonic()
            with pytest.raises(ConnectionClosed):
                ws.recv(timeout=10)
            assert time.monotonic() - begin < 5
            stays.send("still")
            assert stays.recv(timeout=5) == "still"
    assert front.ask(token=token)[0] == 401
    with pytest.raises(InvalidStatus) as refused:
        stream(front, token)
    assert refused.value.response.status_code == 401


def test_an_unreadable_list_of_devices_cuts_all(front):
    _, token = front.pair()
    with stream(front, token) as ws:
        front.devices.path.write_text("{")
        with pytest.raises(ConnectionClosed):
            ws.recv(timeout=10)
    assert front.ask(token=token)[0] == 401


@pytest.mark.parametrize("origin", [None, "https://evil.example", "null", "http://127.0.0.1"])
def test_another_page_cannot_use_the_devices_cookie(closed, origin):
    _, token = closed.pair()
    with pytest.raises(InvalidStatus) as refused:
        stream(closed, token, origin)
    assert refused.value.response.status_code == 403


def test_a_bomb_is_stopped_on_its_way(front):
    _, token = front.pair()
    said = {"Content-Length": str(LARGEST + 1)}
    status, _, _ = front.ask("PUT", "/_stcore/upload_file/a/b", said, b"x", token)
    assert status == 413

    def endless():
        for _ in range(LARGEST // 1_000_000 + 2):
            yield b"x" * 1_000_000

    try:
        status, _, _ = front.ask("PUT", "/_stcore/upload_file/a/b", {}, endless(), token)
        assert status == 413
    except (BrokenPipeError, ConnectionError):
        pass  # it hung up on us: as good
    assert all(s["body"] <= LARGEST for s in front.inner.seen)
    assert front.ask(token=token)[0] == 200


def test_walks_are_for_the_scout(tmp_path):
    with running(tmp_path, records=True) as front:
        _, reader = front.pair("reader")
        _, scout = front.pair("scout")
        own = {"Origin": front.origin}
        assert front.ask(path="/walk", token=reader)[0] == 403
        assert front.ask("POST", "/records", own, b"[]", reader)[0] == 403
        assert front.ask(path="/walk/1?token=guess", token=scout)[0] == 200
        assert front.inner.seen[-1]["query"] == "token=the-walks-token"
        assert front.ask("POST", "/records", own, b"[]", scout)[0] == 200
        assert front.ask("POST", "/records", {}, b"[]", scout)[0] == 403
        assert front.ask(path="/walk")[0] == 401


def test_with_sign_in_only_the_pages_are_let_through(tmp_path):
    with running(tmp_path, sign_in=True, records=True) as front:
        assert front.ask()[0] == 200
        seen = front.inner.seen[-1]["headers"]
        assert seen["x-riskrules-front"] == SECRET and "x-riskrules-device" not in seen
        assert front.ask(path="/walk")[0] == 403


def test_plain_http_gets_no_page(closed):
    with socket.create_connection(("127.0.0.1", closed.port), timeout=5) as s:
        s.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        try:
            assert b"Not paired" not in s.recv(4096)
        except ConnectionError:
            pass


def test_the_picture_is_a_qr_code_of_the_address():
    """No reader of QR pictures is at hand here: only that it is a picture of that address."""
    a, b = (picture(pair_address("https://192.168.1.7:8443", code)) for code in ("one", "two"))
    assert a.startswith(b"\x89PNG") and a != b


def test_the_journals_own_server_takes_the_front_for_its_own(tmp_path):
    with running(tmp_path, records=True) as front:
        host = f"127.0.0.1:{front.port}"
        with receive(tmp_path / "journal.db", names=[host]) as walks:
            front.front.records = (port_of(walks.url), walks.token)
            _, scout = front.pair("scout")
            status, _, body = front.ask(path=f"/walk/{uuid4()}", token=scout)
            assert (status, body.decode()) == (404, "no such walk here\n")
            said = {"Origin": front.origin, "Content-Type": "application/json"}
            assert front.ask("POST", "/records", said, b"[]", scout)[0] == 403  # no form sent it
