"""The first start: the invented sample farm to try, or a farm of one's own in three steps."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from zoneinfo import available_timezones

from riskrules.errors import LogError, PackError, Problem, RiskRulesError
from riskrules.farm import Farm, load_farm
from riskrules.journal.store import open_journal
from riskrules.logbook.intake import Taken, take_in
from riskrules.logs.mapping import LogMapping, Placed, load_mapping
from riskrules.logs.propose import Proposal, propose
from riskrules.logs.store import LogStore
from riskrules.packs.yaml_parts import in_quotes
from riskrules.shipped import rulepacks_folder
from riskrules.view.chosen import HOME, home

LARGEST = 50_000_000
"""Bytes that a log may have here. (assumption: ten years at 5-minute steps are under 40 million)"""
KINDS = (".csv", ".txt", ".tsv", ".xlsx", ".xls", ".ods")
"""What log files may end in; the reader looks at what is in them."""
INVENTED = "INVENTED.txt"


@dataclass(frozen=True, slots=True)
class PlaceDraft:
    """Step one: the farm's name, where it is, its clock, and the units to read in.

    Degrees are None until somebody says them: night and day follow from them.
    """

    farm: str
    latitude: float | None
    longitude: float | None
    zone: str
    temperature: Literal["degC", "degF"] = "degF"


@dataclass(frozen=True, slots=True)
class BlockDraft:
    """Step two: a block in the grower's words, and what stands and lies there."""

    words: str
    tunnel: Literal["low_tunnel", "open"] | None = None
    row_covers: bool | None = None
    ground: Literal["plastic", "straw", "bare"] | None = None
    plants: Literal["day_neutral", "june_bearing"] | None = None
    placed: Placed = "under_cover"

    @property
    def name(self) -> str:
        """The name as files write it.

        Examples
        --------
        >>> BlockDraft("Creek beds 2").name, BlockDraft("2 rows").name, BlockDraft("  ").name
        ('creek_beds_2', 'block_2_rows', '')
        """
        made = re.sub(r"[^a-z0-9]+", "_", self.words.lower()).strip("_")[:40].strip("_")
        return made if not made or made[0].isalpha() else f"block_{made}"


@dataclass(frozen=True, slots=True)
class LogDraft:
    """Step three: a log of a block as it was given, and the mapping agreed on ('' for none)."""

    block: str
    file: str
    data: bytes
    mapping: str = ""


def farms_folder() -> Path:
    """Return the folder in which farms are begun: in the user's own folder, to be seen there."""
    return home() / "farms" if os.environ.get(HOME) else Path.home() / "riskrules farms"


def zones() -> list[str]:
    """Return the names of clocks that may be chosen."""
    return sorted(z for z in available_timezones() if "/" in z and not z.startswith("posix"))


def sample_folder() -> Path | None:
    """Return the folder of the invented sample farm, if it came with this installation."""
    folder = rulepacks_folder().parent / "sample_logs"
    return folder if (folder / "farm.yaml").is_file() else None


def begin_sample(base: Path) -> Path:
    """Copy the invented sample farm into a new folder, with a journal; return its farm file.

    Raises
    ------
    RiskRulesError
        If the sample farm did not come along, or the folder cannot be written.
    """
    source = sample_folder()
    if source is None:
        raise RiskRulesError("the sample farm did not come with this installation")

    def fill(folder: Path) -> None:
        for path in sorted(source.glob("*.csv")):
            shutil.copyfile(path, folder / path.name)
        text = (source / "farm.yaml").read_text(encoding="utf-8")
        (folder / "farm.yaml").write_text(f"{text}journal: journal.db\n", encoding="utf-8")
        note = "Everything in this folder is invented: no such farm, weather or harvest exists.\n"
        (folder / INVENTED).write_text(note, encoding="utf-8")
        _with_journal(folder)

    return _whole(base, "sample farm", fill)


