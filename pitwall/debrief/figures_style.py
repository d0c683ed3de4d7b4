"""How figures look: our own style, made for paper first. What differs differs in shape, never in a colour alone.

Three greys that stay apart when printed (relative luminance 0.08, 0.36 and 0.81), hatches, line styles and markers
carry the meaning; blue and ochre, after the palette of Okabe and Ito (2008) that stays apart for every kind of colour
vision, are additions of the same lightness. No pyplot: a figure is a value, made and written without any state.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from pitwall.debrief.lettering import drawable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER, INK, QUIET = "#ffffff", "#1a1a1a", "#595959"
DARK, MIDDLE, LIGHT, FAINT = "#1f567d", "#c79a4b", "#e8e8e8", "#f4f4f4"
WIDTH_MM, MM = 178.0, 1 / 25.4  # the width between the margins of A4
POINTS = 72.0
HATCH = "#595959"

STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans", "font.size": 7.5, "axes.titlesize": 7.5, "axes.labelsize": 7.5,
    "xtick.labelsize": 7, "ytick.labelsize": 7.5, "legend.fontsize": 7,
    "text.parse_math": False, "text.usetex": False, "text.color": INK, "axes.labelcolor": INK,
    "axes.edgecolor": QUIET, "axes.linewidth": 0.6, "axes.spines.top": False, "axes.spines.right": False,
    "axes.axisbelow": True, "axes.formatter.useoffset": False, "axes.unicode_minus": True,
    "xtick.color": QUIET, "ytick.color": QUIET, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
    "xtick.major.width": 0.6, "ytick.major.width": 0.6, "xtick.major.size": 2.5, "ytick.major.size": 2.5,
    "grid.color": "#c8c8c8", "grid.linewidth": 0.4, "lines.linewidth": 0.9, "lines.markersize": 4.2,
    "patch.linewidth": 0.7, "hatch.linewidth": 0.5, "legend.frameon": False, "legend.handlelength": 2.2,
    "legend.columnspacing": 1.4, "legend.borderpad": 0.0, "legend.borderaxespad": 0.0,
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER,
    "svg.fonttype": "path", "svg.hashsalt": "pitwall", "pdf.fonttype": 3, "pdf.compression": 6, "path.simplify": True,
}


@contextmanager
def own_style() -> Iterator[None]:
    """Our style, whatever style file the machine has."""
    import matplotlib

    settings: Any = matplotlib.rcParams
    with matplotlib.rc_context():
        dict.update(settings, _checked_style())
        yield


@lru_cache(maxsize=1)  # matplotlib checks each value as it is set: for sixteen drawings that would cost half a second
def _checked_style() -> dict[str, Any]:
    import matplotlib

    settings: Any = matplotlib.rcParams
    style: dict[str, Any] = {name: value for name, value in dict.items(matplotlib.rcParamsDefault)
                             if not name.startswith(("backend", "interactive"))}
    with matplotlib.rc_context():
        settings.update(STYLE)
        return style | {name: settings[name] for name in STYLE}


def sheet(height_mm: float, left_mm: float = 26.0, top_mm: float = 9.0) -> tuple[Figure, Axes]:
    """A figure with one pair of axes as wide as the paper's text; the legend stands in the room at the top."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_MM * MM, height_mm * MM))
    bottom = 10.0
    axes = figure.add_axes((left_mm / WIDTH_MM, bottom / height_mm, 1 - (left_mm + 3.0) / WIDTH_MM,
                            1 - (bottom + top_mm) / height_mm))
    return figure, axes


def legend(axes: Axes, handles: list[Any]) -> None:
    """One row of keys above the axes, from the figure's left edge."""
    from matplotlib.transforms import blended_transform_factory

    figure = axes.figure
    axes.legend(handles=handles, loc="upper left", ncols=len(handles), bbox_to_anchor=(0.004, 0.995),
                bbox_transform=blended_transform_factory(figure.transFigure, figure.transFigure))


def box(label: str, face: str, hatch: str = "", line: str = INK) -> Any:
    """A key of the legend: a filled, hatched or hollow box."""
    from matplotlib.patches import Patch

    return Patch(facecolor=face, edgecolor=line, hatch=hatch, label=drawable(label), hatchcolor=HATCH)


def mark(label: str, marker: str, filled: bool = True) -> Any:
    """A key of the legend: a marker alone."""
    from matplotlib.lines import Line2D

    return Line2D([], [], linestyle="none", marker=marker, markeredgecolor=INK, color=INK, label=drawable(label),
                  markerfacecolor=INK if filled else PAPER, markeredgewidth=0.8)


def clock_axis(axes: Axes, from_s: float, until_s: float) -> None:
    """Session time along the bottom, written as hours and minutes, with at most a dozen ticks."""
    step = next(one for one in (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400) if (until_s - from_s) / one <= 13
                or one == 14400)
    axes.set_xlim(from_s, until_s)
    first = int(-(-from_s // step) * step)
    ticks = list(range(first, int(until_s) + 1, step))
    axes.set_xticks(ticks, [hours_minutes(one) for one in ticks])
    axes.set_xlabel("session time, hours:minutes")


def hours_minutes(seconds: float) -> str:
    """``1:05`` for an hour and five minutes of session time."""
    minutes = round(abs(seconds) / 60)
    return f"{'−' if seconds < -30 else ''}{minutes // 60}:{minutes % 60:02d}"


def slab(axes: Axes, left: float, bottom: float, width: float, height: float, **looks: Any) -> None:
    """One bar, as it is: ``bar`` and ``barh`` are made for rows of them, and take four times as long for each."""
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((left, bottom), width, height, **looks))


class Drawing:
    """A figure that was made, as vectors for the page and for the paper."""

    def __init__(self, make: Callable[[], Figure]) -> None:
        with own_style():
            self._figure = make()
        width, height = self._figure.get_size_inches()
        self.width_pt, self.height_pt = float(width) * POINTS, float(height) * POINTS

    def as_pdf(self) -> bytes:
        """A page of exactly its size, without dates."""
        from matplotlib.backends.backend_pdf import FigureCanvasPdf

        out = io.BytesIO()
        canvas: Any = FigureCanvasPdf(self._figure)
        with own_style():
            canvas.print_pdf(out, metadata={"CreationDate": None, "Creator": None, "Producer": None})
        return out.getvalue()

    def as_svg(self, key: str) -> str:
        """An ``svg`` element to stand within a page.

        Args:
            key: makes its ids differ from those of the page's other figures.
        """
        from matplotlib.backends.backend_svg import FigureCanvasSVG

        out = io.StringIO()
        canvas: Any = FigureCanvasSVG(self._figure)
        with own_style():
            canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        return embedded(out.getvalue(), key)


def embedded(svg: str, key: str) -> str:
    """The element alone, its ids its own, its looks as attributes: a page that forbids inline style shows it."""
    start = svg.index("<svg")
    svg = svg[start:].strip()
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<style[^>]*>.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*</defs>\s*", "", svg)
    svg = re.sub(r' style="([^"]*)"', _as_attributes, svg)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', svg)
    svg = re.sub(r'href="#([^"]+)"', rf'href="#{key}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", svg)
    return re.sub(r'^<svg[^>]*viewBox="([^"]+)"[^>]*>', _opening, svg, count=1)


def _opening(found: re.Match[str]) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'viewBox="{found[1]}" aria-hidden="true" focusable="false">')


def _as_attributes(found: re.Match[str]) -> str:
    pairs = (one.partition(":") for one in found[1].split(";") if one.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, _, value in pairs)
