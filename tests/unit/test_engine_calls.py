"""The book of calls: from what rules want said to prompts, and what becomes of each call."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitwall.engine.call import PRIORITY, Call, CallSpec
from pitwall.engine.calls import CAME_IN, DEFER_S, REPEAT_S, YELLOW, CallBook
from pitwall.engine.offered_again import FEW_KEYS
from pitwall.model.outputs import Ask

HERE = ("main", 1, 2)
AFTER_S = 2.0


def spec(key: str = "hold", **changes: Any) -> CallSpec:
    """A procedure call that may be said from 100 to 110 s, on planned lap 1 of run main."""
    values: dict[str, Any] = {
        "key": key, "kind": "procedure", "text": "Hold gear five.", "short": "Hold", "say_from_s": 100.0,
        "say_by_s": 110.0, "spoken_s": 3.0, "lead_s": 20.0, "act_at_s": 116.0, "run": "main", "leg": 1,
    }  # fmt: skip
    return CallSpec(**(values | changes))


def moved(by: float, **changes: Any) -> CallSpec:
    """The same call with its window moved."""
    return spec(say_from_s=100 + by, say_by_s=110 + by, act_at_s=116 + by, **changes)


class Book(CallBook):
    """A book that remembers the prompts it would publish."""

    def __init__(self) -> None:
        super().__init__("41", AFTER_S)
        self.prompts: list[tuple[float, str, str]] = []

    def go(
        self, now: float, *specs: CallSpec, gone: str = "", yellow: bool = False,
        here: tuple[str | None, int, int] = HERE,
    ) -> Book:  # fmt: skip
        """What happens at ``now``: the rules speak, time passes, prompts go out."""
        self.reconcile(specs, now, gone, yellow, here)
        return self.pass_time(now)

    def pass_time(self, now: float) -> Book:
        """Time passes, prompts go out."""
        self.tick(now)
        for call in self.take_changed():
            prompt = call.prompt(now)
            self.prompts.append((now, prompt.id, prompt.state))
        return self

    @property
    def told(self) -> list[str]:
        """States as published, in order."""
        return [state for _, _, state in self.prompts]

    def only(self) -> Call:
        """The one call in the book."""
        (call,) = self.calls.values()
        return call


def test_a_window_that_went_by_is_told_once_and_not_with_every_fact() -> None:
    """Laid out anew the call may stay where it is, and each change that is told is a fact again: were a lapse told for
    that fact too, two plans of the same worth would take turns for ever at one moment."""
    book = Book()
    book.go(80, spec(until_s=130.0)).go(100, spec(until_s=130.0))
    assert (book.only().state, book.lapsed(110.0)) == ("due", False)
    assert [book.lapsed(now) for now in (110.2, 110.2, 110.21, 110.6)] == [True, False, False, False]
    assert [book.lapsed(now) for now in (110.8, 110.8)] == [True, False]
    assert not Book().go(80, spec()).go(100, spec()).lapsed(110.2)


# -- a life ----------------------------------------------------------------------------------------------------------


def test_a_call_from_planned_to_done() -> None:
    """Planned in silence, shown a lead before it may be said, due, said, and done when something shows it."""
    book = Book()
    book.go(50, spec())
    assert (book.only().state, book.prompts) == ("planned", [])
    book.go(80, spec()).go(100, spec())
    assert book.signal(book.only(), "said", 105, "said by desk", "c1")
    book.pass_time(105)
    assert book.signal(book.only(), "evidence", 140, "telemetry shows the position")
    book.pass_time(140)
    assert book.told == ["shown", "due", "said", "done"]
    call = book.only()
    assert (call.shown_t, call.due_t, call.ended_t, call.at_rest) == (80, 100, 140, True)


def test_nobody_presses_a_key() -> None:
    """Past its time and the time to speak it, a call without a word is unconfirmed; evidence settles it later."""
    book = Book().go(80, spec()).go(100, spec())
    book.go(110 + 3 + AFTER_S - 0.01, spec())
    assert book.only().state == "due"
    book.go(110 + 3 + AFTER_S, spec())
    assert (book.only().state, book.only().reason) == ("unconfirmed", "no word that it was said")
    assert book.signal(book.only(), "evidence", 150, "the car came in")
    assert book.only().state == "done"


def test_a_box_call_is_unconfirmed_at_once_and_says_so() -> None:
    """Past the last place it turns into its late text: a box call said then would be dangerous."""
    box = spec(kind="box", text="Box, box.", late_text="Too late.")
    book = Book().go(80, box).go(100, box)
    assert book.only().prompt(100).text == "Box, box."
    book.go(110 + AFTER_S, box)
    assert book.only().state == "unconfirmed"
    assert book.only().prompt(112).text == "Too late."


def test_a_last_box_call_is_not_too_late_while_the_driver_can_act() -> None:
    """Best said on a straight that ends early: the prompt stays a box call until the pit entry cannot be made."""
    box = spec(kind="box", text="Box, box.", late_text="Too late.", latest_s=122.0)
    book = Book().go(80, box).go(100, box).go(115, box)
    assert (book.only().state, book.only().prompt(115).text) == ("due", "Box, box.")
    book.go(122 + AFTER_S, box)
    assert (book.only().state, book.only().prompt(124).text) == ("unconfirmed", "Too late.")


def test_a_call_said_late_is_late_and_may_still_be_settled() -> None:
    """Late stays late when time settles it; only evidence makes it done."""
    book = Book().go(100, spec())
    book.signal(book.only(), "said_late", 118)
    book.signal(book.only(), "settle", 200)
    assert book.only().state == "late"
    book.signal(book.only(), "evidence", 201)
    assert book.only().state == "done"


def test_a_call_that_became_known_too_late_is_missed() -> None:
    """Made when its time was over already: missed, with the reason, and never shown as if it could be said."""
    book = Book().go(120, spec())
    assert (book.only().state, book.only().reason) == ("missed", "it became known too late to be said in time")
    assert book.told == ["missed"]


def test_late_news_is_said_as_long_as_it_can_be_acted_on() -> None:
    """Past where it is best said but before the last moment: due at once, until that moment."""
    book = Book().go(111, spec(latest_s=118.0))
    call = book.only()
    assert (call.state, call.spec.say_from_s, call.spec.say_by_s) == ("due", 111, 118)
    book.go(112, spec(latest_s=118.0))
    assert call.spec.say_by_s == 118, "the rules' own window does not undo it"
    book.go(118 + 3 + AFTER_S, spec(latest_s=118.0))
    assert call.state == "unconfirmed"


@pytest.mark.parametrize(("kind", "late_text", "made"), [
    ("pace", None, False), ("box", None, False), ("box", "Too late.", True), ("procedure", None, True),
])  # fmt: skip
def test_what_is_pointless_late_is_not_made(kind: str, late_text: str | None, made: bool) -> None:
    """A lap time that is old, a first box call with the last one still to come: no call, no miss."""
    assert bool(Book().go(120, spec(kind=kind, late_text=late_text)).calls) == made


# -- moving ------------------------------------------------------------------------------------------------------------


def test_a_shown_call_that_comes_later_goes_back_to_planned() -> None:
    """The car is slower than thought: the prompt is taken back, with the reason, and shown again in time."""
    book = Book().go(80, spec()).go(85, moved(30))
    assert (book.only().state, book.only().reason) == ("planned", "the car comes later than thought")
    book.go(110, moved(30)).go(130, moved(30))
    assert book.told == ["shown", "planned", "shown", "due"]


def test_a_small_move_is_not_told() -> None:
    """Half a second is noise; two seconds are a new revision of the same prompt."""
    book = Book().go(80, spec()).go(81, moved(0.5))
    assert book.told == ["shown"]
    book.go(82, moved(2))
    assert [name for _, name, _ in book.prompts] == ["41-hold.1", "41-hold.2"]
    assert book.only().spec.say_by_s == 112


def test_new_words_are_told_while_shown_and_kept_while_due() -> None:
    """The engineer may be saying a due call: its words stay until it is over."""
    other = spec(text="Hold gear four.", short="Hold four")
    book = Book().go(80, spec()).go(81, other)
    assert book.only().prompt(81).text == "Hold gear four."
    book.go(100, other).go(101, spec(text="Hold gear six."))
    assert book.only().prompt(101).text == "Hold gear four."
    book.go(102, spec(ask=Ask(action="box")))
    assert book.only().prompt(102).ask == Ask(action="none")


# -- gone ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("when", "state"), [(50, "withdrawn"), (80, "withdrawn"), (100, "withdrawn")])
def test_what_is_wanted_no_more_is_withdrawn(when: float, state: str) -> None:
    """In whatever open state, with the reason; one that was never shown goes in silence."""
    book = Book().go(when, spec()).go(when + 1)
    assert (book.only().state, book.only().reason) == (state, "no longer needed")
    assert ("withdrawn" in book.told) == (when >= 80)


def test_under_red_everything_wanted_no_more_says_why() -> None:
    """The reason is the flag, also for a call whose lap is over."""
    book = Book().go(80, spec()).go(85, gone="red flag", here=("main", 2, 3))
    assert (book.only().state, book.only().reason) == ("withdrawn", "red flag")


def test_a_yellow_is_named_for_procedures_only() -> None:
    """A procedure that vanishes under yellow says so; another kind is just not needed."""
    book = Book().go(80, spec(), spec("other", kind="run")).go(81, yellow=True)
    assert {call.spec.key: call.reason for call in book.calls.values()} == {"hold": YELLOW, "other": "no longer needed"}


@pytest.mark.parametrize(("seen", "state", "reason"), [
    (100, "unconfirmed", "its place on the lap is behind the car"),
    (85, "missed", "the car was there before the call could be made"),
    (50, "withdrawn", "the run went another way"),
    (79, "withdrawn", "the run went another way"),
])  # fmt: skip
def test_a_call_whose_lap_went_by(seen: float, state: str, reason: str) -> None:
    """Due: it may have been said. Shown before its time: missed. Far ahead: the run went another way."""
    book = Book().go(seen, spec()).go(seen + 0.5, here=("main", 2, 3))
    assert (book.only().state, book.only().reason) == (state, reason)


@pytest.mark.parametrize("leaves_for_next", [None, "more"])
def test_a_car_that_comes_in_early_is_no_miss(leaves_for_next: str | None) -> None:
    """Its in-lap was thought to be still to come: what was shown for it is taken back, for nobody was too slow. What
    was due may have been said. So it is whether or not a run is left for it."""
    behind = "its place on the lap is behind the car"
    for seen, state, reason in ((85, "withdrawn", CAME_IN), (100, "unconfirmed", behind)):
        book = Book().go(seen, spec()).go(seen + 0.5, here=(leaves_for_next, -1, 3))
        assert (book.only().state, book.only().reason) == (state, reason)


def test_a_call_taken_back_and_overtaken_was_missed() -> None:
    """Shown, re-timed to later, then its lap is suddenly over: it was not on the stack when its place came."""
    book = Book().go(80, spec())
    book.reconcile([moved(30)], 85, "", False, HERE)
    assert book.only().state == "planned"
    book.reconcile([], 131, "", False, ("main", 2, 3))
    assert book.only().state == "missed"


def test_the_lap_number_tells_calls_of_one_leg_apart() -> None:
    """A box call of the lap before, on the same planned lap: its number says that its lap is over."""
    book = Book().go(100, spec(kind="box", lap_number=2)).go(101, here=("main", 1, 3))
    assert book.only().state == "unconfirmed"
    book = Book().go(100, spec(kind="box", lap_number=2)).go(101, here=("main", 1, 2))
    assert book.only().state == "withdrawn"


# -- again -----------------------------------------------------------------------------------------------------------


def test_wanted_again_is_another_attempt() -> None:
    """Withdrawn under yellow and wanted again: a call of its own under the same key, with an id of its own."""
    book = Book().go(80, spec()).go(82, yellow=True).go(90, spec())
    assert list(book.calls) == ["41-hold", "41-hold~2"]
    assert book.latest["hold"].id == "41-hold~2"
    book.go(91).go(92, spec())
    assert list(book.calls)[-1] == "41-hold~3"


def test_what_the_desk_withdrew_does_not_come_back() -> None:
    """A withdrawal with a command behind it is meant."""
    book = Book().go(80, spec())
    book.signal(book.only(), "withdraw", 82, "deferred by desk", "c1")
    book.go(90, spec())
    assert list(book.calls) == ["41-hold"]


def test_a_call_nobody_said_is_offered_once_more_where_keys_are_pressed() -> None:
    """Unconfirmed, though this engineer presses keys, and still in time: once more, not for ever."""
    late = spec(latest_s=150.0)
    for keys, attempts in ((FEW_KEYS - 1, 1), (FEW_KEYS, 2)):
        book = Book().go(80, late)
        book.keys = keys
        for now in (100, 116, 117, 140, 144):
            book.go(now, late)
        assert len(book.calls) == attempts


def test_a_call_at_rest_is_not_made_anew() -> None:
    """Done, skipped or missed: the rules may go on wanting it, the engineer has dealt with it."""
    for signal in ("skip", "evidence", "passed"):
        book = Book().go(80, spec())
        book.signal(book.only(), signal, 82)
        book.go(90, spec())
        assert len(book.calls) == 1


def test_asked_for_once_more_a_call_is_due_from_now_on() -> None:
    """Repeat: due for a while from now, whatever the rules say of its old window; then unconfirmed or said again."""
    book = Book().go(100, spec())
    book.signal(book.only(), "said", 104)
    assert book.repeat(book.only(), 130, "repeat asked by desk", "c2")
    book.go(130, spec()).go(133, spec()).go(134, here=("main", 2, 3))
    call = book.only()
    assert (call.state, call.spec.say_from_s, call.spec.say_by_s) == ("due", 130, 130 + REPEAT_S)
    book.pass_time(130 + REPEAT_S + 3 + AFTER_S)
    assert call.state == "unconfirmed"
    book.go(200)
    assert call.state == "unconfirmed"
    assert not book.repeat(Book().go(100, spec()).only(), 101, "", "c3"), "an open call is still to be said"


def test_a_repeated_call_falls_to_a_red_flag_unless_it_is_about_it() -> None:
    """Under red nothing but session and safety calls is repeated."""
    for kind, state in (("run", "withdrawn"), ("session", "due")):
        book = Book().go(100, spec(kind=kind))
        book.signal(book.only(), "said", 104)
        book.repeat(book.only(), 108, "", "c2")
        book.go(109, gone="red flag")
        assert book.only().state == state


def test_a_repeated_box_call_ends_before_the_last_place() -> None:
    """However long a repeat lasts, a box call must be said before the car is past the entry."""
    book = Book().go(100, spec(kind="box"))
    book.signal(book.only(), "said", 104)
    book.repeat(book.only(), 108, "", "c2")
    assert book.only().spec.say_by_s == 116 - 3


def test_deferred_a_call_comes_later_and_stays_later() -> None:
    """Put off by what it can wait; the rules' own times move along with it."""
    book = Book().go(80, spec(latest_s=None))
    assert book.defer(book.only(), 85, "deferred by desk", "c1") == DEFER_S
    book.go(86, spec(latest_s=None))
    assert book.only().spec.say_by_s == 110 + DEFER_S
    tight = Book().go(80, spec(latest_s=111.0))
    assert tight.defer(tight.only(), 85, "deferred by desk", "c1") == 0.0
    assert tight.only().spec.say_by_s == 110


