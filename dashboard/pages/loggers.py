"""Loggers: what came of the logs, and a file that is dropped, understood and read in."""

from dashboard import frame, loggers_drop, loggers_report

page = frame.begin("loggers")
frame.need("reader")
with frame.troubles():
    loggers_drop.draw(page)
    loggers_report.draw(page)
