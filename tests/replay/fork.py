"""Many restarts of the real engine in one pass: a fork is restarted at its index and lives on beside the original.

A restart that had to be replayed from the beginning for each index would cost the square of the journal. A fork is a
deep copy of the engine at its index that is told ``Restarted`` and then given the same facts as the original. It is
followed until its state is the original's state again, attribute by attribute: from there on both must decide the same,
for the engine knows nothing but its state. ``replayed`` makes the same start the long way, to prove that a fork is one.
"""

from __future__ import annotations

import copy
import functools
import pickle
import types
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import numpy as np
from pydantic import BaseModel

from pitwall.engine.belief import Belief
from pitwall.engine.call import CallSpec
from pitwall.engine.history import Entry
from pitwall.engine.session import Session
from pitwall.journal.replay import decisions
from pitwall.model.events import Restarted, Stamped
from pitwall.model.outputs import Output
from pitwall.pace.kept import Kept
from pitwall.runtime.apply import apply
from pitwall.track.lapmap import LapMap

DECIDED = (
    "prompt",
    "alert",
    "held_back",
    "answered",
    "refused",
    "lap_judged",
    "plan_state",
    "forecast_state",
    "forecast_wanted",
    "advice_state",
    "advice_wanted",
    "ladder_state",
)
"""Outputs that are decisions. The others show a state at a moment, and a restart may move that moment."""
PACING = ("_armed", "_outputs", "_desk_t", "_field_t", "desk")
"""Attributes that only say when a state is shown next, or when the engine asked to be woken."""
ANSWERS = ("_read", "kept", "_bases")
"""Attributes that keep answers that were given, so that they are not worked out again. Which ones hang on what was
asked; that they are right is shown where they are kept."""
LEFT_OUT = (*PACING, *ANSWERS)
MADE_OF = ("id", "what", "now", "t", "place", "by", "lap_time_s", "compound", "guessed", "taken")
"""What tells two inputs of a car's history apart. The belief from before each of them is what the state was then:
comparing hundreds of those again and again would take most of the time."""
LOOK_EVERY = 5
LEARNED = -1
"""Where the values are kept that were met in what is learned: no object has this number for its id."""
NEVER_CHANGE = (Belief, CallSpec)
"""What an engine only puts aside or replaces whole. There are hundreds of them: a copy shares them, which halves it."""

_copiers = copy._deepcopy_dispatch  # type: ignore[attr-defined]  # the table that deepcopy looks types up in


def decided(outputs: Iterable[Output]) -> list[Output]:
    """What of these outputs is a decision."""
    return [output for output in outputs if output.type in DECIDED]


def copy_of(session: Session) -> Session:
    """A deep copy that shares nothing that can change: frozen models are shared, what functions close over is
    copied."""
    before = dict(_copiers)
    _copiers[types.FunctionType] = _copied_function
    _copiers.update(dict.fromkeys(NEVER_CHANGE, _as_it_is))
    try:
        return copy.deepcopy(session)
    finally:
        _copiers.clear()
        _copiers.update(before)


def _as_it_is(value: Any, _memo: dict[int, Any]) -> Any:
    return value


def _copied_function(function: types.FunctionType, memo: dict[int, Any]) -> types.FunctionType:
    # deepcopy takes functions as they are, but a leg's times are a function that closes over the car's track.
    if function.__closure__ is None:
        return function
    cells = tuple(types.CellType(copy.deepcopy(cell.cell_contents, memo)) for cell in function.__closure__)
    made = types.FunctionType(function.__code__, function.__globals__, function.__name__, function.__defaults__, cells)
    made.__kwdefaults__ = function.__kwdefaults__
    return made


def restarted(session: Session, at: Stamped, gap_s: float = 0.0) -> list[Output]:
    """Tell it that the daemon went away after this event and came back ``gap_s`` later; returns what it decided."""
    t = at.received_t + gap_s
    event = Restarted(id="restarted:0", t=t, gap_s=gap_s)
    return decided(apply(session, Stamped(seq=at.seq + 1, received_t=t, event=event)).outputs)


