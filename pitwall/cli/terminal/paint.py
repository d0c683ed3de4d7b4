"""Draws a :class:`Board` for a terminal of 80 by 24 or larger.

Calm by design: nothing flashes, one line per prompt, the line to act on carries a mark and a word. Colour repeats
what the words say and may be missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import wrap

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from pitwall.cli.terminal.advice import advice_line, ladder_lines, outlook_line
from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.cars import car_table
from pitwall.cli.terminal.detail import HELP, detail, part_words, proposal_lines, waiting_line
from pitwall.cli.terminal.pad import CommentLine
from pitwall.cli.terminal.run_told import run_lines
from pitwall.cli.terminal.words import (
    STATE_WORDS,
    alert_line,
    clock_line,
    lag_words,
    state_word,
    store_words,
    time_left,
)
from pitwall.model.outputs import Alert, ForecastState, Prompt, Proposal
from pitwall.model.units import clock_text

TRUTH_KEYS_HELP = "l line  i in  o out  f forgotten  e red  g green  u undo  k asked  w answered"
KEYS_HELP = "s said  x skip  d defer  r repeat  c confirm  n note  m quiet  a alert  ? help"
LEAVE_HELP = "  q leave"  # where there is room; the help tells it too

STATE_STYLES = {"due": "bold", "late": "bold", "shown": "", "said": "dim"}
STATUS_STYLES = {"green": "green", "yellow": "yellow", "slow": "yellow", "red": "red", "finished": "bold"}

FIXED_LINES = 6
"""The head, three rules and the two lines of keys."""
LEAST_LIST = 3
MOST_ALERTS = 4
MOST_STORE_LINES = 3
MOST_TO_COME = 6
MOST_PLANS = 2
STALE_AFTER_S = 5.0


def paint(
    board: Board, now: float, car: str | None, chosen: int, size: tuple[int, int], silent_s: float,
    *, linked: bool = True, helping: bool = False, looking: Proposal | None = None, writing: CommentLine | None = None,
) -> RenderableType:
    """One picture of the session.

    Args:
        board: what is known.
        now: session seconds.
        car: the car whose prompts are shown, or None before any is known.
        chosen: which of its prompts the keys act on, counted from the top.
        size: columns and lines of the terminal.
        silent_s: real seconds since anything came from the daemon.
        linked: there is a link to the broker.
        helping: show the help in the place of the calls.
        looking: show this changed plan in the place of the calls.
        writing: this comment that is being typed is shown in the place of the keys.
    """
    width, height = size
    prompts = board.prompts(car, now) if car else ()
    store = wrap(store_words(board.health), width)[:MOST_STORE_LINES] if board.health is not None else []
    cars = car_table(board, car, width)
    fits = [] if helping or car not in board.forecasts or board.over() else _fits(board.forecasts[car], width)
    cars += fits[:1]
    said = detail(prompts[min(chosen, len(prompts) - 1)], width) if prompts else _of_the_run(board, car, width)
    # What to say and its caution stand whole; alerts and notes give way before the list does, and take what it leaves.
    plans = _plans(board)
    free = height - FIXED_LINES - len(store) - len(cars) - len(said) - LEAST_LIST - len(plans)
    ladder = ladder_lines(board.ladder, now, board.must_lost())[: max(free - 1, 0)] if board.ladder is not None else []
    plans, free = [*(_one_line(line) for line in ladder), *plans], free - len(ladder)
    below = _below(board, car, prompts, now, free, width, fits[1:])
    cars, room = cars + below.fits, below.room
    parts: list[RenderableType] = [_head(board, now, silent_s, linked)]
    parts += [_one_line(line, "bold") for line in store]
    parts += [_rule(), *cars, _rule()]
    if helping and looking is None:
        return Group(*parts, *_help(board, height - FIXED_LINES - len(store) - len(cars)), _foot(board, width))
    if looking is not None:
        instead = proposal_lines(looking, width, room + len(said), board.must_lost())
        parts += [_one_line(line) for line in [*instead, *[""] * (room + len(said) - len(instead))]]
    else:
        parts.append(_prompts(board, now, car, prompts, chosen, room, width))
        parts += [_one_line(line, "bold" if prompts else "") for line in said]
    parts += [*plans, _rule("alerts" if below.alerts else "no alerts"), *below.alerts]
    parts += [_one_line(f"  {note}", "dim") for note in below.notes]
    return Group(*parts, *_typing(board, writing, width))


@dataclass(frozen=True)
class _Below:
    """What stands below the calls: alerts and notes; how many lines are left for the list of calls, and what more of
    the line of what fits has room."""

    alerts: list[Text]
    notes: list[str]
    room: int
    fits: list[Text]


def _below(
    board: Board, car: str | None, prompts: tuple[Prompt, ...], now: float, free: int, width: int, fits: list[Text]
) -> _Below:
    """Shares ``free`` lines: alerts first, a line each, then notes, then the list of calls beyond its least. What
    nobody wants of them lets alerts and the line of what fits stand whole."""
    wants = _list_wants(board, car, prompts, now)
    most = min(free, max(MOST_ALERTS, free - wants - len(board.notes)))
    standing = board.standing()
    shown = standing[: max(min(free - (len(standing) > most), most), 1)]
    more = len(standing) > len(shown)
    free -= len(shown) + more
    notes = board.notes[-free:] if free > 0 else []
    room = LEAST_LIST + max(free - len(notes), 0)
    spare = max(0, room - LEAST_LIST - wants)
    alerts, taken = _whole(shown, width, spare)
    alerts += [_one_line(f"  and {len(standing) - len(shown)} more")] if more else []
    fits = fits[: spare - taken]
    return _Below(alerts, notes, room - taken - len(fits), fits)


def _of_the_run(board: Board, car: str | None, width: int) -> list[str]:
    """Where nothing is to be said: what came of the run that the car came in from; at least as many lines."""
    told = board.of_the_run(car)
    lines = run_lines(told, width) if told is not None else []
    return [*lines, *detail(None, width)[len(lines):]]


def _typing(board: Board, writing: CommentLine | None, width: int) -> list[Text]:
    """The keys; or the comment that is being typed, its end in sight, and how it reads."""
    if writing is None:
        return [_one_line(TRUTH_KEYS_HELP, "dim"), _foot(board, width)]
    typed, reads = writing.lines()
    shown = typed if len(typed) <= width else f"...{typed[len(typed) - width + 3 :]}"
    return [_one_line(shown, "bold"), _one_line(reads)]


def _fits(forecast: ForecastState, width: int) -> list[Text]:
    """What still fits, of the car that is shown."""
    line = outlook_line(forecast.outlook)
    return [_one_line(part, "dim") for part in wrap(line, width, initial_indent="  ", subsequent_indent="    ")]


def _plans(board: Board) -> list[Text]:
    """Changed plans that wait, those of files before what the forecast advises."""
    lines = [waiting_line(one) for one in board.proposals.values()][:MOST_PLANS]
    lines += [advice_line(board.advice)] if board.advice is not None else []
    return [_one_line(line, "bold") for line in lines]


def _list_wants(board: Board, car: str | None, prompts: tuple[Prompt, ...], now: float) -> int:
    """Lines that the list of calls fills beyond its least: its head, the calls, and what comes then."""
    to_come = min(len(board.to_come(car, now)), MOST_TO_COME) if car else 0
    return max(0, 1 + max(len(prompts), 1) + to_come + bool(to_come) - LEAST_LIST)


def _help(board: Board, room: int) -> list[RenderableType]:
    """The help in the place of all that lies below the cars; that there are alerts still shows."""
    shown = [*HELP[: room + 1], *[""] * (room + 1 - len(HELP))]
    return [*(_one_line(line) for line in shown), _rule(f"{len(board.alerts)} alerts" if board.alerts else "no alerts")]


def _foot(board: Board, width: int) -> Text:
    keys = KEYS_HELP + LEAVE_HELP if width >= len(KEYS_HELP + LEAVE_HELP) else KEYS_HELP
    return _one_line(f"{board.hint}  (? keys)" if board.hint else keys, "" if board.hint else "dim")


def _rule(title: str = "") -> Rule:
    return Rule(title, style="dim", characters="-", align="left")


def _one_line(text: str, style: str = "") -> Text:
    return Text(text, style=style, overflow="ellipsis", no_wrap=True)


def _whole(alerts: list[Alert], width: int, spare: int) -> tuple[list[Text], int]:
    """Alerts a line each, as long as ``spare`` lines are left in as many as each needs; and how many of these."""
    lines: list[Text] = []
    for alert in alerts:
        text = f"! {alert_line(alert)}"
        parts = wrap(text, width, subsequent_indent="         ")
        whole = len(parts) - 1 <= spare
        spare -= len(parts) - 1 if whole else 0
        lines += [_one_line(part) for part in parts] if whole else [_one_line(text)]
    return lines, len(lines) - len(alerts)


def _head(board: Board, now: float, silent_s: float, linked: bool) -> RenderableType:
    clock = board.clock
    left = Text(clock_line(clock, now), style=STATUS_STYLES.get(clock.status, "") if clock else "")
    grid = Table.grid(expand=True)
    grid.add_column()
    grid.add_column(justify="right")
    grid.add_row(left, Text(_link_words(board, silent_s, linked)))
    return grid


def _link_words(board: Board, silent_s: float, linked: bool) -> str:
    gone = "" if linked else f"NO LINK for {silent_s:.0f} s"
    if board.health is not None and board.health.state == "offline":
        return ", ".join(word for word in ("DAEMON OFFLINE", gone) if word)
    if gone:
        return gone
    if board.health is None:
        return "waiting for the daemon"
    if silent_s > STALE_AFTER_S:
        return f"STALE: nothing heard for {silent_s:.0f} s"
    age, rate = board.health.feed_age_s, board.clock.rate if board.clock is not None else 1.0
    feed = "" if age is None or age < 15 else f"feed silent {clock_text(age)}"
    store = "STORE FAILS" if board.health.store_fails else "online"
    by_hand = "by hand" if any(desk.by_hand for desk in board.desks.values()) else ""
    return ", ".join(word for word in (store, lag_words(board.health, rate), feed, by_hand) if word)


def _prompts(
    board: Board, now: float, car: str | None, prompts: tuple[Prompt, ...], chosen: int, room: int, width: int
) -> RenderableType:
    table = Table(box=None, padding=(0, 1, 0, 0), expand=True, show_header=True, header_style="dim")
    table.add_column("", width=1)
    table.add_column("call", width=9)
    table.add_column("say", ratio=1, overflow="ellipsis", no_wrap=True)
    table.add_column("time", width=13, justify="right")
    table.add_column("state", width=11)
    chosen = min(chosen, len(prompts) - 1)
    top = max(chosen - (room - 2), 0)  # the chosen one stays in sight
    for index, prompt in enumerate(prompts[top : top + room - 1], start=top):
        table.add_row(
            ">" if index == chosen else "",
            prompt.kind.upper(),
            _say(prompt, width),
            time_left(prompt, now),
            state_word(prompt, now),
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
    """The full text where it fits, else the short one, and why a call ended; the chosen one stands whole below."""
    text = prompt.text if len(prompt.text) <= width - 40 else prompt.short
    if prompt.reason:
        return f"{text}  ({prompt.reason})"
    if prompt.caution:
        return f"{text}  (with a caution)"
    part = part_words(prompt)
    if part is not None:
        return f"{text}  ({part.lower().rstrip('.')})"
    return f"{text}  ({prompt.way.replace('_', ', ')})" if prompt.way != "full" else text
