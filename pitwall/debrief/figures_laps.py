"""Lap times by run, with what the model expected: each kind of lap has its marker, slow laps a strip of their own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pitwall.debrief import figures_style as look
from pitwall.debrief.run_names import SIZE_PT, RunName, run_names

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARKERS = {"timed": "o", "out": "^", "in": "v", "cool": "D", "installation": "s"}
SLOW_SHARE = 1.07  # a lap slower than this share of the middle timed lap stands in the strip
STRIP = 0.11  # of the height of the axes, for laps out of its scale
NUMBER_PT = 13.0  # room for a number of two digits along the axis
LEFT_MM, TOP_MM, ROW_MM = 16.0, 9.0, 3.1  # of the axes: left of them, above them, and for each further row of names
BEFORE, AFTER = 0.7, 0.3  # laps from the left end of the axis to the first, and short of their number at the right
NEAREST_TICK = 0.04  # of the scale below the strip: its word stands there


@dataclass(frozen=True)
class LapMark:
    """One lap; ``expected_s`` and its interval are what the model said before the lap, if it said anything.

    ``clean`` is false for a lap that traffic, a slow period or a mistake made slower, or that a switch stood wrong on.
    """

    run: str
    kind: str
    time_s: float | None
    expected_s: float | None = None
    low_s: float | None = None
    high_s: float | None = None
    clean: bool = True


def lap_times(laps: Sequence[LapMark], expected: str = "expected, 90 % interval") -> Figure:
    """The laps in the order driven. Above the line, without scale, stand laps that are much slower than timed ones.

    Args:
        laps: in that order; those of a run one after the other.
        expected: what the legend calls the boxes.
    """
    width_pt = (look.WIDTH_MM - LEFT_MM - 3.0) * look.MM * look.POINTS
    lap_pt = width_pt / (max(1, len(laps)) + BEFORE - AFTER)
    names = run_names([one.run for one in laps], width_pt, lap_pt, (BEFORE - 0.5) * lap_pt)
    more = max((one.row for one in names), default=0) * ROW_MM
    figure, axes = look.sheet(66.0 + more, left_mm=LEFT_MM, top_mm=TOP_MM + more)
    low, high = _scale(laps)
    slower = any(one.time_s is not None and one.time_s > high for one in laps)
    strip = high + (high - low) * STRIP / (1 - STRIP) if slower else high
    for at, one in enumerate(laps):
        _expectation(axes, at, one, low, high)
        _lap(axes, at, one, high, strip)
    if slower:
        axes.axhline(high, color=look.QUIET, linewidth=0.6, linestyle=(0, (1, 2)))
    axes.set_ylim(low, strip)
    axes.set_xlim(-BEFORE, max(1, len(laps)) - AFTER)
    _runs(axes, laps)
    _names(axes, names)
    ticks = _ticks(low, high - (high - low) * NEAREST_TICK if slower else high)
    labels = [lap_clock(one, _places(ticks)) for one in ticks]
    axes.set_yticks([*ticks, *([(high + strip) / 2] if slower else [])], [*labels, *(["slower"] if slower else [])])
    axes.yaxis.grid(True)
    axes.set_xlabel("laps in the order driven, by run")
    look.legend(axes, _keys(laps, expected))
    return figure


def lap_clock(seconds: float, places: int = 3) -> str:
    """``1:23.456``: minutes, seconds and as many decimal places."""
    scale = 10**places
    units = round(seconds * scale)
    minutes, rest = divmod(units, 60 * scale)
    whole, part = divmod(rest, scale)
    tail = f".{part:0{places}d}" if places else ""
    return f"{minutes}:{whole:02d}{tail}"


def _scale(laps: Sequence[LapMark]) -> tuple[float, float]:
    """From which to which lap time the scale reaches: timed laps and what was expected of them."""
    timed = sorted(one.time_s for one in laps if one.kind == "timed" and one.time_s is not None)
    known = timed or sorted(one.time_s for one in laps if one.time_s is not None)
    if not known:
        return 0.0, 1.0
    most = known[len(known) // 2] * SLOW_SHARE
    shown = [one for one in known if one <= most]
    shown += [edge for one in laps if one.kind == "timed" for edge in (one.low_s, one.high_s)
              if edge is not None and edge <= most]
    low, high = min(shown), max(shown)
    room = max(0.2, (high - low) * 0.06)
    return low - room, high + room


def _expectation(axes: Axes, at: int, one: LapMark, low: float, high: float) -> None:
    if one.low_s is None or one.high_s is None or one.high_s < low or one.low_s > high:
        return
    top = min(one.high_s, high)
    look.slab(axes, at - 0.33, one.low_s, 0.66, top - one.low_s, facecolor=look.LIGHT, edgecolor="#8c8c8c",
              linewidth=0.5)
    if one.expected_s is not None and one.expected_s <= high:
        axes.plot([at - 0.33, at + 0.33], [one.expected_s] * 2, color=look.DARK, linewidth=1.3, linestyle=(0, (3, 1)),
                  solid_capstyle="butt")


def _lap(axes: Axes, at: int, one: LapMark, high: float, strip: float) -> None:
    if one.time_s is None:
        return
    inside = one.time_s <= high
    axes.plot([at], [one.time_s if inside else (high + strip) / 2], linestyle="none", marker=MARKERS.get(one.kind, "x"),
              markeredgecolor=look.INK, markerfacecolor=look.INK if one.clean else look.PAPER, markeredgewidth=0.8)


def _runs(axes: Axes, laps: Sequence[LapMark]) -> None:
    """A line between runs, and the numbers of their laps."""
    first = 0
    ticks: list[int] = []
    for at in range(1, len(laps) + 1):
        if at < len(laps) and laps[at].run == laps[first].run:
            continue
        if at < len(laps):
            axes.axvline(at - 0.5, color=look.QUIET, linewidth=0.6)
        ticks += _numbered(first, at, ticks, len(laps))
        first = at
    axes.set_xticks(ticks, [str(_number(laps, one)) for one in ticks], fontsize=6.5)


def _names(axes: Axes, names: Sequence[RunName]) -> None:
    """Each above its run's laps; from a higher row a line leads down to them."""
    row_pt = ROW_MM * look.MM * look.POINTS
    for one in names:
        foot = 2 + one.row * row_pt
        place: dict[str, Any] = {"xycoords": "axes fraction", "textcoords": "offset points", "va": "bottom"}
        axes.annotate(one.text, (0, 1), xytext=(one.left_pt, foot), ha="left", fontsize=SIZE_PT, **place)
        if one.row:
            line: dict[str, Any] = {"arrowstyle": "-", "color": look.QUIET, "lw": 0.4, "shrinkA": 0, "shrinkB": 0}
            axes.annotate("", (0, 1), xytext=(0, 0), arrowprops=line, **place)


