"""The pieces of a printed run sheet, each drawn whole: head, run, lap, foot. Black and grey; all sizes are points."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from reportlab.pdfgen.canvas import Canvas

from pitwall.app.print_fonts import BOLD, REGULAR, drawable, lines_of, width_of
from pitwall.app.run_sheet import RunSheet, SheetRun, call_words
from pitwall.app.run_sheet_calls import SheetCall, SheetLap

GREY, LIGHT, DARK = 0.45, 0.9, 0.25
LEADING = 1.28
SMALLEST = 7.0
TIME_WIDTH = 5.0
"""Of a blank for a lap time, in sizes of the letters."""
Draw = Callable[[Canvas, float, float], None]
"""Draws with its upper left corner there: x, y."""


@dataclass(frozen=True)
class Part:
    """Something that is drawn whole: its height, and how."""

    height: float
    draw: Draw


@dataclass(frozen=True)
class Look:
    """What hangs on the size of the letters and the width that a part has."""

    size: float
    width: float

    @property
    def line(self) -> float:
        """Height of a line."""
        return self.size * LEADING

    @property
    def lap_width(self) -> float:
        """Of the column with the lap's name."""
        return self.size * 6.0

    @property
    def box_width(self) -> float:
        """Of the column with the boxes to tick."""
        return self.size * 1.3

    @property
    def where_width(self) -> float:
        """Of the column with the place."""
        return self.size * 6.4

    @property
    def text_left(self) -> float:
        """Where the words of calls begin."""
        return self.lap_width + self.box_width + self.where_width


def head(sheet: RunSheet, look: Look) -> Part:
    """Car, session and driver; the event; what holds for all runs."""
    title = look.size * 1.5
    # A long name of an event goes over several lines in its half, so that it and the title never meet.
    wide = width_of(drawable(sheet.event), REGULAR, look.size)
    event = lines_of(sheet.event, REGULAR, look.size, look.width / 2 - look.size)
    lines = lines_of(sheet.title, BOLD, title, max(look.width / 2, look.width - wide - look.size))
    above = max(len(lines) * title * LEADING, title + (len(event) - 1) * look.line + 0.3 * look.size)
    details = lines_of(". ".join(sheet.lines), REGULAR, look.size, look.width) if sheet.lines else []
    height = above + len(details) * look.line + look.size * 0.7

    def draw(canvas: Canvas, x: float, y: float) -> None:
        canvas.setFont(REGULAR, look.size)
        for number, line in enumerate(event):
            canvas.drawRightString(x + look.width, y - title - number * look.line, line)
        _write(canvas, lines, x, y, BOLD, title)
        _write(canvas, details, x, y - above, REGULAR, look.size)

    return Part(height, draw)


def foot(sheet: RunSheet, look: Look) -> Part:
    """The caution."""
    size = max(SMALLEST, look.size - 2)
    lines = lines_of(sheet.foot, REGULAR, size, look.width)

    def draw(canvas: Canvas, x: float, y: float) -> None:
        _write(canvas, lines, x, y - 3, REGULAR, size)

    return Part(len(lines) * size * LEADING + 3, draw)


def blocks(sheet: RunSheet, look: Look) -> Iterator[tuple[Part, list[Part]]]:
    """Of each run what stands above it where it goes on in the next column, and its parts."""
    for run in sheet.runs:
        yield _goes_on(run, look), [_run_head(run, look), *(_lap(lap, look) for lap in run.laps), _after(run, look)]


def _goes_on(run: SheetRun, look: Look) -> Part:
    def draw(canvas: Canvas, x: float, y: float) -> None:
        _write(canvas, [drawable(f"{run.head}, goes on")], x, y, BOLD, look.size)

    return Part(look.line + look.size * 0.2, draw)


