"""What the commands print: paragraphs that fit a narrow terminal, no colour when piped."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from pathlib import Path

from rich.console import Console
from rich.text import Text

from riskrules.errors import RiskRulesError
from riskrules.findings.explain import Explanation, explain_rule, in_words
from riskrules.findings.model import Finding, UnknownFinding
from riskrules.review import Review
from riskrules.science.printed import TableRow
from riskrules.worklist.rank import WINDOW_WORDS, BlockJob, WorkItem

MARKS = {"Extreme": "####", "Severe": "###", "Moderate": "##", "Minor": "#", "Unknown": "?"}
"""Severity as a length, so that it reads without colour."""


def console() -> Console:
    """Return the console; as wide as the terminal, 100 columns when piped."""
    made = Console(highlight=False, soft_wrap=False)
    return made if made.is_terminal else Console(highlight=False, width=100, no_color=True)


def _say(out: Console, text: str, indent: int = 0, style: str = "") -> None:
    for line in textwrap.wrap(text, max(out.width - indent, 20), break_long_words=False):
        out.print(Text(" " * indent + line, style=style))


def show_review(r: Review) -> None:
    """Print a review: each block in one line, what to do, then why, then what is unknown."""
    out = console()
    _say(out, f"{r.farm.text.farm}, {r.style.moment(r.now)}", style="bold")
    _say(out, f"From {r.style.span(*r.window)}. Evaluated by {r.evaluator}."
         + (f" Profile {r.book.profile}." if r.book.profile else ""))  # fmt: skip
    for line in r.farm.assumed:
        _say(out, line, style="italic")
    for b in r.blocks:
        _say(out, f"{b.state.block}: {b.state.sentence}")
    _heading(out, "What to do first")
    _show_work(out, r)
    _heading(out, "What was found")
    _show_findings(out, r)
    if r.withdrawn:
        _heading(out, "Withdrawn since the earlier review")
        for old in r.withdrawn:
            _say(out, f"{old['block']}: {old['title']} ({old['start']})")
    _heading(out, "What could not be told")
    _show_unknowns(out, r.unknowns)
    _show_cautions(out, r)


def _heading(out: Console, text: str) -> None:
    out.print()
    _say(out, text, style="bold")


def _show_work(out: Console, r: Review) -> None:
    if not r.work.items:
        _say(out, "No job follows from what was found.")
        if any(f.urgency == "Past" for f in r.findings):
            _say(out, "All of it is past; --as-of shows the jobs as they stood at a time.")
        return
    for number, item in enumerate(r.work.items, 1):
        _say(out, f"{number}. {item.job.words}")
        _say(out, f"{WINDOW_WORDS[item.job.window]}; hours: {item.hours_from}", indent=3)
        for same in _alike(item):
            _say(out, _block_line(same, r), indent=3)
    _say(out, r.work.said, style="bold")


def _alike(item: WorkItem) -> list[list[BlockJob]]:
    """Group a job's blocks that have the same plan, window and checks."""
    groups: list[list[BlockJob]] = []
    for b in item.blocks:
        for group in groups:
            g = group[0]
            if (g.plan, g.start, g.end, g.guard, g.severity, g.certainty) == (
                b.plan, b.start, b.end, b.guard, b.severity, b.certainty,
            ):  # fmt: skip
                group.append(b)
                break
        else:
            groups.append([b])
    return groups


def _block_line(group: Sequence[BlockJob], r: Review) -> str:
    b = group[0]
    names = ", ".join(x.block for x in group)
    hours = sum(x.hours for x in group)
    plan = "" if b.plan == "do" else f" [{b.plan}]"
    checks = " ".join(b.guard.words)
    return (
        f"{names}{plan}: {r.style.span(b.start, b.end)}, {hours:g} h "
        f"({b.severity}, {b.certainty}). {checks}"
    )


def _show_findings(out: Console, r: Review) -> None:
    if not r.findings:
        _say(out, "No rule fired.")
    for f in r.findings:
        status = f" [{f.status}]" if f.status and f.status != "same" else ""
        _say(out, f"{MARKS[f.severity]} {f.title}: {f.block}{status}", style="bold")
        _say(out, f.sentence, indent=3)
        _say(out, f"{f.severity}, {f.urgency}, {f.certainty} ({f.basis.replace('_', ' ')}). "
             + "; ".join(_margins(f, r)), indent=3)  # fmt: skip
        if f.deferral:
            _say(out, f.deferral, indent=3)


def _margins(f: Finding, r: Review) -> Iterable[str]:
    for m in f.margins:
        unit = "K" if m.unit == "degC" else m.unit
        yield f"{m.condition} by {r.style.value(m.margin, unit)}"


def _show_unknowns(out: Console, unknowns: Sequence[UnknownFinding]) -> None:
    if not unknowns:
        _say(out, "Nothing.")
    for u in unknowns:
        _say(out, f"? {u.block}: {u.sentence}")
        _say(out, " ".join(u.settle), indent=3)


def _show_cautions(out: Console, r: Review) -> None:
    names = {c for item in r.work.items for c in item.cautions}
    names |= {c for f in r.findings for c in f.cautions}
    if names:
        _heading(out, "Take care")
        for name in sorted(names):
            _say(out, f"! {r.jobs.cautions[name]}")


