"""The state of one run of the plan and of its items: what was meant, what was driven, and how each item stands."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.engine.transitions import ITEM, RUN, allowed, step
from pitwall.model.outputs import ItemProgress, RunProgress
from pitwall.model.plan import Item, LapKind, Run
from pitwall.pace.planned import PlanWord


@dataclass
class ItemState:
    """One item on one planned lap. ``leg`` is the index of that lap in the run; it may move to a later lap. ``number``
    says which item of the run it is. ``may_be_on`` are the laps of an item that waits for something, ``waits`` says for
    what as long as none of them suits (``item_times.py``). ``behind``: it was done on a lap that did not count, and the
    planned lap is still to be driven, without it. ``void_t``: what was said of it until then was for such a lap, and it
    is driven again (``driven_again.py``). ``taken_out``: the lap that it stood on, in words, where the desk took it out
    of the run (``laps_taken.py``)."""

    key: str
    item: Item
    leg: int
    state: str = "planned"
    reason: str | None = None
    t: float | None = None
    attempt: int = 0
    number: int = 0
    may_be_on: tuple[int, ...] = ()
    waits: str | None = None
    behind: bool = False
    void_t: float | None = None
    taken_out: str | None = None
    told_t: float | None = None
    """When it was told last; ``t`` is when it came to its present state."""
    judged: bool = False
    """Its lap was set against the loops: ``hold_evidence.py``."""
    held: bool = False
    """Its words were given up while the change of its switch was still to be told: with that it is moved or not."""
    ahead: str | None = None
    """Why it counts as done once its lap is driven: the word for that came while the car stood in the garage."""
    against: str | None = None
    against_t: float = 0.0
    against_leg: int = 0
    """What they said against it, when that was found, and of which lap."""

    def signal(self, signal: str, t: float, reason: str | None = None) -> bool:
        """Take a signal through the ITEM table; False where it does not apply."""
        if not allowed(ITEM, self.state, signal):
            return False
        self.state = step("item", self.state, signal)
        self.reason, self.t, self.held = reason, t, False
        self.told_t = t if signal == "call" else self.told_t
        self.ahead = self.ahead if self.state == "called" else None
        return True

    def lap_over(self, t: float, reason: str | None) -> None:
        """Its lap is driven: what was told is probably done; done, where somebody's word for it came in the garage."""
        if self.state == "called" and self.ahead is not None:
            self.signal("confirm", t, self.ahead)
        else:
            self.signal("lap_over", t, reason)


