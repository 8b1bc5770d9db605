"""Say what is wrong with a record before it is entered, and what is only doubtful.

What is wrong is refused, one sentence each. What is doubtful is asked about: whoever was there
knows better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from pydantic import ValidationError

from riskrules.journal.records import (
    RECORD,
    Block,
    Irrigation,
    Pick,
    Record,
    RowCover,
    Sides,
    Stages,
    Straw,
    TakenBack,
    Work,
)
from riskrules.journal.records import Film as FilmBody
from riskrules.journal.rows import unstorable
from riskrules.journal.stale import SAID
from riskrules.journal.view import View

AHEAD_S = 600
"""How far a clock may be ahead before a time is in the future. [s] (assumption)"""
NIGHT_H = (22, 5)
"""Nobody picks or works from the first to the second hour of the clock. [h] (assumption)"""
FROST_BY_DAY_H = (10, 17)
"""Hours of the clock in which nobody needs water against frost. [h] (assumption)"""
HEAVY_KG = 2000.0
"""A pick of one block from here on is asked about. [kg] (assumption)"""
LONG_RUN_S = 24 * 3600
"""Water that runs longer than this is asked about. [s] (assumption)"""
OLD_S = 30 * 86_400
"""A record made longer than this after its time is asked about. [s] (assumption)"""
RIPE = (81, 85, 87, 89)
"""Stages in which there may be fruit to pick, of their group 'ripening'. (assumption)"""
TWICE_S = 300
"""The same thing of one person within this is asked about. [s] (assumption)"""


def refuse(record: Record | Mapping[str, object], view: View) -> list[str]:
    """Return one sentence for each thing that is wrong with a record; empty: it can be entered.

    Parameters
    ----------
    record : Record or mapping
        A record, or the values of one that may not even be one (12 affected of 10 examined).
    view : View
        The journal as it is, see `view_of`.
    """
    if not isinstance(record, Record):
        try:
            record = RECORD.validate_python(record)
        except ValidationError as error:
            return sentences(error)
    found = [said for check in _WRONG if (said := check(record, view))]
    return found + unstorable(record)


def doubts(record: Record, view: View) -> list[str]:
    """Return one question for each doubtful thing about a record that could be entered."""
    return [said for check in _DOUBTFUL if (said := check(record, view))]


def sentences(error: ValidationError) -> list[str]:
    """Return what pydantic complains of, one sentence each, with the place and the value."""
    found = []
    for item in error.errors():
        kind = item["type"]
        place = [str(p) for p in item["loc"] if not isinstance(p, int)]
        # The kind of the body stands in the place of its fields.
        label = ".".join(place[2:] if place[:1] == ["body"] and len(place) > 2 else place)
        if kind == "value_error":
            found.append(str(item["ctx"]["error"]))
        elif kind == "extra_forbidden":
            found.append(f"'{label}' is no part of such a record")
        elif kind == "missing":
            found.append(f"{label} is missing")
        else:
            shown = repr(item["input"])
            shown = shown if len(shown) < 60 else f"{shown[:57]}..."
            found.append(f"{label} is {shown}; {item['msg'][:1].lower()}{item['msg'][1:]}")
    return found


def _unknown_block(record: Record, view: View) -> str | None:
    if isinstance(record.body, Block):
        return None if record.block else "a block without a name; expected one such as north_beds"
    if record.block is None or not view.blocks or record.block in view.blocks:
        return None
    return f"no block '{record.block}' here; expected one of {', '.join(sorted(view.blocks))}"


def _in_future(record: Record, view: View) -> str | None:
    planned = isinstance(record.body, Pick) and record.body.state == "planned"
    if planned or record.time <= view.now + AHEAD_S:
        return None
    shown, now = view.shown(record.time), view.shown(view.now)
    return f"the time {shown} is in the future; it is {now} now"


def _before_planting(record: Record, view: View) -> str | None:
    planted = view.planted(record.block)
    if planted is None or not isinstance(record.body, Pick):
        return None
    if view.local(record.time).date() >= planted:
        return None
    shown = view.shown(record.time)
    return f"a pick on {shown}, before {record.block} was planted on {planted}"


def _planted_after_pick(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Block) or record.body.planted is None:
        return None
    planted = record.body.planted
    picks = [r for r in view.others(record, "pick") if r.block == record.block]
    early = [r for r in picks if view.local(r.time).date() < planted]
    if not early:
        return None
    shown = view.shown(early[-1].time)
    return f"{record.block} planted on {planted}? The journal has a pick there on {shown}"


def _odd_hour(record: Record, view: View) -> str | None:
    done = isinstance(record.body, Pick) and record.body.state == "done"
    by_hand = isinstance(record.body, Work) and record.body.what != "cooled"
    hour = view.local(record.time).hour
    if not (done or by_hand) or NIGHT_H[1] <= hour < NIGHT_H[0]:
        return None
    what = "a pick" if done else "work by hand"
    return f"{what} at {view.local(record.time):%H:%M}, by night?"


def _already(record: Record, view: View) -> str | None:
    body = record.body
    if not isinstance(body, RowCover | Sides | FilmBody | Straw):
        return None
    before = [r for r in view.others(record, record.kind) if r.time <= record.time]
    last = before[-1] if before else None
    if last is None or getattr(last.body, "what", None) != body.what:
        return None
    return f"{SAID[body.kind, body.what]} since {view.shown(last.time)} already, by the journal?"


def _limited(record: Record, view: View) -> str | None:
    by_hand = isinstance(record.body, Work) and record.body.what != "cooled"
    pick = isinstance(record.body, Pick)
    if not (by_hand or pick):
        return None
    until = record.end or record.time
    for limit in view.others(record, "limit"):
        what = getattr(limit.body, "what", "")
        holds = limit.time <= until and record.time < (limit.end or 0)
        if holds and (what == "entry" or pick):
            end = view.shown(limit.end or 0)
            return f"'no {what}' holds until {end}: was anybody in there before?"
    return None


def _frost_by_day(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Irrigation) or record.body.depth != "frost":
        return None
    moment: datetime = view.local(record.time)
    if not FROST_BY_DAY_H[0] <= moment.hour < FROST_BY_DAY_H[1]:
        return None
    return f"overhead water against frost at {moment:%H:%M}, by day?"


def _long_run(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Irrigation) or record.end is None:
        return None
    hours = (record.end - record.time) / 3600
    if record.end - record.time <= LONG_RUN_S:
        return None
    return f"water for {hours:.0f} hours without a break?"


def _heavy(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Pick) or record.body.weight_kg is None:
        return None
    kilos = record.body.weight_kg
    return f"{kilos:,.0f} kg from one block in one pick?" if kilos >= HEAVY_KG else None


def _too_early(record: Record, view: View) -> str | None:
    planted = view.planted(record.block)
    if planted is None or isinstance(record.body, Pick | Block):
        return None
    if record.kind not in ("stages", "sighting", "work"):
        return None
    if view.local(record.time).date() >= planted:
        return None
    return f"{_A[record.kind]} before {record.block} was planted on {planted}?"


_A = {"stages": "growth stages", "sighting": "a sighting", "work": "work in the plants"}


def _long_ago(record: Record, view: View) -> str | None:
    days = (record.made - record.time) // 86_400
    if record.made - record.time <= OLD_S or isinstance(record.body, Block):
        return None
    return f"{view.shown(record.time)} was {days} days before this was written; the right day?"


def _maker_ahead(record: Record, view: View) -> str | None:
    if record.made <= view.now + AHEAD_S:
        return None
    shown = view.shown(record.made)
    return f"written at {shown}, which is still to come: is the clock it was written by right?"


def _past_plan(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Pick) or record.body.state != "planned":
        return None
    if record.time >= record.made:
        return None
    return f"a pick planned for {view.shown(record.time)}, which is past: was it done?"


def _twice(record: Record, view: View) -> str | None:
    near = [
        r
        for r in view.others(record, record.kind)
        if abs(r.time - record.time) <= TWICE_S
        and (r.body, r.block, r.who) == (record.body, record.block, record.who)
    ]
    if not near or isinstance(record.body, TakenBack):
        return None
    return f"{near[0].who} wrote the same at {view.shown(near[0].time)}: entered twice?"


def _corrects(record: Record, view: View) -> str | None:
    if record.replaces is None:
        return None
    old = next((r for r in view.records if r.id == record.replaces), None)
    if old is None and isinstance(record.body, TakenBack):
        return None  # the losing side of a clash is taken back so, to settle it
    if old is None:
        return "it corrects a record that does not count here: the right one?"
    if old.kind != record.kind and not isinstance(record.body, TakenBack):
        return f"it corrects a record of kind {old.kind} into one of kind {record.kind}?"
    return None


def _no_fruit(record: Record, view: View) -> str | None:
    if not isinstance(record.body, Pick) or record.body.state != "done":
        return None
    before = [r for r in view.others(record, "stages") if r.time <= record.time]
    last = before[-1].body if before else None
    if not isinstance(last, Stages) or record.time - before[-1].time > 7 * 86_400:
        return None
    if any(code in RIPE for code in last.codes):
        return None
    shown = view.shown(before[-1].time)
    return f"a pick, though no ripe fruit was there by the growth stages of {shown}?"


Check = Callable[[Record, View], str | None]
_WRONG: tuple[Check, ...] = (_unknown_block, _in_future, _before_planting)
_DOUBTFUL: tuple[Check, ...] = (
    _planted_after_pick,
    _odd_hour,
    _already,
    _limited,
    _frost_by_day,
    _long_run,
    _heavy,
    _too_early,
    _long_ago,
    _maker_ahead,
    _past_plan,
    _twice,
    _corrects,
    _no_fruit,
)
