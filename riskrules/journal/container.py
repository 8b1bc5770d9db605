"""The open container: the whole journal of a farm as one zip of CSV files, and back, exactly."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import UUID
from zipfile import ZipFile

from pydantic import ValidationError
from sqlalchemy import Connection, func, insert, select

from riskrules.farm import Farm, FarmText
from riskrules.journal.container_events import import_csv
from riskrules.journal.container_package import FARM_FILE, FILE, Package, description, packed
from riskrules.journal.container_rows import Content, PhotoFile, content_of, named, rows_of
from riskrules.journal.container_tables import TABLES
from riskrules.journal.container_zip import Members, put, written_beside
from riskrules.journal.intake import Intake, Kept, clock
from riskrules.journal.photos import photo_of
from riskrules.journal.query import Wanted, losing_among, wanted_records
from riskrules.journal.records import RECORD, Block
from riskrules.journal.rows import row_of, stored_of
from riskrules.journal.store import Differing, Journal
from riskrules.journal.tables import differing, photo, record
from riskrules.journal.trouble import JournalError

__all__ = ["WHAT", "Report", "Written", "export", "import_container", "import_csv"]
WHAT = ("farm", "photos")
"""What an export holds beside the records, which are always there."""


@dataclass(frozen=True, slots=True)
class Written:
    """What an export wrote; ``missing`` are photos that records show and that are not in it."""

    records: int
    differing: int
    photos: int
    missing: tuple[str, ...]
    size: int


@dataclass(frozen=True, slots=True)
class Report:
    """What became of an import.

    ``new``, ``known`` and ``differs`` count records as in `Kept`; ``aside`` those that the
    container had set aside itself, and that are kept aside here too. ``clashes`` are those of its
    records that now stand beside another version. ``as_received``: the journal was empty, so that
    the times of receipt, and with them every past state, came along; else they are those of this
    import.
    """

    new: int
    known: int
    differs: int
    aside: int
    clashes: tuple[UUID, ...]
    photos: int
    photos_known: int
    photos_missing: tuple[str, ...]
    as_received: bool
    farm: FarmText | None

    def __str__(self) -> str:
        """Return one sentence for people."""
        said = f"{self.new} records are new, {self.known} were here already"
        if self.differs:
            said += f", {self.differs} differ from what is here and were kept beside it"
        said += f"; {self.photos} photos are new"
        if self.photos_missing:
            said += f", {len(self.photos_missing)} that records show are not in the file"
        return f"{said}; {len(self.clashes)} records stand beside another version."


def export(
    journal: Journal, farm: Farm | None, path: str | Path, what: Collection[str] = WHAT
) -> Written:
    """Write all of a journal into one zip, as it is at one moment, while it stays in use.

    It is read back and compared before it takes the place of an older file of this name. The same
    journal gives the same bytes (with the same version of zlib).

    Parameters
    ----------
    farm : Farm, optional
        Its zone is that of the times shown (UTC without), its blocks are listed, and its file
        goes along. The logs that it names do not.
    what : collection of str
        Of `WHAT`.

    Raises
    ------
    JournalError
        If the journal cannot be read or the file not written; an older file then stays.
    """
    for each in what:
        if each not in WHAT:
            raise JournalError(f"cannot export '{each}'; expected some of {', '.join(WHAT)}")
    target = Path(path)
    with written_beside(target) as file:
        with journal.database.reading() as conn, ZipFile(file, "w") as archive:
            content = _content(conn, farm, what)
            files = _files(content, _blocks(conn, farm), farm)
            zone = farm.text.place.zone if farm else "UTC"
            put(archive, FILE, packed(description(files, content.photos, zone)), True)
            for name, data in files.items():
                put(archive, name, data, True)
            for one in content.photos:
                put(archive, one.file, _photo(conn, one), False)
        file.flush()
        size = file.tell()
        _refuse_other(Path(file.name), content)
    counts = len(content.stored), len(content.differing), len(content.photos)
    return Written(*counts, tuple(named(content)), size)


def import_container(path: str | Path, journal: Journal) -> Report:
    """Take all that a container holds into a journal, each record and photo once; all or nothing.

    Raises
    ------
    JournalError
        If anything of it is not as an export writes it; the journal is then as it was.
    """
    with Members(Path(path)) as members:
        package = Package(members)
        content = _read(package)
        if not content.stored and not content.photos:
            return Report(0, 0, 0, 0, (), 0, 0, (), False, content.farm)
        clock_of = journal._clock
        with journal.database.writing() as conn:
            now = clock_of() if clock_of else clock(conn)
            fresh = conn.execute(select(record.c.seq).limit(1)).scalar() is None
            kept = _take(conn, content, None if fresh else now)
            new = _take_photos(conn, content, package, None if fresh else now)
    return _report(content, kept, new, fresh)


def _content(conn: Connection, farm: Farm | None, what: Collection[str]) -> Content:
    rows = conn.execute(select(record).order_by(record.c.seq))
    stored = [stored_of(row._asdict()) for row in rows]
    aside = [
        Differing(row.received, RECORD.validate_python(json.loads(row.content)))
        for row in conn.execute(select(differing).order_by(differing.c.number))
    ]
    photos: list[PhotoFile] = []
    if "photos" in what:
        columns = photo.c.hash, photo.c.media_type, func.length(photo.c.data), photo.c.received
        photos = [PhotoFile(*row) for row in conn.execute(select(*columns))]
    text = farm.text if farm and "farm" in what else None
    ordered = sorted(photos, key=lambda p: p.hash)
    return Content(tuple(stored), tuple(aside), tuple(ordered), text)


def _blocks(conn: Connection, farm: Farm | None) -> Mapping[str, Block | None]:
    wanted = Wanted(kinds=("block",))
    found = wanted_records(conn, wanted)
    out = losing_among(conn, found, wanted)
    blocks: dict[str, Block | None] = {}
    if farm is not None:
        blocks = dict.fromkeys(b.block for b in farm.text.blocks)
    for each in (s.record for s in found if s.record.id not in out):
        if each.block is not None and isinstance(each.body, Block):
            blocks[each.block] = each.body
    return blocks


def _files(
    content: Content, blocks: Mapping[str, Block | None], farm: Farm | None
) -> dict[str, bytes]:
    rows = rows_of(content, blocks)
    zone = farm.zone if farm else UTC
    files = {table.file: table.write(rows[table.name], zone) for table in TABLES}
    if content.farm is not None:
        plain = content.farm.model_dump(mode="json")
        files[FARM_FILE] = json.dumps(plain, indent=1, ensure_ascii=False).encode() + b"\n"
    return files


def _photo(conn: Connection, each: PhotoFile) -> bytes:
    data = conn.execute(select(photo.c.data).where(photo.c.hash == each.hash)).scalar_one()
    if sha256(data).hexdigest() != each.hash:
        raise JournalError(f"photo {each.hash} is not as it was received; nothing was written")
    return bytes(data)


def _refuse_other(part: Path, content: Content) -> None:
    """Read what was written, and refuse it where it is not what was to be written."""
    with Members(part) as members:
        package = Package(members)
        same = _read(package) == content
        for each in content.photos:
            package.read(each.file)
    if not same:
        raise JournalError("what was written reads back as something else; nothing was kept of it")


def _read(package: Package) -> Content:
    missing = {table.file for table in TABLES} - package.names()
    if missing:
        raise JournalError(f"{min(missing)} is missing; expected a file that export made")
    farm = _farm(package.read(FARM_FILE)) if FARM_FILE in package.names() else None
    tables = {table.file: package.read(table.file) for table in TABLES}
    content = content_of(lambda table: tables[table.file], farm)
    expected = {FARM_FILE, *(t.file for t in TABLES), *(p.file for p in content.photos)}
    odd = (package.names() ^ expected) - {FARM_FILE}
    if odd:
        message = f"{ascii(min(odd))[:90]} is not both in the file and in photos.csv"
        raise JournalError(f"{message}; nothing was read")
    return content


def _farm(data: bytes) -> FarmText:
    try:
        return FarmText.model_validate(json.loads(data))
    except (ValidationError, ValueError, RecursionError):
        raise JournalError(f"{FARM_FILE} is no farm file; expected one as JSON") from None


class _Again(Intake):
    """An intake in which each record brings the time at which it was received."""

    def _next(self, row: dict[str, Any]) -> dict[str, Any]:
        self._received = row["received"]
        return super()._next(row)

    def _set_aside(self, rows: Sequence[dict[str, Any]]) -> None:
        for row in rows:
            self._received = row["received"]
            super()._set_aside([row])


def _take(conn: Connection, content: Content, now: int | None) -> list[Kept]:
    """Take the records in; ``now`` is None where they keep the times of their receipt."""
    rows = [row_of(s.record) | {"received": s.received} for s in content.stored]
    rows += [row_of(d.record) | {"received": d.received} for d in content.differing]
    if not rows:
        return []
    kind: Callable[[Connection, Sequence[dict[str, Any]], int | None], Intake]
    kind = _Again if now is None else Intake
    return kind(conn, rows, now).take()


def _take_photos(conn: Connection, content: Content, package: Package, now: int | None) -> int:
    """Take the photos in, each once, and return how many are new."""
    here = set(conn.execute(select(photo.c.hash)).scalars())
    new = 0
    for each in content.photos:
        made = photo_of(package.read(each.file))
        found = PhotoFile(made.hash, made.media_type, len(made.data), each.received)
        if found != each:
            message = f"{each.file} is not the photo that it is called after"
            raise JournalError(f"{message}; nothing was kept")
        if each.hash not in here:
            new += 1
            values = {"hash": made.hash, "media_type": made.media_type, "data": made.data}
            received = each.received if now is None else now
            conn.execute(insert(photo), values | {"received": received})
    return new


def _report(content: Content, kept: Sequence[Kept], photos: int, fresh: bool) -> Report:
    own = kept[: len(content.stored)]
    states = [k.state for k in own]
    return Report(
        new=states.count("new"),
        known=states.count("known"),
        differs=states.count("differs"),
        aside=sum(k.state == "differs" for k in kept[len(own) :]),
        clashes=tuple(dict.fromkeys(k.id for k in kept if k.clash)),
        photos=photos,
        photos_known=len(content.photos) - photos,
        photos_missing=tuple(named(content)),
        as_received=fresh,
        farm=content.farm,
    )