def begin_farm(
    base: Path, place: PlaceDraft, blocks: Sequence[BlockDraft], logs: Sequence[LogDraft]
) -> tuple[Path, tuple[Taken, ...]]:
    """Write a new farm: farm file, logs, mappings, a log store and a journal.

    Parameters
    ----------
    base : Path
        The folder below which the farm gets a new folder of its own.
    place, blocks, logs
        What was said in the three steps. A block may have no log yet.

    Returns
    -------
    Path, tuple of Taken
        The farm file, and what became of each log.

    Raises
    ------
    RiskRulesError
        Where something that was said cannot be used; then nothing is written.
    """
    problems = draft_problems(place, blocks)
    if problems:
        raise PackError([Problem("the farm", 0, 0, p) for p in problems])
    taken: list[Taken] = []

    def fill(folder: Path) -> None:
        mapped = {log.block for log in logs if says_something(log.mapping)}
        text = farm_text(place, blocks, mapped)
        (folder / "farm.yaml").write_text(text, encoding="utf-8")
        _write_logs(folder, blocks, logs)
        farm = load_farm(folder / "farm.yaml")
        taken.extend(_into_store(farm))
        _with_journal(folder)

    return _whole(base, place.farm, fill), tuple(taken)


def draft_problems(place: PlaceDraft, blocks: Sequence[BlockDraft]) -> list[str]:
    """Return what is wrong with the first two steps, in words."""
    found = []
    if not place.farm.strip():
        found.append("the farm has no name")
    elif not " ".join(place.farm.split()).isprintable():
        found.append("the farm's name holds a character that cannot be printed")
    if place.latitude is None or place.longitude is None:
        found.append("where the farm is: degrees north and east")
    if not place.zone:
        found.append("the clock on the wall")
    elif place.zone not in available_timezones():
        found.append(f"no clock '{place.zone}'; expected one such as America/Chicago")
    if not blocks:
        found.append("no block; expected one at least")
    names = [b.name for b in blocks]
    for i, block in enumerate(blocks):
        if not block.name:
            found.append(f"block {i + 1} has no name; expected letters a to z or digits in it")
        elif block.name in names[:i]:
            found.append(f"'{block.words}' stands twice as {block.name}; expected another name")
    return found


def farm_text(place: PlaceDraft, blocks: Sequence[BlockDraft], mapped: set[str]) -> str:
    """Return the farm file; ``mapped`` are the names of blocks whose log has a mapping."""
    rain = "in" if place.temperature == "degF" else "mm"
    lines = [
        "# Begun on the dashboard; to be changed by hand as well.",
        f"farm: {in_quotes(' '.join(place.farm.split()))}",
        f"place: {{latitude: {place.latitude or 0:.5f}, longitude: {place.longitude or 0:.5f}, "
        f"zone: {in_quotes(place.zone)}}}",
        f"show: {{temperature: {place.temperature}, rain: {rain}}}",
        "store: store",
        "journal: journal.db",
        "blocks:",
    ]
    for b in blocks:
        lines += _block_lines(b, b.name in mapped)
    return "\n".join(lines) + "\n"


def _block_lines(b: BlockDraft, mapped: bool) -> list[str]:
    """Return a block as lines of a farm file. What is not known is left out."""
    mapping = f", mapping: mappings/{b.name}.yaml" if mapped else ""
    covers = None if b.row_covers is None else str(b.row_covers).lower()
    said = {"tunnel": b.tunnel, "row_covers": covers, "ground": b.ground, "plants": b.plants}
    return [
        f"  - block: {b.name}  # {' '.join(w for w in b.words.split() if w.isprintable())}",
        f"    logs: [{{file: logs/{b.name}/*, sensor: {b.name}, placed: {b.placed}{mapping}}}]",
        *(f"    {key}: {value}" for key, value in said.items() if value is not None),
    ]


def look_at(data: bytes, file: str) -> Proposal:
    """Return a proposal of how a given log is to be read.

    Raises
    ------
    LogError
        If it is too large, of no kind that logs are, or holds no table.
    """
    with tempfile.TemporaryDirectory() as folder:
        return propose(_put(Path(folder) / "log", data, file))


