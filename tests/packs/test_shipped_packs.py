"""The packs, jobs and profiles that ship: complete, cautious, and true to their own examples."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from riskrules.engine.evaluate import PLAIN, evaluate, evaluator_name
from riskrules.engine.plain import matches
from riskrules.errors import PackError
from riskrules.facts.kinds import KINDS
from riskrules.packs.examples import OUTCOMES, example_facts, run_example
from riskrules.packs.load import Rulebook, load_rulebook, pack_files
from riskrules.packs.marked import Marked
from riskrules.packs.model import Pack, Rule
from riskrules.worklist.jobs import Job, JobBook, check_jobs, load_jobs

FOLDER = Path(__file__).parents[2] / "rulepacks"
REGIONS = sorted((FOLDER / "regions").glob("*.yaml"))
BOOK: Rulebook = load_rulebook(pack_files([FOLDER]))
JOBS: JobBook = load_jobs(FOLDER / "jobs.yaml")
RULES = [(pack, rule) for pack in BOOK.packs for rule in pack.rules]
EXAMPLES = [(p, r, e) for p, r in RULES for e in r.text.examples]
EXAMPLE_IDS = [f"{r.key}-{i}" for _, r in RULES for i, _ in enumerate(r.text.examples)]
by_rule = pytest.mark.parametrize(("pack", "rule"), RULES, ids=[r.key for _, r in RULES])
by_job = pytest.mark.parametrize("job", JOBS.jobs.values(), ids=list(JOBS.jobs))

OPENS_OR_WETS = re.compile(
    r"\b(opens?|lifts?|vents?|uncovers?|roll[^.]* up|take the row cover off|water|wets?|drip"
    r"|sprinkle|irrigat\w+)\b"
)
SPEAKS_ONLY = {
    "drain_puddles": "lets standing water off",
    "sort_wet_fruit_apart": "fruit that is wet already",
    "shut_sides": "shuts; who opens in the morning is the guarded job open_sides",
    "stay_out_while_wet": "waits until plants are dry",
    "scout_cold_damage": "cuts buds open",
}
"""Jobs whose words say such a verb without opening or wetting anything, and why."""
GOES_IN = re.compile(r"^(look at|look for|cut|carry|clear|lay|walk|put the row cover|take|pick)\b")
NOT_OURS = re.compile(
    r"\b(spray\w*|fungicid\w*|pesticid\w*|bactericid\w*|insecticid\w*|dose\w*|per hectare"
    r"|[kg]g?/ha|l/ha|ml/l|gal/acre|lb/acre|l/m2|pre-harvest interval|active ingredient)\b",
    re.IGNORECASE,
)


def shown_words(job: Job) -> str:
    return f"{job.name.replace('_', ' ')} {job.words}".lower()


@by_rule
def test_every_job_and_caution_of_a_rule_exists(pack: Pack, rule: Rule) -> None:
    assert set(rule.text.jobs) <= set(JOBS.jobs)
    assert set(rule.text.cautions) <= set(JOBS.cautions)


@by_rule
def test_every_rule_leads_to_something_to_do(pack: Pack, rule: Rule) -> None:
    assert rule.text.jobs


@by_rule
def test_every_rule_has_examples_of_all_three_answers(pack: Pack, rule: Rule) -> None:
    assert {e["gives"] for e in rule.text.examples} == set(OUTCOMES)


@pytest.mark.parametrize(("pack", "rule", "example"), EXAMPLES, ids=EXAMPLE_IDS)
def test_an_example_gives_what_it_says(pack: Pack, rule: Rule, example: dict[str, object]) -> None:
    assert run_example(rule, pack, example, matches) == example["gives"]


def gives(rule: Rule, pack: Pack) -> list[str]:
    """Return what a rule gives to its examples, without facts that it no longer speaks of."""
    aliases = {*rule.given, *([rule.absence.alias] if rule.absence else []), "gives"}
    return [
        run_example(rule, pack, {k: v for k, v in e.items() if k in aliases}, matches)
        for e in rule.text.examples
    ]


def weaker(rule: Rule) -> dict[str, Rule]:
    """Return the rule with one of its conditions, its stages or its absence taken away."""
    found = {}
    for i, condition in enumerate(rule.text.when):
        if condition.endswith(".exists") or condition.startswith("follows("):
            continue  # the first holds for every fact; an example's facts always follow
        text = rule.text.model_copy(update={"when": rule.text.when[:i] + rule.text.when[i + 1 :]})
        found[condition] = replace(rule, when=rule.when[:i] + rule.when[i + 1 :], text=text)
    if rule.stages:
        text = rule.text.model_copy(update={"stages": []})
        found["stages"] = replace(rule, stages=(), text=text)
    if rule.absence:
        text = rule.text.model_copy(update={"unless": None})
        found["unless"] = replace(rule, absence=None, text=text)
    return found


@pytest.mark.skipif(evaluator_name() == PLAIN, reason="the engine is not installed here")
@pytest.mark.parametrize("pack", BOOK.packs, ids=[p.name for p in BOOK.packs])
def test_the_engine_gives_the_same_to_every_example(pack: Pack) -> None:
    for rule in pack.rules:
        for example in rule.text.examples:
            found = run_example(rule, pack, example, lambda facts, _: evaluate(facts, [pack]))
            assert (rule.key, example, found) == (rule.key, example, example["gives"])


@by_rule
def test_every_condition_is_needed_by_some_example(pack: Pack, rule: Rule) -> None:
    """A condition without which all examples still come out right is one that nobody checks."""
    said = [e["gives"] for e in rule.text.examples]
    assert [name for name, each in weaker(rule).items() if gives(each, pack) == said] == []


@by_rule
def test_only_people_and_plain_readings_make_a_finding_observed(pack: Pack, rule: Rule) -> None:
    """What a model or an index says alone is at most Likely."""
    modelled = ("flower_index", "fruit_index", "leather_level", "life_used")
    if any(f".{name}" in text for name in modelled for text in rule.text.when):
        assert rule.text.finding.certainty != "Observed"


@by_rule
def test_infection_rules_leave_protection_to_label_and_adviser(pack: Pack, rule: Rule) -> None:
    if any("_index >=" in t or "leather_level >=" in t for t in rule.text.when):
        assert rule.text.finding.protection_choice


@by_rule
def test_what_rests_on_a_forecast_looks_ahead(pack: Pack, rule: Rule) -> None:
    if any("'forecast'" in text and "measured" not in text for text in rule.text.when):
        assert rule.text.finding.looks_ahead
        assert rule.text.finding.certainty in ("Likely", "Possible")


def test_the_packs_cover_the_four_hazards_with_enough_rules_that_truly_differ() -> None:
    """Rules whose conditions differ only in a threshold count once."""
    thresholds = {name for p in BOOK.packs for name in (*p.thresholds, *p.shared)}
    kinds_of_rule = set()
    for _, rule in RULES:
        shape = [
            re.sub(r"\b(" + "|".join(sorted(thresholds)) + r")$", "#", text)
            for text in rule.text.when
        ]
        absent = rule.absence.kind if rule.absence else ""
        kinds_of_rule.add((tuple(rule.given.values()), tuple(shape), absent, rule.stages))
    assert {p.name for p in BOOK.packs} == {
        "gray_mold", "fruit_rot", "postharvest_mold", "heat_stress",
    }  # fmt: skip
    assert len(kinds_of_rule) >= 36


@pytest.mark.parametrize("path", REGIONS, ids=[p.stem for p in REGIONS])
def test_every_region_profile_changes_thresholds_and_says_it_is_invented(path: Path) -> None:
    book = load_rulebook(pack_files([FOLDER]), path)
    changed = [
        t for p in book.packs for t in (*p.thresholds.values(), *p.shared.values())
        if t.origin.startswith("profile")
    ]  # fmt: skip
    assert changed
    assert "invented" in path.read_text(encoding="utf-8").splitlines()[0].lower()
    assert "(invented)" in yaml.safe_load(path.read_text(encoding="utf-8"))["title"]


def test_there_are_two_region_profiles() -> None:
    assert len(REGIONS) == 2


@by_job
def test_what_opens_lifts_or_wets_passes_the_cold_check(job: Job) -> None:
    if OPENS_OR_WETS.search(shown_words(job)) and job.name not in SPEAKS_ONLY:
        assert "cold" in job.guards


@by_job
def test_what_sends_people_in_passes_the_no_entry_check(job: Job) -> None:
    if GOES_IN.match(job.words.lower()):
        assert "entry" in job.guards
    if "pick" in job.guards:
        assert "entry" in job.guards


def test_the_jobs_that_only_speak_of_water_are_still_there_and_still_need_the_exception() -> None:
    for name in SPEAKS_ONLY:
        assert "cold" not in JOBS.jobs[name].guards
        assert OPENS_OR_WETS.search(shown_words(JOBS.jobs[name]))


def test_picking_jobs_pass_the_no_pick_check() -> None:
    picks = {n for n, j in JOBS.jobs.items() if re.search(r"\b(pick all|hold the pick|pick ripe|"
             r"hands pick|start the pick)\b", j.words.lower())}  # fmt: skip
    assert len(picks) >= 5
    assert all("pick" in JOBS.jobs[name].guards for name in picks)


@pytest.mark.parametrize("pack", BOOK.packs, ids=[p.name for p in BOOK.packs])
def test_every_threshold_of_a_pack_is_used(pack: Pack) -> None:
    used = set()
    for rule in pack.rules:
        texts = [*rule.text.when, *(rule.text.unless.when if rule.text.unless else [])]
        used |= set(re.findall(r"\w+", " ".join([*texts, rule.text.finding.sentence])))
    assert set(pack.thresholds) - used == set()


def test_every_job_and_caution_is_used() -> None:
    jobs = {j for _, r in RULES for j in r.text.jobs}
    cautions = {c for _, r in RULES for c in r.text.cautions}
    cautions |= {c for j in JOBS.jobs.values() for c in j.cautions}
    assert set(JOBS.jobs) - jobs == set()
    assert set(JOBS.cautions) - cautions == set()


@pytest.mark.parametrize("path", sorted(FOLDER.rglob("*.yaml")), ids=lambda p: p.stem)
def test_no_file_speaks_of_products_or_rates(path: Path) -> None:
    assert NOT_OURS.findall(path.read_text(encoding="utf-8")) == []


def test_an_example_that_speaks_of_what_a_fact_lacks_is_refused_with_a_hint() -> None:
    pack, rule = RULES[0]
    kind = KINDS[rule.given[rule.anchor]]
    name = kind.quantities[0].name
    with pytest.raises(PackError, match=f"did you mean '{name}'"):
        example_facts(rule, {rule.anchor: {name + "x": 1}, "gives": "fires"})


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"exists": [1, 0]}, "least to most within 0 to 1"),
        ({"stages": [63]}, "BBCH codes"),  # no 63 in the scale: BBCH 2001, encyclopedia [read]
        ({"start": "noon"}, "a number"),
    ],
)
def test_an_example_with_a_wrong_value_is_refused(values: dict[str, object], expected: str) -> None:
    _, rule = RULES[0]
    with pytest.raises(PackError, match=expected):
        example_facts(rule, {rule.anchor: values, "gives": "fires"})


def test_a_jobs_file_is_refused_with_line_and_column() -> None:
    text = (
        "jobs:\n  cut_leaves:\n    words: Cut\n    guards: [pick]\n    window: someday\n"
        "    hours: 1\n    evidence: []\n"
    )
    with pytest.raises(PackError) as caught:
        check_jobs(Marked("jobs.yaml", text))
    places = {(p.line, p.column) for p in caught.value.problems}
    assert places == {(5, 13), (7, 15)}


def test_a_jobs_file_with_an_unknown_caution_or_a_missing_guard_is_refused() -> None:
    text = (
        "jobs:\n  pick_it:\n    words: Pick\n    guards: [pick]\n    window: today\n    hours: 1\n"
        "    evidence: [{text: ours, tag: assumption}]\n    cautions: [slipery]\n"
        "cautions:\n  slippery: Wet straw is slippery.\n"
    )
    with pytest.raises(PackError, match="did you mean 'slippery'") as caught:
        check_jobs(Marked("jobs.yaml", text))
    assert [(p.line, p.column) for p in caught.value.problems] == [(8, 16), (4, 13)]
