"""People and their roles, and who is at the other end of a request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from riskrules.errors import PackError, RiskRulesError
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import read_marked
from riskrules.packs.model import Strict

Role = Literal["grower", "scout", "adviser", "reader"]
ROLES: tuple[Role, ...] = ("grower", "scout", "adviser", "reader")
HOLDS: dict[str, frozenset[str]] = {
    "grower": frozenset(ROLES),
    "scout": frozenset({"scout", "reader"}),
    "adviser": frozenset({"adviser", "reader"}),
    "reader": frozenset({"reader"}),
}
"""Which roles each role holds: the grower all, and everybody that of a reader. (our own)"""
FILE = "people.yaml"
"""The list of people, beside the farm file."""


class Refused(RiskRulesError):
    """Somebody asked for what their role is not for."""


class PersonText(Strict):
    """One person who may sign in."""

    email: Annotated[str, Field(pattern=r"^[^@\s]+@[^@\s]+$", max_length=254)]
    role: Role
    name: Annotated[str, Field(max_length=80)] = ""


class PeopleText(Strict):
    """The people file as written."""

    people: list[PersonText] = []


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who looks at a page. ``role`` is None for somebody not known.

    ``way`` is how they came in: 'here' (at this computer), 'device' (paired), 'sign-in', or
    'stranger', 'unlisted', 'signed out'.
    """

    role: Role | None
    way: str
    name: str = ""

    def may(self, *roles: str) -> bool:
        """Return whether the visitor holds one of some roles.

        Examples
        --------
        >>> Visitor("scout", "device").may("reader"), Visitor("scout", "device").may("adviser")
        (True, False)
        """
        return self.role is not None and not HOLDS[self.role].isdisjoint(roles)


def people_file(farm_file: Path) -> Path:
    """Return where the people of a farm are listed."""
    return farm_file.parent / FILE


def load_people(path: Path) -> dict[str, PersonText] | None:
    """Return people by their address in small letters; None where there is no such file.

    Raises
    ------
    PackError
        With every trouble of the file. Nobody gets in by a file that is not whole.
    """
    if not path.exists():
        return None
    doc = read_marked(path)
    try:
        text = PeopleText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    found: dict[str, PersonText] = {}
    for i, person in enumerate(text.people):
        key = person.email.casefold()
        if key in found:
            message = f"'{person.email}' stands twice; expected each address once"
            raise PackError([doc.problem(("people", i, "email"), message)])
        found[key] = person
    return found


def signed_in(people: Mapping[str, PersonText], user: Mapping[str, object]) -> Visitor:
    """Return who a user is by what the sign-in service says of them.

    An address that the service says is not verified is nobody's.
    """
    if not user.get("is_logged_in"):
        return Visitor(None, "signed out")
    email = str(user.get("email") or "")
    if user.get("email_verified") not in (None, True, "true"):
        return Visitor(None, "unlisted", email)
    person = people.get(email.casefold())
    if person is None:
        return Visitor(None, "unlisted", email)
    return Visitor(person.role, "sign-in", person.name or person.email)


def is_here(host: str | None, address: str | None, headers: Mapping[str, str]) -> bool:
    """Return whether a request comes from this computer itself, asked for by a name of its own.

    A request that another server handed on is not from here. Neither is one for a foreign name
    that was made to point here.
    """
    if any(name.lower() in FORWARDED for name in headers):
        return False
    if address not in (None, "", "127.0.0.1", "::1"):
        return False
    name = (host or "").lower()
    name = name.rsplit(":", 1)[0] if not name.endswith("]") else name
    return name in ("localhost", "127.0.0.1", "[::1]")


FORWARDED = frozenset({"forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-real-ip"})
