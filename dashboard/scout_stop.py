"""'In the rows', one stop a screen: big buttons, what was seen here before, photos, a note."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.scout import WRITES, Room, keep_items, lines, put, told
from dashboard.words import say
from riskrules.errors import RiskRulesError
from riskrules.journal.counts import percent
from riskrules.journal.photos import PHOTO_LIMIT
from riskrules.journal.records import Record, Sighting, Stop
from riskrules.logs.events import Event
from riskrules.view.rows import Before, SeenBefore, StopShown, WalkShown, seen_before
from riskrules.view.rows_records import (
    KEEPING,
    Key,
    Tap,
    count_at,
    counted,
    note_at,
    note_words,
    noted,
    standing,
    tapped,
    with_more,
)

PATTERNS = ("scattered", "patches", "edge", "everywhere")
PHOTO_MB = PHOTO_LIMIT // 1_000_000
UP = """<script>(() => {
const main = document.querySelector('[data-testid=stMain]'); if (main) main.scrollTo(0, 0);
})()</script>"""


def draw_stop(room: Room, seen: WalkShown, stop: StopShown, events: Sequence[Event]) -> None:
    """Draw a stop: each symptom with its buttons, then what else there may be to write down."""
    if st.session_state.get("rows_seen_stop") != stop.number:
        st.session_state["rows_seen_stop"] = stop.number
        st.html(UP + "<span></span>", unsafe_allow_javascript=True)
    st.subheader(say("rows.stop", stop=stop.number, all=len(seen.stops), bed=stop.bed,
                     metres=f"{stop.metres:g}"))  # fmt: skip
    if not room.ready:
        st.warning(say("rows.name_first"))
    records = room.journal.records(room.name, ("sighting",))
    for key in seen.keys:
        before = seen_before(records, events, room.name, key, room.hand.time, seen.walk.id,
                             stop.bed)  # fmt: skip
        _card(room, seen, stop, key, before)
    if len(seen.keys) > 1:
        with st.container(key="big_rest"):
            st.button(say("rows.rest_none"), disabled=not room.ready, on_click=_rest,
                      args=(room, seen, stop))  # fmt: skip
    _else_seen(room, seen)
    _note(room, seen.walk, stop)


def title_of(room: Room, key: Key) -> str:
    """Return the words for a symptom on a part."""
    return f"{room.symptoms.title(key[0])}: {room.symptoms.part_title(key[1]).lower()}"


def _card(room: Room, seen: WalkShown, stop: StopShown, key: Key, before: Before) -> None:
    name = "_".join((*key, str(stop.number)))
    count = seen.count(key, stop.number)
    title = title_of(room, key)
    with st.container(border=True, key=f"card_{name}"):
        st.markdown(f"### {plain(title)}")
        st.markdown(_state(count, seen.per_stop))
        with st.container(horizontal=True, key=f"big_{name}"):
            for tap in ("none", "more", "less", "clear"):
                off = not room.ready or (count is None and tap in ("less", "clear"))
                st.button(
                    say(f"rows.tap_{tap}"), key=f"{tap}_{name}", disabled=off, on_click=_tap,
                    args=(room, seen, stop.number, key, tap),
                    type="primary" if tap == "more" else "secondary",
                )  # fmt: skip
        st.number_input(
            say("rows.looked_at", what=title), 1, 100_000, key=f"looked_{name}",
            value=count.examined if count else _typed_looked(name, seen.per_stop), on_change=_tap,
            args=(room, seen, stop.number, key, "looked"), disabled=not room.ready,
        )  # fmt: skip
        _before(room, before, stop.bed)
        record = seen.counts.get(key)
        if record and isinstance(record.body, Sighting) and record.body.affected:
            _pattern(room, seen.walk, key, record.body, name)
        _looks(room, key)
        _photo(room, seen.walk, stop, key, record, name)


def _state(count: Stop | None, per_stop: int) -> str:
    if count is None:
        return say("rows.not_counted", n=per_stop)
    if count.affected == 0:
        return say("rows.none_of", n=count.examined)
    return say("rows.some_of", a=count.affected, n=count.examined)


def _tap(room: Room, seen: WalkShown, stop: int, key: Key, tap: Tap) -> None:
    """Keep one tap at once, as a record or as a correction of what stands."""
    name = "_".join((*key, str(stop)))
    looked = int(st.session_state.get(f"looked_{name}") or seen.per_stop)
    try:
        with KEEPING:
            now = count_at(standing(room.journal, seen.walk).get(key), stop)
            wanted = tapped(now, tap, seen.per_stop, looked)
            values = counted(room.journal, seen.walk, key, stop, wanted, room.hand)
            if values is not None:
                kept = keep_items(room, [values], say("rows.kept_stop", stop=stop))
                if tap == "clear" or not kept:  # the box shows what the journal says again
                    st.session_state.pop(f"looked_{name}", None)
            elif tap == "looked" and now is None:
                put(looked=f"{name}:{looked}")
    except RiskRulesError as error:
        told("wrong", str(error))


def _typed_looked(name: str, per_stop: int) -> int:
    """Return how many were looked at, as typed before any count; the address keeps it."""
    of, _, number = st.query_params.get("looked", "").rpartition(":")
    fits = of == name and number.isdecimal() and 0 < len(number) < 6 and int(number) > 0
    return int(number) if fits else per_stop


def _rest(room: Room, seen: WalkShown, stop: StopShown) -> None:
    for key in seen.keys:
        if seen.count(key, stop.number) is None:
            _tap(room, seen, stop.number, key, "none")


def _before(room: Room, before: Before, bed: int) -> None:
    if not before.seen:
        st.caption(say("rows.before_never"))
        return
    st.markdown(f"**{say('rows.before')}**")
    lines(_seen_words(room, one, bed) for one in before.seen)
    if before.trend:
        st.caption(plain(before.trend))


def _seen_words(room: Room, one: SeenBefore, bed: int) -> str:
    e = one.estimate
    who = f", {one.who}" if one.who else ""
    lead = f"{room.moment(one.time)}{who}: "
    if e.affected == 0:
        words = say("rows.before_none", n=e.examined, high=percent(e.high))
    else:
        words = say("rows.before_some", a=e.affected, n=e.examined, share=percent(e.share),
                    low=percent(e.low), high=percent(e.high))  # fmt: skip
    if not one.stops:
        words += " " + say("rows.before_no_stops")
    if one.in_bed:
        words += " " + say("rows.before_bed", bed=bed, a=one.in_bed[0], n=one.in_bed[1])
    return lead + words


def _looks(room: Room, key: Key) -> None:
    listed = room.symptoms.symptoms.get(key[0])
    if listed is None:
        return
    with st.expander(say("rows.looks", what=title_of(room, key)), icon=":material/visibility:"):
        st.markdown(plain(listed.looks))
        part = room.symptoms.parts[key[1]]
        st.markdown(plain(f"{part.title}: {part.looks}"))
        if listed.look_alikes:
            lines(say("rows.alike", tell=a.tell) for a in listed.look_alikes)


def _pattern(room: Room, walk: Record, key: Key, body: Sighting, name: str) -> None:
    now = body.pattern if body.pattern in PATTERNS else None
    st.radio(
        say("rows.where"), PATTERNS, index=PATTERNS.index(now) if now else None, horizontal=True,
        format_func=lambda p: say(f"rows.where_{p}"), key=f"pattern_{name}", on_change=_more,
        args=(room, walk, key, f"pattern_{name}"), disabled=not room.ready,
    )  # fmt: skip


def _more(room: Room, walk: Record, key: Key, widget: str) -> None:
    chosen = st.session_state.get(widget)
    if chosen:
        _keep_more(room, walk, key, {"pattern": chosen})


def _keep_more(room: Room, walk: Record, key: Key, more: Mapping[str, Any]) -> None:
    with KEEPING:
        values = with_more(room.journal, walk, key, room.hand, more)
        if values is not None:
            keep_items(room, [values], say("rows.kept"))


def _photo(
    room: Room, walk: Record, stop: StopShown, key: Key, record: Record | None, name: str
) -> None:  # fmt: skip
    there = record.body.photos if record and isinstance(record.body, Sighting) else ()
    title = say("rows.photo", what=title_of(room, key), n=len(there))
    with st.expander(title, icon=":material/photo_camera:"):
        if count_at(record, stop.number) is None:
            st.caption(say("rows.photo_note"))
        photo_box(room, name, lambda known: _kept_photo(room, walk, stop, key, known))


def photo_box(room: Room, name: str, kept: Any) -> None:
    """Draw what takes a photo: a file or the phone's camera, or this computer's camera."""
    st.file_uploader(
        say("rows.photo_file", mb=PHOTO_MB), type=["jpg", "jpeg", "png", "webp", "heic"],
        key=f"file_{name}", max_upload_size=PHOTO_MB, on_change=_took,
        args=(room, f"file_{name}", kept), disabled=not room.ready,
    )  # fmt: skip
    if st.toggle(say("rows.photo_camera"), key=f"cam_on_{name}"):
        st.camera_input(say("rows.photo_now"), key=f"cam_{name}", on_change=_took,
                        args=(room, f"cam_{name}", kept), disabled=not room.ready)  # fmt: skip


def _took(room: Room, widget: str, kept: Any) -> None:
    given = st.session_state.get(widget)
    if given is None:
        return
    try:
        known = _add_photo(room, given.getvalue())
    except RiskRulesError as error:
        told("wrong", say("rows.refused", why=str(error)))
        return
    kept(known)


@frame.for_roles(*WRITES)
def _add_photo(room: Room, data: bytes) -> str:
    return room.journal.add_photo(data)


def _kept_photo(room: Room, walk: Record, stop: StopShown, key: Key, known: str) -> None:
    """Put a photo beside the count of its symptom, or else beside the note of the stop."""
    with KEEPING:
        record = standing(room.journal, walk).get(key)
        if record and isinstance(record.body, Sighting) and count_at(record, stop.number):
            photos = tuple(dict.fromkeys((*record.body.photos, known)))
            _keep_more(room, walk, key, {"photos": photos})
        else:
            _keep_note(room, walk, stop.number, None, known)


def _else_seen(room: Room, seen: WalkShown) -> None:
    with st.expander(say("rows.else"), icon=":material/search:"):
        names = list(room.symptoms.symptoms)
        symptom = st.selectbox(say("rows.else_what"), names, index=None, key="rows_else",
                               format_func=room.symptoms.title)  # fmt: skip
        if symptom is None:
            return
        parts = list(room.symptoms.symptoms[symptom].parts)
        part = st.radio(say("rows.else_part"), parts, horizontal=True, key="rows_else_part",
                        format_func=room.symptoms.part_title)  # fmt: skip
        text = f"{symptom}/{part}"
        also = [t for t in st.query_params.get("also", "").split(",") if t and t != text]
        st.button(say("rows.else_add"), on_click=lambda: put(also=",".join([*also, text])),
                  disabled=(symptom, part) in seen.keys)  # fmt: skip


def _note(room: Room, walk: Record, stop: StopShown) -> None:
    name = f"note_{str(walk.id)[:8]}_{stop.number}"
    record = note_at(room.journal, walk, stop.number)
    st.text_area(
        say("rows.note"), value=note_words(record), key=name, max_chars=3500, height=90,
        on_change=_write_note, args=(room, walk, stop.number, name), disabled=not room.ready,
    )  # fmt: skip
    photos = getattr(record.body, "photos", ()) if record else ()
    if photos:
        st.caption(say("rows.photos_kept", n=len(photos)))


def _write_note(room: Room, walk: Record, stop: int, widget: str) -> None:
    _keep_note(room, walk, stop, str(st.session_state.get(widget) or ""), None)


def _keep_note(room: Room, walk: Record, stop: int, words: str | None, photo: str | None) -> None:
    with KEEPING:
        old = note_at(room.journal, walk, stop)
        photos = tuple(getattr(old.body, "photos", ()) if old else ())
        photos = tuple(dict.fromkeys((*photos, photo))) if photo else photos
        text = note_words(old) if words is None else words
        values = noted(room.journal, walk, stop, text, photos, room.hand)
        if values is not None:
            keep_items(room, [values], say("rows.kept_stop", stop=stop))