def _run_head(run: SheetRun, look: Look) -> Part:
    """A grey band with name, class, driver, tyres and fuel, these below the name where they have no room beside it;
    below the band laps, purpose, times and switches."""
    size = look.size * 1.1
    facts = lines_of(" \u00b7 ".join(run.facts), BOLD, look.size, look.width)
    name = drawable(run.head)
    together = width_of(f"{name}  ", BOLD, size) + width_of(facts[0], BOLD, look.size)
    beside_name = len(facts) == 1 and together <= look.width
    band = size * 1.6 + (0 if beside_name else len(facts) * look.line)
    laps = lines_of(run.laps_text, BOLD, look.size, look.width)
    beside = width_of(laps[0], BOLD, look.size) + look.size
    purpose = lines_of(run.purpose, REGULAR, look.size, max(look.size, look.width - beside))
    # Beside the laps where there is room, else first of what stands below.
    at_once = len(laps) == len(purpose) == 1
    rest = run.lines if at_once or not run.purpose else (run.purpose, *run.lines)
    details = lines_of("; ".join(rest), REGULAR, look.size, look.width) if rest else []
    height = band + look.size * 0.3 + (len(laps) + len(details)) * look.line + look.size * 0.2

    def draw(canvas: Canvas, x: float, y: float) -> None:
        canvas.setFillGray(LIGHT)
        canvas.rect(x - 3, y - band, look.width + 6, band, stroke=0, fill=1)
        canvas.setFillGray(0)
        base = y - size * 1.1
        canvas.setFont(BOLD, size)
        canvas.drawString(x, base, name)
        if beside_name:
            canvas.setFont(BOLD, look.size)
            canvas.drawRightString(x + look.width, base, facts[0])
        else:
            _write(canvas, facts, x, y - size * 1.4, BOLD, look.size)
        if at_once:
            _write(canvas, purpose, x + beside, y - band - look.size * 0.3, REGULAR, look.size)
        below = _write(canvas, laps, x, y - band - look.size * 0.3, BOLD, look.size)
        _write(canvas, details, x, below, REGULAR, look.size)

    return Part(height, draw)


def _lap(lap: SheetLap, look: Look) -> Part:
    """The lap's name, its calls each with a box to tick and its place, and blanks for the times of timed laps."""
    name = lines_of(lap.name, BOLD, look.size, look.lap_width - look.size * 0.4)
    calls = [_call(call, look) for call in lap.calls]
    blanks = _blank_lines(lap, look)
    high = max(len(name), blanks + sum(max(len(where), len(text)) for where, text in calls), 1)

    def draw(canvas: Canvas, x: float, y: float) -> None:
        _rule(canvas, x, y, look)
        y -= look.size * 0.2
        _write(canvas, name, x, y, BOLD, look.size)
        if blanks:
            _times(canvas, lap.count, x + look.lap_width, y, look)
            y -= blanks * look.line
        for where, text in calls:
            left = x + look.lap_width
            canvas.rect(left, y - look.size, look.size * 0.72, look.size * 0.72, stroke=1, fill=0)
            canvas.setFillGray(DARK)
            _write(canvas, where, left + look.box_width, y, REGULAR, look.size)
            canvas.setFillGray(0)
            _write(canvas, text, x + look.text_left, y, REGULAR, look.size)
            y -= max(len(where), len(text)) * look.line

    return Part(high * look.line + look.size * 0.45, draw)


def _call(call: SheetCall, look: Look) -> tuple[list[str], list[str]]:
    words = call_words("", call.text, call.condition)
    return (lines_of(call.where, REGULAR, look.size, look.where_width - look.size * 0.4),
            lines_of(words, REGULAR, look.size, look.width - look.text_left))


def _in_a_line(look: Look) -> int:
    return max(1, int((look.width - look.lap_width) / (look.size * TIME_WIDTH)))


def _blank_lines(lap: SheetLap, look: Look) -> int:
    return -(-lap.count // _in_a_line(look)) if lap.kind == "timed" else 0


def _times(canvas: Canvas, count: int, x: float, y: float, look: Look) -> None:
    """A blank for each lap time."""
    each, many = look.size * TIME_WIDTH, _in_a_line(look)
    canvas.setStrokeGray(GREY)
    for number in range(count):
        left, base = x + number % many * each, y - look.size - number // many * look.line
        canvas.setFont(REGULAR, look.size * 0.75)
        canvas.setFillGray(DARK)
        canvas.drawString(left, base, str(number + 1) if count > 1 else "")
        canvas.line(left + look.size * (1.1 if count > 1 else 0), base - 1, left + each - look.size * 0.6, base - 1)
    canvas.setFillGray(0)


def _after(run: SheetRun, look: Look) -> Part:
    lines = lines_of(run.after, REGULAR, look.size, look.width) if run.after else []

    def draw(canvas: Canvas, x: float, y: float) -> None:
        _rule(canvas, x, y, look)
        _write(canvas, lines, x, y - look.size * 0.1, REGULAR, look.size)

    return Part(len(lines) * look.line + look.size * 0.6, draw)


def _rule(canvas: Canvas, x: float, y: float, look: Look) -> None:
    canvas.setStrokeGray(GREY)
    canvas.setLineWidth(0.4)
    canvas.line(x, y, x + look.width, y)


def _write(canvas: Canvas, lines: list[str], x: float, y: float, font: str, size: float) -> float:
    """Lines from this height down; the height below the last."""
    canvas.setFont(font, size)
    for line in lines:
        canvas.drawString(x, y - size, line)
        y -= size * LEADING
    return y
