"""Codes that work once and soon end; tokens that are kept hashed; a certificate made once."""

import stat
from datetime import UTC, datetime, timedelta

import pytest

from riskrules.door.certificate import LIFE_D, certificate
from riskrules.door.devices import CODE_LIFE_S, DEVICE_LIFE_S, Devices, DoorError
from riskrules.door.guesses import ALL, EACH, SPAN_S, Guesses
from riskrules.door.network import is_own
from riskrules.door.people import (
    Visitor,
    is_here,
    load_people,
    signed_in,
)
from riskrules.errors import PackError


class Clock:
    def __init__(self):
        self.now = 1_800_000_000.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def devices(tmp_path, clock):
    return Devices(tmp_path / ".farm.devices.json", clock)


def test_a_code_works_once(devices):
    code = devices.new_code("scout")
    device, token = devices.exchange(code, "phone")
    assert devices.of_token(token) == device and device.role == "scout"
    with pytest.raises(DoorError):
        devices.exchange(code, "phone")


def test_a_code_ends(devices, clock):
    code = devices.new_code("scout")
    clock.now += CODE_LIFE_S + 1
    with pytest.raises(DoorError):
        devices.exchange(code, "phone")


def test_a_device_ends(devices, clock):
    _, token = devices.exchange(devices.new_code("scout"), "phone")
    clock.now += DEVICE_LIFE_S + 1
    assert devices.of_token(token) is None


def test_a_withdrawn_device_is_none(devices):
    device, token = devices.exchange(devices.new_code("scout"), "phone")
    other, kept = devices.exchange(devices.new_code("reader"), "tablet")
    devices.withdraw(device.id)
    assert devices.of_token(token) is None and devices.of_id(device.id) is None
    assert devices.of_token(kept) == other


def test_neither_code_nor_token_is_kept(devices):
    code = devices.new_code("scout")
    before = devices.path.read_text()
    _, token = devices.exchange(code, "phone")
    assert code not in before and token not in devices.path.read_text()
    assert stat.S_IMODE(devices.path.stat().st_mode) == 0o600


def test_a_hash_is_no_token(devices):
    device, _ = devices.exchange(devices.new_code("scout"), "phone")
    assert devices.of_token(device.hash) is None


@pytest.mark.parametrize("text", ["", "[]", "{", '{"devices": [{"id": 1}]}', "\x00"])
def test_a_damaged_list_lets_nobody_in(devices, text):
    _, token = devices.exchange(devices.new_code("scout"), "phone")
    devices.path.write_text(text)
    with pytest.raises(DoorError, match="paired devices"):
        devices.of_token(token)


def test_guesses_end_and_come_back(clock):
    guesses = Guesses(clock)
    for _ in range(EACH):
        assert guesses.may("a")
        guesses.wrong("a")
    assert not guesses.may("a") and guesses.may("b")
    for i in range(ALL - EACH):
        guesses.wrong(i)
    assert not guesses.may("b")  # all together
    clock.now += SPAN_S + 1
    assert guesses.may("a") and guesses.may("b")


def test_the_certificate_is_made_once_and_again_when_ended(tmp_path):
    now = datetime(2026, 5, 1, tzinfo=UTC)
    first = certificate(tmp_path, ["192.168.1.7", "farm.local"], now)
    assert certificate(tmp_path, ["10.0.0.1"], now + timedelta(days=90)) == first
    assert stat.S_IMODE(first.key.stat().st_mode) == 0o600
    assert len(first.fingerprint.split(":")) == 32  # SHA-256
    again = certificate(tmp_path, ["10.0.0.1"], now + timedelta(days=LIFE_D))
    assert again.fingerprint != first.fingerprint


@pytest.mark.parametrize(
    ("address", "own"),
    [("10.1.2.3", True), ("172.16.0.1", True), ("192.168.0.9", True), ("fd00::2", True),
     ("::ffff:192.168.0.9", True), ("172.32.0.1", False), ("1.1.1.1", False),
     ("::ffff:1.1.1.1", False), ("2001:4860:4860::8888", False), ("", False)],
)  # fmt: skip
def test_own_networks(address, own):
    """RFC 1918 and RFC 4193 give the ranges of own networks (memory)."""
    assert is_own(address) is own


@pytest.mark.parametrize(
    ("host", "address", "headers", "here"),
    [
        ("localhost:8501", None, {}, True),
        ("127.0.0.1:8501", "127.0.0.1", {}, True),
        ("[::1]:8501", "::1", {}, True),
        ("localhost:8501", None, {"X-Forwarded-For": "1.1.1.1"}, False),
        ("localhost:8501", None, {"Forwarded": "for=1.1.1.1"}, False),
        ("evil.example:8501", None, {}, False),  # a foreign name made to point here
        ("localhost.evil.example", None, {}, False),
        ("192.168.1.7:8501", "192.168.1.9", {}, False),
        (None, None, {}, False),
    ],
)
def test_who_is_here(host, address, headers, here):
    assert is_here(host, address, headers) is here


def test_people_by_address(tmp_path):
    file = tmp_path / "people.yaml"
    file.write_text("people:\n- {email: Ann@Farm.example, role: scout, name: Ann}\n")
    people = load_people(file)
    logged = {"is_logged_in": True}
    assert signed_in(people, {"is_logged_in": False}) == Visitor(None, "signed out")
    who = signed_in(people, {**logged, "email": "ann@farm.example", "email_verified": True})
    assert who == Visitor("scout", "sign-in", "Ann")
    for user in ({"email": "bob@farm.example"}, {"email": None}, {},
                 {"email": "ann@farm.example", "email_verified": False}):  # fmt: skip
        assert signed_in(people, logged | user).role is None


def test_without_a_list_or_with_a_broken_one(tmp_path):
    assert load_people(tmp_path / "people.yaml") is None
    file = tmp_path / "people.yaml"
    file.write_text("people:\n- {email: ann, role: boss}\n")
    with pytest.raises(PackError, match=r"people\.yaml:2"):
        load_people(file)
    file.write_text("people:\n- {email: a@b, role: scout}\n- {email: A@B, role: grower}\n")
    with pytest.raises(PackError, match="twice"):
        load_people(file)
