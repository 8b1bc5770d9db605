"""The adviser's bench as a page shows it: what is at hand, what may be tried, what was asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from riskrules.errors import RiskRulesError
from riskrules.facts.table import DECIMALS
from riskrules.packs.load import SHARED, Rulebook
from riskrules.packs.marked import read_marked
from riskrules.packs.regions import Link, chain_of
from riskrules.review import shipped_rulebook
from riskrules.shipped import rulepacks_folder
from riskrules.show import Style
from riskrules.tuning.runs import Bench, Question
from riskrules.tuning.seasons import DAY_S, BlockSeason, block_seasons, midnight
from riskrules.tuning.tally import published_latencies
from riskrules.view.desk import Desk
from riskrules.view.kept import Kept
from riskrules.view.thresholds import ThresholdWords, packs_in_words

Months = tuple[int, int]
MOST_VALUES = (9, 5)
"""Values that one threshold may take alone, and each of two. (assumption: what a map can show)"""
PROFILES_SOUGHT = 200
"""Files of a folder that are looked at for profiles. (assumption)"""


@dataclass(frozen=True, slots=True)
class SeasonHere:
    """One block in one season: how much of it the log covers, and what scouts noted.

    ``share`` is that of the season that the block's own log covers. [1] ``counts`` are all counts
    by scouts, ``seen`` the days on which some symptom was there.
    """

    block: str
    season: str
    share: float
    counts: int
    seen: int


@dataclass(frozen=True, slots=True)
class ProfileHere:
    """A region profile that can be tried; ``own`` is that of the farm, or one it is built on."""

    path: Path
    name: str
    title: str
    version: str
    changes: int
    own: bool


@dataclass(frozen=True, slots=True)
class Varied:
    """A threshold that can be tried over values, and the hazards that it may be scored by."""

    words: ThresholdWords
    hazards: tuple[str, ...]


_seasons = Kept[tuple[SeasonHere, ...]](8)
_months = Kept[Months](4)


def months_at_hand(desk: Desk) -> Months:
    """Return the first and last month in which any block has a measured row, in any year."""
    return _months.get(desk.fingerprint(), lambda: _months_of(desk))


def _months_of(desk: Desk) -> Months:
    found: set[int] = set()
    for block in desk.logs:
        for r in block.own or block.sources:
            days = np.unique(r.time[~r.forecast] // DAY_S) * DAY_S
            found.update(np.unique(days.astype("datetime64[s]").astype("datetime64[M]")
                                   .astype(np.int64) % 12 + 1).tolist())  # fmt: skip
    return (min(found), max(found)) if found else (1, 12)


def seasons_at_hand(desk: Desk, months: Months) -> tuple[SeasonHere, ...]:
    """Return every block and season that has a measured row, by season and block."""
    key = (desk.fingerprint(), months)
    return _seasons.get(key, lambda: _seasons_of(desk, months))


def _seasons_of(desk: Desk, months: Months) -> tuple[SeasonHere, ...]:
    every = block_seasons(desk.farm, desk.logs, desk.events, None, months)
    return tuple(sorted((_here(s) for s in every), key=lambda s: (s.season, s.block)))


def _here(s: BlockSeason) -> SeasonHere:
    zone = s.farm.zone
    start, last = midnight(s.first, zone), midnight(s.last, zone)
    end = last + DAY_S
    own = s.logs.own or s.logs.sources
    shares = [
        float((~r.forecast & (r.time > start) & (r.time <= end)).sum()) * r.step / (end - start)
        for r in own
    ]
    counts = [e for e in s.events if e.event == "sighting" and start <= e.time < end]
    seen = {(e.time - start) // DAY_S for e in counts if e.affected}
    return SeasonHere(
        s.block, s.season, round(min(max(shares), 1.0), 4), len(counts), len(seen)
    )  # fmt: skip


def profiles_at_hand(desk: Desk) -> tuple[ProfileHere, ...]:
    """Return the farm's profile and those it is built on, others beside them, and the shipped.

    A file beside them that is no profile is left out.
    """
    path = desk.profile
    own = [] if path is None else list(chain_of(read_marked(path)))
    found = {link.path.resolve(): _profile(link, True) for link in own if link.path}
    folders = [desk.farm.folder, *(p.parent for p in found), rulepacks_folder() / "regions"]
    for folder in dict.fromkeys(f.resolve() for f in folders):
        for file in sorted(folder.glob("*.yaml"))[:PROFILES_SOUGHT]:
            if file.resolve() not in found and (link := _link(file)) is not None:
                found[file.resolve()] = _profile(link, False)
    return tuple(found.values())


def _link(file: Path) -> Link | None:
    """Return the profile in a file; None where it is none, or cannot be used."""
    try:
        doc = read_marked(file)
        return chain_of(doc)[0] if "profile:" in doc.text and "changes:" in doc.text else None
    except (RiskRulesError, OSError, UnicodeDecodeError):
        return None


def _profile(link: Link, own: bool) -> ProfileHere:
    assert link.path is not None
    text = link.text
    return ProfileHere(
        link.path.resolve(), text.profile, text.title, link.version, len(text.changes), own
    )  # fmt: skip


def varied(book: Rulebook, style: Style) -> tuple[Varied, ...]:
    """Return the thresholds of a rulebook that can be tried over values, those of packs first.

    Left out are those that no hazard with a published time to symptoms could be scored by, and
    those times themselves: a profile must not choose by which sightings it is judged.
    """
    hazards = hazards_scored()
    found = []
    for pack in packs_in_words(book, style):
        spoken = {r.text.finding.hazard for p in book.packs if p.name == pack.name for r in p.rules}
        by = hazards if pack.name == SHARED else tuple(h for h in hazards if h in spoken)
        found += [
            Varied(t, by) for t in pack.thresholds
            if by and not t.key.endswith(("_shows_from", "_shows_until"))
        ]  # fmt: skip
    return tuple(found)


@cache
def _hazards() -> tuple[tuple[str, ...], tuple[str, ...]]:
    book = shipped_rulebook()
    scored = tuple(published_latencies(book))
    every = {rule.text.finding.hazard for rule in book.rules}
    return scored, tuple(sorted(every - {*scored}))


def hazards_scored() -> tuple[str, ...]:
    """Return the hazards whose time from infection to symptoms is published."""
    return _hazards()[0]


def hazards_not_scored() -> tuple[str, ...]:
    """Return the hazards that have no such time, so that no sighting can answer a finding."""
    return _hazards()[1]


def values_between(first: float, last: float, many: int) -> tuple[float, ...]:
    """Return so many even steps from one value to another, both included.

    Examples
    --------
    >>> values_between(6, 8, 3)
    (6.0, 7.0, 8.0)
    """
    low, high = sorted((first, last))
    values = [low] if many < 2 or low == high else np.linspace(low, high, many).tolist()
    return tuple(dict.fromkeys(round(float(v), DECIMALS) for v in values))


def work_of(seasons: int, vary: Sequence[tuple[str, tuple[float, ...]]], profiles: int) -> int:
    """Return how often a block-season is asked about: what the time of a replay grows with.

    Examples
    --------
    >>> work_of(10, [("a.b", (6.0, 8.0))], 1)
    40
    """
    settings = 1
    for _, values in vary:
        settings *= len(values)
    return seasons * (1 + profiles + (settings if vary else 0))


def bench_of(desk: Desk) -> Bench:
    """Return the bench of a farm: its replays, in a folder beside the farm file."""
    return Bench(desk.farm_file)


def question_of(desk: Desk, **asked: object) -> Question:
    """Return a question about the open farm, with its own store and journal where they were named.

    ``asked`` are the other fields of `Question`. Thresholds are varied under the farm's profile.
    """
    profile = desk.profile
    if asked.get("vary") and profile is not None:
        asked["under"] = str(profile.resolve())
    room = desk.room
    store = None if room.store is None else str(room.store.resolve())
    return Question(
        str(desk.farm_file.resolve()), store=store, journal=room.journal, **asked,  # type: ignore[arg-type]
    )  # fmt: skip
