"""One sequential colour scale of our own: equal steps to the eye, darker is worse.

A straight line in the OKLab space, from pale straw to dark plum. Lightness falls all the way,
so the order can be told without seeing hue. The matrices are those that B. Ottosson published
for OKLab in 2020 (memory); sRGB and its contrast rule as in WCAG 2 (memory).
"""

from __future__ import annotations

import math

Triple = tuple[float, float, float]
PALE: Triple = (0.93, 0.005, 0.050)
DARK: Triple = (0.33, 0.085, -0.040)
"""Ends of the scale in OKLab: lightness, green to red, blue to yellow. (our own choice)"""
_TO_LMS = ((0.4122214708, 0.5363325363, 0.0514459929), (0.2119034982, 0.6806995451, 0.1073969566),
           (0.0883024619, 0.2817188376, 0.6299787005))  # fmt: skip
_TO_LAB = ((0.2104542553, 0.7936177850, -0.0040720468), (1.9779984951, -2.4285922050, 0.4505937099),
           (0.0259040371, 0.7827717662, -0.8086757660))  # fmt: skip
_FROM_LAB = ((1, 0.3963377774, 0.2158037573), (1, -0.1055613458, -0.0638541728),
             (1, -0.0894841775, -1.2914855480))  # fmt: skip
_FROM_LMS = ((4.0767416621, -3.3077115913, 0.2309699292),
             (-1.2684380046, 2.6097574011, -0.3413193965),
             (-0.0041960863, -0.7034186147, 1.7076147010))  # fmt: skip


def colour(share: float) -> str:
    """Return the colour at a place of the scale from 0 (pale) to 1 (dark), as '#rrggbb'.

    Examples
    --------
    >>> colour(0.0), colour(1.0)
    ('#f8e6c2', '#511f48')
    """
    t = min(max(share, 0.0), 1.0)
    a, b, c = (p + t * (d - p) for p, d in zip(PALE, DARK, strict=True))
    return _hex((a, b, c))


def oklab(text: str) -> Triple:
    """Return a '#rrggbb' colour in OKLab."""
    light = _linear(text)
    cubes = _times(_TO_LMS, light)
    x, y, z = (math.copysign(abs(v) ** (1 / 3), v) for v in cubes)
    return _times(_TO_LAB, (x, y, z))


def contrast(a: str, b: str) -> float:
    """Return the contrast of two colours as WCAG counts it, 1 to 21; text wants 4.5.

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 1)
    21.0
    """
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def ink_on(fill: str) -> str:
    """Return the text colour that is read best on a fill: black or white."""
    return max(("#000000", "#ffffff"), key=lambda ink: contrast(ink, fill))


def _luminance(text: str) -> float:
    r, g, b = _linear(text)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def _linear(text: str) -> Triple:
    r, g, b = (int(text[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return _one(r), _one(g), _one(b)


def _one(v: float) -> float:
    return v / 12.92 if v <= 0.04045 else float(((v + 0.055) / 1.055) ** 2.4)


def _hex(lab: Triple) -> str:
    x, y, z = _times(_FROM_LAB, lab)
    lights = _times(_FROM_LMS, (x**3, y**3, z**3))
    return "#" + "".join(f"{round(255 * _coded(min(max(v, 0.0), 1.0))):02x}" for v in lights)


def _coded(v: float) -> float:
    return 12.92 * v if v <= 0.0031308 else float(1.055 * v ** (1 / 2.4) - 0.055)


def _times(rows: tuple[Triple, Triple, Triple], v: Triple) -> Triple:
    a, b, c = (sum(m * x for m, x in zip(row, v, strict=True)) for row in rows)
    return a, b, c
