"""Course of a block: the risk timeline, as a picture or as tables."""

from __future__ import annotations

from dashboard import frame
from dashboard.parts import course_parts as parts

page = frame.begin("course")
with frame.troubles():
    parts.draw(page)
