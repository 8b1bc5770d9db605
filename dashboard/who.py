"""Who is at the other end of this session, as the server knows it, and what they may do."""

from __future__ import annotations

import hmac
import os
from collections.abc import Callable, Mapping
from functools import wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

import streamlit as st

from dashboard.words import say
from riskrules.door.devices import Devices, devices_file
from riskrules.door.people import Refused, Visitor, is_here, load_people, people_file, signed_in

FRONT_SECRET = "RISKRULES_FRONT_SECRET"
"""Shared by the encrypted front and this server alone, new at each start."""
SECRET_HEADER, DEVICE_HEADER = "X-Riskrules-Front", "X-Riskrules-Device"
P = ParamSpec("P")
T = TypeVar("T")


def visitor(farm_file: Path | None) -> Visitor:
    """Return who looks: by a paired device, by sign-in, or by being at this computer."""
    headers = request_headers()
    device = _device(headers, farm_file)
    if device is not None:
        return device
    people = load_people(people_file(farm_file)) if farm_file else None
    if people is not None:
        return signed_in(people, dict(st.user))
    if is_here(headers.get("Host"), _address(), headers):
        return Visitor("grower", "here")
    return Visitor(None, "stranger")


def request_headers() -> Mapping[str, str]:
    """Return the headers by which this session came in.

    A page under test has no request: it is at this computer.
    """
    found = dict(st.context.headers)
    return found or {"Host": "localhost"}


def _address() -> str | None:
    return st.context.ip_address


def _device(headers: Mapping[str, str], farm_file: Path | None) -> Visitor | None:
    """Return the visitor that the front vouches for; None where no front does."""
    given, secret = headers.get(SECRET_HEADER), os.environ.get(FRONT_SECRET, "")
    if not given:
        return None
    if not secret or not hmac.compare_digest(given.encode(), secret.encode()):
        return Visitor(None, "stranger")
    known = headers.get(DEVICE_HEADER, "")
    if not known:  # let through to sign in
        return None
    device = Devices(devices_file(farm_file)).of_id(known) if farm_file else None
    return Visitor(device.role, "device", device.name) if device else Visitor(None, "stranger")


def now() -> Visitor:
    """Return the visitor of this session with the farm that is open."""
    from dashboard.frame import farm_file

    return visitor(farm_file())


def role_word(visitor: Visitor) -> str:
    """Return the word for a visitor's role."""
    return say(f"role.{visitor.role or 'nobody'}")


def for_roles(*roles: str) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Let only some roles call a function: the server asks at each call who is there.

    Raises
    ------
    Refused
        At the call, for anybody else; nothing is done then.
    """

    def made(action: Callable[P, T]) -> Callable[P, T]:
        @wraps(action)
        def asked(*args: P.args, **kwargs: P.kwargs) -> T:
            who = now()
            if not who.may(*roles):
                words = ", ".join(say(f"role.{r}") for r in roles)
                raise Refused(say("frame.refused_action", roles=words, role=role_word(who)))
            return action(*args, **kwargs)

        return asked

    return made
