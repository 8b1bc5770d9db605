"""The walk sheet on paper: all that is needed stands on it, inside the page, and only text."""

from __future__ import annotations

import re
import sys
import zlib
from html.parser import HTMLParser
from uuid import UUID

import pytest

from riskrules.errors import RiskRulesError
from riskrules.journal import sheet_print
from riskrules.journal.records import Block, Record
from riskrules.journal.sheet import sheet_html, sheet_pdf
from riskrules.journal.sheet_print import LOST, transliterated
from riskrules.journal.symptoms import load_symptoms
from riskrules.journal.walks import plan_walk
from tests.journal.small_records import made

BLOCK = Block(beds=12, bed_length=60.0, plants_per_bed=240)
FOUR = ("gray_mold", "anthracnose", "leather_rot", "powdery_mildew")
WALK = UUID("6f1c3d3e-0a53-4b57-8a39-0d9c5a8a1f00")
EVIL = '<script>alert(1)</script> & "Sons" \'n'


def planned(symptoms=FOUR, stops=20, pattern="random") -> Record:
    return made(plan_walk(BLOCK, pattern, 2026, stops, 10, symptoms), id=WALK)


class Tags(HTMLParser):
    """Counts tags and gathers text, and what the page would load."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.count: dict[str, int] = {}
        self.loads: list[str] = []
        self.said = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.count[tag] = self.count.get(tag, 0) + 1
        self.loads += [str(v) for k, v in attrs if k in ("src", "href", "action", "onload")]

    def handle_data(self, data):
        self.said += data


def test_the_html_has_a_pair_of_boxes_for_each_stop_and_symptom():
    page = Tags(sheet_html("North", planned(), load_symptoms(), "Invented farm"))
    # bed and metres, and two boxes for each of four symptoms
    assert page.count["td"] == 20 * (2 + 2 * 4)
    assert str(WALK) in page.said
    for stop, bed, metres in planned().body.stops:
        assert f"{stop}{bed}{metres:g}" in page.said.replace("\n", "")


def test_the_html_says_how_each_looks_and_what_looks_alike():
    page = Tags(sheet_html("North", planned(), load_symptoms(), "Invented farm"))
    for name in FOUR:
        symptom = load_symptoms().symptoms[name]
        assert symptom.looks in page.said
        assert all(alike.tell in page.said for alike in symptom.look_alikes)


def test_the_html_loads_nothing_and_runs_nothing():
    text = sheet_html("North", planned(), load_symptoms(), "Invented farm")
    page = Tags(text)
    assert page.loads == []
    assert "script" not in page.count
    assert not re.search(r"https?:|url\(|@import|@font-face", text)
    assert "default-src 'none'" in text


def test_names_are_text_and_nothing_else():
    text = sheet_html(EVIL, planned(), load_symptoms(), EVIL)
    page = Tags(text)
    assert "script" not in page.count
    assert "<script" not in text
    assert f"{EVIL}: {EVIL}" in page.said


def test_many_symptoms_stand_in_several_tables():
    symptoms = list(load_symptoms().symptoms)[:9]
    page = Tags(sheet_html("North", planned(symptoms), load_symptoms(), "Invented farm"))
    assert page.count["table"] == 3
    assert page.count["td"] == 20 * (3 * 2 + 2 * 9)


def test_a_walk_without_symptoms_leaves_columns_to_name():
    text = sheet_html("North", planned(()), load_symptoms(), "Invented farm")
    assert text.count("Symptom ____") == 3
    assert "How it looks" not in text


@pytest.mark.parametrize("print_it", [sheet_html, sheet_pdf])
def test_what_is_no_walk_is_refused(print_it):
    with pytest.raises(ValueError, match="the record is a note; expected a walk"):
        print_it("North", made(), load_symptoms(), "Invented farm")
    with pytest.raises(ValueError, match="no symptom 'gray_mould'"):
        print_it("North", planned(["gray_mould"]), load_symptoms(), "Invented farm")


def pages_of(pdf: bytes) -> list[str]:
    """Return what is drawn on each page, as PDF says it."""
    streams = re.findall(rb"stream\n(.*?)\nendstream", pdf, re.DOTALL)
    found = []
    for raw in streams:
        try:
            found.append(zlib.decompress(raw).decode("latin-1"))
        except zlib.error:
            continue
    return [text for text in found if " re" in text or " Tj" in text]


def size_of(pdf: bytes) -> tuple[float, float]:
    box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert box
    return float(box[1]), float(box[2])


@pytest.mark.parametrize(
    ("paper", "width", "height"),
    [("A4", 210 / 25.4 * 72, 297 / 25.4 * 72), ("Letter", 612, 792)],  # ISO 216; 8.5 x 11 in
)
@pytest.mark.parametrize("count", [1, 4, 9])
def test_the_pdf_stays_inside_its_paper(paper, width, height, count):
    symptoms = list(load_symptoms().symptoms)[:count]
    pdf = sheet_pdf("North " * 30, planned(symptoms, 50), load_symptoms(), "Invented " * 20, paper)
    assert size_of(pdf) == pytest.approx((width, height), abs=0.05)
    edge = 10 / 25.4 * 72 - 1
    boxes = 0
    for page in pages_of(pdf):
        for x, y, w, h in re.findall(r"([-\d.]+) ([-\d.]+) ([-\d.]+) ([-\d.]+) re", page):
            left, top, right, low = float(x), float(y), float(x) + float(w), float(y) + float(h)
            assert edge <= min(left, right) <= max(left, right) <= width - edge
            assert edge <= min(top, low) <= max(top, low) <= height - edge
            # 12 mm high and 12 mm wide or more
            boxes += abs(float(h)) == pytest.approx(12 / 25.4 * 72, abs=0.1)
            assert abs(float(w)) >= 12 / 25.4 * 72 - 0.1
        for x, y in re.findall(r"BT ([-\d.]+) ([-\d.]+) Td", page):
            assert edge <= float(x) < width - edge
            assert edge <= float(y) <= height - edge
    tables = -(-count // 4)
    assert boxes == 50 * (3 * tables + 2 * count)


def test_each_page_of_the_pdf_tells_its_walk():
    pages = pages_of(sheet_pdf("North", planned(stops=60), load_symptoms(), "Invented farm"))
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        assert f"(Walk {WALK})" in page
        assert f"({number} of {len(pages)})" in page


def test_the_pdf_says_how_each_looks():
    pages = pages_of(sheet_pdf("North", planned(), load_symptoms(), "Invented farm"))
    said = " ".join(re.findall(r"\((.*?)\) Tj", " ".join(pages)))
    for name in FOUR:
        assert load_symptoms().symptoms[name].looks.split(";")[0][:40] in said


def test_the_same_walk_gives_the_same_pdf():
    one, other = (sheet_pdf("North", planned(), load_symptoms(), "Invented") for _ in range(2))
    assert one == other
    assert one.startswith(b"%PDF-")


def test_letters_beyond_latin_1_are_set_in_a_font_of_the_system_or_told(monkeypatch):
    name = "Škoda Ωmega"
    monkeypatch.setattr(sheet_print, "FONTS", ())
    bare = sheet_pdf(name, planned(), load_symptoms(), "Invented")
    said = " ".join(pages_of(bare))
    assert "Skoda ?mega" in said
    assert LOST in said
    assert b"/FontFile2" not in bare
    plain = sheet_pdf("North", planned(), load_symptoms(), "Invented")
    assert LOST not in " ".join(pages_of(plain))


def test_a_font_of_the_system_is_put_in_when_it_is_needed():
    if not any(sheet_print.Path(regular).is_file() for regular, _ in sheet_print.FONTS):
        pytest.skip("no font of the list here: expected such as Debian's fonts-dejavu-core")
    assert b"/FontFile2" in sheet_pdf("Škoda Ωmega", planned(), load_symptoms(), "Invented")
    assert b"/FontFile2" not in sheet_pdf("Åsgård", planned(), load_symptoms(), "Invented")


@pytest.mark.parametrize(
    ("text", "shown"),
    [("Åsgård", "Åsgård"), ("Łódź", "Lódz"), ("“x” – y…", '"x" - y...'), ("поле", "????")],
)
def test_letters_keep_what_latin_1_has_of_them(text, shown):
    assert transliterated(text) == shown


def test_a_pdf_needs_fpdf2_and_a_known_paper(monkeypatch):
    with pytest.raises(ValueError, match="paper 'A5'; expected A4 or Letter"):
        sheet_pdf("North", planned(), load_symptoms(), "Invented", "A5")
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(RiskRulesError, match="needs the package fpdf2"):
        sheet_pdf("North", planned(), load_symptoms(), "Invented")
