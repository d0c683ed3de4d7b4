"""The host: the one writer. Facts queue, are stamped, stored, applied, and only then their outputs leave.

    submit -> [queue] -> stamp -> journal.append (one commit) -> engine -> wake-ups, forecasts, sinks

* ``seq`` has no gap and ``received_t`` never falls; both are given here and nowhere else.
* What the journal did not take is not applied: the batch stays first in line (``run`` tries again, ``health`` says so).
* An event on which the engine raises is counted and logged, see ``runtime/apply.py``; the session goes on.
* A sink or a forecaster that raises is counted and logged, and stops nobody.
* Timers and forecasts leave as outputs and return as journaled events, so a replay needs neither.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from functools import partial

import structlog

from pitwall.errors import JournalError
from pitwall.model.events import (
    AdviceReady,
    Event,
    ForecastReady,
    Restarted,
    Resumed,
    SessionPrepared,
    Stamped,
    TimeReached,
)
from pitwall.model.outputs import AdviceWanted, ForecastWanted, Output, WakeAt
from pitwall.runtime.apply import apply
from pitwall.runtime.feed_ages import FeedAges
from pitwall.runtime.following import ClockFollower
from pitwall.runtime.health import HostHealth
from pitwall.runtime.intake import Intake
from pitwall.runtime.ports import Adviser, Clock, Decider, Forecaster, Journal, Sink, Wakeup
from pitwall.runtime.recovery import EARLIEST_T, LATEST_T, ResumePoint, resume_point, shows_green
from pitwall.runtime.session_time import SessionTime
from pitwall.runtime.slow_work import MakeFact, SlowWork
from pitwall.runtime.steps import StepWatch, TimeStep

log = structlog.get_logger(__name__)

STORE_RETRY_S = 1.0
AFTER_FAILURE_S = 1.0
INWARD = (WakeAt, ForecastWanted, AdviceWanted)


class Host:
    """Single-writer loop around one engine. Every method belongs to one event loop (or to one virtual driver)."""

    def __init__(
        self,
        decider: Decider,
        journal: Journal,
        clock: Clock,
        forecaster: Forecaster,
        sinks: Sequence[Sink] = (),
        *,
        batch_limit: int = 256,
        queue_limit: int = 10_000,
        position_every_s: float = 0.15,
        follow_clock: bool = True,
        watch: StepWatch | None = None,
        adviser: Adviser | None = None,
    ) -> None:
        """Put a host together; call ``recover`` before anything is submitted.

        Args:
            decider: The engine, fresh.
            journal: The store; the host is its only writer.
            clock: The only source of now.
            forecaster: Answers forecasts elsewhere.
            sinks: Who takes the outputs. ``add_sink`` takes those that need the host first.
            batch_limit: Most events in one commit.
            queue_limit: Queue length from which on chatter is refused.
            position_every_s: Fewest session seconds between two positions of a car; 5 Hz with jitter passes.
            follow_clock: Re-anchor the clock on clock reports; False when their source reads this very clock.
            watch: Notices that the machine slept or that the wall clock was set.
            adviser: Answers questions for advice elsewhere; without one none is given.
        """
        self._decider, self._journal, self._clock = decider, journal, clock
        self._slow_work = SlowWork(forecaster, adviser)
        self._sinks = list(sinks)
        self._batch_limit = batch_limit
        self._intake = Intake(queue_limit, position_every_s)
        self._time = SessionTime(clock, ClockFollower() if follow_clock else None)
        self._seq, self._last_t, self._made = 0, float("-inf"), 0
        self._armed: dict[float, Wakeup] = {}
        self._watch = watch
        self.begun_wall_s: float | None = None
        self._looked_t: float | None = None
        self._on_step: list[Callable[[TimeStep], None]] = []
        self._feeds = FeedAges()
        self._lag_s = 0.0
        self._in_hand_t: float | None = None
        self._batches = self._poisoned = self._sink_failures = self._forecast_failures = self._store_failures = 0
        self._store = "ok"
        self._was_full = self._stopping = self._recovering = self._restate_due = False
        self._work, self._writing = asyncio.Event(), asyncio.Lock()

    # --- in ---------------------------------------------------------------------------------------------------

    def submit(self, event: Event) -> None:
        """Queue a fact. Known ids, too frequent positions, and chatter before a full queue are dropped and counted."""
        self._time.heard(event, first=self._seq == 0)
        now = self._clock.now()
        self._feeds.heard(event.type, now)
        if self._intake.full != self._was_full:
            self._was_full = self._intake.full
            log.warning("queue full: chatter is refused" if self._was_full else "queue has room again",
                        depth=len(self._intake), dropped=self._intake.counts.dropped)
        if self._intake.offer(event, now):
            self._work.set()

    def add_sink(self, sink: Sink) -> None:
        """Add someone who takes outputs from now on."""
        self._sinks.append(sink)

    def knows(self, event_id: str) -> bool:
        """True when a fact of this id was taken, in this life of the daemon or an earlier one."""
        return self._intake.knows(event_id)

    def on_step(self, told: Callable[[TimeStep], None]) -> None:
        """Tell ``told`` whenever the clocks of this machine took a step."""
        self._on_step.append(told)

    def look(self) -> None:
        """Look at the machine's clocks: after a gap the fact of it goes before all that waits. About once a second."""
        if self._watch is None:
            return
        step, now = self._watch.look(), self._clock.now()
        before, self._looked_t = now if self._looked_t is None else self._looked_t, now
        if not step:
            return
        log.warning("the clocks of this machine took a step", nobody_listened_s=round(step.gap_s, 1),
                    wall_clock_set_by_s=round(step.wall_s, 1))
        if step.gap_s:
            gap_s = min(step.gap_s * self._clock.rate, max(0.0, now - before))
            t = min(max(now, EARLIEST_T), LATEST_T)
            self._intake.put_first(Resumed(id=self._own_id("resumed"), t=t, gap_s=gap_s), now)
            self._work.set()
        for told in self._on_step:
            told(step)

    async def drain(self) -> None:
        """Take batches until the queue is empty, including what the outputs themselves brought in.

        Raises:
            JournalError: when a batch could not be stored; it is still first in line.
        """
        if not self._intake and not self._writing.locked():
            return  # as after most wake-ups of a world that had nothing to send
        async with self._writing:
            while self._intake:
                await self._take_batch()
                if self._intake:
                    await asyncio.sleep(0)  # under a flood the loop's other tasks still get their turn

    async def run(self) -> None:
        """The live loop: drain whatever comes, until ``stop``. A failing store is tried again every second."""
        while True:
            try:
                await self.drain()
            except JournalError as failure:
                log.error("journal refused a batch; nothing is decided until it takes it", error=str(failure),
                          depth=len(self._intake))
                if self._stopping:
                    return
                await asyncio.sleep(STORE_RETRY_S)
                continue
            if self._stopping:
                return
            await self._work.wait()
            self._work.clear()

    def stop(self) -> None:
        """Let ``run`` return once the queue is empty; wake-ups are forgotten (a restart arms them again)."""
        self._stopping = True
        for wakeup in self._armed.values():
            wakeup.cancel()
        self._armed.clear()
        self._work.set()

    # --- restart ----------------------------------------------------------------------------------------------

    async def recover(self) -> ResumePoint | None:
        """Go on from the journal: replay it with the sinks off, set the clock, say how long nobody listened, ask again.

        Returns:
            Where session time stands, or None when the journal is empty and this is a first start.

        Raises:
            JournalError: when the journal cannot be read or written.
        """
        events = await self._journal.read()
        if not events:
            return None
        self.begun_wall_s = events[0].wall_s
        for stamped in events:
            self._note(stamped)
            if isinstance(stamped.event, SessionPrepared):
                self._time.duration_s = stamped.event.setup.duration_s
            failure = apply(self._decider, stamped).failure
            if failure is not None:
                self._poisoned += 1
        point = resume_point(events, self._clock.wall_s(), self._clock.now, self._clock.rate)
        self._clock.anchor(point.t, point.rate)
        # Time that once ran beyond zero had been let go.
        self._time.wait_for_green(self._last_t <= 0 and not any(shows_green(stamped.event) for stamped in events))
        restarts = sum(isinstance(stamped.event, Restarted) for stamped in events)
        t = min(max(point.t, self._last_t), LATEST_T)
        self.submit(Restarted(id=f"restarted:{restarts}", t=t, gap_s=max(0.0, point.gap_s)))
        # The gap is decided before anything that fell into it: no overdue wake-up may come first, and what the engine
        # asks for meanwhile is among its open wishes, so it is not asked twice.
        self._recovering = True
        try:
            await self.drain()
        finally:
            self._recovering = False
        self._ask(self._open_wishes())
        self.restate()
        log.info("went on from the journal", events=len(events), session_s=round(point.t, 3),
                 gap_s=round(point.gap_s, 3))
        return point

    def restate(self) -> None:
        """Have every sink publish what stands, again: after a restart, and whenever a link comes back."""
        try:
            standing = self._decider.standing()
        except Exception:
            self._poisoned += 1
            log.exception("the engine could not say what stands")
            return
        for sink in self._sinks:
            try:
                sink.restate(standing)
            except Exception:
                self._sink_failures += 1
                log.exception("sink failed to restate", sink=type(sink).__name__)

    # --- the one writer ---------------------------------------------------------------------------------------

    async def _take_batch(self) -> None:
        self.look()
        taken = self._intake.take(self._batch_limit)
        batch = self._stamp(taken)
        self._in_hand_t = taken[0][0]
        try:
            await self._journal.append(batch)
        except JournalError as failure:
            self._intake.put_back(taken)
            self._store_failures += 1
            self._store = f"cannot write: {failure}"
            raise
        finally:
            self._in_hand_t = None
        self._store = "ok"
        self._batches += 1
        self._seq += len(batch)
        self._last_t = batch[-1].received_t
        outputs: list[Output] = []
        for stamped in batch:
            outputs += self._apply(stamped)
        self._lag_s = max(0.0, self._clock.now() - taken[0][0])
        self._release(outputs)
        if self._restate_due and not self._recovering:
            self._restate_due = False
            self.restate()

    def _stamp(self, taken: Sequence[tuple[float, Event]]) -> list[Stamped]:
        last_t, wall_s = self._last_t, self._clock.wall_s()
        batch = []
        for seq, (_, event) in enumerate(taken, self._seq):
            last_t = max(last_t, self._clock.now())
            batch.append(Stamped(seq=seq, received_t=last_t, wall_s=wall_s, event=event))
        return batch

    def _apply(self, stamped: Stamped) -> tuple[Output, ...]:
        step = apply(self._decider, stamped)
        if step.failure is None:
            return step.outputs
        self._poisoned += 1
        log.error("the engine failed on an event; it is skipped, here and in every replay", seq=stamped.seq,
                  fact=stamped.event.model_dump_json()[:2000], exc_info=step.failure)
        # What it would have said, and its wake-up, are lost with it: say what stands once more, and wake the engine
        # soon, but never in a tight circle, and not once for each of many failures: they would wake one another.
        self._restate_due = True
        soon = self._clock.now() + AFTER_FAILURE_S
        if all(armed > soon for armed in self._armed):
            self._ask([WakeAt(t=soon)])
        return step.outputs

    def _note(self, stamped: Stamped) -> None:
        self._intake.note(stamped.event)
        self._seq, self._last_t = stamped.seq + 1, stamped.received_t
        if isinstance(stamped.event, (TimeReached, ForecastReady, AdviceReady, Resumed)):
            self._made += 1

    # --- out --------------------------------------------------------------------------------------------------

    def _release(self, outputs: Sequence[Output]) -> None:
        outside = [output for output in outputs if type(output) not in INWARD]
        self._ask(outputs)
        self._intake.look_closely(outside)
        if not outside:
            return
        for sink in self._sinks:
            try:
                sink.take(outside)
            except Exception:
                self._sink_failures += 1
                log.exception("sink failed", sink=type(sink).__name__, outputs=len(outside))

    def _ask(self, outputs: Sequence[Output]) -> None:
        if self._stopping or self._recovering:
            return
        for output in outputs:
            if isinstance(output, WakeAt):
                self._arm(output.t)
            elif isinstance(output, (ForecastWanted, AdviceWanted)):
                try:
                    self._slow_work.ask(output, self._worked_out)
                except Exception:
                    self._forecast_failures += 1
                    log.exception("forecaster failed", question=output.type, revision=output.revision)

    def _open_wishes(self) -> tuple[Output, ...]:
        try:
            return self._decider.open_wishes()
        except Exception:
            self._poisoned += 1
            log.exception("the engine could not say what it waits for; waking it in a while")
            return (WakeAt(t=self._clock.now() + AFTER_FAILURE_S),)

    def _arm(self, t: float) -> None:
        if t not in self._armed:
            self._armed[t] = self._clock.call_at(t, partial(self._reached, t))

    def _reached(self, t: float) -> None:
        self._armed.pop(t, None)
        self.submit(TimeReached(id=self._own_id("time"), t=min(max(t, EARLIEST_T), LATEST_T)))

    def _worked_out(self, kind: str, made: MakeFact) -> None:
        self.submit(made(self._own_id(kind), min(self._clock.now(), LATEST_T)))

    def _own_id(self, kind: str) -> str:
        # Counted, and the count comes back from the journal: unique without chance, the same in every replay.
        self._made += 1
        return f"{kind}:{self._made}"

    # --- figures ----------------------------------------------------------------------------------------------

    def health(self) -> HostHealth:
        """The host in figures, for ``health`` on the wire and for logs."""
        now, counts = self._clock.now(), self._intake.counts
        waits_since = self._intake.oldest_t if self._in_hand_t is None else self._in_hand_t
        waited_s = 0.0 if waits_since is None else now - waits_since
        return HostHealth(
            t=now, queue_depth=len(self._intake), lag_s=max(self._lag_s, waited_s),
            feed_age_s=self._feeds.timing(now), feed_ages_s=self._feeds.ages(now),
            store=self._store, journaled=self._seq, batches=self._batches, accepted=counts.accepted,
            duplicates=counts.duplicates, thinned=counts.thinned, dropped=counts.dropped, over_limit=counts.over_limit,
            poisoned=self._poisoned, sink_failures=self._sink_failures, forecast_failures=self._forecast_failures,
            store_failures=self._store_failures, wakeups_armed=len(self._armed),
        )
