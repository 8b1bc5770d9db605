"""Make a journal beside a farm file that names none, and name it there."""

from __future__ import annotations

import os
from pathlib import Path

from riskrules.errors import PackError, RiskRulesError
from riskrules.farm import load_farm
from riskrules.journal.store import open_journal

NAMES = ("journal.db", *(f"journal_{i}.db" for i in range(2, 100)))


def make_journal(farm_file: Path) -> Path:
    """Make an empty journal beside a farm file and name it in a line at the file's end.

    The file's other lines stay as they are. A file that is there already is never taken.

    Raises
    ------
    RiskRulesError
        If the farm names a journal already, or the line cannot be added; nothing is left then.
    """
    farm = load_farm(farm_file)
    if farm.text.journal:
        raise RiskRulesError(f"{farm_file.name} names the journal {farm.text.journal} already")
    name = next((n for n in NAMES if not (farm_file.parent / n).exists()), None)
    if name is None:
        raise RiskRulesError(f"{farm_file.parent}: no free name; expected one such as journal.db")
    text = farm_file.read_text(encoding="utf-8")
    new = text + ("" if text.endswith("\n") or not text else "\n") + f"journal: {name}\n"
    part = farm_file.with_name(f".{farm_file.name}.{os.getpid()}.part")
    try:
        part.write_text(new, encoding="utf-8")
        _still_loads(part, name, farm_file)
        open_journal(farm_file.parent / name).close()
        part.chmod(farm_file.stat().st_mode & 0o777)
        os.replace(part, farm_file)
    except OSError as error:
        raise RiskRulesError(f"{farm_file} cannot be written: {error.strerror}") from None
    finally:
        part.unlink(missing_ok=True)
    return farm_file.parent / name


def _still_loads(part: Path, name: str, farm_file: Path) -> None:
    try:
        good = load_farm(part).text.journal == name
    except PackError:
        good = False
    if not good:
        message = f"no line can be added to {farm_file.name} from here; expected you to add"
        raise RiskRulesError(f"{message} 'journal: {name}' to it by hand")
