"""A drawing of a debrief read back: letters from their outlines, scales from their ticks, and what is drawn in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from xml.etree import ElementTree

from matplotlib.ft2font import FT2Font

from pitwall.debrief.lettering import font_file

HREF = "{http://www.w3.org/1999/xlink}href"
POINT = re.compile(r"[ML] (-?[\d.]+) (-?[\d.]+)")
Box = tuple[float, float, float, float]


@dataclass
class Scale:
    """Ticks of an axis: where each stands on the paper, and what is written at it."""

    ticks: list[tuple[float, str]] = field(default_factory=list)

    def value(self, at: float, read: dict[float, float]) -> float:
        """What a place on the axis stands for, by its first and its last tick."""
        (first, one), (last, other) = min(read.items()), max(read.items())
        return one + (at - first) * (other - one) / (last - first)


@dataclass
class Figure:
    """What stands in a drawing."""

    x: Scale = field(default_factory=Scale)
    y: Scale = field(default_factory=Scale)
    words: list[str] = field(default_factory=list)
    legend: list[str] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    marks: list[tuple[float, float]] = field(default_factory=list)
    frame: Box = (0.0, 0.0, 0.0, 0.0)


@cache
def _letters() -> dict[int, str]:
    """Outlines are named by their place in the font."""
    return {at: chr(code) for code, at in FT2Font(str(font_file("DejaVuSans"))).get_charmap().items()}


def _own(element: ElementTree.Element) -> str:
    """The id without the figure's key: ``xtick_3``."""
    return re.sub(r"^[a-z]+-[^-]+-", "", element.get("id", ""))


def _text(element: ElementTree.Element) -> str:
    found = []
    for use in element.iter():
        outline = re.search(r"DejaVuSans-([0-9a-f]+)$", use.get(HREF, ""))
        if outline is not None:
            found.append(_letters()[int(outline[1], 16)])
    return "".join(found)


def _points(element: ElementTree.Element) -> Iterator[tuple[float, float]]:
    for one in element.iter():
        if one.tag.endswith("path") and "}" in one.tag and one.get("id") is None:
            yield from ((float(x), float(y)) for x, y in POINT.findall(one.get("d", "")))


def _place(tick: ElementTree.Element, at: int) -> float | None:
    """Where a tick stands: its mark, else its line of the grid."""
    for one in tick.iter():
        if one.get("x") is not None and one.get("y") is not None:
            return float(one.get("xy"[at], "nan"))
    return next((point[at] for point in _points(tick)), None)


def read(svg: str) -> Figure:
    """The drawing."""
    figure = Figure()
    _walk(ElementTree.fromstring(svg), figure, in_axes=False)
    return figure


def _walk(element: ElementTree.Element, figure: Figure, *, in_axes: bool) -> None:
    for child in element:
        name = _own(child)
        if name.startswith("legend"):
            figure.legend += [_text(one) for one in child.iter() if _own(one).startswith("text_")]
        elif name.startswith(("xtick", "ytick")):
            at = 0 if name[0] == "x" else 1
            place = _place(child, at)
            scale = figure.x if at == 0 else figure.y
            label = _text(child)
            if place is not None or label:
                scale.ticks.append((place if place is not None else float("nan"), label))
        elif name.startswith("text_"):
            figure.words.append(_text(child))
        elif name.startswith("patch_") and in_axes:
            _box(child, figure)
        elif name.startswith("line2d") and in_axes:
            figure.marks += [(float(one.get("x", "nan")), float(one.get("y", "nan"))) for one in child.iter()
                             if one.get("x") is not None and one.get(HREF) is not None]
        else:
            _walk(child, figure, in_axes=in_axes or name.startswith("axes"))


def _box(element: ElementTree.Element, figure: Figure) -> None:
    points = list(_points(element))
    if len(points) != 4:
        return
    box = (min(x for x, _ in points), min(y for _, y in points), max(x for x, _ in points),
           max(y for _, y in points))  # fmt: skip
    if figure.frame == (0.0, 0.0, 0.0, 0.0):
        figure.frame = box
    else:
        figure.boxes.append(box)
