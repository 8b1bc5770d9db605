"""``riskrules dashboard``: start the pages here, or share them on the farm's own network."""

from __future__ import annotations

import os
import signal
import sys
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.door.certificate import Certificate
    from riskrules.door.devices import Devices
    from riskrules.door.people import Role
    from riskrules.door.start import Opening

PORT, FRONT_PORT = 8501, 8443


def dashboard(
    farm: Annotated[
        Path | None, typer.Option("--farm", help="The farm file; else the one open last.")
    ] = None,
    store: Annotated[Path | None, typer.Option("--store", help="The log store.")] = None,
    journal: Annotated[str | None, typer.Option("--journal", help="The field journal.")] = None,
    port: Annotated[
        int, typer.Option("--port", min=1, max=65535, help="The port on this computer.")
    ] = PORT,
    share: Annotated[
        bool, typer.Option("--share", help="Let paired devices of the farm's network in.")
    ] = False,
    role: Annotated[
        str, typer.Option("--role", help="Of the first device: grower, scout, adviser or reader.")
    ] = "grower",
    address: Annotated[
        str | None, typer.Option("--address", help="This computer's address on that network.")
    ] = None,
    share_port: Annotated[
        int, typer.Option("--share-port", min=1, max=65535, help="The port on that network.")
    ] = FRONT_PORT,
    sign_in: Annotated[
        bool, typer.Option("--sign-in", help="Let people sign in instead of pairing devices.")
    ] = False,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the pages in a browser.")
    ] = True,
) -> None:
    """Open the pages for grower, scout and adviser. They listen on this computer alone.

    With --share, a front with a certificate of its own lets devices in that were paired.
    """
    from riskrules.door.start import Opening

    if farm is not None and not farm.is_file():
        raise typer.BadParameter(f"no farm file {farm}")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # so that what was started is stopped
    opening = Opening(farm, store, journal, port)
    if share or sign_in:
        _share(opening, role, address, share_port, sign_in)
    else:
        _here(opening, browser)


def on_desktop() -> bool:
    """Return whether somebody sits before this computer's screen."""
    if "SSH_CONNECTION" in os.environ:
        return False
    if sys.platform in ("darwin", "win32"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _here(opening: Opening, browser: bool) -> None:
    from riskrules.door.start import start_pages, stop

    child = start_pages(opening)
    url = f"http://localhost:{opening.port}"
    print(f"The pages are at {url}, on this computer alone. Ctrl-C stops them.", flush=True)
    if browser and on_desktop():
        webbrowser.open(url)
    try:
        code = child.wait()
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return
    finally:
        stop(child)
    raise RiskRulesError(f"the server of pages ended (exit {code})")


def _share(opening: Opening, role: str, address: str | None, port: int, sign_in: bool) -> None:
    from dataclasses import replace

    from riskrules.door.certificate import certificate
    from riskrules.door.devices import Devices, devices_file
    from riskrules.door.network import is_own, own_address, own_names
    from riskrules.door.people import ROLES, load_people, people_file
    from riskrules.door.start import check_port
    from riskrules.view.chosen import home, remembered

    farm = opening.farm or remembered()
    if farm is None:
        raise typer.BadParameter("no farm to share; expected --farm")
    first = next((r for r in ROLES if r == role), None)
    if first is None:
        raise typer.BadParameter(f"--role is '{role}'; expected one of {', '.join(ROLES)}")
    if sign_in and not load_people(people_file(farm)):
        raise RiskRulesError(f"{people_file(farm)}: nobody listed; expected the people to sign in")
    here = address or own_address()
    if not is_own(here):
        raise typer.BadParameter(f"--address is {here}; expected one of the farm's own network")
    check_port(here, port)
    names = own_names(here)
    made = certificate(home() / "front", names)
    url = f"https://{here}:{port}"
    devices = Devices(devices_file(farm))
    _run_front(replace(opening, farm=farm), devices, names, made, (here, port), first, sign_in, url)


def _run_front(
    opening: Opening,
    devices: Devices,
    names: list[str],
    made: Certificate,
    where: tuple[str, int],
    role: Role,
    sign_in: bool,
    url: str,
) -> None:
    """Start both servers and stop both when either ends."""
    import uvicorn

    from riskrules.door.front import Front
    from riskrules.door.start import new_secret, port_of, start_pages, start_records, stop

    secret = new_secret()
    more = {
        "RISKRULES_FRONT_SECRET": secret,
        "RISKRULES_FRONT_URL": url,
        "RISKRULES_FRONT_PRINT": made.fingerprint,
    }
    child, records = start_pages(opening, names, more), None
    try:
        hosts = [f"{name}:{where[1]}" for name in names]
        records = start_records(_journal(opening), opening.farm, hosts)
        front = Front(
            devices, opening.port, secret, frozenset(names),
            (port_of(records.url), records.token) if records else None, sign_in,
        )  # fmt: skip
        _greet(url, made, None if sign_in else devices.new_code(role), role)
        uvicorn.run(
            front, host=where[0], port=where[1], ssl_certfile=str(made.cert),
            ssl_keyfile=str(made.key), log_level="warning", access_log=False,
            server_header=False, proxy_headers=False, ws="websockets-sansio", lifespan="on",
            limit_concurrency=200, timeout_keep_alive=15, timeout_graceful_shutdown=3,
        )  # fmt: skip
    finally:
        if records is not None:
            records.close()
        stop(child)


def _journal(opening: Opening) -> str | None:
    from riskrules.farm import load_farm
    from riskrules.sources import journal_of

    if opening.journal is not None or opening.farm is None:
        return opening.journal
    return journal_of(load_farm(opening.farm))


def _greet(url: str, made: Certificate, code: str | None, role: str) -> None:
    """Say how a device comes in, with the code as a picture."""
    from riskrules.door.pairing import pair_address, picture_in_text

    if code is None:
        print(f"The pages are at {url}; people sign in there.")
    else:
        to = pair_address(url, code)
        print(picture_in_text(to))
        print(f"Take this picture with the device's camera, or open there: {to}")
        print(f"It works once, within ten minutes, and lets the device in as {role}.")
    print("The device warns once that it does not know this computer's certificate. Its SHA-256")
    print(f"fingerprint is {made.fingerprint}")
    print("Ctrl-C stops all.", flush=True)


def register(app: typer.Typer) -> None:
    """Add the command to the others."""
    app.command("dashboard")(dashboard)
