"""Can a debrief be read by everybody, and in grey: contrasts by the formula of WCAG 2.2.

Relative luminance and contrast ratio: WCAG 2.2, definitions in section "Glossary"; 4.5 to 1 for text is success
criterion 1.4.3, 3 to 1 between parts of a figure 1.4.11. Luminance is also what a grey printer prints.
"""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from pitwall.debrief import figures_style as look
from pitwall.debrief.html import STYLE_FILE
from pitwall.debrief.paper_style import BAND

TEXT, PART = 4.5, 3.0


def luminance(colour: str) -> float:
    """Of ``#rrggbb`` or ``#rgb``, from 0 for black to 1 for white."""
    digits = colour.lstrip("#")
    digits = "".join(one * 2 for one in digits) if len(digits) == 3 else digits
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """From 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_is_the_published_one() -> None:
    """Black on white is 21 to 1, and #767676 is the lightest grey that is text on white, as WebAIM's table has it."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= TEXT > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("text", [look.INK, look.QUIET])
@pytest.mark.parametrize("ground", [look.PAPER, look.LIGHT, BAND])
def test_text_of_figures_and_paper_stands_out(text: str, ground: str) -> None:
    """Both colours of text on every ground that text stands on."""
    assert contrast(text, ground) >= TEXT


def test_text_of_the_page_stands_out() -> None:
    """Each colour of text in the style sheet on each of its grounds."""
    style = STYLE_FILE.read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+): (#\w+);", style))
    links = re.findall(r"a \{ color: (#\w+);", style)
    assert set(named) >= {"ink", "quiet", "paper", "band"}
    assert links
    for text in (named["ink"], named["quiet"], *links):
        for ground in (named["paper"], named["band"]):
            assert contrast(text, ground) >= TEXT, (text, ground)


def test_fillings_stay_apart_in_grey() -> None:
    """Every two fillings that stand side by side differ by 3 to 1, or are parted by a line that does, and the dark
    one differs from all others by 3 to 1 without a line."""
    fillings = (look.DARK, look.MIDDLE, look.LIGHT, look.PAPER)
    for one, other in combinations(fillings, 2):
        parted = contrast(one, other) >= PART or max(contrast(look.INK, one), contrast(look.INK, other)) >= PART
        assert parted, (one, other)
    assert all(contrast(look.DARK, other) >= PART for other in fillings[1:])
