"""The channel of one car under arbitrary calls, rooms and talk: nothing is raised, and a few promises always hold."""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pitwall.engine.going_down as going_down_module
from pitwall.engine.call import PRIORITY, CallSpec
from pitwall.engine.chances_to_say import MUST, least_sure, ways_of
from pitwall.engine.situation import Situation
from pitwall.engine.sure import Sure
from pitwall.radio.channel import sought
from pitwall.radio.pending import GAP_S, TICK_S, Spans
from tests.unit.channel_stage import FULL_S, SHORT, SHORT_S, Radio, call, on_track

TALKING = ("engineer", "driver", "nobody")
OUTSIDE = ("outside", "outside_short")
EDGES = st.lists(st.integers(900, 2000), max_size=12, unique=True).map(sorted)
MOST_CALLS = 6
SOONEST_S, ENDS_S = 100.0, 200.0


def _stretches(edges: list[int]) -> Spans:
    return tuple((begin / 10, end / 10) for begin, end in zip(edges[::2], edges[1::2], strict=False))


@st.composite
def calls(draw: st.DrawFn, kinds: tuple[str, ...] = tuple(PRIORITY)) -> tuple[CallSpec, ...]:
    """Up to six calls that share the stretches of a lap, or know none."""
    stretches = draw(st.none() | EDGES.map(_stretches))
    made = []
    for number in range(draw(st.integers(1, MOST_CALLS))):
        begin = draw(st.integers(90, 180))
        by = begin + draw(st.integers(0, 60))
        about: dict[str, Any] = {
            "kind": draw(st.sampled_from(kinds)), "item": draw(st.none() | st.sampled_from(["rig", "hold"])),
            "say_from_s": float(begin), "say_by_s": max(float(begin), by - FULL_S),
            "lead_s": float(draw(st.integers(0, 20))),
            "latest_s": draw(st.none() | st.just(float(by))), "waits": draw(st.booleans()),
        }  # fmt: skip
        made.append(call(f"c{number}", stretches, from_s=float(begin), by=float(by), **about))
    return tuple(made)


@dataclass(frozen=True)
class Turn:
    """What happens next: time passes, perhaps somebody begins to talk or stops, perhaps a key is pressed."""

    after_s: float
    talking: str | None
    key: str | None


TURNS = st.lists(
    st.builds(Turn, st.sampled_from([0.1, 0.5, 1.0, 3.0, 8.0]), st.none() | st.sampled_from(TALKING),
              st.none() | st.sampled_from(["said", "skip"])),
    max_size=25,
)  # fmt: skip


def play(specs: tuple[CallSpec, ...], turns: list[Turn], keys: int) -> Radio:
    """Let a session of turns go by."""
    radio, now = Radio(keys=keys), SOONEST_S
    radio.go(now, *specs)
    for turn in turns:
        now = round(now + turn.after_s, 1)
        if turn.talking is not None:
            radio.talk(now, turn.talking)  # type: ignore[arg-type]  # one of the three words
        due = radio.book.due_first()
        if turn.key is not None and due is not None:
            radio.book.keys += turn.key == "said"
            radio.book.signal(due, turn.key, now)
        radio.go(now)
    return radio


@settings(deadline=None)
@given(specs=calls(), turns=TURNS, keys=st.integers(0, 4))
def test_a_session_of_any_talk_raises_nothing_and_is_the_same_twice(
    specs: tuple[CallSpec, ...], turns: list[Turn], keys: int
) -> None:
    """Whatever is wanted, said and heard: no error, and equal inputs give equal prompts and equal windows."""
    one, other = play(specs, turns, keys), play(specs, turns, keys)
    assert one.told == other.told
    assert {key: kept.spec for key, kept in one.book.latest.items()} == {
        key: kept.spec for key, kept in other.book.latest.items()
    }
    assert {spec.key for spec in specs} >= set(one.book.latest)


@settings(deadline=None)
@given(specs=calls(), turns=TURNS, keys=st.integers(0, 4))
def test_what_ended_is_never_offered_again_by_the_plan(
    specs: tuple[CallSpec, ...], turns: list[Turn], keys: int
) -> None:
    """A call that was said or skipped takes part in no further plan."""
    radio = play(specs, turns, keys)
    over = [spec for spec in specs if spec.key in radio.book.latest
            and radio.book.latest[spec.key].state in ("said", "skipped", "done")]
    placed = radio.place(ENDS_S, *specs)
    assert all(placed[spec.key] is spec for spec in over)


class Doubtful(Situation):
    """The further ahead, the less sure the car is, up to ``whole_s`` after a minute."""

    whole_s = 0.0

    def strays(self, t: float) -> float:
        """Growing evenly."""
        return self.whole_s * min(max((t - SOONEST_S) / 60.0, 0.0), 1.0)


