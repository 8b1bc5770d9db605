"""The record stands alone: no script, nothing fetched, no number without its interval."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from riskrules.tuning.archive import open_archive
from riskrules.tuning.asked import SHIPPED, Asked, Vary, answer
from riskrules.tuning.record import Record, html_of, write_record
from riskrules.tuning.summary import missing_of
from tests.tuning.made_archive import make_archive

PROFILE = """\
profile: valley
title: "A made-up valley"
changes:
  - {threshold: gray_mold.flower_attention, value: 0.3, unit: "1", reason: "<i>tried</i>",
     who: "an adviser", when: 2026-01-01}
"""
VOID = {"meta", "circle", "rect", "line", "polyline"}


class Tags(HTMLParser):
    """Collects tags and attributes, and checks that what opens also closes."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    folder = tmp_path_factory.mktemp("made")
    (folder / "valley.yaml").write_text(PROFILE, encoding="utf-8")
    asked = Asked(
        open_archive(make_archive(folder / "archive")), (folder / "valley.yaml",),
        "Is <script>0.3</script> better & safe?", "riskrules replay 'a b' --vary x",
        vary=(Vary("gray_mold.flower_attention", (0.3, 0.7)),), chosen_by=("2023",),
    )  # fmt: skip
    return answer(asked, folder / "out").record


@pytest.fixture(scope="module")
def page(record: Record) -> str:
    return html_of(record)


def test_nothing_runs_and_nothing_is_fetched(page: str) -> None:
    tags = Tags()
    tags.feed(page)
    assert tags.open == []
    names = {tag for tag, _ in tags.seen}
    assert not names & {"script", "link", "img", "iframe", "object", "form", "a"}
    for _, attributes in tags.seen:
        assert not {"src", "href", "srcset", "onload", "onclick"} & {*attributes}
    assert "url(" not in page and "@import" not in page


def test_words_of_people_stay_words(page: str) -> None:
    assert "Is &lt;script&gt;0.3&lt;/script&gt; better &amp; safe?" in page
    assert "<i>tried" not in page
    assert "riskrules replay &#x27;a b&#x27; --vary x" in page


def test_every_picture_is_whole_and_has_a_name(page: str) -> None:
    pictures = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(pictures) >= 4  # coverage, two hazards, a sweep
    for picture in pictures:
        root = ElementTree.fromstring(picture)
        assert root.attrib["role"] == "img" and root.attrib["aria-label"]
        for shape in root.iter():
            for key in ("x", "y", "cx", "cy", "x1", "x2", "y1", "y2"):
                assert -1 <= float(shape.attrib.get(key, 0)) <= 2000, ElementTree.tostring(shape)


def test_no_score_stands_without_its_interval(record: Record, page: str) -> None:
    rows = re.findall(r"<tr>(.*?)</tr>", page)
    shown = 0
    for score in record.scores:
        for estimate in score.estimates:
            if estimate.value is None:
                continue
            assert estimate.low is not None and estimate.high is not None
            span = f"<td>{estimate.low:.3g} to {estimate.high:.3g}</td>"
            value = f'<td class="n">{estimate.value:,.6g}</td>'
            assert any(value + span in row and f"<td>{score.profile}</td>" in row for row in rows)
            shown += 1
    assert shown >= 4


def test_what_is_not_known_is_said(record: Record, page: str) -> None:
    assert "too few sightings to tell" in page
    assert "Not scored, for want of a published time to symptoms" in page
    assert "Chosen and scored on the same seasons (2023)" in page
    assert "Can&#x27;t tell" in page or record.sweeps[0].tells
    assert {c.block for c in missing_of(record.summary.covers)} == {"bed_0", "bed_1"}
    for cover in record.summary.covers:  # 30 of 365 or 366 days, by hand
        days = 366 if cover.season == "2024" else 365
        assert cover.share == pytest.approx(30 / days, abs=1e-3)
        assert f'<td class="n">{cover.share * 100:.1f}</td>' in page


def test_changes_and_profiles_are_shown_with_their_source(record: Record, page: str) -> None:
    assert [p.name for p in record.profiles] == [SHIPPED, "valley"]
    old, new = record.profiles[1].changes[0]
    assert (old.name, old.value, new.value) == ("flower_attention", 0.5, 0.3)
    assert old.tag in page and record.profiles[1].version in page
    came = sum(n for key, n in record.summary.changes.items() if key[4] == "came")
    more = record.summary.findings_of("valley") - record.summary.findings_of(SHIPPED)
    went = sum(n for key, n in record.summary.changes.items() if key[4] == "went")
    assert came - went == more


def test_it_is_written_whole_and_says_the_same_each_time(record: Record, tmp_path: Path) -> None:
    write_record(tmp_path / "a" / "record.html", record)
    text = (tmp_path / "a" / "record.html").read_text(encoding="utf-8")
    assert text == html_of(record) and text.rstrip().endswith("</html>")
