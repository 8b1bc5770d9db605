"""In the rows: the scout's walk, one stop a screen; quick records; a walk taken along."""

from dashboard import frame, scout, scout_along, scout_quick, scout_walk
from dashboard.words import say

page = frame.begin("rows")
frame.need("scout")
with frame.troubles():
    scout.show_told()
    room = scout.enter(page)
    if room is not None:
        scout.ask(room)
        parts = {"walk": scout_walk, "write": scout_quick, "along": scout_along}
        part = scout.choice(
            say("rows.part"), list(parts), "do", lambda p: say(f"rows.part_{p}"), hidden=True
        )
        parts[part].draw(room)
