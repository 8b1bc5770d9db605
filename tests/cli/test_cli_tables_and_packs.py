"""``tables`` and ``packs``: what they list, and that they fail when something is wrong."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from riskrules.review import shipped_rulebook
from riskrules.science import printed

from .running import run, text_of


def test_tables_prints_every_published_value_with_its_source_and_tag():
    ran = run("tables", "--json")
    assert ran.code == 0
    found = json.loads(ran.out)
    assert [row["id"] for row in found] == [row.id for row in printed.printed_values()]
    assert {row["verdict"] for row in found} == {"agrees", "known disagreement"}
    text = text_of(run("tables", "--all"))
    for row in found:
        assert " ".join(row["what"].split()) in text and f"[{row['tag']}]" in text, row["id"]


def test_tables_counts_published_values_apart_from_those_that_only_repeat_code():
    rows = printed.recompute()
    published = [
        row
        for row in rows
        if row.kind == "biology" or (row.kind == "arithmetic" and row.tag != "computed")
    ]
    known = [row for row in published if row.verdict == "known disagreement"]
    text = text_of(run("tables"))
    assert (
        f"{len(published)} published values: {len(published) - len(known)} agree, "
        f"{len(known)} known disagreements, 0 wrong."
    ) in text


@pytest.mark.parametrize("pinned", [False, True])
def test_tables_exits_1_and_names_the_value_when_print_and_code_part(monkeypatch, pinned):
    values = printed.printed_values()
    at = next(
        i for i, v in enumerate(values)
        if (v.pinned is not None) == pinned and v.kind != "regression" and v.side == "equal"
    )  # fmt: skip
    far = 1000 * (values[at].tolerance + 1)
    if pinned:
        broken = replace(values[at], pinned=values[at].pinned + far)
    else:
        broken = replace(values[at], printed=values[at].printed + far)
    values[at] = broken
    monkeypatch.setattr(printed, "printed_values", lambda: values)
    for words in (("tables",), ("tables", "--json"), ("tables", "--all")):
        ran = run(*words)
        assert ran.code == 1
        assert broken.what.split()[0] in ran.out
    text = text_of(run("tables"))
    assert "1 wrong" in text
    assert f"{'changed' if pinned else 'off'}: {' '.join(broken.what.split())}" in text


def test_packs_lists_every_pack_with_its_rules_thresholds_and_examples():
    ran = run("packs")
    book = shipped_rulebook()
    assert ran.code == 0
    for pack in book.packs:
        assert (
            f"{pack.name}: {pack.title} ({len(pack.rules)} rules, {len(pack.thresholds)} thresholds"
            in text_of(ran)
        )
    count = sum(len(r.text.examples) for r in book.rules)
    assert f"{count} of {count} examples give what they say." in text_of(ran) and count > 100
    listed = text_of(run("packs", "--rules"))
    assert all(f"{rule.name}: " in listed for rule in book.rules)


PACK = """\
pack: mine
title: Invented pack
thresholds:
  long_wet: {value: 10, unit: h, range: [2, 48], source: invented, tag: assumption}
rules:
- rule: wet
  title: It was wet
  given: {wet: wet_period}
  when: [wet.hours >= long_wet]
  finding: {hazard: gray_mold, severity: Minor, sentence: "{wet.hours} wet."}
  sources: [{text: invented, tag: assumption}]
  examples:
  - {wet: {hours: 12}, gives: fires}
  - {wet: {hours: 8}, gives: quiet}
"""


def test_a_pack_of_ones_own_is_checked_with_its_examples(tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text(PACK)
    ran = run("packs", path)
    assert ran.code == 0 and "2 of 2 examples give what they say." in text_of(ran)


def test_an_example_that_gives_something_else_exits_1_and_is_named(tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text(PACK.replace("hours: 8}, gives: quiet", "hours: 8}, gives: fires"))
    ran = run("packs", path)
    assert ran.code == 1
    assert "mine.yaml:6: wet example 2 gives quiet; it says fires" in text_of(ran)
    assert "1 of 2 examples" in text_of(ran)


def test_a_pack_with_faults_exits_1_with_line_and_column(tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text(PACK.replace("wet.hours >= long_wet", "wet.hours >= long_wt"))
    ran = run("packs", path)
    assert ran.code == 1 and not ran.out
    assert ran.err == "mine.yaml:9:10: no threshold named 'long_wt'; did you mean 'long_wet'?\n"


def test_packs_that_are_not_there_exit_1(tmp_path):
    ran = run("packs", tmp_path / "gone.yaml")
    assert ran.code == 1 and "no such file" in ran.err


def test_packs_takes_a_profile_and_shows_that_thresholds_changed(tmp_path):
    path = tmp_path / "p.yaml"
    path.write_text(
        "profile: here\ntitle: Invented\nchanges:\n- {threshold: mine.long_wet, value: 11, "
        "unit: h, reason: invented, who: invented, when: 2026-01-01}\n"
    )
    pack = tmp_path / "mine.yaml"
    pack.write_text(PACK)
    plain, changed = run("packs", pack), run("packs", pack, "--profile", path)
    assert plain.code == changed.code == 0 and plain.out != changed.out
