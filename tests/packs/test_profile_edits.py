"""Profiles edited: comments, order and all else survive; value and words are read back."""

from __future__ import annotations

import io
import re
import tokenize

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from riskrules.errors import PackError
from riskrules.packs.load import apply_profile
from riskrules.packs.marked import Marked
from riskrules.packs.profiles import difference, new_profile, parsed, with_change, without_change
from riskrules.packs.regions import Change
from riskrules.review import shipped_rulebook
from riskrules.shipped import rulepacks_folder

BOOK = shipped_rulebook()
NAMES = [f"facts.{n}" for n in BOOK.shared] + [
    f"{p.name}.{n}" for p in BOOK.packs for n in p.thresholds
]
WORDS = st.text(
    st.characters(min_codepoint=32, exclude_categories=["C", "Z"]) | st.just(" "),
    min_size=1,
    max_size=60,
).filter(lambda w: w.strip() and w.isprintable())
NOTES = st.from_regex(r"[a-z0-9 :'\"\[\]{},&*!?-]{0,25}[a-z]", fullmatch=True)


def threshold(name: str):  # type: ignore[no-untyped-def]
    pack, _, short = name.partition(".")
    return (BOOK.shared if pack == "facts" else BOOK.pack(pack).thresholds)[short]


@st.composite
def changes(draw):  # type: ignore[no-untyped-def]
    name = draw(st.sampled_from(NAMES))
    t = threshold(name)
    steps = draw(st.integers(0, 1000))
    value = round(t.least + (t.most - t.least) * steps / 1000, 4)
    value = min(max(value, t.least), t.most)
    return Change(
        threshold=name, value=value, unit=t.unit, reason=draw(WORDS), who=draw(WORDS),
        when=draw(st.dates().map(str) | WORDS), evidence=draw(st.just("") | WORDS),
    )  # fmt: skip


def quoted(words: str) -> str:
    return '"' + words.replace("\\", "\\\\").replace('"', '\\"') + '"'


@st.composite
def written(draw):  # type: ignore[no-untyped-def]
    """A profile as a person might write it, with comments everywhere, and what it holds."""
    held = draw(st.lists(changes(), max_size=4, unique_by=lambda c: c.threshold))
    notes = iter(draw(st.lists(NOTES, min_size=30, max_size=30)))
    lines = [f"# {next(notes)}", "profile: here", f"title: Invented   # {next(notes)}"]
    lines += ["changes: []"] if not held else ["changes:  # " + next(notes)]
    dash = draw(st.sampled_from(["- ", "  - "]))
    for c in held:
        if draw(st.booleans()):
            lines.append(" " * dash.index("-") + f"# {next(notes)}")
        pairs = [("threshold", c.threshold), ("value", f"{c.value!r}")]
        pairs += [(key, quoted(getattr(c, key))) for key in ("unit", "reason", "who", "when")]
        if c.evidence:
            pairs.append(("evidence", quoted(c.evidence)))
        if draw(st.booleans()):
            body = "{" + ", ".join(f"{k}: {v}" for k, v in pairs) + "}"
            lines.append(dash + body + draw(st.sampled_from(["", f"  # {next(notes)}"])))
            continue
        for i, (key, value) in enumerate(pairs):
            more = f"  # {next(notes)}" if draw(st.booleans()) else ""
            lines.append((dash if i == 0 else " " * len(dash)) + f"{key}: {value}{more}")
    if draw(st.booleans()):
        lines += ["", f"# {next(notes)}"]
    return "\n".join(lines) + "\n", held


def comments(text: str) -> list[str]:
    """The comments of a YAML text, by a scan of our own: outside quotes, after a blank."""
    found = []
    for line in text.splitlines():
        bare = re.sub(r'"(?:[^"\\]|\\.)*"|\'(?:[^\']|\'\')*\'', lambda m: "x" * len(m[0]), line)
        at = bare.find("#") if bare.startswith("#") else bare.find(" #")
        if at >= 0:
            found.append(line[at:].strip(" #"))
    return found


@settings(max_examples=30, deadline=None)
@given(written(), changes())
def test_comments_and_order_survive_and_the_change_is_read_back(made, change):
    text, held = made
    new = with_change(text, change)
    found = parsed(new)
    assert next(c for c in found.changes if c.threshold == change.threshold) == change
    others = [c for c in found.changes if c.threshold != change.threshold]
    assert others == [c for c in held if c.threshold != change.threshold]
    assert comments(new) == comments(text)
    order = [c.threshold for c in held]
    assert [c.threshold for c in found.changes][: len(order)] == order
    t = threshold(change.threshold)
    book = apply_profile(BOOK, Marked("here.yaml", new))
    pack, _, name = change.threshold.partition(".")
    got = (book.shared if pack == "facts" else book.pack(pack).thresholds)[name]
    assert got.value == change.value and change.reason in got.origin and got.unit == t.unit
    assert with_change(new, change) == new
    second = YAML().load(new)["changes"]  # another reader, of YAML 1.2
    got = next(dict(c) for c in second if c["threshold"] == change.threshold)
    assert (got["value"], str(got["when"])) == (change.value, change.when)
    words = ("unit", "reason", "who")
    assert [got[k] for k in words] == [getattr(change, k) for k in words]


