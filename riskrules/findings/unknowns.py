"""What could not be told: open matches of one cause and time, told as one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from itertools import islice
from operator import or_

from riskrules.facts.kinds import Cause
from riskrules.facts.table import cause_of
from riskrules.findings.build import Episode, Scene, content_hash, identity
from riskrules.findings.causes import settling, single_bits, words_of
from riskrules.findings.columns import Rows, open_causes
from riskrules.findings.model import SEVERITIES, UnknownFinding
from riskrules.packs.model import Rule

APART_S = 36 * 3600
"""Unknowns of one cause that are less far apart are told as one. [s] (assumption)"""

LEADING = (
    Cause.STUCK, Cause.DISAGREE, Cause.NO_TEMPERATURE, Cause.NO_HUMIDITY, Cause.NO_WETNESS,
    Cause.NO_OUTSIDE, Cause.NO_RAIN, Cause.BORROWED, Cause.FILLED, Cause.DOUBTED,
    Cause.DOUBTFUL_BAND, Cause.NO_STAGE, Cause.NO_COVER_RECORD,
    Cause.NO_GROUND_RECORD, Cause.NO_JOURNAL, Cause.NO_SOIL, Cause.FEW_EXAMINED,
    Cause.OUT_OF_RANGE,
)  # fmt: skip
"""Which cause of several an unknown is filed under: what is gone before what is doubtful."""


@dataclass(frozen=True, slots=True)
class Open:
    """Episodes that one leading cause leaves open at one time. Times in seconds since 1970 UTC."""

    lead: Cause
    cause: Cause
    start: int
    end: int
    rules: tuple[Rule, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """The rules left open."""
        return tuple(sorted(rule.key for rule in self.rules))


def open_ones(found: Iterable[tuple[Episode, int]], now: int) -> list[Open]:
    """Return what could not be told, in order of time: episodes of one leading cause as one.

    Those that overlap, or come day after day, are told together. What is still to come and has
    no forecast is one cause by itself. ``found`` gives open episodes, each with the bits of its
    cause (`causes_of`).
    """
    by_lead: dict[int, list[_Piece]] = {}
    not_yet = int(Cause.NOT_YET)
    for i, (episode, cause) in enumerate(found):
        ahead = cause & not_yet and episode.end > now
        cause = not_yet if ahead else cause & ~not_yet
        piece = (episode.start, episode.end, i, cause, episode.rule)
        by_lead.setdefault(_lead(cause), []).append(piece)
    made = [_joined(lead, run) for lead, group in by_lead.items() for run in _runs(sorted(group))]
    return sorted(made, key=lambda one: (one.start, one.end, words_of(one.cause), one.lead))


_Piece = tuple[int, int, int, int, Rule]
"""Start and end of an open episode [s], its number, the bits of its cause, and its rule."""


@lru_cache(maxsize=1024)
def _lead(cause: int) -> int:
    """Return which of several causes an unknown is filed under."""
    return next((int(c) for c in LEADING if int(c) & cause), cause)


def _joined(lead: int, run: list[_Piece]) -> Open:
    rules = {id(rule): rule for *_, rule in run}
    cause = reduce(or_, (cause for _, _, _, cause, _ in run))
    end = max(end for _, end, _, _, _ in run)
    return Open(cause_of(lead), cause_of(cause), run[0][0], end, tuple(rules.values()))


def unknowns_of(found: Sequence[Episode], scene: Scene) -> list[UnknownFinding]:
    """Return what could not be told as people read it; see `open_ones`."""
    opened = zip(found, causes_of(found, scene), strict=True)
    return [_unknown(one, scene) for one in open_ones(opened, scene.now)]


def causes_of(found: Sequence[Episode], scene: Scene) -> list[int]:
    """Return why each episode is not settled: the causes of its matches' open conditions, as bits.

    See `riskrules.findings.columns.open_causes`.
    """
    by_rule: dict[str, list[int]] = {}
    for i, episode in enumerate(found):
        by_rule.setdefault(episode.rule.key, []).append(i)
    causes = [0] * len(found)
    for at in by_rule.values():
        rule = found[at[0]].rule
        matches = [m.facts for i in at for m in found[i].matches]
        given = {
            alias: Rows(*scene.lookup.rows(kind, names))
            for (alias, kind), names in zip(rule.given.items(), zip(*matches, strict=True),
                                            strict=True)
        }  # fmt: skip
        each = iter(open_causes(rule, scene.book.pack(rule.pack), given).tolist())
        for i in at:
            causes[i] = reduce(or_, islice(each, len(found[i].matches)))
    return causes


def _runs(group: list[_Piece]) -> list[list[_Piece]]:
    """Join episodes of one cause that overlap or come day after day; they come by their starts."""
    runs: list[list[_Piece]] = []
    last = 0
    for piece in group:
        start, end, *_ = piece
        if runs and start <= last + APART_S:
            runs[-1].append(piece)
            last = max(last, end)
        else:
            runs.append([piece])
            last = end
    return runs


GAPS_OF = {
    Cause.NO_TEMPERATURE: "air_temperature",
    Cause.NO_HUMIDITY: "relative_humidity",
    Cause.NO_WETNESS: "surface_wetness",
    Cause.NO_OUTSIDE: "outside",
}
"""Which gaps of the log belong to a cause."""


def _with_gaps(cause: Cause, span: tuple[int, int], scene: Scene) -> list[str]:
    """Return the words of a cause, those of a missing variable with when it was missing."""
    found = []
    until = min(span[1], scene.now)
    for bit, words in zip(single_bits(cause), words_of(cause), strict=False):
        names = GAPS_OF.values() if bit == Cause.STUCK else [GAPS_OF[bit]] if bit in GAPS_OF else []
        gaps = next((g for n in names if (g := scene.lookup.gaps(n, span[0], until))), [])
        if gaps:
            more = f" and {len(gaps) - 1} more times" if len(gaps) > 2 else ""
            more = " and once more" if len(gaps) == 2 else more
            words += f" (missing {scene.style.span(*gaps[0])}{more})"
        found.append(words)
    return found


def _unknown(one: Open, scene: Scene) -> UnknownFinding:
    lo, hi = scene.window
    span = max(one.start, lo), min(one.end, hi)
    titles = sorted({rule.title for rule in one.rules})
    leaves = "; ".join(titles[:3]) + (f"; and {len(titles) - 3} more" if len(titles) > 3 else "")
    why = ", ".join(_with_gaps(one.cause, span, scene))
    made = UnknownFinding(
        id=open_identity(one, scene),
        block=scene.block,
        start=scene.style.iso(one.start),
        end=scene.style.iso(one.end),
        causes=tuple(words_of(one.cause)),
        sentence=f"Unknown {scene.style.span(*span)}: {why}. Left open: {leaves}.",
        settle=tuple(settling(one.cause)),
        rules=one.keys,
        worst_severity=min((r.text.finding.severity for r in one.rules), key=SEVERITIES.index),
    )
    return replace(made, hash=content_hash(made))


def open_identity(one: Open, scene: Scene) -> str:
    """Return the identity of an unknown: its leading cause, block and start."""
    return identity(f"unknown.{int(one.lead)}", scene.block, one.start, scene.style)
