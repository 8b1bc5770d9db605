"""Names and address of the computer on the farm's own network."""

from __future__ import annotations

import ipaddress
import socket

from riskrules.errors import RiskRulesError


def own_address() -> str:
    """Return this computer's address on its own network. Nothing is sent to find it.

    Raises
    ------
    RiskRulesError
        If it has none, or only one that all the world can reach.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("10.255.255.255", 9))  # a datagram socket: this only picks a route
            found = str(asked.getsockname()[0])
        except OSError:
            found = "127.0.0.1"
    if ipaddress.ip_address(found).is_loopback:
        raise RiskRulesError("this computer is in no network; expected one, or --address")
    if not is_own(found):
        message = f"{found} can be reached by all the world; expected an own network, or --address"
        raise RiskRulesError(message)
    return found


def is_own(address: str) -> bool:
    """Return whether an address belongs to an own network, not to the open internet.

    Examples
    --------
    >>> is_own("192.168.1.7"), is_own("8.8.8.8"), is_own("fe80::1%eth0"), is_own("no address")
    (True, False, True, False)
    """
    try:
        found = ipaddress.ip_address(address.split("%", 1)[0])
    except ValueError:
        return False
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped:
        found = found.ipv4_mapped
    return found.is_private or found.is_link_local


def own_names(address: str) -> list[str]:
    """Return the names that a browser may ask this computer by, the address first."""
    host = socket.gethostname().split(".", 1)[0].lower()
    plain = host and all(c.isascii() and (c.isalnum() or c == "-") for c in host)
    return [address, *([host, f"{host}.local"] if plain else []), "localhost", "127.0.0.1"]
