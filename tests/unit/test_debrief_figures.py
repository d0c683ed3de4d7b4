"""The figures: every word within the figure, no label on another, the data where they belong, however much there is."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from pitwall.debrief.figures_laps import MARKERS, LapMark, lap_clock, lap_times
from pitwall.debrief.figures_style import Drawing, own_style
from pitwall.debrief.figures_timeline import (
    Minute,
    RunBars,
    Slip,
    Stretch,
    SwitchLane,
    plan_against_actual,
    radio_load,
    switches_over_time,
)
from tests.unit.debrief_stage import HOSTILE

HOUR, DAY = Stretch(0, 3600), Stretch(0, 32_400)
STOPS = (Stretch(1100, 1640, "red flag"), Stretch(1700, 1720), Stretch(3300, 3600, "slow period"))


def runs(count: int, name: str = "run") -> list[RunBars]:
    """So many runs one after the other, the last not driven."""
    step = 3400 / count
    return [RunBars(f"{name} {at}", Stretch(at * step, (at + 0.8) * step),
                    (Stretch(at * step + 40, (at + 0.9) * step),) if at < count - 1 else (),
                    "done" if at % 2 else "not finished", (at * step + 90,)) for at in range(count)]


def laps(count: int, name: str = "run") -> list[LapMark]:
    """Laps of every kind, some without a time, one that is much too slow."""
    kinds = list(MARKERS)
    return [LapMark(f"{name} {at // 5}", kinds[at % 5], None if at % 7 == 6 else 92.0 + at % 3 + 40 * (at % 5 > 0),
                    *((92.4, 91.8, 94.0) if at % 5 == 0 else ()), clean=at % 2 == 0) for at in range(count)]


NAMES = ("checks", "holds", "holds-again", "ride", "baseline", "compare", "long-ines", "seat", "learn", "maps",
         "long-maro", "soft-ines", "soft-again", "performance-on-low-fuel")


def day_of_runs() -> list[LapMark]:
    """A test day: fourteen runs, some of a lap or two, which are narrower than their names."""
    return [LapMark(name, "timed", 92.0 + lap % 3) for at, name in enumerate(NAMES) for lap in range(at * 5 % 13 + 1)]


def lanes(count: int, name: str = "switch") -> list[SwitchLane]:
    """Switches with positions long and short."""
    return [SwitchLane(f"{name} {at}", ((Stretch(0, 1800, "closed"), True), (Stretch(1800, 1806, "open"), False),
                                        (Stretch(1806, 3600, "a word of many letters"), True)))
            for at in range(count)]


MINUTES = [Minute(60.0 * at, at % 14) for at in range(60)]
SLIPS = [Slip(300, "late"), Slip(600, "missed"), Slip(3590, "unconfirmed")]
FIGURES: dict[str, Callable[[], Figure]] = {
    "plan": lambda: plan_against_actual(runs(5), STOPS, HOUR, (3600,)),
    "plan of one run": lambda: plan_against_actual(runs(1), (), HOUR, (3600,)),
    "plan of a day": lambda: plan_against_actual(runs(24), STOPS, DAY, (14_400, 32_400)),
    "plan, hostile": lambda: plan_against_actual(runs(3, HOSTILE), (Stretch(0, 900, HOSTILE),), HOUR, (3600,)),
    "laps": lambda: lap_times(laps(18)),
    "one lap": lambda: lap_times(laps(1)),
    "laps of a day": lambda: lap_times(laps(130)),
    "laps of runs with long names": lambda: lap_times(day_of_runs()),
    "laps, hostile": lambda: lap_times(laps(12, HOSTILE)),
    "no lap with a time": lambda: lap_times([LapMark("a", "out", None)]),
    "switches": lambda: switches_over_time(lanes(5), STOPS, HOUR),
    "many switches": lambda: switches_over_time(lanes(24, "brake balance migration"), STOPS, HOUR),
    "switches, hostile": lambda: switches_over_time(lanes(2, HOSTILE), (), HOUR),
    "radio": lambda: radio_load(MINUTES, SLIPS, STOPS, HOUR),
    "radio without slips": lambda: radio_load(MINUTES[:2], (), (), DAY),
}


def words_of(make: Callable[[], Figure]) -> tuple[Any, list[tuple[str, Any]]]:
    """The figure's box, and each visible text with its box, in dots."""
    with own_style():
        figure = make()
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
        found = [(text.get_text(), text.get_window_extent(renderer)) for text in figure.findobj(Text)
                 if isinstance(text, Text) and text.get_text() and text.get_visible()]
    return figure.bbox, found


