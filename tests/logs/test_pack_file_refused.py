"""Faults in packs and profiles: each with line and column, value, and what is expected."""

from __future__ import annotations

from pathlib import Path

import pytest

from riskrules.packs.load import apply_profile, load_pack, load_rulebook
from riskrules.packs.marked import read_marked
from riskrules.review import shipped_rulebook

from .helpers import only, problems, says, written
from .test_farm_file_refused import BOMB

PACK = """\
pack: mine
title: Invented pack
thresholds:
  long_wet: {value: 10, unit: h, range: [2, 48], source: invented, tag: assumption}
rules:
- rule: wet
  title: It was wet
  given: {wet: wet_period}
  when:
  - wet.hours >= long_wet
  stages: [65]
  finding: {hazard: gray_mold, severity: Minor, sentence: "{wet.hours} wet."}
  sources: [{text: invented, tag: assumption}]
"""
SHARED = shipped_rulebook().shared


def load(folder: Path, text: str) -> object:
    return load_pack(written(folder, text, "mine.yaml"), SHARED)


def test_the_pack_that_the_faults_are_put_into_is_itself_good(tmp_path):
    assert load(tmp_path, PACK).rules[0].key == "mine.wet"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("  title: It was wet", "\ttitle: It was wet", 7, ("tab",)),
        ("wet_period", "wet_perod", 8, ("'wet_perod'", "did you mean 'wet_period'")),
        ("wet.hours >=", "wat.hours >=", 10, ("no fact 'wat' is given", "did you mean 'wet'")),
        ("wet.hours >=", "wet.hour >=", 10, ("wet_period has no 'hour'", "did you mean 'hours'")),
        (">= long_wet", ">= log_wet", 10, ("no threshold named 'log_wet'", "'long_wet'")),
        (">= long_wet", ">= warm", 10, ("'warm' is in degC", "expected h")),
        (">= long_wet", ">= 10", 10, ("number 10 in a condition", "expected a named threshold")),
        (">= long_wet", "!= long_wet", 10, ("expected one of >= > <= < == in",)),
        ("wet.hours >= long_wet", "wet.hours", 10, ("'hours' is a number", "a comparison")),
        ("wet.hours >= long_wet", "__import__('os')", 10, ("__import__", "overlaps")),
        ("wet.hours >= long_wet", "wet.basis == 'guessed'", 10, ("'guessed'", "measured")),
        ("wet.hours >= long_wet", "'wet.hours >='", 10, ("is not a condition", "column")),
        ("value: 10", "value: 60", 4, ("'long_wet' is 60", "expected 2 to 48 h")),
        ("[2, 48]", "[48, 2]", 4, ("48.0 to 2.0 runs backwards",)),
        ("unit: h", "unit: hours", 4, ("'hours'", "'h', 'degC'")),
        ("tag: assumption}\nrules", "tag: heard}\nrules", 4, ("'heard'", "'read'")),
        ("source: invented, ", "", 4, ("'source' is missing",)),
        ("stages: [65]", "stages: [66]", 11, ("66 is not a BBCH code of strawberry",)),
        ("stages: [65]", "stages: [bloom]", 11, ("'bloom'", "integer")),
        ("severity: Minor", "severity: Low", 12, ("'Low'", "'Extreme'")),
        ("{wet.hours} wet", "{wet.hour} wet", 12, ("wet_period has no 'hour'",)),
        ("{wet.hours} wet", "{limit} wet", 12, ("no threshold named 'limit'",)),
        ("title: Invented pack", "title: a\ntitle: b", 3, ("'title' stands twice",)),
        ("- rule: wet", "- rule: wet\n  rulle: wet", 7, ("'rulle' is not a key here",)),
        ("{wet: wet_period}", "{wet: wet_period, night: night}", 8, ("'night' is not tied",
                                                                     "expected overlaps")),
        ("- wet.hours >=", "- follows(wet, wet)\n  - wet.hours >=", 10, ("names of two facts",)),
    ],
)  # fmt: skip
def test_a_fault_is_refused_at_its_line(tmp_path, old, new, line, words):
    assert old in PACK
    found = problems(lambda: load(tmp_path, PACK.replace(old, new)))
    hit = [p for p in found if p.line == line and all(w in p.message for w in words)]
    assert hit and hit[0].file == "mine.yaml" and hit[0].column > 0, [str(p) for p in found]


