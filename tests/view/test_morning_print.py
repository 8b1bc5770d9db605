"""The morning as an HTML file and as a PDF: whole, escaped, and asking for nothing."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from dashboard.look import SEVERITY  # noqa: E402
from dashboard.words import say  # noqa: E402
from riskrules.view.desk import open_desk  # noqa: E402
from riskrules.view.morning import Morning, morning  # noqa: E402
from riskrules.view.morning_html import morning_html  # noqa: E402
from riskrules.view.morning_pdf import morning_pdf  # noqa: E402
from riskrules.view.morning_text import care_lines, morning_lines  # noqa: E402


@pytest.fixture(scope="module")
def m() -> Morning:
    return morning(open_desk(ROOT / "sample_logs" / "farm.yaml").review(), None, 3.0)


class Reader(HTMLParser):
    """Collects the text, the tags and every attribute of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.tags, self.given = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.given += attrs

    def handle_data(self, data):
        self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    return reader


def test_html_holds_all_and_asks_for_nothing(m):
    page = morning_html(m, say, SEVERITY)
    reader = read(page)
    text = "".join(reader.text)
    for line in morning_lines(m, say):
        assert line.text in text
    assert not {"script", "link", "img", "iframe", "object", "form"} & set(reader.tags)
    assert not [v for k, v in reader.given if k in ("src", "href", "action", "srcset")]
    assert "url(" not in page and "@import" not in page
    assert dict(reader.given)["content"] and "default-src 'none'" in page


def test_html_escapes_what_people_wrote(m):
    bad = "<script>alert(1)</script>\"'&"
    night = replace(m.nights[0], block=bad)
    page = morning_html(replace(m, farm=bad, nights=(night,)), say, SEVERITY)
    assert "<script" not in page
    assert bad in "".join(read(page).text)


def test_severity_reads_without_colour(m):
    page = morning_html(m, say, SEVERITY)
    colours = set(re.findall(r"#[0-9a-f]{3,6}\b", page.split("</style>")[0]))
    assert colours <= {"#000", "#fff", "#333"}
    for night in m.nights:
        assert f"{SEVERITY[night.severity].word}</span>" in page


def test_every_caution_names_the_jobs_it_belongs_to(m):
    lines = [line.text for line in care_lines(m, say)]
    for number, job in enumerate(m.jobs, 1):
        for caution in job.cautions:
            line = next(x for x in lines if x.startswith(caution))
            assert number in [int(n) for n in re.findall(r"\d+", line[len(caution) :])]


def test_pdf_is_whole_and_the_same_twice(m):
    made = morning_pdf(m, say)
    assert made.startswith(b"%PDF-") and b"%%EOF" in made[-32:]
    assert made == morning_pdf(m, say)
    assert made.count(b"/Type /Page\n") >= 2
    assert morning_pdf(m, say, "Letter") != made


def test_pdf_of_long_words_and_other_letters(m):
    """A word wider than the page, and letters that no Latin-1 font has, must not stop it."""
    night = replace(m.nights[0], sentence="x" * 900 + " Ł\u4e2d", block="b\u0142ok")
    few = replace(m, nights=(night,), jobs=(), unknowns=())
    assert morning_pdf(few, say).startswith(b"%PDF-")
