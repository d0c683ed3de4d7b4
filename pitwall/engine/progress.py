"""The plan against what really happens, for one car.

A run is chosen as *next* while the car is in the garage, *running* from pit exit to pit entry, then *done* or *cut*.
Within a run a pointer stands on the planned lap that the car is on; a lap that ended moves it as follows:

* the kind that was planned: one on;
* a cool-down lap where a timed one was planned: stay (an unmarked cool-down lap was put in, nothing is lost);
* a timed lap where a cool-down lap was planned: the cool-down lap was skipped, and the timed one counts;
* any complete lap where the in-lap was planned: stay, the box moves one lap.

A car that stays out for two laps beyond its run, though nobody called it in or let it go on, is taken to be on the next
run of the plan that is long enough: runs are skipped and swapped in the garage without a word to any computer. A run
that the tyres seen on the car speak against is none of them. Each lap counts for one run: those that the first one had
still to come for that, those beyond it for the other. What the garage did is not made undone by a belief: the car keeps
its set, its fuel and its positions, unless one of its laps was long enough for a stop that the feed did not show.

A run that ends before the laps that still count is *cut*. It is resumed at the next leaving, unless the car stood for
about as long as the work before the next run takes: then that run has begun. With nothing left in the plan, the run
that ended last goes on, where it ended before all its timed laps were done.

Tyres are what everybody sees of a car that leaves. On another compound than its run wants, the car is taken to be on
the run that it came in from early, else on the first one still to come, that wants this compound; the run that it was
thought to be on stays in the plan.
"""

from __future__ import annotations

from pitwall.engine.laps_taken import TAKEN_OUT, fall_away
from pitwall.engine.run_state import ItemState, RunState, item_states, legs_of, run_progress
from pitwall.model.plan import LapKind, Plan

__all__ = ["ItemState", "PlanProgress", "RunState", "item_states", "legs_of", "run_progress"]

RESUME_SHARE = 0.7
SESSION_ENDED = "the session ended"
BROKEN_OFF = "broken off first"


