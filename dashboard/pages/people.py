"""People and devices: who gets in, and how to let a device in."""

from __future__ import annotations

import os
from pathlib import Path

import streamlit as st

from dashboard import frame, who
from dashboard.words import say
from riskrules.door.devices import CODE_LIFE_S, Device, Devices, devices_file
from riskrules.door.pairing import pair_address, picture
from riskrules.door.people import ROLES, Role, load_people, people_file
from riskrules.show import Style


@who.for_roles("grower")
def new_code(farm: Path, role: Role, name: str) -> str:
    """Make a pairing code and return the address to open."""
    code = Devices(devices_file(farm)).new_code(role, name)
    return pair_address(os.environ["RISKRULES_FRONT_URL"], code)


@who.for_roles("grower")
def withdraw(farm: Path, device: str) -> None:
    """Take a device off the list; the front cuts its connections."""
    Devices(devices_file(farm)).withdraw(device)


def show_devices(farm: Path, style: Style) -> None:
    """List the devices, each with its button."""
    st.subheader(say("people.devices"))
    devices = Devices(devices_file(farm)).all()
    if not devices:
        st.text(say("people.none"))
    for device in devices:
        _device(farm, device, style)


def _device(farm: Path, device: Device, style: Style) -> None:
    said = say(
        "people.device", name=device.name, role=say(f"role.{device.role}"),
        paired=style.moment(device.paired), ends=style.moment(device.ends),
    )  # fmt: skip
    left, right = st.columns([4, 1], vertical_alignment="center")
    left.text(said)
    label = say("people.withdraw", name=device.name)
    if right.button(frame.plain(label), key=f"withdraw_{device.id}"):
        with frame.troubles():
            withdraw(farm, device.id)
        st.rerun()


def let_in(farm: Path) -> None:
    """Make a code and show it as a picture, where the pages are shared."""
    st.subheader(say("people.let_in"))
    if "RISKRULES_FRONT_URL" not in os.environ:
        st.text(say("people.not_shared"))
        st.code(f"riskrules dashboard --share --farm {farm.name}", language=None, wrap_lines=True)
        return
    with st.form("let_in"):
        role = st.selectbox(
            say("people.as"), ROLES, index=1, format_func=lambda r: say(f"role.{r}")
        )
        name = st.text_input(say("people.name"), max_chars=60, value=say("people.a_name"))
        if st.form_submit_button(say("people.make")):
            with frame.troubles():
                st.session_state["pairing"] = new_code(farm, role, name)
    address = st.session_state.get("pairing")
    if address:
        st.image(picture(address), width=300, caption=say("people.take"))
        st.code(address, language=None, wrap_lines=True)
        st.text(say("people.works", minutes=CODE_LIFE_S // 60))
    st.text(say("people.print"))
    st.code(os.environ.get("RISKRULES_FRONT_PRINT", ""), language=None, wrap_lines=True)


def show_people(farm: Path) -> None:
    """List who may sign in, as the people file says."""
    st.subheader(say("people.people"))
    people = load_people(people_file(farm))
    if people is None:
        st.text(say("people.no_file", file=people_file(farm).name))
        return
    for person in people.values():
        st.text(
            say("people.person", name=person.name, email=person.email,
                role=say(f"role.{person.role}"))
        )  # fmt: skip


page = frame.begin("people")
frame.need("grower")
file = frame.farm_file()
if file is not None:
    with frame.troubles():
        show_devices(file, page.style)
        let_in(file)
        show_people(file)
