"""The table of the team's cars: a title over each column, so that no figure has to be guessed."""

from __future__ import annotations

from rich.text import Text

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.words import lap_text
from pitwall.model.outputs import DeskState
from pitwall.model.units import clock_text

WIDE = 100
LEAST_WHERE = 23
LEAST_OF_A_NAME = 4  # letters by which a run is still known
FIGURES = 57  # columns of all else; with the best lap nine more


def car_table(board: Board, chosen: str | None, width: int) -> list[Text]:
    """A line of titles and a line for each car; nothing before a car is known.

    Args:
        board: what is known.
        chosen: the car whose calls are shown.
        width: columns of the terminal; from 100 on the best lap is shown as well.
    """
    if not board.cars():
        return []
    best = f" {'best lap':>8}" if width >= WIDE else ""
    where = max(LEAST_WHERE, min(width - FIGURES - len(best), _longest(board)))
    titles = (
        f"  {'car':<8}{'now':<9}{'run and lap':<{where}} {'last lap':>8}{best}"
        f"  {'in hand at line':>15}  {'musts fit':>9}"
    )
    return [_line(titles, "dim"), *(_car_line(board, car, car == chosen, width, where) for car in board.cars())]


def _longest(board: Board) -> int:
    """Columns that the longest place of a car asks for."""
    return max((len(_where(desk, None)) for desk in board.desks.values()), default=0)


def in_hand(margin_s: float | None) -> str:
    """Time in hand to start one more timed lap before the flag; a car that cannot any more is told so in words."""
    if margin_s is None:
        return "-"
    return clock_text(margin_s) if margin_s >= 0 else f"{clock_text(-margin_s)} too late"


def _car_line(board: Board, car: str, chosen: bool, width: int, where: int) -> Text:
    mark, desk = ">" if chosen else " ", board.desks.get(car)
    if desk is None:
        return _line(f"{mark} car {car}")
    best = f" {lap_text(desk.best_lap_s):>8}" if width >= WIDE else ""
    forecast = board.forecasts.get(car)
    told = None if board.over() else forecast
    musts = "-" if told is None else "lost" if told.musts_lost else f"{told.outlook.musts_chance:.0%}"
    return _line(
        f"{mark} car {car:<4}{desk.state.replace('_', ' '):<9}{_where(desk, where):<{where}} "
        f"{lap_text(desk.last_lap_s):>8}{best}  {in_hand(desk.flag_margin_s):>15}  {musts:>9}",
        "bold" if chosen else "",
    )


def _where(desk: DeskState, most: int | None) -> str:
    """What mutes or holds the car, what the driver waits for, who gets in, its run, and the lap of the run. Where that
    is longer than ``most`` columns the run's name gives way: which lap it is on cannot be guessed from a part of it."""
    held = [word for word, on in (("QUIET", desk.quiet), ("KEPT IN", desk.kept_in)) if on]
    held += [f"{len(desk.questions)} ASKED"] if desk.questions else []
    held += [f"CHANGE TO {desk.driver}"] if desk.driver_change is not None and desk.driver is not None else []
    run, rest = desk.run or "", [desk.lap_of_run] if desk.lap_of_run else []
    text = " ".join([*held, *([run] if run else []), *rest])
    if most is None or len(text) <= most:
        return text
    run = f"{run[: max(LEAST_OF_A_NAME, len(run) - (len(text) - most) - 1)]}~"
    text = " ".join([*held, run, *rest])
    return text if len(text) <= most else f"{text[: most - 1]}~"


def _line(text: str, style: str = "") -> Text:
    return Text(text, style=style, overflow="ellipsis", no_wrap=True)
