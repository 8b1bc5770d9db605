"""Each published model as charts with its printed values, and where it must not be used."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.plain_table import show_table
from dashboard.words import has, say
from riskrules.science.printed import TableRow
from riskrules.view.models import Panel, Sheet, sheets
from riskrules.view.models_figure import SYMBOLS, figure


def title_of(sheet: Sheet) -> str:
    """Return the name of a model."""
    return sheet.card.name if sheet.card else say("models.other")


def axis(name: str, unit: str) -> str:
    """Return an axis title: what is measured and its unit."""
    return say(f"models.axis_{name}") + ("" if unit == "1" else f" [{unit}]")


def show_card(sheet: Sheet) -> None:
    """Say what a model computes, where it holds, and what it must not be used for."""
    card = sheet.card
    if card is None:
        st.text(say("models.other_about"))
        return
    st.warning(plain(say("models.limits", limits=card.limits)), icon=":material/block:")
    lines = [
        say("models.computes", computes=card.computes),
        say("models.valid", valid=card.valid),
        say("models.outside", outside=card.outside),
        say("models.references", references="; ".join(card.references), tag=card.tag),
    ]
    st.markdown("\n".join(f"- {plain(line)}" for line in lines))


def show_panel(module: str, panel: Panel) -> None:
    """Draw one chart with its texts."""
    key = f"models.panel_{panel.key}"
    name = say(key) if has(key) else panel.key
    st.subheader(plain(name[:1].upper() + name[1:]))
    words = {
        "x": axis(panel.x, panel.x_unit), "y": axis(panel.y, panel.y_unit),
        "not_tested": say("models.not_tested"),
        **{kind: say(f"models.kind_{kind}") for kind in SYMBOLS},
    }  # fmt: skip
    st.plotly_chart(
        figure(panel, words, hover), key=f"{module}_{panel.key}", config={"displayModeBar": False},
        theme=None,
    )  # fmt: skip


def hover(r: TableRow) -> str:
    """Return what is said of a printed value on a chart."""
    return say(
        "models.hover", what=r.what, printed=f"{r.printed:.6g}", computed=f"{r.computed:.6g}",
        difference=f"{r.difference:+.2g}", source=r.source, tag=r.tag,
    )  # fmt: skip


def show_rows(rows: tuple[TableRow, ...]) -> None:
    """Draw the printed values with what our code gives, the published ones first."""
    for kind in ("biology", "arithmetic", "regression"):
        some = [r for r in rows if r.kind == kind]
        if some:
            with st.expander(say(f"models.rows_{kind}", n=len(some)), expanded=kind == "biology"):
                head = ("what", "printed", "computed", "difference", "verdict", "source")
                heads = [say(f"models.head_{h}") for h in head]
                show_table(say(f"models.kind_{kind}"), heads, [cells(r) for r in some])


def cells(r: TableRow) -> list[str]:
    """Return a row of the table, its numbers as `riskrules tables` prints them."""
    sign = {"equal": "", "at least": "≥ ", "at most": "≤ "}[r.side]
    unit = "" if r.unit == "1" else f" {r.unit}"
    verdict = r.verdict + (f": {r.reason}" if r.reason else "")
    return [r.what, f"{sign}{r.printed:.6g}{unit}", f"{r.computed:.6g}{unit}",
            f"{r.difference:+.2g}", verdict, f"{r.source} [{r.tag}]"]  # fmt: skip


page = frame.begin("models", needs_farm=False)
st.text(say("models.about"))
every = {s.module: s for s in sheets()}
names = list(every)
wanted = st.query_params.get("model")
index = names.index(wanted) if wanted in names else names.index("gray_mold_flower")
chosen = st.selectbox(
    say("models.choose"), names, index, format_func=lambda m: title_of(every[m]), key="model"
)
if chosen != wanted:
    st.query_params["model"] = chosen
sheet = every[chosen]
show_card(sheet)
for panel in sheet.panels:
    show_panel(sheet.module, panel)
if sheet.marks:
    head = [say(f"models.head_{h}") for h in ("name", "value", "means", "source")]
    rows = [[m.name, f"{m.value:.1f} °C", m.what, f"{m.source} [{m.tag}]"] for m in sheet.marks]
    show_table(say("models.marks"), head, rows)
if sheet.rows:
    st.subheader(say("models.rows"))
    show_rows(sheet.rows)
else:
    st.text(say("models.no_rows"))
st.caption(say("models.same"))