def show_explanations(r: Review, rule: str, block: str | None, at: int | None = None) -> None:
    """Print why a rule fired or not, for each block; ``at`` narrows it to one moment. [s].

    Raises
    ------
    RiskRulesError
        If there is no such rule or block.
    """
    from riskrules.engine.evaluate import evaluate
    from riskrules.packs.check import meant

    rules = {x.key: x for x in r.book.rules}
    if rule not in rules:
        raise RiskRulesError(f"no rule '{rule}'{meant(rule, rules)}")
    names = [b.text.block for b in r.blocks]
    if block is not None and block not in names:
        raise RiskRulesError(f"no block '{block}'; expected one of {', '.join(names)}")
    out = console()
    for b in r.blocks:
        if block in (None, b.text.block) and b.facts:
            found = evaluate(b.facts, [r.book.pack(rules[rule].pack)])
            scene = b.scene if at is None else replace(b.scene, window=(at, at + 1))
            for e in explain_rule(rules[rule], b.facts, scene, found):
                _show_explanation(out, r, b.text.block, e)


def _show_explanation(out: Console, r: Review, block: str, e: Explanation) -> None:
    _say(out, f"{block}: {e.title} ({e.rule}): {e.answer}", style="bold")
    if e.missing_kind:
        _say(out, f"There was no {e.missing_kind.replace('_', ' ')} in that time.", indent=3)
        return
    for fact in e.facts:
        _say(out, f"{fact.kind}: {r.style.span(fact.start[0], fact.end[1])}", indent=3)
    for w in e.weighed:
        mark = ">" if w is e.failed else "+" if w.sure else "?" if w.maybe else "-"
        _say(out, f"{mark} {in_words(w, r.style)}", indent=3)
        if w.threshold:
            t = w.threshold
            _say(out, f"{t.means} Source: {t.source} [{t.tag}], from {t.origin}.", indent=6)
    if e.blocked_by:
        _say(out, f"It is there, and the rule asks that it is not: {e.blocked_by}", indent=3)
    for source in r.book.pack(e.rule.split(".")[0]).rules:
        if source.key == e.rule:
            for s in source.text.sources:
                _say(out, f"Source: {s.text} [{s.tag}]", indent=3)


def show_tables(as_json: bool, all_rows: bool) -> bool:
    """Print every printed value recomputed; return whether all are as they should be."""
    from riskrules.plugins import more_printed_values
    from riskrules.science.printed import failed, printed_values, recompute

    rows = recompute([*printed_values(), *more_printed_values()])
    bad = failed(rows)
    if as_json:
        print(json.dumps([asdict(row) for row in rows], indent=1, ensure_ascii=False))
        return not bad
    out = console()
    titles = {
        "arithmetic": "Arithmetic: does our code give the printed number?",
        "by hand": "Arithmetic worked out by hand for this project; not counted as published",
        "biology": "Biology: does the model agree with what its own paper observed?",
        "regression": "Regression: only repeats what code printed; not counted as published",
    }
    for kind, title in titles.items():
        some = [row for row in rows if _sort_of(row) == kind]
        _heading(out, f"{title} ({len(some)})")
        if kind in ("regression", "by hand") and not all_rows:
            some = [row for row in some if row.verdict != "agrees"]
            _say(out, "Those that agree are left out; --all shows them.")
        for row in some:
            sign = {"equal": "", "at least": ">= ", "at most": "<= "}[row.side]
            unit = "" if row.unit == "1" else f" {row.unit}"
            _say(out, f"{row.verdict}: {row.what}: printed {sign}{row.printed:.6g}{unit}, "
                 f"computed {row.computed:.6g}, difference {row.difference:+.2g} "
                 f"(tolerance {row.tolerance:.2g}). {row.source} [{row.tag}]"
                 + (f" {row.reason}." if row.reason else ""))  # fmt: skip
    published = [row for row in rows if _sort_of(row) in ("arithmetic", "biology")]
    known = sum(row.verdict == "known disagreement" for row in published)
    wrong = len(failed(published))
    out.print()
    _say(out, f"{len(published)} published values: {len(published) - known - wrong} agree, "
         f"{known} known disagreements, {wrong} wrong."
         + (f" {len(bad) - wrong} other rows wrong." if len(bad) > wrong else ""),
         style="bold")  # fmt: skip
    return not bad


def _sort_of(row: TableRow) -> str:
    """Return a row's kind; arithmetic that nobody printed stands apart."""
    return "by hand" if row.kind == "arithmetic" and row.tag == "computed" else row.kind


def show_packs(files: Sequence[Path], profile: Path | None, rules: bool) -> bool:
    """Print and check packs; return whether every example gives what it says."""
    from riskrules.engine.evaluate import evaluate
    from riskrules.packs.examples import run_example
    from riskrules.packs.load import load_rulebook
    from riskrules.report import pack_hash
    from riskrules.review import shipped_rulebook
    from riskrules.shipped import rulepacks_folder

    shared = rulepacks_folder() / "facts.yaml"
    book = load_rulebook([shared, *files], profile) if files else shipped_rulebook(profile)
    out = console()
    wrong = 0
    for pack in book.packs:
        _say(out, f"{pack.name}: {pack.title} ({len(pack.rules)} rules, "
             f"{len(pack.thresholds)} thresholds, {pack_hash(pack)})", style="bold")  # fmt: skip
        for rule in pack.rules:
            if rules:
                _say(out, f"{rule.name}: {rule.text.finding.sentence}", indent=3)
            for i, example in enumerate(rule.text.examples, 1):
                got = run_example(rule, pack, example, evaluate)
                if got != example.get("gives"):
                    wrong += 1
                    said = example.get("gives")
                    _say(out, f"{pack.file}:{rule.line}: {rule.name} example {i} gives {got}; "
                         f"it says {said}", indent=3)  # fmt: skip
    count = sum(len(rule.text.examples) for pack in book.packs for rule in pack.rules)
    _say(out, f"{count - wrong} of {count} examples give what they say.")
    return not wrong
