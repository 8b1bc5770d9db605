"""A walk taken along on paper or phone, and what comes back of it."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from riskrules.errors import RiskRulesError
from riskrules.farm import Farm
from riskrules.journal.phone import FILE_LIMIT, form_html, read_handed_over
from riskrules.journal.photos import photo_of
from riskrules.journal.records import Record
from riskrules.journal.sheet import filled_template, read_filled, sheet_html, sheet_pdf
from riskrules.journal.store import Journal
from riskrules.journal.symptoms import SymptomList
from riskrules.journal.view import View
from riskrules.view.rows_keep import Outcome, keep

SHEET_LIMIT = 5_000_000
"""The most bytes of a filled sheet. (assumption: 1,000 stops take 0.1 million)"""


@dataclass(frozen=True, slots=True)
class Along:
    """A file to take along: its name, which is ours, its media type, and its bytes."""

    name: str
    mime: str
    data: bytes


def take_along(kind: str, farm: str, walk: Record, symptoms: SymptomList, who: str) -> Along:
    """Return a file of a walk: 'pdf' or 'html' to print, 'csv' to type it into, or 'phone'.

    Raises
    ------
    ValueError
        If the walk has no stops.
    """
    block = walk.block or ""
    stem = f"walk_{block or 'farm'}_{str(walk.id)[:8]}"
    if kind == "pdf":
        return Along(f"{stem}.pdf", "application/pdf", sheet_pdf(block, walk, symptoms, farm))
    if kind == "html":
        text = sheet_html(block, walk, symptoms, farm)
        return Along(f"{stem}.html", "text/html", text.encode())
    if kind == "csv":
        return Along(f"{stem}.csv", "text/csv", filled_template(walk, symptoms).encode())
    text = form_html(farm, block, walk, symptoms, who=who)
    return Along(f"{stem}_phone.html", "text/html", text.encode())


def read_back(
    data: bytes, journal: Journal, farm: Farm, symptoms: SymptomList
) -> tuple[list[Record], dict[str, bytes]]:
    """Return the records and photos of a file that comes back: from a phone, or a filled sheet.

    What it is shows in its content; its name is never used.

    Raises
    ------
    RiskRulesError
        In a sentence, or one a line, where it cannot be taken.
    """
    if len(data) > FILE_LIMIT:
        raise RiskRulesError(f"the file has {len(data):,} bytes; expected at most {FILE_LIMIT:,}")
    if data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{":
        return read_handed_over(data)
    if len(data) > SHEET_LIMIT:
        said = f"the sheet has {len(data):,} bytes; expected at most {SHEET_LIMIT:,}"
        raise RiskRulesError(said)
    walks = journal.records(kinds=("walk",))
    if not walks:
        raise RiskRulesError("no walk was planned in this journal; expected the sheet of one")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.csv"
        path.write_bytes(data)
        return read_filled(path, symptoms, walks, farm.text.place.zone), {}


def take_back_in(
    data: bytes, journal: Journal, farm: Farm, symptoms: SymptomList, view: View, sure: bool
) -> Outcome:
    """Keep what comes back, all or none; what is here already is kept once.

    Raises
    ------
    RiskRulesError
        Where the file cannot be taken; nothing is kept then.
    """
    records, photos = read_back(data, journal, farm, symptoms)
    known = {r.id for r in records if journal.history(r.id)}
    fresh = [r for r in records if r.id not in known]
    for each in photos.values():
        photo_of(each)
    found = keep(journal, view, symptoms, fresh, sure, looks_back=True) if fresh else Outcome()
    if found.wrong or found.asked:
        return found
    for each in photos.values():
        journal.add_photo(each)
    again = journal.add([r for r in records if r.id in known])
    return Outcome(kept=(*found.kept, *again), records=(*fresh, *_known(records, known)))


def _known(records: Sequence[Record], known: Container[object]) -> list[Record]:
    return [r for r in records if r.id in known]
