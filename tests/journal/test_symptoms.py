"""The open list of symptoms: whole, sourced, and open to a farm's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from riskrules.errors import PackError
from riskrules.facts.kinds import PARTS, SYMPTOMS
from riskrules.journal.events import event_of
from riskrules.journal.records import Note, Sighting
from riskrules.journal.symptoms import for_facts, load_symptoms
from riskrules.science.provenance import TAGS
from tests.journal.small_records import made

OWN = """symptoms:
  gnawed_crown:
    title: Gnawed crown
    parts: [plant]
    looks: Tooth marks at the crown.
    source: invented for a test
    tag: assumption
    look_alikes:
      - {symptom: wilting, tell: No tooth marks., source: invented, tag: assumption}
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "own_symptoms.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def seen(symptom: str) -> Sighting:
    return Sighting(symptom=symptom, part="leaf", affected=1, examined=10)


def test_all_that_rules_know_is_described():
    ours = load_symptoms()
    assert set(SYMPTOMS) <= set(ours.symptoms)
    assert tuple(ours.parts) == PARTS
    assert len(ours.symptoms) > len(SYMPTOMS)


def test_each_statement_has_its_source_and_tag():
    ours = load_symptoms()
    said = [*ours.symptoms.values(), *ours.parts.values()]
    said += [alike for symptom in ours.symptoms.values() for alike in symptom.look_alikes]
    assert all(each.source.strip() and each.tag in TAGS for each in said)


def test_what_looks_alike_is_another_symptom():
    ours = load_symptoms()
    for name, symptom in ours.symptoms.items():
        alike = [each.symptom for each in symptom.look_alikes]
        assert name not in alike
        assert len(alike) == len(set(alike))


def test_no_description_names_a_remedy():
    words = " ".join(
        f"{s.title} {s.looks} {' '.join(a.tell for a in s.look_alikes)}".lower()
        for s in load_symptoms().symptoms.values()
    )
    for remedy in ("spray", "fungicide", "pesticide", "treat", "rate"):
        assert f" {remedy}" not in words


def test_a_farm_adds_its_own(tmp_path):
    both = load_symptoms(written(tmp_path, OWN))
    assert list(both.symptoms)[-1] == "gnawed_crown"
    assert both.title("gnawed_crown") == "Gnawed crown"
    assert "gnawed_crown" not in load_symptoms().symptoms


@pytest.mark.parametrize(
    ("old", "new", "place", "message"),
    [
        ("gnawed_crown", "gray_mold", "3", "'gray_mold' is in the list already"),
        ("[plant]", "[root]", "4", "parts"),
        ("wilting", "wiltin", "9", "no symptom 'wiltin'; did you mean 'wilting'?"),
        ("tag: assumption\n    look", "tag: sure\n    look", "7", "tag"),
        ("    title: Gnawed crown\n", "", "3", "title"),
        ("symptoms:", "parts: {}\nsymptom:", "", "symptoms"),
    ],
)
def test_a_wrong_line_of_a_farm_is_named(tmp_path, old, new, place, message):
    assert old in OWN
    with pytest.raises(PackError) as caught:
        load_symptoms(written(tmp_path, OWN.replace(old, new)))
    said = str(caught.value)
    assert f"own_symptoms.yaml:{place}" in said
    assert message in said


def test_a_farm_adds_no_parts(tmp_path):
    root = "parts:\n  leaf: {title: Leaf, looks: A leaf., source: invented, tag: assumption}\n"
    with pytest.raises(PackError, match="own_symptoms.yaml:2:3: parts; expected none"):
        load_symptoms(written(tmp_path, root + OWN))


def test_a_symptom_not_listed_is_refused(tmp_path):
    ours, both = load_symptoms(), load_symptoms(written(tmp_path, OWN))
    unknown = made(seen("gnawed_crown"))
    assert len(ours.refuse(unknown)) == 1
    assert ours.refuse(unknown)[0].startswith("no symptom 'gnawed_crown'; expected one of gray")
    assert both.refuse(unknown) == []
    assert ours.refuse(made(seen("gray_mould"))) == [
        "no symptom 'gray_mould'; did you mean 'gray_mold'?"
    ]
    assert ours.refuse(made(Note(text="gray_mould"))) == []


@pytest.mark.parametrize("symptom", [*SYMPTOMS, "powdery_mildew", "gnawed_crown"])
def test_rules_see_theirs_and_other(symptom):
    event = event_of(made(seen(symptom)))
    assert event.what == f"leaf {for_facts(symptom)}"
    assert for_facts(symptom) in SYMPTOMS


def test_a_name_that_is_not_listed_is_still_shown():
    assert load_symptoms().title("gnawed_crown") == "Gnawed crown"
    assert load_symptoms().part_title("ripe_fruit") == "Ripe fruit"
