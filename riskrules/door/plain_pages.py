"""The few plain pages that the front itself shows. No script, nothing from elsewhere."""

from __future__ import annotations

from html import escape

from starlette.responses import HTMLResponse

SAFE = {
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "referrer-policy": "same-origin",  # with no-referrer, forms would be sent as if from elsewhere
    "x-content-type-options": "nosniff",
    "cache-control": "no-store",
}
STYLE = (
    "body{font:18px/1.5 sans-serif;max-width:32rem;margin:3rem auto;padding:0 1rem;color:#1d1a1c}"
    "button,input{font:inherit;padding:.7rem 1rem;width:100%;box-sizing:border-box;margin:.3rem 0}"
    "button{background:#5c2a4c;color:#fff;border:0;border-radius:.3rem}"
)
WORDS = {
    "closed": ("Not paired", "This device is not paired with the farm's computer. On that "
               "computer open 'People and devices', and take the picture shown there with this "
               "device's camera."),
    "host": ("Not here", "This address is not one of the farm's computer."),
    "far": ("Not from here", "Only devices on the farm's own network are let in."),
    "often": ("Too many tries", "Too many wrong codes came. Wait ten minutes, then make "
              "a new one."),
    "code": ("That code does not work", "It was used, is older than ten minutes, or never was "
             "one. Make a new one on the farm's computer."),
    "origin": ("Not from this page", "Another page tried to act in this one's name."),
    "large": ("Too large", "That is more than is taken in at once."),
    "method": ("Not so", "That is not how this page is used."),
    "role": ("Not for this device", "This device was let in for other work."),
    "down": ("Not there just now", "The dashboard does not answer. Try again in a minute."),
}  # fmt: skip
"""Texts of the front, which runs where no page does: heading and sentence, by what is wrong."""


def refusal(why: str, status: int) -> HTMLResponse:
    """Return a plain page that says why nothing is shown."""
    head, text = WORDS[why]
    return _page(head, f"<p>{escape(text)}</p>", status)


def ask_to_pair(code: str) -> HTMLResponse:
    """Return the page with the one button that pairs, so that a mere look uses no code up."""
    form = (
        "<p>This lets the device into the farm's pages until the grower withdraws it.</p>"
        '<form method="post" action="/pair" autocomplete="off">'
        f'<input type="hidden" name="code" value="{escape(code, quote=True)}">'
        '<label>What shall it be called?<input name="name" maxlength="60" value="phone"></label>'
        '<button type="submit">Let this device in</button></form>'
    )
    return _page("Pair this device", form, 200)


def _page(head: str, body: str, status: int) -> HTMLResponse:
    text = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(head)}</title><style>{STYLE}</style></head>"
        f"<body><main><h1>{escape(head)}</h1>{body}</main></body></html>"
    )
    return HTMLResponse(text, status, SAFE)
