"""Whatever happens in whatever order, the plan keeps its sense."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine import items
from pitwall.engine.progress import PlanProgress, run_progress
from pitwall.engine.transitions import ITEM, RUN, states
from tests.unit.engine_stage import CHECKS, PROCEDURES, plan

ITEMS: list[dict[str, Any]] = [
    {"do": "hold", "on": ["out", "in"], "after": "bridge"}, {"do": "flap_lap", "on": {"timed": [1, 3]}},
    {"do": "comment", "on": ["cool", "in"]}, {"do": "radio_check", "on": "out"},
]  # fmt: skip
LAPS = st.lists(st.sampled_from(["timed", "cool"]), min_size=1, max_size=6).map(lambda body: ["out", *body, "in"])
RUNS = st.lists(LAPS | st.just(["out", "in"]), min_size=1, max_size=4)
SIGNALS = ("leave", "out", "timed", "cool", "in", "red", "box", "extend", "shorten", "drop", "realign", "call",
           "miss", "soft", "medium")  # fmt: skip


def made(laps: list[list[str]]) -> PlanProgress:
    """A plan of runs with these laps, every one with items on most of them."""
    tyres = {"M": {"compound": "medium"}, "S": {"compound": "soft"}}
    runs = (CHECKS | {"run": f"r{n}", "laps": one, "items": ITEMS, "tyres": "MS"[n % 2]} for n, one in enumerate(laps))
    return PlanProgress(plan(*runs, tyre_sets=tyres, starts_with={"tyres": "M"}))


def happen(progress: PlanProgress, word: str, t: float) -> int:
    """One thing happens; returns how many laps were seen to end."""
    current = progress.current
    if word in ("timed", "cool", "out"):
        return lap_ends(progress, word, t)
    if word == "leave" and current is None:
        progress.leave(t)
    elif word in ("in", "red"):
        ended = progress.come_in(t, red=word == "red")
        if ended is not None:
            items.run_over(ended, PROCEDURES, t)
    elif word in ("soft", "medium"):
        progress.see_tyres(word, t)
    elif word == "realign":
        progress.realign(t)
    elif word in ("call", "miss") and current is not None:
        item = current.items[int(t) % len(current.items)] if current.items else None
        if item is not None and word == "call":
            item.signal("call", t)
        elif item is not None:
            items._try_again(current, item, PROCEDURES, current.pointer, t, "missed")
    else:
        asked(progress, word, t)
    return 0


def lap_ends(progress: PlanProgress, kind: str, t: float) -> int:
    """A lap ends at the line; returns how many were seen: one, if the car is on a run."""
    current = progress.current
    if current is None:
        return 0
    leg = current.pointer
    progress.lap_done(kind)  # type: ignore[arg-type]  # one of three lap kinds
    if current.pointer != leg:
        items.lap_over(current, leg, PROCEDURES, t)
    return 1


def asked(progress: PlanProgress, word: str, t: float) -> None:
    """The desk changes the plan."""
    state = progress.current or progress.next
    if word == "box":
        progress.box_now()
    elif word in ("extend", "shorten") and state is not None:
        progress.change_laps(state, 1 if word == "extend" else -1, t)
    elif word == "drop" and progress.next is not None:
        progress.drop_run(progress.next, t, "dropped")


@settings(max_examples=200, deadline=None)
@given(laps=RUNS, script=st.lists(st.tuples(st.sampled_from(SIGNALS), st.floats(1, 400)), max_size=60))
def test_any_session_keeps_the_plan_sound(laps: list[list[str]], script: list[tuple[str, float]]) -> None:
    """The pointer stays in the run; no more timed laps are counted than seen; one run at most is next or running; items
    stay on laps of their run; and when the session and the run are over, every run has ended."""
    progress, t, seen = made(laps), 0.0, 0
    for word, gap in script:
        t += gap
        seen += happen(progress, word, t)
        assert sum(state.state in ("next", "running") for state in progress.runs) <= 1
        for state in progress.runs:
            assert state.state in states(RUN)
            assert 0 <= state.pointer < len(state.laps)
            assert 1 <= state.resume_at < len(state.laps)
            assert state.laps[0] == "out"
            assert state.laps[-1] == "in"
            assert len({item.key for item in state.items}) == len(state.items)
            for item in state.items:
                assert item.state in states(ITEM)
                assert 0 <= item.leg < len(state.laps)
            run_progress(state, None)
        assert max(state.timed_done for state in progress.runs) <= seen
    progress.skip_what_cannot_be(t)
    happen(progress, "in", t + 60)
    for state in progress.runs:
        assert state.state in ("done", "skipped", "dropped")
        assert all(item.state not in ("planned", "called") for item in state.items)


@settings(max_examples=100, deadline=None)
@given(body=st.lists(st.sampled_from(["timed", "cool"]), min_size=1, max_size=8), extra=st.lists(st.integers(0, 8)))
def test_extra_cool_laps_never_lose_a_timed_one(body: list[str], extra: list[int]) -> None:
    """The plan driven as written, with unmarked cool-down laps put in before any timed laps: every lap is counted, and
    the pointer ends on the in-lap."""
    progress = made([["out", *body, "in"]])
    progress.leave(0)
    progress.lap_done("out")
    for number, kind in enumerate(body):
        if kind == "timed":
            for _ in range(extra.count(number)):
                progress.lap_done("cool")
        progress.lap_done(kind)  # type: ignore[arg-type]  # timed or cool
    state = progress.runs[0]
    assert (state.pointer, state.expected_kind) == (len(body) + 1, "in")
    assert state.timed_done == state.timed_wanted
