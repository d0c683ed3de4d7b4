"""What cannot be advised at all, and which runs cannot be done any more, each in a clear sentence."""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.model.advice import AdviceQuestion, RunChoice
from pitwall.model.units import clock_text

MOST_RUNS = 60
"""So many runs of one car at most can be searched: sets of runs are bits of one number."""


@dataclass(frozen=True)
class Standing:
    """What can be advised on.

    Attributes:
        fatal: Why nothing can be advised, None when something can.
        notes: Runs that cannot be done any more, a sentence each.
        doable: Choices that can be done within the session, by their places in the question.
        after_flag: Choices that need no time in it.
    """

    fatal: str | None
    notes: tuple[str, ...]
    doable: frozenset[int]
    after_flag: frozenset[int]

    @property
    def sentence(self) -> str | None:
        """All of it for the answer."""
        return " ".join(([self.fatal] if self.fatal else []) + list(self.notes)) or None


def standing(question: AdviceQuestion) -> Standing:
    """Look the question over before anything is drawn."""
    notes: dict[int, str] = {}
    choices = question.choices
    after = frozenset(i for i, one in enumerate(choices) if one.after_flag and not one.under_way)
    for i, choice in enumerate(choices):
        why = _undoable(question, choice)
        if why is not None:
            notes[i] = f"{_name(question, choice)} {why}."
    while _drawn_along(question, notes):
        pass
    doable = frozenset(i for i in range(len(choices)) if i not in notes) - after
    fatal = _fatal(question, doable, after - notes.keys())
    return Standing(fatal, tuple(notes[i] for i in sorted(notes)), doable, frozenset(after - notes.keys()))


def _fatal(question: AdviceQuestion, doable: frozenset[int], after: frozenset[int]) -> str | None:
    snapshot, choices = question.snapshot, question.choices
    if not choices:
        return "No run is left to be done: there is nothing to advise on."
    strangers = sorted({one.car for one in choices} - {car.car for car in snapshot.cars})
    if strangers:
        return f"Nothing is known of where car {strangers[0]} stands: its runs cannot be placed."
    keys = [(one.car, one.run) for one in choices]
    if len(set(keys)) < len(keys):
        twice = next(key for key in keys if keys.count(key) > 1)
        return f"Run {twice[1]} of car {twice[0]} is there twice: give each run a name of its own."
    if max(sum(one.car == car.car or car.car in one.also_on for one in choices) for car in snapshot.cars) > MOST_RUNS:
        return f"A car has more than {MOST_RUNS} runs left: that is more than can be searched."
    circle = _circle(question)
    if circle is not None:
        return f"These runs wait for each other in a circle: {', '.join(circle)}. Take one of their constraints away."
    if snapshot.status in ("finished", "closed") or (snapshot.remaining_s <= 0 and not snapshot.windows):
        return "The session is over: no run can be fitted in any more."
    if not doable:
        return "Only runs for after the flag are left: nothing to advise." if after else "No run can be done any more:"
    return None


def _undoable(question: AdviceQuestion, choice: RunChoice) -> str | None:
    snapshot = question.snapshot
    if choice.under_way:
        return None
    if not choice.possible:
        return "cannot be done now (dry only, and it is wet)"
    if not choice.activities and not choice.after_flag:
        return "has no laps and no items that take time"
    if choice.not_after_s is not None and max(snapshot.t, choice.ready_s or snapshot.t) > choice.not_after_s:
        return f"was to leave by {clock_text(choice.not_after_s)}: that has passed, or the crew is not ready by then"
    car = next((one for one in snapshot.cars if one.car == choice.car), None)
    if car is not None and snapshot.windows and car.windows.get(choice.run, 0) < 0:
        return "belongs to a window of the session that is over"
    whole = [one.kind for one in choice.activities if one.kind in ("out", "timed", "cool", "in")]
    fewest = len(whole) - max(choice.timed - max(choice.fewest, 1), 0)
    if choice.tyre_laps_left is not None and fewest > choice.tyre_laps_left:
        return f"needs {fewest} laps of its tyres, and they may do {choice.tyre_laps_left} more"
    return None


def _drawn_along(question: AdviceQuestion, notes: dict[int, str]) -> bool:
    """Runs that are worth nothing without one that cannot be done: note them; True when another was found."""
    choices, found = question.choices, False
    for lost in sorted(notes):
        gone = choices[lost]
        for i, choice in enumerate(choices):
            if i in notes or choice.car != gone.car or choice.under_way:
                continue
            if choice.same_as == gone.run:
                notes[i], found = f"{_name(question, choice)} repeats {gone.run}, which cannot be done.", True
            elif choice.group is not None and choice.group == gone.group:
                why = f"is worth nothing without {gone.run} (group {choice.group})"
                notes[i], found = f"{_name(question, choice)} {why}.", True
    return found


def _name(question: AdviceQuestion, choice: RunChoice) -> str:
    return f"Run {choice.run} of car {choice.car}" if len(question.snapshot.cars) > 1 else f"Run {choice.run}"


def _circle(question: AdviceQuestion) -> list[str] | None:
    """Runs that each must come before the next and the last before the first; None when there are none."""
    for car in question.snapshot.cars:
        own = {one.run: one for one in question.choices if one.car == car.car}
        after = {name: {later for later in one.before if later in own} for name, one in own.items()}
        for name, one in own.items():
            if one.same_as in after:
                after[one.same_as].add(name)
        open_ = {name: set(later) for name, later in after.items()}
        while True:
            free = sorted(name for name, later in open_.items() if not later & open_.keys())
            if not free:
                break
            for name in free:
                del open_[name]
        if open_:
            return _round(open_)
    return None


def _round(open_: dict[str, set[str]]) -> list[str]:
    path = [sorted(open_)[0]]
    while path.count(path[-1]) == 1:
        path.append(sorted(open_[path[-1]] & open_.keys())[0])
    return path[path.index(path[-1]) : -1]