class PlanProgress:
    """Mutable progress of one car's plan. ``revision`` counts what changed the plan, not what merely happened."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.runs = [RunState(run, run.laps, items=item_states(run, run.laps)) for run in plan.runs]
        self.revision = 0
        self.parked_t: float | None = None
        self.broken_by_red = False
        self.over = False
        self.left_t = 0.0
        self._choose(0.0)

    # -- which run ---------------------------------------------------------------------------------------------

    @property
    def current(self) -> RunState | None:
        """The run the car is on, None in the garage."""
        for state in self.runs:  # asked several times with every fact: a generator costs three times as much
            if state.state == "running":
                return state
        return None

    @property
    def next(self) -> RunState | None:
        """The run the car leaves for next, None while running or when nothing is left."""
        for state in self.runs:
            if state.state == "next":
                return state
        return None

    def find(self, name: str) -> RunState | None:
        """The state of the run of that name."""
        return next((state for state in self.runs if state.run.run == name), None)

    def rest(self) -> list[RunState]:
        """Runs still to be done or going on, in plan order; blocks without laps included."""
        return [state for state in self.runs if state.state in ("planned", "next", "running", "cut")]

    def choose(self, t: float) -> None:
        """Runs changed from outside: see which one is next."""
        self._choose(t)

    def _choose(self, t: float) -> None:
        if self.over or self.current is not None or self.next is not None:
            return
        for state in self.runs:
            if state.laps and state.state in ("planned", "cut"):
                state.move("choose", t)
                return

    def leave(self, t: float, told: str | None = None) -> RunState | None:
        """The car left the garage: decide which run this is, and start it. None: a leaving that the plan knows not.

        ``told``: the run that the car was told to leave for, where somebody says so.
        """
        chosen = self.next
        guess = chosen is not None and chosen.run.run != told
        if guess and chosen is not None and chosen.start_t is not None and self._stood_for_next(chosen, t):
            chosen.move("give_up", t, "not resumed: the car stood as long as the work before the next run takes")
            chosen.settle_items(t, "its run was not resumed")
            self._choose(t)
            chosen = self.next
        chosen = chosen if chosen is not None or self.over else self._ended_early()
        if chosen is None:
            return None
        self.left_t, self.parked_t = t, None
        self._begin(chosen, t)
        return chosen

    def _begin(self, state: RunState, t: float, reason: str | None = None) -> None:
        if state.leavings and state.state == "next" and state.reason and not state.reason.startswith(BROKEN_OFF):
            reason = reason or f"{BROKEN_OFF}: {state.reason}; then driven on"
        state.move("choose", t)
        state.move("resume" if state.state == "done" else "leave", t, reason)
        state.start_t = self.left_t if state.start_t is None else state.start_t
        state.leavings += 1
        state.timed_earlier = state.timed_done
        state.pointer, state.boxed_early, state.boxed_from, state.boxed_past = 0, False, None, False
        state.spoilt = state.again = state.flag_fell = state.by_flag = state.called_before_red = False
        state.called_for_flag, state.begun_as = False, None

    def _ended_early(self) -> RunState | None:
        """The run that ended last, where timed laps of it are still to be done."""
        ended = [state for state in self.runs if state.state == "done" and state.end_t is not None]
        last = max(ended, key=lambda state: state.end_t or 0.0, default=None)
        return last if last is not None and last.timed_done < last.timed_wanted else None

    def _stood_for_next(self, cut: RunState, t: float) -> bool:
        """Guard: the stop after a cut run was as long as the planned work; not asked after a red flag, nor where no run
        waits that could have begun."""
        waits = any(state.laps and state.state == "planned" for state in self.runs)
        if self.broken_by_red or self.parked_t is None or not waits:
            return False
        return t - self.parked_t >= RESUME_SHARE * cut.run.after_garage_s.likely_s

    def come_in(self, t: float, red: bool) -> RunState | None:
        """The car came in: the run is done or cut; choose the next one. Returns the run that ended.

        ``red``: under a red flag, or after the flag of a window; the last flag is known here. A car that was called in
        before the red flag fell comes in for that call.
        """
        state = self.current
        self.parked_t, self.broken_by_red = t, red
        if state is not None:
            red = red and not (state.called_in and state.called_before_red)
            state.end_t, state.by_flag = t, red or state.flag_fell
            state.resume_at = max(1, state.pointer if state.boxed_from is None else state.boxed_from)
            while state.laps[state.resume_at : state.resume_at + 1] == ("cool",):
                state.resume_at += 1  # nobody drives a cool-down lap straight after an out-lap
            if state.out_in or state.enough(cut=state.by_flag):
                whole = state.timed_done >= state.timed_wanted
                state.move("complete", t, None if whole else "ended early, still counts")
            else:
                flag = "red flag" if red else "chequered flag" if state.flag_fell else None
                why = flag or f"{state.timed_own} of {state.timed_wanted} timed laps done"
                state.move("break_off", t, why)
                last = state.flag_fell and not red  # a session in parts goes on with the next run of the plan
                if self.over or state.not_resumed or last:
                    state.move("give_up", t, state.not_resumed or (SESSION_ENDED if self.over else flag))
        self._choose(t)
        return state

    # -- along the run -----------------------------------------------------------------------------------------

    def lap_done(self, kind: LapKind) -> None:
        """A lap of the running run ended at the line: move the pointer (see the module's theory)."""
        state = self.current
        if state is None:
            return
        if kind == "timed":
            state.timed_done += 1
        planned, last = state.expected_kind, len(state.laps) - 1
        if planned == "out":
            state.pointer = last if state.out_in else min(state.resume_at, last)
            state.stayed_out += state.out_in  # its in-lap was this lap's second half: it is to be called in anew
        elif planned == "in":
            state.stayed_out += not state.boxed_past  # who is called in past the entry disobeys nobody
            state.boxed_past = False
            if state.boxed_early:
                state.boxed_early, state.boxed_from, state.pointer = False, 1, last
            elif state.boxed_from is not None and state.boxed_from < last and kind == state.laps[state.boxed_from]:
                state.boxed_from += 1
        elif planned == kind:
            state.pointer = min(state.pointer + 1, last)
        elif planned == "cool" and kind == "timed":
            follows = state.pointer + 1 < last and state.laps[state.pointer + 1] == "timed"
            state.pointer = min(state.pointer + (2 if follows else 1), last)

    def realign(self, t: float, compound: str = "", since_stop: int | None = None) -> RunState | None:
        """The car stays out beyond the run, and nobody called it in: it is taken to be on a later, longer run.

        Args:
            t: session second.
            compound: the tyres seen on the car; empty where the feed does not say.
            since_stop: timed laps since a stop that the feed did not show; None where the car did stay out.

        Returns:
            That run, or None where the plan holds none that would explain it.
        """
        state = self.current
        if state is None:
            return None
        driven = max(state.timed_done - state.timed_earlier, 0) if since_stop is None else since_stop
        found = self._longer(self.runs[self.runs.index(state) + 1 :], driven, compound)
        if found is None:
            return None
        found.left_as, found.left_wet = state.set_up_as if since_stop is None else None, state.left_wet
        state.move("complete", t, f"the car stayed out: taken for {found.run.run}")
        state.end_t = t
        state.settle_items(t, f"the car stayed out: taken for {found.run.run}")
        found.move("choose", t)
        found.move("leave", t, f"begun as {state.run.run}")
        found.begun_as = state.run.run
        beyond = max(state.timed_done - state.timed_wanted, 0) if since_stop is None else since_stop
        beyond = min(beyond, state.timed_own)
        state.timed_done -= beyond
        found.start_t, found.leavings, found.timed_done, found.timed_before = state.start_t, 1, driven, driven - beyond
        timed = [index for index, kind in enumerate(found.laps) if kind == "timed"]
        found.pointer = timed[driven - 1] + 1 if driven else 1
        for item in found.items:
            if item.leg < found.pointer:
                item.signal("fail", t, "its lap was driven as another run")
        self.revision += 1
        return found

    def _longer(self, later: list[RunState], driven: int, compound: str) -> RunState | None:
        """The first of these runs that is still to come, has more timed laps than are driven, and wants these tyres."""
        for run in later:
            fits = not compound or self._compound(run) in (None, compound.strip().lower())
            if run.state in ("planned", "next") and run.timed_wanted > driven and fits:
                return run
        return None

    def see_tyres(self, compound: str, t: float) -> RunState | None:
        """The feed says which tyres are on, on the out-lap: where they are not those of the run, find the run they fit.

        Returns that run, or None where nothing speaks against the present one, or no run of the plan explains it.
        """
        state = self.current
        if state is None or state.pointer != 0 or self._compound(state) in (None, compound.strip().lower()):
            return None
        early = self._ended_early()
        others = [early] if early is not None else []
        others += [run for run in self.runs if run.laps and run.state == "planned"]
        found = next((run for run in others if self._compound(run) == compound.strip().lower()), None)
        if found is None:
            return None
        for item in state.items:
            item.signal("call_lost", t)
        if state.timed_done:
            state.move("break_off", t)
        else:
            state.move("put_back", t, None)
            state.start_t = None
        found.left_wet = state.left_wet
        self._begin(found, t, f"on {compound}, not on the tyres of {state.run.run}")
        self.revision += 1
        return found

    def _compound(self, state: RunState) -> str | None:
        tyres = self.plan.tyre_sets.get(state.run.tyres or "")
        return None if tyres is None else tyres.compound.strip().lower()

    # -- changes from the desk ------------------------------------------------------------------------------------

    def box_now(self) -> RunState | None:
        """The lap that the car is on becomes the in-lap of its run."""
        state = self.current
        if state is None:
            return None
        if state.pointer == 0 and not state.out_in:
            state.boxed_early = True
        elif state.expected_kind != "in":
            state.boxed_from, state.pointer = state.pointer, len(state.laps) - 1
        self.revision += 1
        return state

    def go_on(self, state: RunState) -> None:
        """It is not called in after all: the lap that the car is on is again what it was before ``box_now``."""
        if state.boxed_from is not None:
            state.pointer = state.boxed_from
        state.boxed_early, state.boxed_from, state.boxed_past = False, None, False
        self.revision += 1

    def change_laps(self, state: RunState, by: int, t: float) -> bool:
        """Add timed laps before the in-lap, or take the last ones away; False when no timed lap would be left.

        Laps already begun are never taken away. To a car that was called in, a lap more says that it goes on.
        """
        if state.out_in or not state.laps:
            return False
        body = list(state.laps[:-1])
        if by > 0:
            body += ["timed"] * by
        for _ in range(-by):
            later = [index for index in range(max(state.pointer + 1, 1), len(body)) if body[index] == "timed"]
            if not later or body.count("timed") <= 1:
                return False
            del body[later[-1]]
        was_in, before = state.expected_kind == "in" and state.state == "running", state.laps
        state.laps = (*body, "in")
        if was_in and by > 0:
            if not state.boxed_early:
                state.pointer = len(state.laps) - 1 - by if state.boxed_from is None else state.boxed_from
            state.boxed_early, state.boxed_from, state.boxed_past = False, None, False
        self._refit_items(state, before, t)
        self.revision += 1
        return True

    def _refit_items(self, state: RunState, before: tuple[LapKind, ...], t: float) -> None:
        """Items follow their laps: those still planned are laid out anew over the changed run."""
        for item in state.items:
            moved_to = state.laps[item.leg] if item.leg < len(state.laps) else None
            if item.attempt and before[item.leg] != moved_to:
                item.signal("fail", t, TAKEN_OUT)
                item.leg = min(item.leg, len(state.laps) - 1)
        kept = {item.key: item for item in state.items if item.taken_out is None}
        fresh = item_states(state.run, state.laps, state.numbers)
        keys = {item.key for item in fresh}
        fall_away(state, before, fresh, t)
        ended = [item for item in state.items if item.key not in keys and item.state != "planned"]
        # The in-lap is the one lap that changes its number: what was dropped from it stays dropped.
        dropped = [item.number for item in ended
                   if item.state == "dropped" and before[item.leg] == "in" and item.taken_out is None]
        for item in ended:
            item.leg = min(item.leg, len(state.laps) - 1)
        state.items = ended + [
            kept.get(item.key, item)
            for item in fresh
            if state.laps[item.leg] != "in" or item.number not in dropped
        ]

    def rearrange(self, runs: list[RunState], t: float) -> None:
        """The plan changed: these are its runs, in this order; the next one is chosen anew."""
        self.runs = runs
        first = next((state for state in runs if state.laps and state.state in ("planned", "next", "cut")), None)
        chosen = self.next
        if chosen is not None and chosen is not first:
            chosen.move("unchoose", t)
        self._choose(t)
        self.revision += 1

    def drop_run(self, state: RunState, t: float, reason: str) -> bool:
        """Take a run out of the plan; its items with it. False when it is over already."""
        if not state.move("drop", t, reason):
            return False
        for item in state.items:
            item.signal("drop", t, reason)
        self.revision += 1
        self._choose(t)
        return True

    def skip_what_cannot_be(self, t: float) -> None:
        """The session closed: runs never begun are skipped, with the reason; one that is going on is the last."""
        self.over = True
        for state in self.runs:
            if state.state in ("planned", "next", "cut"):
                state.move("choose", t)
                if not state.end_block(t):
                    state.move("skip" if state.start_t is None else "give_up", t, SESSION_ENDED)
                for item in state.items:
                    if state.state == "skipped":
                        called = item.state == "called"
                        item.signal("fail", t, SESSION_ENDED if called else item.reason or SESSION_ENDED)
                    elif item.state == "called":
                        item.lap_over(t, item.reason or SESSION_ENDED)
                    else:
                        item.signal("fail", t, item.reason or SESSION_ENDED)
