"""A table as plain HTML: every text escaped; on a phone each row is a short list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import streamlit as st

CSS = (
    "<style>.rr-wide{overflow-x:auto}.rr-table{border-collapse:collapse;width:100%}"
    ".rr-table th,.rr-table td{border-bottom:1px solid #8d858a;padding:.3rem .6rem;"
    "text-align:left;vertical-align:top}.rr-table th{white-space:nowrap}"
    ".rr-table caption{text-align:left;font-weight:600;padding:.3rem 0}"
    "@media (max-width:640px){.rr-table thead{position:absolute;left:-9999px}"
    ".rr-table tr,.rr-table tbody td,.rr-table tbody th{display:block;white-space:normal}"
    ".rr-table tbody td{border:0;padding:.1rem .6rem}.rr-table tr{padding:.4rem 0;"
    "border-bottom:1px solid #8d858a}.rr-table tbody th{border:0}"
    ".rr-table tbody td::before{content:attr(data-head) ': ';color:#5d555a}}</style>"
)


def html_table(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; the first cell of a row is its head.

    Examples
    --------
    >>> "<b>" in html_table("c", ["a"], [["<b>"]])
    False
    """
    top = "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>'
        + "".join(
            f'<td data-head="{escape(h)}">{escape(cell)}</td>'
            for h, cell in zip(head[1:], row[1:], strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return (
        f'<div class="rr-wide" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f'<table class="rr-table"><caption>{escape(caption)}</caption>'
        f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def show_table(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Draw a table on the page."""
    st.html(CSS + html_table(caption, head, rows))
