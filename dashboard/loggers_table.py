"""A small table as HTML: read by screen readers, moved sideways by keyboard, all text escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import streamlit as st

from dashboard.look import FAINT, LINE

STYLE = f"""<style>
.rr-table{{overflow-x:auto}}
.rr-table table{{border-collapse:collapse;width:100%;font-size:.95rem}}
.rr-table th,.rr-table td{{text-align:left;padding:.4rem .9rem .4rem 0;vertical-align:top;
border-bottom:1px solid {LINE}55}}
.rr-table th{{color:{FAINT};font-weight:600}}
.rr-table td.n{{white-space:nowrap}}
</style>"""


def table(label: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Draw a table.

    Parameters
    ----------
    label : str
        What it is, for those who do not see it.
    head, rows : sequence
        Plain text; none of it is taken for HTML.
    """
    st.html(html(label, head, rows))


def html(label: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table as HTML.

    Examples
    --------
    >>> "<b>" in html("<b>", ["<b>"], [["<b>"]])
    False
    """
    top = "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
    body = "".join(
        "<tr>" + "".join(f"<td{_narrow(c)}>{escape(c)}</td>" for c in row) + "</tr>" for row in rows
    )
    return (
        f'{STYLE}<div class="rr-table" role="region" tabindex="0" aria-label="{escape(label)}">'
        f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _narrow(cell: str) -> str:
    """Return the class of a cell that must not break: a number with its unit."""
    return ' class="n"' if cell[:1].isdigit() and len(cell) < 14 else ""