def replayed(events: Sequence[Stamped]) -> Session:
    """A fresh engine that was given these events."""
    session = Session()
    for _ in decisions(events, session):
        pass
    return session


@dataclass
class Fork:
    """An engine that was restarted before event ``index``; where its state is not the original's at the end."""

    index: int
    session: Session
    followed: int = 0
    unlike: str = ""


@dataclass(frozen=True)
class Difference:
    """The first event on which a restarted engine decided otherwise."""

    restarted_before: int
    seq: int
    expected: list[Output]
    got: list[Output]

    def __str__(self) -> str:
        lines = [f"restarted before event {self.restarted_before}, decided otherwise at event {self.seq}"]
        lines += [f"  expected {output!r}" for output in self.expected if output not in self.got]
        lines += [f"  got      {output!r}" for output in self.got if output not in self.expected]
        return "\n".join(lines)


def first_difference(
    events: Sequence[Stamped], at: Iterable[int], make: Callable[[], Session] = Session
) -> tuple[Difference | None, list[Fork]]:
    """Restart before each event number in ``at``, give every fork the rest, and compare decisions.

    Args:
        events: a journal without restarts.
        at: event numbers, from 1 on.
        make: makes a fresh engine.

    Returns:
        The first difference, or None; and the forks whose state never came back to the original's.
    """
    wanted, main = set(at), make()
    open_forks: list[Fork] = []
    for stamped in events:
        if stamped.seq in wanted:
            fork = Fork(stamped.seq, copy_of(main))
            said = restarted(fork.session, events[stamped.seq - 1])
            if said:
                return Difference(fork.index, stamped.seq, [], said), []
            open_forks.append(fork)
        expected = decided(apply(main, stamped).outputs)
        for fork in open_forks:
            got = decided(apply(fork.session, stamped.model_copy(update={"seq": stamped.seq + 1})).outputs)
            if got != expected:
                return Difference(fork.index, stamped.seq, expected, got), []
            fork.followed += 1
        looked = [fork for fork in open_forks if fork.followed % LOOK_EVERY == 1]
        if looked:
            state = state_of(main)
            back = [fork for fork in looked if state_of(fork.session) == state]
            open_forks = [fork for fork in open_forks if fork not in back]
    for fork in open_forks:
        fork.unlike = unlike(state_of(main), state_of(fork.session))
    return None, open_forks


def unlike(one: Any, other: Any, where: str = "") -> str:
    """Where two states first differ, and what stands there; empty where they are the same."""
    if one == other:
        return ""
    if isinstance(one, Learned) and isinstance(other, Learned):
        return unlike(one.parts(), other.parts(), f"{where}.{type(one.value).__name__}")
    if isinstance(one, list | tuple) and isinstance(other, list | tuple) and len(one) == len(other):
        found = ((a, b, number) for number, (a, b) in enumerate(zip(one, other, strict=True)) if a != b)
        a, b, number = next(found, (one, other, -1))
        name = one[0] if number == 1 and isinstance(one[0], str) else number
        return unlike(a, b, f"{where}.{name}") if number >= 0 else where
    return f"{where}: {one!r:.200} and {other!r:.200}"


def state_of(value: Any) -> Any:
    """Everything that an engine knows, as values that can be compared; pacing left out."""
    return _state(value, {})


def _state(value: Any, seen: dict[int, Any]) -> Any:
    if value is None or isinstance(value, str | int | float | BaseModel | CallSpec):
        return value
    # What is held in many places is gone through once; what is met within itself is a ring.
    if id(value) not in seen:
        seen[id(value)] = "a ring"
        seen[id(value)] = _parts(value, seen)
    return seen[id(value)]


