"""The jobs that findings lead to, and the cautions shown with them: cultural work, no rates.

A job names its guards: ``cold`` for what opens, lifts or wets, ``entry`` for what sends people
into the block, ``pick`` for what picks fruit. The hours are a first guess (common practice, no
source); a grower's own figure replaces them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from pydantic import Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.packs.check import meant
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import Marked, read_marked
from riskrules.packs.model import Name, Source, Strict

Guard = Literal["cold", "entry", "pick"]
Need = Literal["tunnel", "row_covers"]
Window = Literal[
    "now",
    "today",
    "dawn_until_dry",
    "before_heat",
    "at_sunset",
    "before_next_pick",
    "at_next_pick",
    "after_next_pick",
    "coming_weeks",
]


class JobText(Strict):
    """One job as written."""

    words: str = Field(min_length=1)
    guards: list[Guard] = []
    needs: list[Need] = []
    window: Window
    hours: float = Field(ge=0, le=24)
    evidence: list[Source] = Field(min_length=1)
    cautions: list[Name] = []


class JobsText(Strict):
    """The jobs file as written."""

    jobs: dict[Name, JobText]
    cautions: dict[Name, str] = {}


@dataclass(frozen=True, slots=True)
class Job:
    """A job: its words, what must be checked before it, its window, and what it rests on.

    ``hours`` is the default working time for one block. [h] (common practice, no source)
    """

    name: str
    words: str
    guards: frozenset[Guard]
    window: Window
    hours: float
    evidence: tuple[Source, ...]
    cautions: tuple[str, ...]
    needs: frozenset[Need] = frozenset()


@dataclass(frozen=True, slots=True)
class JobBook:
    """All jobs and cautions by name."""

    jobs: Mapping[str, Job]
    cautions: Mapping[str, str]


def load_jobs(path: Path) -> JobBook:
    """Read and check a jobs file.

    Raises
    ------
    PackError
        With every trouble in the file: its line, column, and what was expected.
    """
    return check_jobs(read_marked(path))


def check_jobs(doc: Marked) -> JobBook:
    """Return the jobs of a document that was read already; see `load_jobs`."""
    try:
        text = JobsText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    problems = _problems(doc, text)
    if problems:
        raise PackError(problems)
    jobs = {name: _job(name, each) for name, each in text.jobs.items()}
    return JobBook(MappingProxyType(jobs), MappingProxyType(dict(text.cautions)))


def _problems(doc: Marked, text: JobsText) -> list[Problem]:
    found = []
    for name, job in text.jobs.items():
        for i, caution in enumerate(job.cautions):
            if caution not in text.cautions:
                message = f"no caution named '{caution}'{meant(caution, text.cautions)}"
                found.append(doc.problem(("jobs", name, "cautions", i), message))
        if "pick" in job.guards and "entry" not in job.guards:
            message = f"'{name}' picks; expected the guard 'entry' too, as pickers go in"
            found.append(doc.problem(("jobs", name, "guards"), message))
    return found


def _job(name: str, text: JobText) -> Job:
    return Job(
        name,
        text.words,
        frozenset(text.guards),
        text.window,
        text.hours,
        tuple(text.evidence),
        tuple(text.cautions),
        frozenset(text.needs),
    )
