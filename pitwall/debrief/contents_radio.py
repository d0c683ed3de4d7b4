"""What was said to the driver and by him: figures of the calls, the load, questions, comments, and every call."""

from __future__ import annotations

from pitwall.debrief import wording as say
from pitwall.debrief.contents_comments import comment_section
from pitwall.debrief.contents_figures import radio_figure
from pitwall.debrief.document import Block, Column, Row, Section, Words, table
from pitwall.debrief.figures_timeline import Stretch
from pitwall.debrief.model import CallRow, CarDebrief, RadioStatistics, SessionSummary

CALLS = (Column("call", 4.4), Column("kind", 1.75), Column("run and lap", 2.35), Column("to be said", 2.5),
         Column("said", 1.45, right=True), Column("for, s", 0.95, right=True), Column("outcome", 1.95),
         Column("how, and why", 3.1))
IN_TIME = ("Said is when the key was pressed, after the words; begun is when the radio desk heard them, else that "
           "moment less their length. Begun in its window: between the two moments of 'to be said', give or take a "
           "second. Late: when the driver could act on it no more, which may be after the end of the window; a "
           "call that was late or unconfirmed before is not in time. Missed is also news over which the radio desk, "
           "which reports, heard nobody: a car that came in may have seen the flags. The table of calls has how each "
           "is counted.")
IN_TIME_BOARD = ("Said is when the key was pressed: in the garage after the words, of a board as it hung. In its "
                 "window: between the two moments of 'to be said', which for a board end some seconds before the car "
                 "passes it, give or take a second. Late: when the driver could act on it no more; a call that was "
                 "late or unconfirmed before is not in time. The table of calls has how each is counted.")
FIGURES = (Column("of the calls", 4.0), Column("calls", 1.0, right=True), Column("share", 1.0, right=True))


def radio_sections(car: CarDebrief, session: SessionSummary, over: Stretch | None = None) -> tuple[Section, ...]:
    """What was said, and how well it was told in time; of one run, which was driven ``over`` this while."""
    name = f"Car {car.car}"
    picture = radio_figure(car, session, over)
    blocks: tuple[Block, ...] = () if picture is None else (picture,)
    return (
        Section(f"{name}: radio", 3, (*blocks, *_statistics(name, car.radio, over is not None))),
        comment_section(car),
    )


def every_call(car: CarDebrief) -> Section:
    """The calls one by one, which nobody reads in two minutes."""
    name = f"Car {car.car}"
    return Section(f"{name}: every call", 2, (
        table(f"{name}: calls in the order in which they came up", CALLS, [_call(one) for one in car.calls],
              "No call came up.", bold=False),
    ), new_page=True)


def _statistics(name: str, radio: RadioStatistics, of_run: bool = False) -> tuple[Block, ...]:
    if not radio.calls:
        return (Words("No call came up."),)
    counted = radio.calls - radio.open
    rows = [
        (what, str(count), say.NOTHING if not counted else f"{100 * count / counted:.0f} %") for what, count in (
        ("in time, begun in their window", radio.in_window),
        ("in time, begun beside their window", radio.beside_window),
        ("in time, shown to be done; no word when said", radio.shown),
        ("settled later, by what happened", radio.settled),
        ("unconfirmed", radio.unconfirmed), ("late", radio.late), ("missed", radio.missed), ("skipped", radio.skipped),
        ("withdrawn, as no longer needed", radio.withdrawn))]
    # Shares are of what ended: what is still open has none, or all shares together would be more than the whole.
    rows.append(("open as the journal ends", str(radio.open), say.NOTHING))
    source = "by the radio desk" if radio.spoken_from == "channel" else "reckoned from the length of what was said"
    while_out = " in the minutes of this run" if of_run else ""
    words = [] if radio.spoken_s is None else [
             Words(f"{radio.spoken_s:.0f} s were spoken to the driver in the garage ({source}); on track there is "
                   "a pit board, and nothing is spoken." if radio.medium == "board" else
                   f"{radio.spoken_s:.0f} s were spoken to the driver{while_out} ({source}): {radio.mean_load_s:.1f} s "
                   f"a minute on track, {radio.most_load_s:.1f} s in the fullest minute.", "Load:")]
    words += [Words(f"{radio.in_time} of {say.plural(counted, 'call')} that ended. "
                   f"{IN_TIME_BOARD if radio.medium == 'board' else IN_TIME}", "In time:")]
    if radio.by_kind:
        words.append(Words(f"{_counts(radio.by_kind)}.", "Kinds of call:"))
    if radio.reasons:
        words.append(Words(f"{_counts(radio.reasons)}.", "Why late, missed or unconfirmed:"))
    return (table(f"{name}: what became of {say.plural(radio.calls, 'call')}", FIGURES, rows, "No call came up.",
                  share=0.5), *words)


def _counts(counts: dict[str, int]) -> str:
    return "; ".join(f"{name} ({count})" for name, count in sorted(counts.items(), key=lambda one: (-one[1], one[0])))


def _call(call: CallRow) -> Row:
    where = ", ".join(one for one in (call.run, call.lap) if one) or say.NOTHING
    why = "; ".join(one for one in (say.WAYS[call.way] if call.way != "full" else "", call.reason) if one)
    beside = ", beside its window" if call.counted_as == "beside_window" else ""
    if call.counted_as == "missed" and call.state != "missed":
        beside = ", counted as missed"
    return (call.text, call.kind, where, say.span_clock(call.say_from_s, call.say_by_s), say.maybe_clock(call.said_s),
            say.number(call.spoken_s), call.state + beside, why)
