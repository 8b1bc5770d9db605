"""A small server on the farm's own computer: gives walk forms, and takes what they send.

It speaks plain HTTP, to this computer alone unless told other. Whoever opens it to others puts
a server that speaks HTTPS before it, or trusts everybody on that network.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from hmac import compare_digest
from http import HTTPStatus
from pathlib import Path
from secrets import token_urlsafe
from threading import Thread
from types import TracebackType
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from riskrules.journal.checks import doubts, refuse
from riskrules.journal.phone import (
    Envelope,
    HandedOverError,
    form_html,
    open_envelope,
    read_record,
)
from riskrules.journal.records import Record, Sighting, TakenBack, Walk
from riskrules.journal.serve_http import SEND_LIMIT, FormServer, Refused
from riskrules.journal.store import Journal, open_journal
from riskrules.journal.symptoms import SymptomList, load_symptoms
from riskrules.journal.view import View

SHORTEST_TOKEN = 16
"""So that nobody guesses it: 64 random bits in hex. [letters] (assumption)"""


@dataclass(frozen=True, slots=True)
class Farm:
    """What the server knows of the farm: its name, zone, block titles and symptoms."""

    name: str = "Farm"
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    blocks: Mapping[str, str] = field(default_factory=dict)
    symptoms: SymptomList = field(default_factory=load_symptoms)


def serve(
    journal_url: str | Path,
    host: str = "127.0.0.1",
    port: int = 0,
    token: str | None = None,
    farm: Farm | None = None,
    names: Sequence[str] = (),
    ready: Callable[[Receiver], None] | None = None,
) -> None:
    """Answer until the program is interrupted; see `receive` for what is given and raised.

    ``ready`` is called once the server answers, to show its address or links.
    """
    with receive(journal_url, host, port, token, farm, names) as receiver:
        if ready is not None:
            ready(receiver)
        receiver.wait()


def receive(
    journal_url: str | Path,
    host: str = "127.0.0.1",
    port: int = 0,
    token: str | None = None,
    farm: Farm | None = None,
    names: Sequence[str] = (),
) -> Receiver:
    """Start to answer in a thread of its own, and return at once.

    Parameters
    ----------
    journal_url : str or Path
        The journal that walks are read from and records go to.
    host : str
        Address to listen on; by default this computer alone can reach it.
    port : int
        0 takes a free one; see `Receiver.url`.
    token : str, optional
        What a link must carry; made anew where not given.
    farm : Farm, optional
        Its name, zone, block titles and symptoms.
    names : sequence of str
        Hosts, with port where not the usual one, under which browsers may reach it beside its
        address, such as that of a server before it.

    Raises
    ------
    JournalError
        If the journal cannot be opened.
    OSError
        If the address or port cannot be listened on.
    ValueError
        If the token is too short to keep anybody out.
    """
    if token is not None and len(token) < SHORTEST_TOKEN:
        raise ValueError(f"the token is too short; expected {SHORTEST_TOKEN} letters or more")
    journal = open_journal(journal_url)
    try:
        return Receiver(journal, (host, port), token or token_urlsafe(24), farm or Farm(), names)
    except BaseException:
        journal.close()
        raise


class Receiver:
    """The server at work."""

    def __init__(
        self,
        journal: Journal,
        address: tuple[str, int],
        token: str,
        farm: Farm,
        names: Sequence[str] = (),
        clock: Callable[[], float] = time.time,
    ) -> None:
        self.journal, self.token, self.farm, self.clock = journal, token, farm, clock
        self._server = FormServer(address, self)
        host, port = address[0], int(self._server.server_address[1])
        shown = f"[{host}]" if ":" in host else host
        self.url = f"http://{shown}:{port}"
        here = ("127.0.0.1", "localhost", "[::1]", shown)
        self.hosts = {f"{name}:{port}" for name in here} | {name.lower() for name in names}
        self._anywhere = host in ("0.0.0.0", "::", "")
        self._thread = Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def __enter__(self) -> Receiver:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def link(self, walk: UUID | str) -> str:
        """Return the link to a walk's form, for the one who walks alone: it lets them write."""
        return f"{self.url}/walk/{walk}?token={self.token}"

    def wait(self) -> None:
        """Wait until the server is closed or the program is interrupted."""
        self._thread.join()

    def close(self) -> None:
        """Answer no more, and close the journal."""
        self._server.close()
        self._thread.join()
        self.journal.close()

    def is_own(self, host: str) -> bool:
        """Whether a browser asked for this server: no other name may be made to lead here."""
        host = host.lower()
        if host in self.hosts:
            return True
        # Listening everywhere, any plain address leads here; a name is not one.
        bare = host.rsplit(":", 1)[0].strip("[]")
        return self._anywhere and all(c in "0123456789.:abcdef" for c in bare) and bare != ""

    def knows(self, token: str) -> bool:
        """Whether this is the token, in a time that tells nothing about it."""
        return compare_digest(token.encode("utf-8", "replace"), self.token.encode())

    def form(self, known: str) -> str:
        """Return the form of a walk.

        Raises
        ------
        Refused
            If there is no such walk, or it was changed or taken back.
        """
        walk = self._walk(known, to_walk=True)
        title = self.farm.blocks.get(walk.block or "", (walk.block or "").replace("_", " "))
        try:
            return form_html(
                self.farm.name, title, walk, self.farm.symptoms, send_to="/records",
                token=self.token,
            )  # fmt: skip
        except ValueError as error:
            raise Refused(HTTPStatus.CONFLICT, f"the walk has no form: {error}") from None

    def _walk(self, known: str, to_walk: bool = False) -> Record:
        try:
            wanted = UUID(known)
        except ValueError:
            raise Refused(HTTPStatus.NOT_FOUND, "no such walk here") from None
        history = self.journal.history(wanted)
        found = next((s for s in history if s.record.id == wanted), None)
        if found is None or not isinstance(found.record.body, Walk):
            raise Refused(HTTPStatus.NOT_FOUND, "no such walk here")
        if to_walk and found.replaced is not None:
            raise Refused(HTTPStatus.GONE, "this walk was changed or taken back since: ask for the "
                          "link to the one that holds")  # fmt: skip
        return found.record

    def take(self, data: bytes) -> dict[str, Any]:
        """Keep what a form sends, and say what became of each record and photo.

        Records that are refused are named with the reason; the others are kept all or none.
        Photos are kept first, so that no kept record waits for one that was in the same sending.
        """
        opened = open_envelope(data, SEND_LIMIT)
        walk = self._walk(str(opened.walk))
        photos = [self.journal.add_photo(photo) for photo in opened.photos.values()]
        return {"records": self._take_records(opened, walk), "photos": photos}

    def _take_records(self, opened: Envelope, walk: Record) -> list[dict[str, Any]]:
        now = int(self.clock())
        counting = self.journal.counting(walk.block)
        view = View(counting, self.journal.blocks(), now, self.farm.zone)
        answers: list[dict[str, Any]] = []
        good: list[Record] = []
        for item in opened.records:
            try:
                record = read_record(item, opened.walk)
                said = self._wrong(record, walk, view)
            except HandedOverError as error:
                answers.append(_answer(_id_of(item), "refused", str(error)))
                continue
            if said:
                answers.append(_answer(str(record.id), "refused", "; ".join(said)))
                continue
            good.append(record)
        kept = self.journal.add(good)
        for record, each in zip(good, kept, strict=True):
            # What was known was asked about before.
            asks = doubts(record, view) if each.state == "new" else []
            answers.append(_answer(str(record.id), each.state, asks=_apt(record, asks, good)))
        return answers

    def _wrong(self, record: Record, walk: Record, view: View) -> list[str]:
        found = refuse(record, view) + self.farm.symptoms.refuse(record)
        if record.block != walk.block:
            found.append(f"it is of block '{record.block}'; expected {walk.block}, as walked")
        plan = walk.body
        if isinstance(record.body, Sighting) and isinstance(plan, Walk):
            beds = {stop: bed for stop, bed, _ in plan.stops}
            for stop in record.body.stops:
                if beds.get(stop.stop) != stop.bed:
                    found.append(f"stop {stop.stop} in bed {stop.bed} is not in the walk")
        if record.replaces is not None:
            found += self._wrong_target(record, walk)
        return found

    def _wrong_target(self, record: Record, walk: Record) -> list[str]:
        """Refuse to correct what no form made: a link to one walk opens no more than that."""
        history = self.journal.history(str(record.replaces))
        old = next((s.record for s in history if s.record.id == record.replaces), None)
        if old is None:
            return []
        if old.came_by != "form" or old.block != walk.block:
            return [f"it corrects record {old.id}, which no form of this block made"]
        if not isinstance(record.body, TakenBack) and old.kind not in (record.kind, "taken_back"):
            return [f"it corrects a {old.kind} into a {record.kind}; expected the same kind"]
        return []


def _apt(record: Record, asks: list[str], together: list[Record]) -> list[str]:
    """Leave out what is asked only because a correction and its original came together."""
    with_it = any(other.id == record.replaces for other in together)
    return [] if with_it else asks


def _answer(known: str, state: str, reason: str = "", asks: Sequence[str] = ()) -> dict[str, Any]:
    return {"id": known, "state": state, "reason": reason, "asks": list(asks)}


def _id_of(item: object) -> str:
    known = item.get("id") if isinstance(item, dict) else None
    return known[:36] if isinstance(known, str) else ""