# -- away ------------------------------------------------------------------------------------------------------------


def test_what_fell_into_a_gap_is_late_or_missed_and_never_due_now() -> None:
    """The daemon was away: what should have been said then says so; what is still to come is left alone."""
    shown, planned, coming = spec("shown"), spec("planned", say_from_s=105.0), spec("coming", say_by_s=300.0)
    book = Book().go(80, shown, coming)
    book.reconcile([shown, planned, coming], 81, "", False, HERE)
    book.after_gap(90, 200)
    book.pass_time(200)
    states = {call.spec.key: call.state for call in book.calls.values()}
    assert states == {"shown": "late", "planned": "missed", "coming": "due"}
    assert "down from 90 s to 200 s" in (book.calls["41-shown"].reason or "")


# -- ids and order ---------------------------------------------------------------------------------------------------


def test_a_prompt_id_is_call_and_revision() -> None:
    """Every change that is told counts the revision up by one; the content under one id never changes."""
    book = Book().go(80, spec()).go(85, moved(3)).go(103, moved(3))
    book.signal(book.only(), "said", 104)
    book.pass_time(104)
    assert [name for _, name, _ in book.prompts] == [f"41-hold.{number}" for number in range(1, 5)]
    assert book.only().prompt(104).priority == PRIORITY["procedure"]