@settings(deadline=None)
@given(specs=calls(), strays_s=st.floats(0.0, 3.0), parts=st.booleans())
def test_what_has_no_window_by_the_last_standard_has_none_by_any(
    specs: tuple[CallSpec, ...], strays_s: float, parts: bool
) -> None:
    """That is why a call without a place is asked that first. And what is kept of a moment is what it would be anew."""
    seen = {one.name: getattr(on_track(), one.name) for one in fields(Situation)}
    at = Doubtful(**seen)
    at.whole_s = strays_s
    kept = Sure(at)
    for spec in specs:
        found = [ways_of(at, spec, standard, kept, parts) for standard in range(least_sure(spec) + 1)]
        assert found == [ways_of(at, spec, standard, Sure(at), parts) for standard in range(len(found))]
        assert found[-1] or not any(found)


@settings(deadline=None)
@given(specs=calls())
def test_every_window_lies_in_its_room(specs: tuple[CallSpec, ...]) -> None:
    """Whoever begins at any moment of a window, and speaks as slowly as one may, is over in its stretch and in time;
    whatever is outside says so."""
    for spec in Radio().place(SOONEST_S, *specs).values():
        room = spec.room
        assert room is not None
        if room.stretches is None or spec.against is not None or spec.way in OUTSIDE or spec.until_s is None:
            continue
        length = SHORT_S if spec.text == SHORT else FULL_S  # at the usual rate at the very least
        assert spec.say_from_s >= max(room.from_s, SOONEST_S) - 1e-6
        assert spec.say_by_s + length <= room.end_by_s + 1e-6
        assert any(begin - TICK_S <= spec.say_from_s and spec.say_by_s + length <= end + 1e-6
                   for begin, end in room.stretches)  # fmt: skip


@settings(deadline=None)
@given(specs=calls())
def test_every_call_comes_out_once_and_says_why_it_is_not_made_as_it_stands(specs: tuple[CallSpec, ...]) -> None:
    """No call is lost or doubled by the plan; one that is shortened, outside or held back carries a sentence."""
    placed = Radio().channel.place(Radio().at, specs, Radio().book)
    assert sorted(spec.key for spec in placed) == sorted(spec.key for spec in specs)
    for spec in placed:
        assert (spec.way == "full") == (spec.way_reason is None)
        assert spec.say_from_s <= spec.say_by_s + 1e-6 or spec.against is not None or spec.until_s is None


@settings(deadline=None)
@given(specs=calls(kinds=tuple(sorted(MUST))))
def test_no_must_say_call_opens_into_another(specs: tuple[CallSpec, ...]) -> None:
    """Each that has its place opens when the one before it, begun as planned, is over and read back."""
    placed = [spec for spec in Radio().place(SOONEST_S, *specs).values()
              if spec.until_s is not None and spec.way not in OUTSIDE]
    for one, other in pairwise(sorted(placed, key=lambda spec: spec.say_from_s)):
        assert one.say_from_s + one.spoken_s + GAP_S <= other.say_from_s + 2 * TICK_S


@settings(deadline=None)
@given(specs=calls(), order=st.randoms(use_true_random=False))
def test_the_order_in_which_the_rules_speak_does_not_matter(specs: tuple[CallSpec, ...], order: Any) -> None:
    """Rules may be asked in any order: each call has the same place."""
    mixed = list(specs)
    order.shuffle(mixed)
    assert Radio().place(SOONEST_S, *specs) == Radio().place(SOONEST_S, *mixed)


def test_a_plan_of_many_calls_costs_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve calls want one lap of short stretches: few plans are made, and each looks at few states, however often who
    found no place is content with less. Counted in states and plans, not in seconds."""
    counted: list[int] = []

    def counting(*args: Any, **more: Any) -> Any:
        found = sought(*args, **more)
        counted.append(0 if found.solved is None else found.solved.answer.nodes)
        return found

    monkeypatch.setattr(going_down_module, "sought", counting)
    stretches = tuple((begin, begin + 5.0) for begin in range(105, 195, 12))
    kinds = ("box", "switch", "switch", "procedure", "procedure", "run", "question", "pace", "care", "traffic", "brief",
             "answer")
    specs = tuple(call(f"c{number:02}", stretches, by=200, kind=kind) for number, kind in enumerate(kinds))
    placed = Radio().place(SOONEST_S, *specs)
    assert sum(spec.against is None for spec in placed.values()) >= 7
    assert len(counted) <= 5 * len(specs)
    assert max(counted) <= 8000, counted
