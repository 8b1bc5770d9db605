"""When reviews ran, written down beside the store: what `logs status` asks."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from riskrules.logs.store.files import cannot_write, hash_of, trouble, write_flushed
from riskrules.logs.store.types import Review

REVIEWS = "reviews.json"
KEPT = 400
"""How many reviews are remembered: a year of days and some. (assumption)"""


def all_reviews(folder: Path) -> list[Review]:
    """Return the reviews written down, the last one last; LogError where the file is damaged."""
    path = folder / REVIEWS
    try:
        cells = json.loads(path.read_bytes())
        return [
            Review(int(when), date.fromisoformat(day), (window[0], window[1]) if window else None)
            for when, day, window in cells
        ]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None
    except (ValueError, TypeError, IndexError):
        message = "damaged; expected a list of reviews. Remove it: the next review starts a new one"
        raise trouble(path, message) from None


def write_review(folder: Path, review: Review) -> None:
    """Add a review to the file, in one step."""
    kept = sorted({*all_reviews(folder), review}, key=lambda r: (r.when, r.for_day))[-KEPT:]
    cells = [[r.when, r.for_day.isoformat(), r.window] for r in kept]
    raw = (json.dumps(cells) + "\n").encode("utf-8")
    path = folder / REVIEWS
    try:
        write_flushed(path, raw, hash_of(raw))
    except OSError as error:
        raise cannot_write(path, error) from None
