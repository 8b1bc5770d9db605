"""Rules and thresholds as people read them."""

from __future__ import annotations

import streamlit as st

from dashboard import look
from dashboard.frame import plain
from dashboard.words import say
from riskrules.view.thresholds import PackWords, Part, RuleWords, ThresholdWords


def title_of(pack: PackWords) -> str:
    """Return a pack's title; that of the shared thresholds is a text of ours."""
    return pack.title or say("thresholds.shared_title")


def part_words(part: Part) -> str:
    """Return one condition as words."""
    more = f" ({part.threshold})" if part.threshold else ""
    return say(f"thresholds.when_{part.form}", first=part.first, second=part.second) + more


def rule_lines(rule: RuleWords) -> list[str]:
    """Return a rule's conditions as lines; all must hold."""
    either = say("thresholds.or")
    facts = ", ".join(f"{alias} = {kind}" for alias, kind in rule.facts)
    lines = [say("thresholds.given", facts=facts)]
    lines += [f" {either} ".join(map(part_words, alts)) for alts in rule.when]
    if rule.stages:
        lines.append(say("thresholds.stages", stages=" ".join(map(str, rule.stages))))
    if rule.unless:
        kind, when = rule.unless
        more = "; ".join(f" {either} ".join(map(part_words, alts)) for alts in when)
        lines.append(say("thresholds.unless", kind=kind, more=f" ({more})" if more else ""))
    return lines


def show_rule(rule: RuleWords) -> None:
    """Draw a rule: its sentence first, then when it speaks, then its sources."""
    with st.expander(plain(rule.title)):
        st.html(look.chip(rule.severity, f"{rule.certainty}, {rule.hazard}"))
        st.text(rule.sentence)
        st.markdown(say("thresholds.when"))
        st.markdown("\n".join(f"- {plain(line)}" for line in rule_lines(rule)))
        st.markdown(say("thresholds.sources"))
        st.markdown("\n".join(f"- {plain(text)} \\[{plain(tag)}\\]" for text, tag in rule.sources))


def show_threshold(t: ThresholdWords) -> None:
    """Draw a threshold with all that says where it comes from."""
    st.subheader(plain(say("thresholds.is", name=t.name, value=t.shown)))
    st.text(t.means)
    facts = [
        say("thresholds.range", range=t.shown_range),
        say("thresholds.source", source=t.source, tag=t.tag),
        say("thresholds.origin", origin=t.origin),
    ]
    users = ", ".join(t.rules) or say("thresholds.used_by_facts")
    facts.append(say("thresholds.used_by", rules=users))
    st.markdown("\n".join(f"- {plain(f)}" for f in facts))