def _parts(value: Any, seen: dict[int, Any]) -> Any:
    if isinstance(value, dict):
        return [(_state(key, seen), _state(one, seen)) for key, one in value.items()]
    if isinstance(value, set | frozenset):
        return sorted(value)
    if isinstance(value, types.FunctionType | types.BuiltinFunctionType):
        cells = value.__closure__ if isinstance(value, types.FunctionType) else None
        return (value.__qualname__, [_state(cell.cell_contents, seen) for cell in cells or ()])
    if isinstance(value, np.ndarray):
        return (value.shape, str(value.dtype), value.tobytes())  # bytes: two values that are not numbers are the same
    if isinstance(value, np.generic):
        return value.item()
    if type(value).__module__.startswith("pitwall.pace."):
        return Learned(value, seen.setdefault(LEARNED, {}))
    if isinstance(value, LapMap):
        return "the lap map"  # frozen, the same for all, and full of arrays
    if isinstance(value, Entry):
        return [getattr(value, name) for name in MADE_OF]
    if is_dataclass(value):
        kind: Any = type(value)
        return [kind, *(_state(getattr(value, name), seen) for name in _known(kind))]
    if hasattr(value, "__dict__"):
        return [type(value), *((name, _state(one, seen)) for name, one in vars(value).items() if name not in LEFT_OUT)]
    if hasattr(value, "__slots__"):
        return [type(value), *(_state(getattr(value, name), seen) for name in value.__slots__)]
    return [_state(one, seen) for one in value]


class Learned:
    """What was learned of laps: large, and asked for often, so its bytes are compared first.

    Bytes that differ prove nothing. They also tell which values are one object, and a copy shares its values with
    others than the original does: what both were handed out of a cache, say, which other tests may have filled. Only
    then is it gone through value by value: what many cars hold, as what the field taught, once for all of them
    (``met``).
    """

    def __init__(self, value: Any, met: dict[int, Any] | None = None) -> None:
        self.value, self.met, self.bytes = value, {} if met is None else met, pickle.dumps(value)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Learned) and (self.bytes == other.bytes or self.parts() == other.parts())

    __hash__ = None  # type: ignore[assignment]  # compared, never looked up

    def parts(self) -> Any:
        """It, value by value: frozen values and parts of the pace package, too."""
        return _plain(self.value, self.met)


def _plain(value: Any, seen: dict[int, Any]) -> Any:
    # As ``_state``, but what is learned is gone through here; each value that was met is held, for its id is its name.
    if value is None or isinstance(value, str | int | float):
        return "no number" if value != value else value  # the one value that is not itself
    if isinstance(value, np.generic):
        return _plain(value.item(), seen)
    if isinstance(value, np.ndarray):
        # Not a number has a sign, which may hang on where in memory the array happens to lie.
        return (value.shape, [_plain(one, seen) for one in value.ravel().tolist()])
    if id(value) not in seen:
        seen[id(value)] = (value, "a ring")
        seen[id(value)] = (value, _plain_parts(value, seen))
    return seen[id(value)][1]


def _plain_parts(value: Any, seen: dict[int, Any]) -> Any:
    if isinstance(value, Kept):
        return "what was worked out before"  # by what was asked of it, which may be known by where in memory it lies
    if isinstance(value, dict):
        return [(_plain(key, seen), _plain(one, seen)) for key, one in value.items()]
    if isinstance(value, set | frozenset):
        return sorted(value)
    if type(value).__module__.startswith("pitwall.pace.") and not isinstance(value, tuple):
        names = [one.name for one in fields(value)] if is_dataclass(value) else getattr(value, "__slots__", ())
        own = [(name, getattr(value, name)) for name in names if hasattr(value, name)]
        own += [one for one in getattr(value, "__dict__", {}).items() if one[0] not in names]
        return [type(value), *((name, _plain(one, seen)) for name, one in own if name not in ANSWERS)]
    if isinstance(value, BaseModel | LapMap):
        return value
    return [type(value), *(_plain(one, seen) for one in value)]


@functools.cache
def _known(kind: Any) -> tuple[str, ...]:
    return tuple(one.name for one in fields(kind) if one.name not in LEFT_OUT)