def test_changes_in_one_breath_are_one_prompt() -> None:
    """Shown and due at once: one prompt, in its last state."""
    book = Book().go(105, spec())
    assert book.told == ["due"]


def test_the_next_moment_is_when_something_happens_by_time() -> None:
    """Lead, window, end: each is asked for when it is the next, nothing once all is over."""
    book = Book()
    assert book.next_moment(0) is None
    book.go(50, spec())
    moments = [50.0]
    while (following := book.next_moment(moments[-1])) is not None:
        moments.append(following)
        book.pass_time(following)
    assert moments[1:] == [80, 100, 110 + 3 + AFTER_S]
    assert book.only().state == "unconfirmed"


def test_a_bare_said_means_the_call_that_matters() -> None:
    """Due before shown; then the more important; then the earlier; none when nothing is on the stack."""
    book = Book()
    assert book.due_first() is None
    book.go(100, spec("shown", say_from_s=105.0, kind="box"), spec("late", say_by_s=120.0), spec("early"),
            spec("pace", kind="pace"))  # fmt: skip
    order = []
    while (call := book.due_first()) is not None:
        order.append(call.spec.key)
        book.signal(call, "said", 101)
    assert order == ["early", "late", "pace", "shown"]
    assert book.find("41-early") is book.calls["41-early"]
    assert book.find("41-nobody") is None


