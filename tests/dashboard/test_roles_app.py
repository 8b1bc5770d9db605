"""Each role is refused what is not its own, by the server: pages, and actions called anyway."""

import pytest
from dash_help import ROOT, be
from streamlit.testing.v1 import AppTest

from dashboard import frame, who
from dashboard.words import say
from riskrules.door.devices import Devices, devices_file
from riskrules.door.people import ROLES, Refused, Visitor

HELD = {
    "grower": {"grower", "scout", "adviser", "reader"},
    "scout": {"scout", "reader"},
    "adviser": {"adviser", "reader"},
    "reader": {"reader"},
    None: set(),
}


@pytest.mark.parametrize("role", HELD)
@pytest.mark.parametrize("wanted", ROLES)
def test_an_action_asks_who_calls_it(monkeypatch, role, wanted):
    be(monkeypatch, role)
    done = []
    action = who.for_roles(wanted)(done.append)
    if wanted in HELD[role]:
        action("once")
        assert done == ["once"]
    else:
        with pytest.raises(Refused):
            action("once")
        assert done == []


def test_an_action_asks_again_at_each_call(monkeypatch):
    be(monkeypatch, "grower")
    done = []
    action = who.for_roles("grower")(done.append)
    action(1)
    be(monkeypatch, "reader")
    with pytest.raises(Refused):
        action(2)
    assert done == [1]


def test_only_the_grower_opens_another_farm(monkeypatch, sample_farm):
    be(monkeypatch, "adviser")
    with pytest.raises(Refused):
        frame.use_farm(sample_farm)
    assert frame.farm_file() is None
    be(monkeypatch, "grower")
    frame.use_farm(sample_farm)
    assert frame.farm_file() == sample_farm


def headers(monkeypatch, said):
    monkeypatch.setattr(who, "request_headers", lambda: said)


def test_a_front_is_known_by_its_secret(monkeypatch, sample_farm):
    devices = Devices(devices_file(sample_farm))
    device, _ = devices.exchange(devices.new_code("scout"), "phone")
    monkeypatch.setenv(who.FRONT_SECRET, "right")
    said = {"Host": "192.168.1.7:8443", who.SECRET_HEADER: "right", who.DEVICE_HEADER: device.id}
    headers(monkeypatch, said)
    assert who.visitor(sample_farm) == Visitor("scout", "device", "phone")
    for lie in ("wrong", "", "right "):
        headers(monkeypatch, said | {who.SECRET_HEADER: lie})
        assert who.visitor(sample_farm).role is None
    monkeypatch.delenv(who.FRONT_SECRET)  # no front was started
    headers(monkeypatch, said | {who.SECRET_HEADER: ""})
    assert who.visitor(sample_farm).role is None
    monkeypatch.setenv(who.FRONT_SECRET, "right")
    headers(monkeypatch, said)
    devices.withdraw(device.id)
    assert who.visitor(sample_farm).role is None


def test_at_this_computer_only_by_its_own_name(monkeypatch, sample_farm):
    headers(monkeypatch, {"Host": "localhost:8501"})
    assert who.visitor(sample_farm) == Visitor("grower", "here")
    for said in ({"Host": "evil.example"}, {"Host": "localhost", "X-Forwarded-For": "1.1.1.1"}):
        headers(monkeypatch, said)
        assert who.visitor(sample_farm) == Visitor(None, "stranger")


def test_with_people_listed_being_here_is_not_enough(monkeypatch, sample_farm):
    (sample_farm.parent / "people.yaml").write_text("people:\n- {email: a@b.c, role: grower}\n")
    headers(monkeypatch, {"Host": "localhost:8501"})
    assert who.visitor(sample_farm).role is None
    monkeypatch.setenv("RISKRULES_FARM", str(sample_farm))
    run = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60).run()
    assert run.title[0].value == say("sign_in.title") and not run.exception


def test_a_broken_list_of_people_shows_its_trouble_and_nothing_else(monkeypatch, sample_farm):
    (sample_farm.parent / "people.yaml").write_text("people: [{email: a, role: x}]\n")
    monkeypatch.setenv("RISKRULES_FARM", str(sample_farm))
    run = AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=60).run()
    assert not run.exception and "people.yaml:1" in run.text[0].value and not run.title


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "![x](http://x/y)", ":red[x] $x$"])
def test_what_a_device_is_called_is_text(app, sample_farm, name):
    devices = Devices(devices_file(sample_farm))
    devices.exchange(devices.new_code("scout", name), "")
    run = app("people", sample_farm)
    assert not run.exception
    assert any(name in t.value for t in run.text)
    assert run.button[0].label == frame.plain(say("people.withdraw", name=name))
    assert not any(name in m.value for m in run.markdown)


def test_withdrawing_on_the_page(app, sample_farm):
    devices = Devices(devices_file(sample_farm))
    device, _ = devices.exchange(devices.new_code("scout"), "phone")
    run = app("people", sample_farm)
    run.button(key=f"withdraw_{device.id}").click().run()
    assert devices.all() == [] and not run.exception


def test_a_code_made_on_the_page_works(app, sample_farm, monkeypatch):
    monkeypatch.setenv("RISKRULES_FRONT_URL", "https://192.168.1.7:8443")
    run = app("people", sample_farm)
    run.selectbox[0].select("reader")
    run.button[0].click().run()
    address = run.session_state["pairing"]
    assert address.startswith("https://192.168.1.7:8443/pair?code=")
    device, _ = Devices(devices_file(sample_farm)).exchange(address.split("code=")[1], "tablet")
    assert device.role == "reader"