@dataclass
class RunState:
    """One run as it stands. ``laps`` may have been changed by extend and shorten.

    ``numbers`` gives each item of ``run`` its number: it is part of the item's key, stays when the plan changes, and is
    never given again. ``not_resumed`` is why this is the last leaving of the run; the editions count how often the
    brief and the switch check must be told anew because the plan changed. ``left_as`` is the run that the car left the
    garage for, where it was taken for this one on track; ``timed_before`` of the timed laps are that run's.
    ``timed_earlier`` of them were done before the car left for it last. ``spoilt``: the timed lap that the car is on
    will be driven again; ``again``: it is one that is; ``lap_seen``: number of the lap for which both were judged.
    """

    run: Run
    laps: tuple[LapKind, ...]
    state: str = "planned"
    pointer: int = 0
    timed_done: int = 0
    timed_before: int = 0
    timed_earlier: int = 0
    stayed_out: int = 0
    leavings: int = 0
    resume_at: int = 1
    boxed_early: bool = False
    boxed_from: int | None = None
    boxed_past: bool = False
    """The car was called in past the pit entry of the lap that it is on: it is to come in on the next one."""
    start_t: float | None = None
    end_t: float | None = None
    reason: str | None = None
    items: list[ItemState] = field(default_factory=list)
    numbers: tuple[int, ...] = ()
    highest: int = 0
    not_resumed: str | None = None
    left_as: Run | None = None
    left_wet: bool | None = None
    """Whether the car on it was prepared for the wet, whatever plan was gone over to since."""
    flag_fell: bool = False
    """The last flag fell on it with laps still to be driven."""
    begun_as: str | None = None
    """The run that the car left for: it stayed out beyond that, and was taken to be on this one."""
    called_for_flag: bool = False
    """The car was called in because no timed lap could begin before the flag any more; that is done once."""
    flag_was_s: float = 0.0
    """When the flag was to fall as it was called in for that, session seconds; infinite: a person wants it in."""
    by_flag: bool = False
    """A flag ended it as the car came in last: nobody meant it to be over."""
    called_before_red: bool = False
    """The car had been called in when the last red flag fell."""
    spoilt: bool = False
    again: bool = False
    lap_seen: int = -1
    for_flag: bool = False
    """It stands for a block after the flag, for which alone the car leaves: it is no run of the plan."""
    brief_edition: int = 0
    check_edition: int = 0
    brief_laps: int | None = None
    """Timed laps that the brief of its next leaving speaks of."""
    brief_cut_s: float | None = None
    """Since when the last edition of the brief only puts that number right, session seconds."""
    off_s: float | None = None
    """Since when it is none any more, though it was briefed: session seconds."""
    brief_anew_s: float | None = None
    """Since when the whole brief is told once more at once, session seconds: it is one again after the driver was told
    that it is off, or its laps changed while somebody may have been reading them out."""

    def __post_init__(self) -> None:
        self.numbers = self.numbers or tuple(range(1, len(self.run.items) + 1))
        self.highest = max(self.numbers, default=0)

    @property
    def timed_wanted(self) -> int:
        """Timed laps that the run asks for now."""
        return self.laps.count("timed")

    @property
    def timed_own(self) -> int:
        """Timed laps done that count for this run and for no other."""
        return max(self.timed_done - self.timed_before, 0)

    @property
    def set_up_as(self) -> Run:
        """The run that the car on this one was prepared for in the garage."""
        return self.left_as if self.left_as is not None and self.state == "running" else self.run

    def enough(self, cut: bool) -> bool:
        """Guard: what was done still counts as this run.

        ``cut``: a flag ended it, so nobody meant it to be over: without ``shorten_to`` all its laps are wanted. Where
        the car came in by itself, half of them are taken for a run that was meant to be shorter.
        """
        fewest = self.run.shorten_to
        if fewest is None:
            fewest = self.timed_wanted if cut else (self.timed_wanted + 1) // 2
        return self.timed_done >= min(fewest, self.timed_wanted)

    @property
    def counts(self) -> bool:
        """False: the run is over, and too little was driven to count as this run. One rule for all who tell of it.

        A run that the desk made shorter than ``shorten_to`` is over with its last lap; it is no more worth for that.
        """
        if self.state != "done" or not self.laps:
            return True
        too_short = self.too_short and self.timed_done < (self.run.shorten_to or 0)
        return self.enough(cut=self.by_flag) and not too_short

    @property
    def too_short(self) -> bool:
        """Guard: even driven to its end it has fewer timed laps than the plan says that it counts with."""
        return self.run.shorten_to is not None and not self.out_in and self.timed_wanted < self.run.shorten_to

    @property
    def laps_left(self) -> int:
        """Timed laps of a run that counts which nobody drove, where its plan does not say that fewer do. Half of them
        count because the car came in by itself; whether that was enough is not for us to say."""
        if self.state != "done" or not self.counts or self.out_in or self.run.shorten_to is not None:
            return 0
        return max(self.timed_wanted - self.timed_own, 0)

    @property
    def expected_kind(self) -> LapKind:
        """Planned kind of the lap the pointer stands on."""
        if self.boxed_early and self.pointer == 0:
            return "in"
        return self.laps[min(self.pointer, len(self.laps) - 1)]

    @property
    def called_in(self) -> bool:
        """Guard: the car is to come in before the laps of the run are driven."""
        return self.boxed_early or self.boxed_from is not None

    @property
    def word(self) -> PlanWord:
        """What this run says of the lap that the car is on: see ``pace/planned.py``."""
        if self.called_in:
            return "called"
        kind = self.expected_kind
        if kind == "in":
            return "in" if self.stayed_out == 0 else "beyond"
        if kind != "timed":
            return "cool" if kind == "cool" else "none"
        return "last" if self.timed_wanted - self.timed_done <= 1 else "more"

    @property
    def left_out(self) -> range:
        """Planned laps that are not driven now, for the car was called in before them."""
        if self.boxed_early and self.pointer == 0:
            return range(1, len(self.laps))
        return range(self.boxed_from, self.pointer) if self.boxed_from is not None else range(0)

    @property
    def out_in(self) -> bool:
        """True for a run of one lap that leaves and comes straight back."""
        return self.laps == ("out", "in")

    def move(self, signal: str, t: float, reason: str | None = None) -> bool:
        """Take a signal through the RUN table; False where it does not apply."""
        if not allowed(RUN, self.state, signal):
            return False
        self.state = step("run", self.state, signal)
        if reason is not None:
            self.reason = reason
        return True

    def end_block(self, t: float) -> bool:
        """A block after the flag, chosen: told on the in-lap, it was done as far as anybody can tell. False for what is
        no block, and for one of which nothing was told."""
        begun = not self.laps and any(item.state not in ("planned", "dropped") for item in self.items)
        if begun:
            self.move("leave", t)
            self.move("complete", t, "after the flag")
        return begun

    def settle_items(self, t: float, reason: str) -> None:
        """The run is over: what was called was probably done, what was not has its reason."""
        for item in self.items:
            item.signal("lap_over", t, item.reason or reason)

    def lap_label(self, leg: int) -> str:
        """``out-lap``, ``timed lap 2`` and so on, for a planned lap of this run."""
        kind = self.laps[leg]
        if kind in ("timed", "cool"):
            number = self.laps[: leg + 1].count(kind)
            return f"{'timed' if kind == 'timed' else 'cool-down'} lap {number}"
        return {"out": "out-lap", "in": "in-lap", "installation": "installation lap"}[kind]

    def item_label(self, item: ItemState) -> str:
        """The lap that an item is for, as ``lap_label``; of a lap that the run has no more, as it was; or ``block``."""
        return item.taken_out or (self.lap_label(item.leg) if self.laps else "block")

    def item_words(self, item: ItemState) -> str:
        """What is to be done, and on which lap of this run: ``hold on in-lap of main``."""
        return f"{item.item.do}{f' on {self.item_label(item)}' if self.laps else ''} of {self.run.run}"


