"""The description of a container: ``datapackage.json`` as Data Package v1 has it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from pydantic import BaseModel, ValidationError

from riskrules.journal.container_rows import PhotoFile
from riskrules.journal.container_tables import TABLES
from riskrules.journal.container_text import Table
from riskrules.journal.container_zip import Members
from riskrules.journal.trouble import JournalError

FILE = "datapackage.json"
FARM_FILE = "farm.json"
FORMAT = 1
"""Which version of the container this is; raised when a table changes."""
ABOUT = (
    "The field journal of a farm: all versions of all records. One CSV file for each kind of "
    "record, one for stops, one for blocks; photos under photos/ by the SHA-256 of their bytes. "
    "Nothing is ever erased: a correction is a row that names in 'replaces' the record it "
    "corrects; 'number' gives the order in which the journal received records. Times are shown "
    "on the farm's clock with its offset. In free text an apostrophe stands before = + - @ or an "
    "apostrophe at the start, or after a semicolon, tab or new line, so that no spreadsheet runs "
    "it: take one apostrophe away there."
)
SOURCES = (
    {
        "title": "Growth stages: Meier and others 1994, Nachrichtenbl. Deut. Pflanzenschutzd. "
        "46:141-153; our words and selection"
    },
    {"title": "All other code lists: our own (assumption); see code_lists.csv"},
)


class ResourceText(BaseModel):
    """What the importer takes from the description of a file."""

    path: str
    hash: str
    bytes: int


class PackageText(BaseModel):
    """What the importer takes from a description."""

    journal_format: int
    resources: list[ResourceText]


def description(
    files: Mapping[str, bytes], photos: tuple[PhotoFile, ...], zone: str
) -> dict[str, Any]:
    """Return the descriptor of a container's files and photos."""
    resources = [_table(table, files[table.file]) for table in TABLES]
    if FARM_FILE in files:
        farm = {"name": "farm", "title": "The farm file, as JSON", "format": "json"}
        resources.append(farm | _file(FARM_FILE, "application/json", files[FARM_FILE]))
    for photo in photos:
        made = {"name": f"photo-{photo.hash}", "format": photo.file.rsplit(".", 1)[1]}
        made |= {"path": photo.file, "mediatype": photo.media_type}
        resources.append(made | {"bytes": photo.size, "hash": f"sha256:{photo.hash}"})
    return {
        "profile": "data-package",
        "name": "field-journal",
        "title": "Field journal of a strawberry farm",
        "description": ABOUT,
        "journal_format": FORMAT,
        "zone": zone,
        "sources": list(SOURCES),
        "resources": resources,
    }


def packed(descriptor: Mapping[str, Any]) -> bytes:
    """Return a descriptor as the bytes of its file."""
    return json.dumps(descriptor, indent=1, ensure_ascii=False).encode() + b"\n"


def _file(path: str, media_type: str, data: bytes) -> dict[str, Any]:
    made = {"path": path, "mediatype": media_type, "encoding": "utf-8"}
    return made | {"bytes": len(data), "hash": f"sha256:{sha256(data).hexdigest()}"}


def _table(table: Table, data: bytes) -> dict[str, Any]:
    keys = [
        {"fields": [column], "reference": {"resource": other, "fields": [its]}}
        for column, other, its in table.links
    ]
    schema: dict[str, Any] = {
        "fields": [c.described() for c in table.columns],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.title,
        "format": "csv",
        **_file(table.file, "text/csv", data),
        "dialect": {
            "delimiter": ",",
            "lineTerminator": "\r\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "skipInitialSpace": False,
            "header": True,
        },
        "schema": schema | ({"foreignKeys": keys} if keys else {}),
    }


class Package:
    """A container's files as its description has them; each is read only if its hash is right."""

    def __init__(self, members: Members) -> None:
        self._members = members
        text = _described(members)
        if text.journal_format != FORMAT:
            message = f"is of format {text.journal_format}; this version knows {FORMAT}"
            raise JournalError(f"{members.name} {message}: update the program")
        self._of = {each.path: each for each in text.resources}
        odd = (members.names() - {FILE}) ^ self._of.keys()
        if odd or len(self._of) != len(text.resources):
            shown = ascii(min(odd, default="a file twice"))[:90]
            message = f"does not hold just the files that its description names: {shown}"
            raise JournalError(f"{members.name} {message}; nothing was read")

    def names(self) -> set[str]:
        """Return the names of all files described."""
        return set(self._of)

    def read(self, name: str) -> bytes:
        """Return the bytes of a file.

        Raises
        ------
        JournalError
            If it is not there, or is not the one that was described.
        """
        data = self._members.read(name)
        said = self._of[name]
        if said.bytes != len(data) or said.hash != f"sha256:{sha256(data).hexdigest()}":
            message = "is not the file that was described: its hash differs; nothing was read"
            raise JournalError(f"{name} in {self._members.name} {message}")
        return data


def _described(members: Members) -> PackageText:
    data = members.read(FILE)
    try:
        return PackageText.model_validate(json.loads(data))
    except (ValidationError, ValueError, RecursionError):
        message = f"{FILE} in {members.name} is no description of a journal"
        raise JournalError(f"{message}; expected a file that export made") from None
