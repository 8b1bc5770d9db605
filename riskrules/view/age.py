"""How old something is, in the unit in which people say it."""

from __future__ import annotations


def age_of(seconds: int) -> tuple[str, int]:
    """Return an age [s] as 'minutes', 'hours' or 'days', and the whole number of them.

    Examples
    --------
    >>> age_of(600), age_of(7300), age_of(40 * 86_400)
    (('minutes', 10), ('hours', 2), ('days', 40))
    """
    if seconds < 3600:
        return "minutes", max(seconds, 0) // 60
    if seconds < 2 * 86_400:
        return "hours", seconds // 3600
    return "days", seconds // 86_400
