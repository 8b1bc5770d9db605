"""The whole way in: ``riskrules dashboard --share``, a code, a phone, and its withdrawal."""

import pytest
from dash_help import settled, shoot
from share_help import shared

from riskrules.door.devices import Devices, devices_file

pytestmark = pytest.mark.long


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
