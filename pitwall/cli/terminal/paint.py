"""Draws a :class:`Board` for a terminal of 80 by 24 or larger.

Calm by design: nothing flashes, one line per prompt, the line to act on carries a mark and a word. Colour repeats
what the words say and may be missing.
"""

from __future__ import annotations

from textwrap import wrap

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.words import (
    STATE_WORDS,
    alert_line,
    clock_line,
    lag_words,
    lap_text,
    store_words,
    time_left,
)
from pitwall.model.outputs import DeskState, Prompt
from pitwall.model.units import clock_text

KEYS_HELP = "s said  x skip  d defer  r repeat  c confirm  m quiet  a noted  tab car  q leave"

STATE_STYLES = {"due": "bold", "late": "bold", "shown": "", "said": "dim"}
STATUS_STYLES = {"green": "green", "yellow": "yellow", "slow": "yellow", "red": "red", "finished": "bold"}

FIXED_LINES = 9
MOST_ALERTS = 4
MOST_STORE_LINES = 3
MOST_TO_COME = 6
STALE_AFTER_S = 5.0
WIDE = 100


def paint(
    board: Board, now: float, car: str | None, chosen: int, size: tuple[int, int], silent_s: float
) -> RenderableType:
    """One picture of the session.

    Args:
        board: what is known.
        now: session seconds.
        car: the car whose prompts are shown, or None before any is known.
        chosen: which of its prompts the keys act on, counted from the top.
        size: columns and lines of the terminal.
        silent_s: real seconds since anything came from the daemon.
    """
    width, height = size
    alerts = sorted(board.alerts.values(), key=lambda alert: (alert.acknowledged, alert.since_s, alert.id))
    shown_alerts = alerts[:MOST_ALERTS]
    store = wrap(store_words(board.health), width)[:MOST_STORE_LINES] if board.health is not None else []
    room = max(height - FIXED_LINES - len(store) - len(board.cars()) - len(shown_alerts) - len(board.notes), 3)
    parts: list[RenderableType] = [_head(board, now, silent_s)]
    parts += [Text(line, style="bold", overflow="ellipsis", no_wrap=True) for line in store]
    parts.append(Rule(style="dim", characters="-"))
    parts += [_car_line(board.desks.get(name), name, name == car, board, width) for name in board.cars()]
    parts += [Rule(style="dim", characters="-"), _prompts(board, now, car, chosen, room, width)]
    parts.append(Rule("alerts" if alerts else "no alerts", style="dim", characters="-", align="left"))
    parts += [Text(f"! {alert_line(alert)}", overflow="ellipsis", no_wrap=True) for alert in shown_alerts]
    if len(alerts) > len(shown_alerts):
        parts.append(Text(f"  and {len(alerts) - len(shown_alerts)} more"))
    parts += [Text(f"  {note}", style="dim", overflow="ellipsis", no_wrap=True) for note in board.notes]
    parts.append(Text(KEYS_HELP, style="dim", overflow="ellipsis", no_wrap=True))
    return Group(*parts)


def _head(board: Board, now: float, silent_s: float) -> RenderableType:
    clock = board.clock
    left = Text(clock_line(clock, now), style=STATUS_STYLES.get(clock.status, "") if clock else "")
    grid = Table.grid(expand=True)
    grid.add_column()
    grid.add_column(justify="right")
    grid.add_row(left, Text(_link_words(board, silent_s)))
    return grid


def _link_words(board: Board, silent_s: float) -> str:
    if board.health is None:
        return "waiting for the daemon"
    if board.health.state == "offline":
        return "DAEMON OFFLINE"
    if silent_s > STALE_AFTER_S:
        return f"STALE: nothing heard for {silent_s:.0f} s"
    age, rate = board.health.feed_age_s, board.clock.rate if board.clock is not None else 1.0
    feed = "" if age is None or age < 15 else f"feed silent {clock_text(age)}"
    store = "STORE FAILS" if board.health.store_fails else "online"
    return ", ".join(word for word in (store, lag_words(board.health, rate), feed) if word)


def _car_line(desk: DeskState | None, car: str, chosen: bool, board: Board, width: int) -> Text:
    """One car: state, what mutes or holds it, run and lap, last lap, seconds in hand to the flag, do the musts fit."""
    mark = ">" if chosen else " "
    if desk is None:
        return Text(f"{mark} car {car}")
    held = " ".join(word for word, on in (("QUIET", desk.quiet), ("KEPT IN", desk.kept_in)) if on)
    where = " ".join(part for part in (held, desk.run or "", desk.lap_of_run or "") if part)
    state = desk.state.replace("_", " ")
    parts = [f"{mark} car {car:<4}{state:<8}", _fixed(where, 23), f"{lap_text(desk.last_lap_s):>8}"]
    if width >= WIDE:
        parts.append(f"best {lap_text(desk.best_lap_s):>8}")
    margin = desk.flag_margin_s
    signed = "" if margin is None else f"{'+' if margin >= 0 else '-'}{clock_text(abs(margin))}"
    parts.append(f"flag {signed:<8}" if signed else " " * 13)
    forecast = board.forecasts.get(car)
    if forecast is not None:
        parts.append(f"musts {forecast.outlook.musts_chance:.0%}")
    return Text(" ".join(parts), style="bold" if chosen else "", overflow="ellipsis", no_wrap=True)


def _fixed(text: str, width: int) -> str:
    return f"{text[: width - 1]}~" if len(text) > width else f"{text:<{width}}"


def _prompts(board: Board, now: float, car: str | None, chosen: int, room: int, width: int) -> RenderableType:
    table = Table(box=None, padding=(0, 1, 0, 0), expand=True, show_header=True, header_style="dim")
    table.add_column("", width=1)
    table.add_column("call", width=9)
    table.add_column("say", ratio=1, overflow="ellipsis", no_wrap=True)
    table.add_column("time", width=12, justify="right")
    table.add_column("state", width=11)
    prompts = board.prompts(car, now) if car else ()
    for index, prompt in enumerate(prompts[: room - 1]):
        table.add_row(
            ">" if index == chosen else "",
            prompt.kind.upper(),
            _say(prompt, width),
            time_left(prompt, now),
            STATE_WORDS[prompt.state],
            style=STATE_STYLES.get(prompt.state, "dim"),
        )
    if not prompts:
        table.add_row("", "", "nothing to say now", "", "")
    left = room - 1 - max(len(prompts), 1)
    then = board.to_come(car, now)[: min(max(left - 1, 0), MOST_TO_COME)] if car else ()
    if then:
        table.add_row("", "then", "", "", "", style="dim")
    for prompt in then:
        kind, expected = prompt.kind, f"in {clock_text(prompt.say_from_s - now)}"
        table.add_row("", kind, prompt.short, expected, STATE_WORDS[prompt.state], style="dim")
    for _ in range(left - len(then) - bool(then)):
        table.add_row("", "", "", "", "")
    return table


def _say(prompt: Prompt, width: int) -> str:
    """The full text where it fits, else the short one; a reason or caution after it."""
    text = prompt.text if len(prompt.text) <= width - 40 else prompt.short
    extra = prompt.reason or prompt.caution
    return f"{text}  ({extra})" if extra else text