@settings(max_examples=30, deadline=None)
@given(written(), changes())
def test_a_change_taken_back_leaves_what_was_before(made, change):
    text, held = made
    if change.threshold in [c.threshold for c in held]:
        return
    back = without_change(with_change(text, change), change.threshold)
    assert parsed(back) == parsed(text)
    assert comments(back) == comments(text)


ODD = """\
profile: here
title: Invented
changes:
- threshold: facts.warm
  value: 24
  unit: degC
  reason: |
    many lines
    of it
  who: >-
    folded
    words
  when: x
# last
"""


@pytest.mark.parametrize(
    "text",
    [
        ODD,
        ODD.replace("# last\n", ""),
        ODD.rstrip("\n"),
        "changes: [{threshold: facts.warm, value: 2.4e+1, unit: degC, reason: r,\n who: w,"
        " when: x}]\nprofile: here\ntitle: t\n",
        "changes:\n  -   threshold: facts.warm\n      value: 24\n      unit: degC\n"
        "      reason: r\n      who: w\n      when: x\n\n\n# end\nprofile: here\ntitle: t\n",
        "{profile: here, title: t, changes: []}\n",
        "profile: here\ntitle: t\nchanges:\n  []  # none yet",
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["facts.warm", "facts.hot"])
def test_odd_ways_to_write_a_profile_are_edited_right_or_refused(text, name):
    change = Change(threshold=name, value=30.5, unit="degC", reason="a", who="b", when="c")
    try:
        new = with_change(text, change)
    except PackError as error:
        assert text.startswith("{") and "cannot be edited here" in str(error)
        return
    assert change in parsed(new).changes
    assert comments(new) == comments(text)
    if name not in text:
        assert parsed(without_change(new, name)) == parsed(text)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 24.00001])
def test_numbers_that_cannot_be_kept_are_refused(value):
    change = Change(threshold="facts.warm", value=value, unit="degC", reason="r", who="w", when="x")
    with pytest.raises(PackError, match="at most 4 decimals"):
        with_change(new_profile("here", "Invented"), change)


@pytest.mark.parametrize("name", ["humid_valley", "cool_coast"])
def test_the_shipped_profiles_are_edited_in_place(name):
    text = (rulepacks_folder() / "regions" / f"{name}.yaml").read_text(encoding="utf-8")
    first = parsed(text).changes[0]
    change = first.model_copy(update={"reason": "tried", "evidence": "walks of one season"})
    new = with_change(text, change)
    assert new.splitlines()[:4] == text.splitlines()[:4]
    assert [d.after for d in difference(parsed(text), parsed(new))] == [change]


def test_windows_line_ends_are_kept():
    text = "profile: here\r\ntitle: Invented # why\r\nchanges: []\r\n"
    change = Change(threshold="facts.warm", value=25, unit="degC", reason="r", who="w", when="x")
    new = with_change(text, change)
    assert new.count("\n") == new.count("\r\n") and "# why\r\n" in new


@pytest.mark.parametrize(
    ("key", "words", "said"),
    [
        ("reason", "", "reason is empty"),
        ("reason", "  ", "reason is empty"),
        ("who", "", "who is empty"),
        ("reason", "a\nb", "'\\n'"),
        ("evidence", "a\x00b", "'\\x00'"),
        ("reason", "x" * 2001, "2,001 characters"),
    ],
)
def test_words_that_cannot_be_kept_are_refused(key, words, said):
    change = Change(threshold="facts.warm", value=25, unit="degC", reason="r", who="w", when="x")
    with pytest.raises(PackError, match=re.escape(said)):
        with_change(new_profile("here", "Invented"), change.model_copy(update={key: words}))


def test_a_new_profile_keeps_titles_that_look_like_something_else():
    for title in ("yes", "a: b", "1_0", "[x", "#", "~", "12:30"):
        assert parsed(new_profile("here", title)).title == title


def test_the_scan_for_comments_tells_comments_from_text():
    """Else the checks above could not fail."""
    assert comments('a: "# no"  # yes\n# whole\nb: c#d\n') == ["yes", "whole"]
    python = list(tokenize.generate_tokens(io.StringIO("a = '# no'  # yes\n").readline))
    assert [t.string for t in python if t.type == tokenize.COMMENT] == ["# yes"]
