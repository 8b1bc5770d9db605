"""'Loggers': a file is dropped, its mapping proposed and corrected, seen as read, and read in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import frame
from dashboard.frame import Page, plain
from dashboard.loggers_report import block_word, variable
from dashboard.loggers_table import table
from dashboard.scout import put
from dashboard.words import say
from riskrules.errors import FileProblems, RiskRulesError
from riskrules.logbook.intake import Taken
from riskrules.logs.mapping import LogMapping
from riskrules.logs.propose import Proposal
from riskrules.logs.raw import RawLog
from riskrules.sources import Source, sources_of
from riskrules.view.loggers_drop import (
    ENDINGS,
    LIMIT,
    AsRead,
    Dropped,
    as_read,
    choices,
    corrected,
    farm_says,
    found,
    mapping_of,
    proposed,
    save,
    table_of,
)
from riskrules.view.loggers_drop import (
    put as put_file,
)
from riskrules.view.loggers_store import begin_store, can_begin, read_in, source_named

READS = ("grower", "adviser")
ORDERS = ("", "year_first", "month_first", "day_first")


def draw(page: Page) -> None:
    """Draw the box for a file, or the file that is being understood."""
    st.subheader(say("loggers.drop"))
    if not page.visitor.may(*READS):
        st.caption(say("loggers.drop_not"))
        return
    known = st.query_params.get("file", "")
    dropped = found(page.farm.folder, known) if known else None
    if known and dropped is None:
        st.warning(say("loggers.drop_gone"))
    if dropped is None:
        _box(page)
        return
    st.button(say("loggers.drop_other"), on_click=lambda: put(file=None, of=None))
    st.caption(plain(say("loggers.drop_known", name=f"{dropped.path.parent.name}/"
                                                    f"{dropped.path.name}")))  # fmt: skip
    try:
        proposal = _proposal(str(dropped.path), dropped.known)
        mapping = mapping_of(dropped, proposal)
        table = table_of(dropped, mapping)
    except FileProblems as error:
        st.error(say("loggers.drop_wrong"))
        st.text("\n".join(p.message for p in error.problems[:20]))
        return
    _draw_file(page, dropped, proposal, mapping, table)


def said() -> None:
    """Say what became of the file that was read in last."""
    taken = st.session_state.pop("loggers_taken", None)
    if not isinstance(taken, Taken):
        return
    where = f"{block_word(taken.block)}, {taken.sensor}"
    if taken.state == "aside":
        st.error(say("loggers.taken_aside"))
        st.text("\n".join(p.message for p in taken.problems[:20]))
    else:
        st.success(plain(say(f"loggers.taken_{taken.state}", kept=f"{taken.rows:,}",
                             read=f"{taken.read:,}", where=where)))  # fmt: skip


def _box(page: Page) -> None:
    mb = LIMIT // 1_000_000
    given = st.file_uploader(say("loggers.drop_box", mb=mb), type=list(ENDINGS), key="drop_box",
                             max_upload_size=mb)  # fmt: skip
    if given is None:
        return
    try:
        dropped = _put(page.farm.folder, given.getvalue(), given.name)
        save_first(dropped)
    except FileProblems as error:
        st.error(say("loggers.drop_wrong"))
        st.text("\n".join(p.message for p in error.problems[:20]))
        return
    except RiskRulesError as error:
        st.error(plain(str(error)))
        return
    put(file=dropped.known)
    st.rerun()


def save_first(dropped: Dropped) -> None:
    """Write the proposed mapping beside a file that has none yet."""
    if not dropped.mapping_path.exists():
        save(dropped, proposed(dropped).mapping)


@frame.for_roles(*READS)
def _put(folder: Path, data: bytes, name: str) -> Dropped:
    return put_file(folder, data, name)


@st.cache_data(show_spinner=False, max_entries=8)
def _proposal(path: str, known: str) -> Proposal:
    return proposed(Dropped(known, Path(path)))


def _draw_file(
    page: Page, dropped: Dropped, proposal: Proposal, mapping: LogMapping, table: RawLog
) -> None:  # fmt: skip
    with st.expander(say("loggers.guess"), icon=":material/lightbulb:"):
        st.markdown("\n".join(f"- {plain(r)}" for r in proposal.reasons))
    st.markdown(f"**{say('loggers.questions')}**")
    if proposal.doubts:
        st.markdown("\n".join(f"- {plain(d)}" for d in proposal.doubts))
    else:
        st.markdown(say("loggers.no_questions"))
    source = _source(page)
    _form(dropped, mapping, table)
    if source is None:
        return
    says = farm_says(page.farm, source, dropped)
    if says:
        words = "; ".join(f"{k} {v}" for k, v in says.items())
        st.info(plain(say("loggers.farm_first", words=words)))
    read = as_read(page.farm, source, dropped, page.style)
    _rows(page, read)
    if not can_begin(page.farm):
        st.info(say("loggers.cannot_begin"))
        return
    if page.desk.store is None:
        st.info(say("loggers.read_first"))
    st.button(say("loggers.read_in"), type="primary", disabled=bool(read.wrong),
              on_click=_read, args=(page, source, dropped))  # fmt: skip


def _source(page: Page) -> Source | None:
    some = {f"{s.block}.{s.sensor}": s for s in sources_of(page.farm)}
    now = st.query_params.get("of", "")
    names = list(some)
    chosen = st.selectbox(
        say("loggers.sensor"), names, index=names.index(now) if now in some else None,
        key="drop_of", placeholder=say("loggers.sensor_choose"), help=say("loggers.sensor_hint"),
        format_func=lambda n: f"{block_word(some[n].block)}, {some[n].sensor}",
        on_change=lambda: put(of=st.session_state["drop_of"]),
    )  # fmt: skip
    if chosen is None:
        return None
    return source_named(page.farm, some[chosen].block, some[chosen].sensor)


def _form(dropped: Dropped, mapping: LogMapping, table: RawLog) -> None:
    """Draw the mapping; each change is written beside the file at once."""
    header = [h for h in dict.fromkeys(table.header) if h]
    more: dict[str, Any] = {"on_change": _changed, "args": (dropped, mapping, tuple(header))}
    k = f"map_{dropped.known}_"
    with st.expander(say("loggers.mapping"), expanded=True, icon=":material/tune:"):
        st.caption(say("loggers.mapping_about"))
        times = [t for t in mapping.time if t in header]
        st.multiselect(say("loggers.time_columns"), header, times, key=k + "time", **more)
        left, right = st.columns(2)
        with left:
            _one("date_order", ORDERS, mapping.date_order or "", k, more)
            _one("clock", ("local", "standard"), mapping.clock, k, more)
            st.text_input(say("loggers.missing"), " ".join(mapping.missing), 200,
                          key=k + "missing", **more)  # fmt: skip
        with right:
            st.text_input(say("loggers.zone"), mapping.zone or "", 60, key=k + "zone", **more)
            _one("stamp", ("end", "start"), mapping.stamp, k, more)
            _one("decimal", ("", ".", ","), mapping.decimal or "", k, more)
            _one("delimiter", ("", ",", ";", "tab", "|", "space"), mapping.delimiter or "", k, more)
        _columns(mapping, [h for h in header if h not in times], header, k, more)


def _one(name: str, options: tuple[str, ...], now: str, k: str, more: dict[str, Any]) -> None:
    def word(value: str) -> str:
        return value if value in (".", ",", ";", "|") else say(f"loggers.{name}_{value}")

    st.selectbox(say(f"loggers.{name}"), options, options.index(now), format_func=word,
                 key=k + name, **more)  # fmt: skip


def _columns(
    mapping: LogMapping, shown: list[str], header: list[str], k: str, more: dict[str, Any]
) -> None:  # fmt: skip
    left, right = st.columns(2)
    for i, name in enumerate(shown):
        now = mapping.columns.get(name, "")
        listed = choices(now)
        with left if i % 2 == 0 else right:
            st.selectbox(
                say("loggers.column", header=name), listed, listed.index(now),
                format_func=column_word, filter_mode="contains",
                key=f"{k}c{header.index(name)}", **more,
            )  # fmt: skip


def column_word(ours: str) -> str:
    """Return what people read for a choice of a column.

    Examples
    --------
    >>> column_word("air_temperature [degF]")
    'Air temperature [°F]'
    """
    if ours in ("", "ignore", "forecast"):
        return say(f"loggers.column_{ours}")
    name, _, unit = ours.partition(" [")
    unit = unit.rstrip("]").replace("deg", "°").replace("m s-1", "m/s")
    return f"{variable(name)} [{'0 to 1' if unit == '1' else unit}]"


def _changed(dropped: Dropped, mapping: LogMapping, header: tuple[str, ...]) -> None:
    k, state = f"map_{dropped.known}_", st.session_state
    columns = {h: state.get(f"{k}c{i}", mapping.columns.get(h, "")) for i, h in enumerate(header)}
    kept = {h: o for h, o in mapping.columns.items() if h not in header}
    try:
        wanted = corrected(
            mapping, columns=kept | columns, time=state[k + "time"], zone=state[k + "zone"],
            clock=state[k + "clock"], stamp=state[k + "stamp"],
            date_order=state[k + "date_order"], missing=state[k + "missing"],
            decimal=state[k + "decimal"], delimiter=state[k + "delimiter"],
        )  # fmt: skip
        _save(dropped, wanted)
    except RiskRulesError as error:
        st.toast(plain(str(error)), icon=":material/block:")


@frame.for_roles(*READS)
def _save(dropped: Dropped, mapping: LogMapping) -> None:
    save(dropped, mapping)


def _rows(page: Page, read: AsRead) -> None:
    st.markdown(f"**{say('loggers.rows')}**")
    if read.wrong:
        st.error(say("loggers.rows_wrong"))
        st.markdown("\n".join(f"- {plain(w)}" for w in read.wrong[:12]))
        return
    keys = list(read.rows[0]) if read.rows else []
    rows = [[row[key] or say("loggers.unknown") for key in keys] for row in read.rows]
    table(say("loggers.rows"), [column_name(key) for key in keys], rows)
    if read.first is not None and read.last is not None:
        st.markdown(plain(say(
            "loggers.rows_count", kept=f"{read.kept:,}", read=f"{read.read:,}",
            first=page.style.moment(read.first), last=page.style.moment(read.last),
            minutes=f"{read.step / 60:g}",
        )))  # fmt: skip
    st.caption(say("loggers.rows_why"))
    if read.notes:
        with st.expander(say("loggers.row_notes")):
            st.markdown("\n".join(f"- {plain(n)}" for n in read.notes[:30]))


def column_name(key: str) -> str:
    """Return the head of a column of rows as understood."""
    return say(f"loggers.col_{key}") if key in ("line", "time") else variable(key)


def _read(page: Page, source: Source, dropped: Dropped) -> None:
    try:
        st.session_state["loggers_taken"] = _read_in(page, source, dropped)
    except RiskRulesError as error:
        st.toast(plain(str(error)), icon=":material/block:")
        return
    put(file=None, of=None, lb=source.block or None)


@frame.for_roles(*READS)
def _read_in(page: Page, source: Source, dropped: Dropped) -> Taken:
    farm_file = page.desk.farm_file
    store = page.desk.store or begin_store(farm_file)
    return read_in(farm_file, store, source, dropped.path)