@pytest.mark.parametrize("name", list(FIGURES))
def test_every_word_is_within_the_figure_and_on_no_other(name: str) -> None:
    """No text is cut at the edge, and no two cover each other."""
    box, words = words_of(FIGURES[name])
    assert words
    for text, extent in words:
        assert extent.x0 >= box.x0 - 0.5, text
        assert extent.y0 >= box.y0 - 0.5, text
        assert extent.x1 <= box.x1 + 0.5, text
        assert extent.y1 <= box.y1 + 0.5, text
    for (one, first), (other, second) in combinations(words, 2):
        wide = min(first.x1, second.x1) - max(first.x0, second.x0)
        high = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert wide < 1 or high < 1.5, (one, other)


def test_runs_of_one_lap_have_their_whole_names() -> None:
    """Over a day's laps the name of each run stands in full: none ends in dots, none is left out."""
    _, words = words_of(lambda: lap_times(day_of_runs()))
    shown = {text for text, _ in words}
    assert set(NAMES) <= shown
    assert not any("…" in text for text in shown)


def test_what_people_wrote_is_drawn_letter_for_letter() -> None:
    """Signs of formulas are text, and nothing that the font lacks is left out without a word."""
    _, words = words_of(lambda: plan_against_actual(
        [RunBars("$a_1$ \\frac", Stretch(0, 60), (), "dropped"), RunBars("漢 x", None, (), "skipped")], (), HOUR, ()))
    shown = {text for text, _ in words}
    assert {"$a_1$ \\frac", "[U+6F22] x", "dropped", "skipped"} <= shown


def test_bars_and_marks_stand_where_their_times_say() -> None:
    """The axis is in session seconds: bars begin and end at theirs; a lap's mark is at its time, a slow one above."""
    with own_style():
        run = RunBars("a", Stretch(60, 300), (Stretch(90, 400),), "done", (200, 300))
        axes: Any = plan_against_actual([run], (), HOUR, (3600,)).axes[0]
        bars = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in axes.patches]
        marks = [list(line.get_xdata()) for line in axes.lines]
        drawn: Any = lap_times([LapMark("a", "timed", 92.5, 92.4, 92.0, 93.0), LapMark("a", "in", 130.0)]).axes[0]
        heights = [line.get_ydata()[0] for line in drawn.lines if line.get_marker() in ("o", "v")]
        interval = next(bar for bar in drawn.patches)
    assert bars == [(60, 300), (90, 400)]
    assert [200, 300] in marks
    assert heights[0] == 92.5
    assert 93.0 < heights[1] < drawn.get_ylim()[1]
    assert (interval.get_y(), interval.get_y() + interval.get_height()) == pytest.approx((92.0, 93.0))


def test_a_drawing_leaves_no_trace_of_the_machine() -> None:
    """Neither form holds a date or a program's name; ids of two figures on a page never meet."""
    drawing = Drawing(FIGURES["plan"])
    first, second = drawing.as_svg("one"), drawing.as_svg("two")
    ids = [set(re.findall(r'id="([^"]+)"', svg)) for svg in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert "style=" not in first
    assert "<style" not in first
    assert "matplotlib.org" not in first
    assert b"CreationDate" not in drawing.as_pdf()
    assert drawing.as_pdf() == drawing.as_pdf()


def test_the_look_is_ours_whatever_style_the_machine_has() -> None:
    """Settings that others made before are neither used nor lost."""
    import matplotlib

    plain = Drawing(FIGURES["laps"]).as_svg("laps")
    with matplotlib.rc_context({"axes.facecolor": "black", "font.size": 20, "text.parse_math": True}):
        assert Drawing(FIGURES["laps"]).as_svg("laps") == plain
        assert matplotlib.rcParams["font.size"] == 20


@pytest.mark.parametrize(("seconds", "places", "text"), [(92.4374, 3, "1:32.437"), (59.9996, 3, "1:00.000"),
                                                          (92.0, 0, "1:32"), (3599.96, 1, "60:00.0")])
def test_lap_times_carry_over_when_rounded(seconds: float, places: int, text: str) -> None:
    """Seconds never show as 60."""
    assert lap_clock(seconds, places) == text