def test_the_stack_is_in_order_of_time() -> None:
    """Outstanding calls, planned ones too, by when they must be said."""
    book = Book().go(100, spec("b", say_by_s=112.0), spec("a"), spec("c", say_from_s=200.0, say_by_s=210.0))
    assert [call.spec.key for call in book.outstanding()] == ["a", "b", "c"]


@pytest.mark.parametrize("changed", [
    {"spec": spec(text="Box now.")}, {"state": "due"}, {"revision": 3}, {"reason": "late"}, {"because": "key-1"},
    {"parts_said": 1},
])
def test_a_prompt_that_is_shown_again_follows_what_changed(changed: dict[str, Any]) -> None:
    """A prompt is kept from one showing to the next; it is never another than one that is made anew."""
    call = Call("41-box", "41", spec())
    call.prompt(10.0)
    for name, value in changed.items():
        setattr(call, name, value)
    assert call.prompt(11.0) == replace(call).prompt(11.0)


@pytest.mark.parametrize("ends", [True, False], ids=["ended", "open"])
def test_when_a_planned_call_was_shown_leaves_nothing_in_the_book(ends: bool) -> None:
    """The stack was shown at another moment, as after a restart: the call is the same once both showed it, or once it
    was withdrawn in silence; the prompt has the moment at which it is asked for."""
    ahead = spec(say_from_s=300.0, say_by_s=310.0, act_at_s=316.0)
    first, second = Book().go(80, ahead), Book().go(80, ahead)
    assert first.only().prompt(85).t == 85
    if ends:
        first.go(90), second.go(90)
    else:
        assert (second.only().prompt(86).t, first.only().prompt(87).t) == (86, 87)
    assert first.only().state == ("withdrawn" if ends else "planned")
    assert vars(first.only()) == vars(second.only())
