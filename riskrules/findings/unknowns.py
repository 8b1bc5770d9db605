"""What could not be told: open matches of one cause and time, told as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from riskrules.facts.kinds import Cause
from riskrules.findings.build import Episode, Scene, content_hash, given_of, identity
from riskrules.findings.causes import settling, single_bits, words_of
from riskrules.findings.model import SEVERITIES, UnknownFinding
from riskrules.findings.weigh import weigh_rule

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


def unknowns_of(found: Sequence[Episode], scene: Scene) -> list[UnknownFinding]:
    """Return what could not be told: episodes of one leading cause and overlapping time as one.

    What is still to come and has no forecast is one cause by itself.
    """
    by_lead: dict[Cause, list[tuple[Episode, Cause]]] = {}
    for episode in found:
        cause = _open_cause(episode, scene)
        ahead = bool(cause & Cause.NOT_YET) and episode.end > scene.now
        cause = Cause.NOT_YET if ahead else cause & ~Cause.NOT_YET
        lead = next((c for c in LEADING if c & cause), cause)
        by_lead.setdefault(lead, []).append((episode, cause))
    made = []
    for lead, group in by_lead.items():
        for run in _runs(sorted(group, key=lambda p: (p[0].start, p[0].end, p[0].rule.key))):
            made.append(_unknown(lead, run, scene))
    return sorted(made, key=lambda u: (u.start, u.end, u.causes, u.id))


def _open_cause(episode: Episode, scene: Scene) -> Cause:
    """Return why the episode is not settled: the causes of its open conditions."""
    cause = Cause.NONE
    pack = scene.book.pack(episode.rule.pack)
    for match in episode.matches[:8]:
        given = given_of(match, episode.rule, scene.lookup)
        weighed = weigh_rule(episode.rule, pack, given)
        opened = [w for w in weighed if w.open]
        for w in opened:
            cause |= w.cause
        if not opened and episode.rule.absence is not None:
            cause |= Cause.NO_JOURNAL
    return cause


def _runs(group: list[tuple[Episode, Cause]]) -> list[list[tuple[Episode, Cause]]]:
    """Join episodes of one cause that overlap or come day after day."""
    runs: list[list[tuple[Episode, Cause]]] = []
    end = 0
    for pair in group:
        if runs and pair[0].start <= end + APART_S:
            runs[-1].append(pair)
            end = max(end, pair[0].end)
        else:
            runs.append([pair])
            end = pair[0].end
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


def _unknown(lead: Cause, run: list[tuple[Episode, Cause]], scene: Scene) -> UnknownFinding:
    lo, hi = scene.window
    found = [episode for episode, _ in run]
    start, end = min(e.start for e in found), max(e.end for e in found)
    cause = Cause.NONE
    for _, more in run:
        cause |= more
    titles = sorted({e.rule.title for e in found})
    shown = scene.style.span(max(start, lo), min(end, hi))
    leaves = "; ".join(titles[:3]) + (f"; and {len(titles) - 3} more" if len(titles) > 3 else "")
    why = ", ".join(_with_gaps(cause, (max(start, lo), min(end, hi)), scene))
    sentence = f"Unknown {shown}: {why}. Left open: {leaves}."
    made = UnknownFinding(
        id=identity(f"unknown.{int(lead)}", scene.block, start, scene.style),
        block=scene.block,
        start=scene.style.iso(start),
        end=scene.style.iso(end),
        causes=tuple(words_of(cause)),
        sentence=sentence,
        settle=tuple(settling(cause)),
        rules=tuple(sorted({e.rule.key for e in found})),
        worst_severity=min((e.rule.text.finding.severity for e in found), key=SEVERITIES.index),
    )
    return replace(made, hash=content_hash(made))
