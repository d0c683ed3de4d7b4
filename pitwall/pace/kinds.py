"""Which kind of lap is this: judged from the pace against what counts as quick now.

A complete lap is *timed* when it took at most 1.12 times the reference (CarPace.reference) and no slow or red period
touched it; else it was a *cool-down* lap. Where the plan has a cool-down lap it is one sooner: a driver who is told to
cool down as the lap begins has its first corners behind him at the pace, and may lose no more than a tenth. Before the
line the same is asked of the lap so far, with limits that widen near the start, where little of the lap is known
(common practice, no source; cool-down laps take 1.22-1.68 times the best lap, measured over eight practice sessions).
"""

from __future__ import annotations

from pitwall.model.plan import LapKind
from pitwall.pace.laptimes import TIMED_AT_MOST, CarPace
from pitwall.pace.planned import PlanWord

__all__ = [
    "LAST_PART_AT_MOST", "MEANT_COOL_AT_MOST", "SO_FAR_AT_MOST", "TIMED_AT_MOST", "at_the_pace", "judge_by",
    "judge_complete", "judge_so_far", "odds",
]  # fmt: skip

SO_FAR_AT_MOST = 1.10
TIMED_FROM, SLOW_UP_TO = 0.8, 0.1
LAST_PART_AT_MOST = 1.16
MEANT_COOL_AT_MOST = 1.06
"""A lap that the plan has as a cool-down lap counts as timed up to this: a lap at the pace with a mistake in it."""


def odds(red: bool, after_flag: bool, cool_after_flag: bool) -> tuple[float, float, float]:
    """How much likelier than usual the session makes a running lap timed, a cool-down lap or an in-lap.

    Args:
        red: everybody is to come in.
        after_flag: the lap began after the flag.
        cool_after_flag: a cool-down lap would end after the flag, and lead to nothing any more.
    """
    if red:
        return 0.1, 0.1, 5.0
    if after_flag:
        return 0.05, 0.05, 1.0
    return 1.0, 0.1 if cool_after_flag else 1.0, 1.0


def judge_complete(
    pace: CarPace, lap_time_s: float, end_t: float, disturbed: bool, compound: str = "", word: PlanWord = "none"
) -> LapKind:
    """Kind of a lap that ended at the line. ``disturbed``: a slow or red period touched it. ``compound``: what was on.
    ``word``: what the plan said of it.

    With nothing to compare to, the first complete lap is compared with the circuit's reference lap, generously.
    """
    limit_s = pace.limit_s(end_t, compound)
    if word == "cool":
        limit_s *= MEANT_COOL_AT_MOST / TIMED_AT_MOST
    return "timed" if not disturbed and lap_time_s <= limit_s else "cool"


def judge_so_far(pace: CarPace, at_loops: dict[str, float], t: float, expected: LapKind, disturbed: bool) -> LapKind:
    """Kind of a running lap, from the seconds since the line at each loop passed so far.

    Args:
        pace: the car's pace.
        at_loops: seconds from the line to each loop passed, by label.
        t: session second of the last of them.
        expected: what the plan expects of this lap; kept where the pace does not contradict it.
        disturbed: a slow or red period touched the lap.
    """
    if disturbed:
        return expected if expected == "in" else "cool"
    reference = pace.reference(t)
    passed = sorted((pace.share(loop), seconds) for loop, seconds in at_loops.items() if pace.loops.get(loop, 0) > 0)
    if reference is None or not passed:
        return expected
    share, seconds = passed[-1]
    before_share, before = passed[-2] if len(passed) > 1 else (0.0, 0.0)
    whole = seconds / (share * reference)
    last = (seconds - before) / max((share - before_share) * reference, 1e-6)
    slow = whole > SO_FAR_AT_MOST or last > LAST_PART_AT_MOST
    if expected == "in":
        return "in" if slow or whole > 1.03 else "timed"
    return "cool" if slow else "timed"


def at_the_pace(pace: CarPace, at_loops: dict[str, float], t: float) -> bool:
    """Guard: so far the lap goes as one that counts as timed though the plan has it as a cool-down lap. A cool-down lap
    may be quick, and a first sector that is a tenth slower is no lap at the pace.

    Args:
        pace: the car's pace; with nothing to compare to every lap may be one.
        at_loops: seconds from the line to each loop passed, by label.
        t: session second of the last of them.
    """
    reference = pace.reference(t)
    passed = [(pace.share(loop), seconds) for loop, seconds in at_loops.items() if pace.loops.get(loop, 0) > 0]
    if reference is None or not passed:
        return True
    share, seconds = max(passed)
    return seconds <= MEANT_COOL_AT_MOST * share * reference


def judge_by(kinds: tuple[float, float, float], expected: LapKind, in_doubt: LapKind) -> LapKind:
    """Kind of a running lap by its probabilities of timed, cool-down and in.

    Whether a slow lap leads to the pits, only the plan knows: without its word a slow lap is a cool-down lap. Where
    the probabilities leave it open, ``in_doubt`` stands.
    """
    if kinds[0] >= TIMED_FROM:
        return "timed"
    if kinds[0] > SLOW_UP_TO:
        return in_doubt
    return "in" if expected == "in" else "cool"