def _numbered(first: int, end: int, before: Sequence[int], count: int) -> list[int]:
    """Which laps of a run get their number, so that none touches another; its first if any."""
    apart = math.ceil(NUMBER_PT * count / (look.WIDTH_MM * look.MM * look.POINTS))
    found: list[int] = []
    for at in range(first, end):
        last = found[-1] if found else before[-1] if before else at - apart
        if at - last >= apart:
            found.append(at)
    return found


def _number(laps: Sequence[LapMark], at: int) -> int:
    start = at
    while start and laps[start - 1].run == laps[at].run:
        start -= 1
    return at - start + 1


def _ticks(low: float, high: float) -> list[float]:
    """Round lap times, five to ten of them."""
    step = next((one for one in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20) if (high - low) / one <= 10), 60)
    return [number * step for number in range(-int(-low // step), int(high // step) + 1)]


def _places(ticks: Sequence[float]) -> int:
    return 0 if all(abs(one - round(one)) < 1e-6 for one in ticks) else 1


def _keys(laps: Sequence[LapMark], expected: str) -> list[object]:
    laps = [one for one in laps if one.time_s is not None]
    kinds = [kind for kind in MARKERS if any(one.kind == kind for one in laps)]
    keys: list[object] = [look.mark(kind, MARKERS[kind]) for kind in kinds]
    if any(one.kind not in MARKERS for one in laps):
        keys.append(look.mark("kind unknown", "x"))
    if any(not one.clean for one in laps):
        keys.append(look.mark("hollow: spoilt", "o", filled=False))
    if any(one.expected_s is not None for one in laps):
        keys.append(look.box(expected, look.LIGHT, line="#8c8c8c"))
    return keys