def test_columns_point_at_the_value(tmp_path):
    problem = only(lambda: load(tmp_path, PACK.replace("value: 10", "value: 60")))
    assert PACK.replace("value: 10", "value: 60").splitlines()[3][problem.column - 1 :][:2] == "60"


def test_a_rule_that_stands_twice_is_refused(tmp_path):
    text = PACK + PACK[PACK.index("- rule") :]
    says(only(lambda: load(tmp_path, text)), "mine.yaml", 14, "'wet' stands twice")


def test_faults_of_all_packs_are_said_at_once(tmp_path):
    a = written(tmp_path, PACK.replace("long_wet\n", "x\n"), "a.yaml")
    b = written(tmp_path, PACK.replace("wet_period", "y"), "b.yaml")
    files = {p.file for p in problems(lambda: load_rulebook([a, b]))}
    assert files == {"a.yaml", "b.yaml"}


@pytest.mark.parametrize(
    ("text", "word"), [(BOMB, "alias"), ("[" * 300_000, "nesting"), ("", "empty")]
)
def test_a_pack_that_is_a_bomb_or_empty_is_refused(tmp_path, text, word):
    assert any(word in p.message for p in problems(lambda: load(tmp_path, text)))


CHANGE = "{threshold: %s, value: %s, unit: %s, reason: invented, who: invented, when: 2026-01-01}"
PROFILE = "profile: here\ntitle: Invented\nchanges:\n- " + CHANGE + "\n"


def profiled(folder: Path, text: str) -> object:
    return apply_profile(shipped_rulebook(), read_marked(written(folder, text, "here.yaml")))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("facts.warmm", 24, "degC"), ("no threshold 'facts.warmm'", "did you mean 'facts.warm'")),
        (("warm", 24, "degC"), ("no threshold 'warm'",)),
        (("facts.warm", 24, "K"), ("'facts.warm' is given in K", "expected degC")),
        (("facts.warm", 240, "degC"), ("'facts.warm' is 240", "expected 20 to 32 degC")),
        (("facts.warm", "nan", "degC"), ("facts.warm", "nan")),
        (("facts.warm", "mild", "degC"), ("'mild'", "number")),
    ],
)
def test_a_profile_with_a_fault_is_refused_at_its_line(tmp_path, change, words):
    problem = only(lambda: profiled(tmp_path, PROFILE % change))
    says(problem, "here.yaml", 4, *words)
    assert problem.column > 2


@pytest.mark.parametrize(
    ("old", "new", "line", "word"),
    [
        ("reason: invented, ", "", 4, "'reason' is missing"),
        ("who: invented", "whom: invented", 4, "'whom' is not a key here"),
        ("title: Invented", "title: a\ntitle: b", 3, "stands twice"),
        ("profile: here", "profile: Over There", 1, "pattern"),
    ],
)
def test_a_profile_that_leaves_out_or_misspells_a_key_is_refused(tmp_path, old, new, line, word):
    text = (PROFILE % ("facts.warm", 24, "degC")).replace(old, new)
    found = problems(lambda: profiled(tmp_path, text))
    assert any(p.line == line and word in p.message for p in found), found


def test_a_good_profile_is_kept_with_who_when_and_why(tmp_path):
    book = profiled(tmp_path, PROFILE % ("facts.warm", 24, "degC"))
    warm = book.shared["warm"]  # type: ignore[attr-defined]
    assert warm.value == 24
    assert warm.origin == "profile here (invented, 2026-01-01: invented)"
