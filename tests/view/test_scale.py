"""The one colour scale: equal steps, falling lightness, readable ink; and the shapes."""

import math

import pytest

from riskrules.view.scale import colour, contrast, ink_on, oklab

STEPS = [i / 20 for i in range(21)]


def test_oklab_as_published():
    """B. Ottosson 2020 (memory): white is (1, 0, 0); red, green and blue as CSS Color 4 gives them.

    The CSS values (memory): oklch(0.628 0.258 29.2), oklch(0.866 0.295 142.5),
    oklch(0.452 0.313 264.1).
    """
    assert oklab("#ffffff") == pytest.approx((1, 0, 0), abs=1e-4)
    for text, light, chroma, hue in (("#ff0000", 0.628, 0.258, 29.2),
                                     ("#00ff00", 0.866, 0.295, 142.5),
                                     ("#0000ff", 0.452, 0.313, 264.1)):  # fmt: skip
        found, a, b = oklab(text)
        assert found == pytest.approx(light, abs=1e-3)
        assert math.hypot(a, b) == pytest.approx(chroma, abs=1e-3)
        assert math.degrees(math.atan2(b, a)) % 360 == pytest.approx(hue, abs=0.2)


def test_equal_steps_and_falling_lightness():
    labs = [oklab(colour(t)) for t in STEPS]
    sizes = [math.dist(a, b) for a, b in zip(labs, labs[1:], strict=False)]
    assert max(sizes) < 1.25 * min(sizes)  # rounding to 8 bits moves each end by 0.002
    assert all(b[0] < a[0] - 0.02 for a, b in zip(labs, labs[1:], strict=False))


def test_it_is_told_without_hue():
    """As grey, neighbouring severities still differ by 1.3 in contrast (our own bar)."""
    from dashboard.look import SEVERITY

    fills = [SEVERITY[n].fill for n in ("Minor", "Moderate", "Severe", "Extreme")]
    assert all(contrast(a, b) > 1.3 for a, b in zip(fills, fills[1:], strict=False))


def test_contrast_as_published():
    """WCAG 2 (memory): black on white 21; #767676 on white is the lightest grey that passes 4.5."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("share", STEPS)
def test_text_is_read_on_every_fill(share):
    assert contrast(ink_on(colour(share)), colour(share)) >= 4.5


def test_words_shapes_and_inks_of_the_look():
    from dashboard.look import FAINT, INK, PAPER, PLUM, SEVERITY, SOFT, chip
    from riskrules.findings.model import SEVERITIES

    assert {*SEVERITIES} < set(SEVERITY)
    assert len({s.shape for s in SEVERITY.values()}) == len(SEVERITY)
    assert len({s.symbol for s in SEVERITY.values()}) == len(SEVERITY)
    for ground in (PAPER, SOFT):
        assert all(contrast(ink, ground) >= 4.5 for ink in (INK, FAINT, PLUM))
    assert "<b>" not in chip("Unknown", "<b>") and SEVERITY["Unknown"].pattern == "/"