def item_states(run: Run, laps: tuple[LapKind, ...], numbers: tuple[int, ...] = ()) -> list[ItemState]:
    """One state for each lap on which an item of the run is to be done; without ``numbers`` they count from 1."""
    found: list[ItemState] = []
    for number, item in zip(numbers or range(1, len(run.items) + 1), run.items, strict=True):
        legs = legs_of(item, laps)
        if item.when is not None:
            # It is done once; on which of its laps shows as the session goes.
            for leg in legs[:1]:
                found.append(ItemState(f"{run.run}-{number}-{item.do}-{leg}", item, leg, number=number, may_be_on=legs))
            continue
        for leg in legs:
            found.append(ItemState(f"{run.run}-{number}-{item.do}-{leg}", item, leg, number=number))
    return found


def legs_of(item: Item, laps: tuple[LapKind, ...]) -> tuple[int, ...]:
    """Indices of the planned laps that the item's ``on`` names; without ``on``, the first lap (or the block itself)."""
    if not item.on:
        return (0,)
    legs: set[int] = set()
    for choice in item.on:
        of_kind = [index for index, kind in enumerate(laps) if kind == choice.kind]
        if choice.kind == "installation" and laps == ("out", "in"):
            of_kind = [0]
        legs.update(of_kind if not choice.numbers else [of_kind[n - 1] for n in choice.numbers if n <= len(of_kind)])
    return tuple(sorted(legs))


def run_progress(state: RunState, expected: tuple[float, float] | None) -> RunProgress:
    """The published form of a run's state."""
    items = tuple(
        ItemProgress(
            item=item.key,
            do=item.item.do,
            lap=state.item_label(item),
            want=item.item.want,
            state=item.state,
            reason=item.reason or item.waits,
            t=item.t,
        )
        for item in state.items
    )
    actual = (state.start_t, state.end_t) if state.start_t is not None else None
    return RunProgress(
        run=state.run.run,
        want=state.run.want,
        state=state.state,
        laps=state.laps,
        after_flag=not state.laps and state.run.after_flag is not None,
        timed_wanted=state.timed_wanted,
        timed_done=state.timed_own,
        expected_span_s=expected,
        actual_span_s=actual,
        items=items,
        reason=state.reason,
        counts=state.counts,
    )
