"""What the form is made of, and what is refused of what a phone hands over."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from riskrules.journal import phone as phone_module
from riskrules.journal.phone import HandedOverError, form_html, read_handed_over
from riskrules.journal.records import Checked, Note, Sighting, Walk, canonical
from riskrules.journal.symptoms import load_symptoms

from .phone_browser import WALK, planned
from .small_records import JPEG, made

FOLDER = Path(phone_module.__file__).parent / "phone"
SEEN = Sighting(symptom="gray_mold", part="leaf", affected=1, examined=10, walk=WALK)


def file_of(*records: Any, **more: Any) -> bytes:
    plain = [r if isinstance(r, dict) else canonical(r) for r in records]
    values = {"format": "riskrules walk 1", "walk": str(WALK), "records": plain, "photos": {}}
    return json.dumps(values | more).encode()


def said(data: bytes) -> str:
    with pytest.raises(HandedOverError) as told:
        read_handed_over(data)
    assert "\n" not in str(told.value)
    return str(told.value)


def form(**more: Any) -> str:
    given = {"farm": "Farm", "block": "North", "walk": planned(), "symptoms": load_symptoms()}
    return form_html(**(given | more))


class Outline(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inside: dict[str, list[str]] = {"script": [], "style": []}
        self._open = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._open = tag
        if tag in self.inside:
            self.inside[tag].append("")

    def handle_endtag(self, tag: str) -> None:
        self._open = ""

    def handle_data(self, data: str) -> None:
        if self._open in self.inside:
            self.inside[self._open][-1] += data


def test_the_form_loads_nothing_and_its_policy_names_what_runs() -> None:
    outline = Outline(form(farm='</script><script src="x">', send_to="/records"))
    named = [v for _, attrs in outline.tags for n, v in attrs.items() if n in ("src", "href")]
    assert named == []
    assert len(outline.inside["script"]) == 2 and len(outline.inside["style"]) == 1
    policy = next(a["content"] for t, a in outline.tags if a.get("http-equiv")) or ""
    for text in (outline.inside["script"][1], outline.inside["style"][0]):
        assert f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" in policy
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert "connect-src 'self'" in policy
    assert "connect-src &#x27;none&#x27;" in form()


def test_every_text_is_used_and_there() -> None:
    texts = (FOLDER / "texts.js").read_text()
    known = set(re.findall(r"^  (\w+):", texts, re.M))
    scripts = "".join(p.read_text() for p in FOLDER.glob("*.js") if p.name != "texts.js")
    assert set(re.findall(r"TEXT\.(\w+)", scripts)) == known
    assert set(p.stem for p in FOLDER.glob("*.js")) == set(phone_module._SCRIPTS)
    assert "innerHTML" not in scripts


@pytest.mark.parametrize("send_to", ["http://x/records", "//x/records", "/\\x", "records"])
def test_a_form_sends_to_its_own_server_alone(send_to: str) -> None:
    with pytest.raises(ValueError, match="expected a path"):
        form(send_to=send_to)


def test_a_form_needs_a_walk_with_stops_and_a_block() -> None:
    with pytest.raises(ValueError, match="expected a walk"):
        form(walk=made())
    with pytest.raises(ValueError, match="without block"):
        form(walk=planned(block=None))
    empty = planned().model_copy(update={"body": Walk(pattern="random", per_stop=1, stops=())})
    with pytest.raises(ValueError, match="without stops"):
        form(walk=empty)


def test_what_was_handed_over_is_read_back() -> None:
    known = sha256(JPEG).hexdigest()
    note = made(Note(text="ä\U0001f353"), came_by="form")
    seen = made(SEEN.model_copy(update={"photos": (known,)}), came_by="form")
    photos = {known: b64encode(JPEG).decode()}
    assert read_handed_over(file_of(note, seen, note, photos=photos)) == (
        [note, seen],
        {known: JPEG},
    )
    assert read_handed_over(b"\xef\xbb\xbf" + file_of(note))[0] == [note]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "damaged or cut off"),
        (b"\xff\xfe", "damaged or cut off"),
        (file_of(made(came_by="form"))[:-9], "damaged or cut off"),
        (b"[" * 100_000, "damaged or cut off"),
        (b'{"format": NaN}', "damaged or cut off"),
        (b"[]", "no format at all"),
        (file_of(format="other 7"), "the file says 'other 7'"),
        (file_of(walk="x"), "the walk is 'x'"),
        (file_of(records={}), "no list of records"),
        (file_of(records=[0] * 5001), "at most 5,000"),
        (file_of(extra=1), "'extra' is no part"),
        (file_of(photos=[]), "the photos are no table"),
        (file_of(photos={"a" * 64: "?"}), "is damaged; expected base64"),
        (file_of(photos={"a" * 64: 7}), "is damaged; expected base64"),
        (file_of(photos={"a" * 64: b64encode(JPEG).decode()}), "its bytes have another hash"),
        (file_of(photos={"a" * 64: b64encode(b"<svg>").decode()}), "is no image"),
        (file_of(records=[7]), "record 1 of the file"),
        (file_of(made(came_by="form"), {"id": "x"}), "record 2 of the file"),
        (file_of(made(came_by="hand")), "it came by hand; expected form"),
        (file_of(made(Checked(), came_by="form")), "it is a checked"),
        (file_of(made(Note(text="a\0b"), came_by="form")), "NUL"),
    ],
)
def test_what_is_damaged_or_hostile_is_refused_in_one_sentence(data: bytes, expected: str) -> None:
    assert expected in said(data)


def test_a_record_of_another_walk_is_refused() -> None:
    other = uuid4()
    seen = made(SEEN.model_copy(update={"walk": other}), came_by="form")
    assert said(file_of(seen)) == f"record 1 of the file: it is of walk {other}; expected {WALK}"


def test_twelve_of_ten_are_refused() -> None:
    plain = canonical(made(SEEN, came_by="form"))
    plain["body"]["affected"] = 12
    assert "12 affected of 10 examined" in said(file_of(plain))


def test_one_identifier_for_two_contents_is_refused() -> None:
    note = made(came_by="form")
    other = note.model_copy(update={"note": "other"})
    assert "is there twice" in said(file_of(note, other))


def test_a_file_that_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone_module, "FILE_LIMIT", 100)
    assert "expected at most 100" in said(file_of())