def says_something(mapping: str) -> bool:
    """Return whether a mapping's text holds more than comments."""
    return any(line.split("#")[0].strip() for line in mapping.splitlines())


def checked_mapping(text: str) -> LogMapping:
    """Return the mapping that a text says; an empty one for comments alone."""
    if not says_something(text):
        return LogMapping()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "mapping.yaml"
        path.write_text(text, encoding="utf-8")
        return load_mapping(path)


def checked_log(data: bytes, file: str) -> str:
    """Return the ending of a log's name, in small letters.

    Raises
    ------
    LogError
        If it is of no kind that logs are, or too large.

    Examples
    --------
    >>> checked_log(b"time", "Creek.CSV")
    '.csv'
    """
    ending = Path(file).suffix.lower()
    if ending not in KINDS:
        message = f"a file ending in '{ending}'; expected one of {', '.join(KINDS)}"
        raise LogError([Problem(file, 0, 0, message)])
    if len(data) > LARGEST:
        message = f"{len(data):,} bytes; expected at most {LARGEST:,}"
        raise LogError([Problem(file, 0, 0, message)])
    return ending


def _put(beside: Path, data: bytes, file: str) -> Path:
    """Write a log under a name of ours; only the ending is the giver's."""
    path = beside.with_name(beside.name + checked_log(data, file))
    path.write_bytes(data)
    return path


def _write_logs(folder: Path, blocks: Sequence[BlockDraft], logs: Sequence[LogDraft]) -> None:
    for block in blocks:
        (folder / "logs" / block.name).mkdir(parents=True)
    names = {b.name for b in blocks}
    for number, log in enumerate(logs, 1):
        if log.block not in names:
            message = f"a log of '{log.block}'; expected one of {', '.join(sorted(names))}"
            raise LogError([Problem(log.file, 0, 0, message)])
        _put(folder / "logs" / log.block / f"first_{number}", log.data, log.file)
        if says_something(log.mapping):
            checked_mapping(log.mapping)
            (folder / "mappings").mkdir(exist_ok=True)
            path = folder / "mappings" / f"{log.block}.yaml"
            if path.exists() and path.read_text(encoding="utf-8") != log.mapping:
                message = f"a second mapping of {log.block}; expected one for all its logs"
                raise LogError([Problem(log.file, 0, 0, message)])
            path.write_text(log.mapping, encoding="utf-8")


def _into_store(farm: Farm) -> list[Taken]:
    """Read the logs into the new store; LogError where one cannot be read as it was agreed."""
    store = LogStore(farm.folder / "store")
    taken = list(take_in(farm, store, [farm.folder / "logs"]))
    problems = [p for t in taken if t.state in ("aside", "not ours") for p in t.problems]
    if problems:
        raise LogError(problems)
    return taken


def _with_journal(folder: Path) -> None:
    open_journal(folder / "journal.db").close()


def _whole(base: Path, name: str, fill: Callable[[Path], None]) -> Path:
    """Fill a new folder and give it its name only when it is whole; nothing is overwritten."""
    plain = re.sub(r"[^A-Za-z0-9]+", " ", name).strip()[:60] or "farm"
    try:
        base.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=".beginning", dir=base))
        try:
            fill(made)
            return _named(made, base, plain) / "farm.yaml"
        except BaseException:
            shutil.rmtree(made, ignore_errors=True)
            raise
    except OSError as error:
        raise RiskRulesError(f"{base}: {error.strerror or error}") from None


def _named(made: Path, base: Path, plain: str) -> Path:
    """Rename a finished folder to the first name that is free."""
    made.chmod(0o755)
    for number in range(1, 1000):
        folder = base / (plain if number == 1 else f"{plain} {number}")
        try:
            folder.mkdir()  # takes the name, so that two who begin at once get two folders
        except FileExistsError:
            continue
        os.replace(made, folder)
        return folder
    raise RiskRulesError(f"{base}: 1,000 farms are called {plain}; expected another name")
