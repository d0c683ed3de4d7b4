"""Figures over session time: the plan against what was driven, the switches, and the load of the radio.

They take plain sequences, so that anyone can draw them; ``contents`` fills them from a debrief.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pitwall.debrief import figures_style as look
from pitwall.debrief.lettering import drawable, short

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LETTER_PT = 4.6  # how wide a letter of the labels is on average, DejaVu Sans at 7 points
NAMES_MM = 30.0
MOST_NAME = 18
LAP_TICK_PT = 3.0  # room that the tick of a timed lap needs
MINUTE_PT = 4.0  # a minute that is narrower gets no gap beside it
BAND = "\\\\\\"  # the hatch of an interruption


@dataclass(frozen=True)
class Stretch:
    """A time in session seconds, with a word for it."""

    start_s: float
    end_s: float
    words: str = ""


@dataclass(frozen=True)
class RunBars:
    """One run: when the plan had it, when it was driven, and how it ended: ``done``, ``unfinished``, or words why it
    was never driven, which stand in the row. ``timed`` are the session seconds at which its timed laps ended."""

    run: str
    planned: Stretch | None
    driven: tuple[Stretch, ...]
    state: str
    timed: tuple[float, ...] = ()


@dataclass(frozen=True)
class SwitchLane:
    """One switch: its positions one after the other; true: it was measured or confirmed."""

    switch: str
    positions: tuple[tuple[Stretch, bool], ...]


@dataclass(frozen=True)
class Minute:
    """One minute of the session, and the seconds that were spoken to the driver in it."""

    start_s: float
    spoken_s: float


@dataclass(frozen=True)
class Slip:
    """A call that did not go as it should: ``late``, ``missed`` or ``unconfirmed``."""

    t: float
    what: Literal["late", "missed", "unconfirmed"]


SLIPS = (("late", ">", True), ("missed", "X", True), ("unconfirmed", "o", False))


def plan_against_actual(
    runs: Sequence[RunBars], interruptions: Sequence[Stretch], span: Stretch, flags: Sequence[float]
) -> Figure:
    """A row a run: hollow above as planned, filled below as driven; hatched bands are interruptions.

    The axis reaches as far as anything was planned or driven; a dashed line is a flag.
    """
    figure, axes = _lanes([one.run for one in runs], lane_mm=7.4, top_mm=11.0)
    ends = [bar.end_s for one in runs for bar in (one.planned, *one.driven) if bar is not None]
    look.clock_axis(axes, span.start_s, max([span.end_s, *ends]))
    _bands(axes, interruptions, span)
    for row, one in enumerate(runs):
        _run(axes, row, one, span)
    for at_s in flags:
        _flag(axes, at_s)
    keys = [look.box("planned", look.PAPER), look.box("driven", look.DARK)]
    if any(one.driven and one.state != "done" for one in runs):
        keys.append(look.box("not finished", look.MIDDLE, "////"))
    look.legend(axes, [*keys, *_band_key(interruptions)])
    return figure


def switches_over_time(lanes: Sequence[SwitchLane], interruptions: Sequence[Stretch], span: Stretch) -> Figure:
    """A row a switch; a box is a position, darker and lighter in turn; dashed where nobody measured or confirmed it."""
    figure, axes = _lanes([one.switch for one in lanes], lane_mm=5.6)
    look.clock_axis(axes, span.start_s, span.end_s)
    _bands(axes, interruptions, span)
    for row, lane in enumerate(lanes):
        for number, (stretch, sure) in enumerate(lane.positions):
            look.slab(axes, stretch.start_s, row - 0.31, stretch.end_s - stretch.start_s, 0.62, edgecolor=look.INK,
                      facecolor=(look.PAPER, look.LIGHT)[number % 2], linewidth=0.6,
                      linestyle="-" if sure else (0, (3, 2)))
    for row, lane in enumerate(lanes):
        for stretch, _ in lane.positions:
            _inside(axes, stretch, row)
    unsure = any(not sure for lane in lanes for _, sure in lane.positions)
    keys = [look.box("position", look.PAPER), look.box("the next position", look.LIGHT)]
    if unsure:
        dashed = look.box("not confirmed", look.PAPER)
        dashed.set_linestyle((0, (3, 2)))
        keys.append(dashed)
    look.legend(axes, [*keys, *_band_key(interruptions)])
    return figure


def radio_load(
    minutes: Sequence[Minute], slips: Sequence[Slip], interruptions: Sequence[Stretch], span: Stretch
) -> Figure:
    """Seconds spoken to the driver in each minute; above them stand the calls that were late, missed or unconfirmed."""
    figure, axes = look.sheet(46.0, left_mm=13.0)
    most = max(10.0, max((one.spoken_s for one in minutes), default=0.0) * 1.08)
    rows = [one for one in SLIPS if any(slip.what == one[0] for slip in slips)]
    look.clock_axis(axes, span.start_s, span.end_s)
    axes.set_ylim(0, most * (1 + 0.09 * len(rows)))
    _bands(axes, interruptions, span)
    axes.bar([one.start_s for one in minutes], [one.spoken_s for one in minutes], width=60.0, align="edge",
             facecolor=look.DARK, edgecolor=look.PAPER, linewidth=0.4 if _points(axes, 60.0) > MINUTE_PT else 0.0)
    step = next((one for one in (1, 2, 5, 10) if most / one <= 6), 20)
    axes.set_yticks(range(0, int(most) + 1, step))
    axes.yaxis.grid(True)
    axes.set_ylabel("seconds a minute")
    keys = [look.box("spoken to the driver", look.DARK)]
    for row, (what, marker, filled) in enumerate(rows):
        at = [slip.t for slip in slips if slip.what == what]
        axes.plot(at, [most * (1.045 + 0.09 * row)] * len(at), linestyle="none", marker=marker, markersize=3.8,
                  markeredgecolor=look.INK, markerfacecolor=look.INK if filled else look.PAPER, markeredgewidth=0.7,
                  clip_on=False)
        keys.append(look.mark(f"call {what}", marker, filled))
    look.legend(axes, [*keys, *_band_key(interruptions)])
    return figure


def _lanes(names: Sequence[str], lane_mm: float, top_mm: float = 9.0) -> tuple[Figure, Axes]:
    figure, axes = look.sheet(12.0 + top_mm + lane_mm * max(1, len(names)), left_mm=NAMES_MM, top_mm=top_mm)
    axes.set_ylim(max(1, len(names)) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), [short(drawable(one), MOST_NAME) for one in names])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.xaxis.grid(True)
    return figure, axes


def _run(axes: Axes, row: int, one: RunBars, span: Stretch) -> None:
    if one.planned is not None:
        _bar(axes, one.planned, row - 0.2, 0.26, look.PAPER)
    for bar in one.driven:
        _bar(axes, bar, row + 0.16, 0.36, *((look.DARK, "") if one.state == "done" else (look.MIDDLE, "////")))
    if one.timed and _points(axes, one.timed[-1] - one.timed[0]) >= LAP_TICK_PT * len(one.timed):
        axes.plot(one.timed, [row + 0.16] * len(one.timed), linestyle="none", marker="|", color=look.PAPER,
                  markersize=5.5, markeredgewidth=0.9)
    if not one.driven:
        _note(axes, one.planned or span, row + 0.2, one.state, span)


def _band_key(interruptions: Sequence[Stretch]) -> list[object]:
    return [look.box("interruption", look.LIGHT, BAND, line=look.QUIET)] if interruptions else []


def _bar(axes: Axes, stretch: Stretch, at: float, height: float, face: str, hatch: str = "") -> None:
    look.slab(axes, stretch.start_s, at - height / 2, stretch.end_s - stretch.start_s, height, facecolor=face,
              edgecolor=look.INK, hatch=hatch, linewidth=0.7, hatchcolor=look.HATCH)


def _bands(axes: Axes, interruptions: Sequence[Stretch], span: Stretch) -> None:
    """A hatched band each, and its words above where they do not run into those of the band before."""
    point_s = 1 / _points(axes, 1.0)
    taken = -math.inf
    for one in interruptions:
        axes.axvspan(one.start_s, one.end_s, facecolor=look.LIGHT, edgecolor="#b0b0b0", hatch=BAND, linewidth=0.0,
                     zorder=0.4)
        words = short(drawable(one.words), 28)
        width = len(words) * LETTER_PT * point_s
        late = one.start_s + width > span.end_s
        left = one.end_s - width if late else one.start_s
        if words and left >= taken:
            _above(axes, one.end_s if late else one.start_s, words, "right" if late else "left", look.QUIET)
            taken = left + width


def _flag(axes: Axes, at_s: float) -> None:
    axes.axvline(at_s, color=look.INK, linewidth=1.1, linestyle=(0, (5, 2)))
    _above(axes, at_s, "flag", "right", look.INK, row=1)


def _above(axes: Axes, at_s: float, words: str, side: Literal["left", "right"], colour: str, row: int = 0) -> None:
    """Small words above the axes at a session second; ``row`` 1 stands over row 0."""
    axes.annotate(words, (at_s, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2 + 8.5 * row),
                  textcoords="offset points", ha=side, va="bottom", fontsize=6.5, color=colour)


def _note(axes: Axes, under: Stretch, row: float, words: str, span: Stretch) -> None:
    """Words under a bar, from its start; to its start's left where the flag is near."""
    late = under.start_s > span.start_s + 0.8 * (span.end_s - span.start_s)
    axes.annotate(words, (under.start_s, row), xytext=(-2 if late else 1, 0), textcoords="offset points", va="center",
                  ha="right" if late else "left", fontsize=6.5, color=look.QUIET,
                  bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.6})


def _points(axes: Axes, seconds: float) -> float:
    """How wide a stretch of time is on paper."""
    low, high = axes.get_xlim()
    return float(seconds / (high - low) * axes.get_position().width * look.WIDTH_MM * look.MM * look.POINTS)


def _inside(axes: Axes, stretch: Stretch, row: int) -> None:
    """The position's word in its box, where there is room."""
    words = drawable(stretch.words)
    if len(words) * LETTER_PT + 2 <= _points(axes, stretch.end_s - stretch.start_s):
        axes.text((stretch.start_s + stretch.end_s) / 2, row, words, ha="center", va="center_baseline", fontsize=6.5)
