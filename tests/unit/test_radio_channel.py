"""The channel plan told as small stories, and what holds for it whatever it is asked."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.radio.channel import EXACT_UP_TO, InTicks, _answer, plan_channel
from pitwall.radio.pending import Busy, ChannelPlan, Part, PendingCall, Way
from pitwall.radio.reasons import Placed
from pitwall.radio.search import Search
from tests.published.channel_instances import Instance, instance

SEEDS = st.integers(0, 5_000)


def way(how: Any, spoken_s: float, *starts: tuple[float, float], best_s: float | None = None) -> Way:
    """A way in one part."""
    return Way(how, (Part(f"{how} words", spoken_s, starts),), starts[0][0] if best_s is None else best_s)


def call(key: str, weight: int, *ways: Way, **more: Any) -> PendingCall:
    """A call that is over with a gap of one second."""
    return PendingCall(key, f"the {key} call", weight, ways, **{"gap_s": 1.0, **more})


def plan(*calls: PendingCall, busy: tuple[Busy, ...] = (), now_s: float = 0.0, **more: Any) -> ChannelPlan:
    """The plan of these calls."""
    return plan_channel(calls, busy, now_s=now_s, **more)


def test_a_call_alone_is_said_at_its_best_moment() -> None:
    """With the channel to itself a call waits for its best moment, may be begun until its last, and needs no reason."""
    alone = plan(call("hold", 60, way("full", 3, (10, 20), best_s=14)))
    one = alone.at["hold"]
    assert (one.start_s, one.end_s, one.window_to_s, one.last_s, one.reason) == (14, 17, 20, 20, None)
    assert alone.cost == (0, 0, 0, 0)
    assert alone.proven


def test_nothing_begins_before_now() -> None:
    """A window that opened a while ago is used from now on."""
    assert plan(call("hold", 60, way("full", 3, (10, 20))), now_s=12.34).at["hold"].start_s == 12.4


def test_no_calls_make_an_empty_plan() -> None:
    """Nothing pending: nothing planned, and that is the best there is."""
    assert plan() == ChannelPlan((), (), (0, 0, 0, 0), (0, 0, 0, 0), True, 0)  # type: ignore[arg-type]  # equal tuples


def test_the_weightier_of_two_goes_first_and_the_other_waits() -> None:
    """Two calls want one moment: the weight times the waiting decides, and the gap lies between them."""
    both = plan(call("pace", 10, way("full", 2, (10, 30))), call("switch", 70, way("full", 3, (10, 30))))
    assert [(one.key, one.start_s) for one in both.placed] == [("switch", 10), ("pace", 14)]
    assert both.cost == (0, 0, 0, 10 * 40)


def test_a_call_is_said_early_to_make_room() -> None:
    """A call that may be said before its best moment goes there when a weightier one needs that moment."""
    ask = call("ask", 20, way("full", 3, (5, 20), best_s=10))
    both = plan(ask, call("box", 90, way("full", 2, (10, 10)), must=True))
    assert [(one.key, one.start_s) for one in both.placed] == [("ask", 6), ("box", 10)]


def test_what_the_talk_of_others_leaves_must_be_long_enough_to_begin_in() -> None:
    """Half a second between two voices is hit by nobody: the call goes to the next window that is long enough."""
    short = Way("full", (Part("words", 2.0, ((10.0, 14.0), (20.0, 23.0))),), 10.0, least_s=1.0)
    for talks_to, start in ((12.9, 12.9), (13.5, 20.0)):
        made = plan(call("hold", 60, short), busy=(Busy(9.0, talks_to),), now_s=9.0)
        assert made.at["hold"].start_s == pytest.approx(start)
    kept = Way("full", (Part("words", 2.0, ((10.0, 10.3),)),), 10.0, least_s=1.0)
    assert plan(call("hold", 60, kept), busy=(Busy(20.0, 22.0),)).at["hold"].start_s == 10.0


def test_nobody_begins_to_the_tick() -> None:
    """With a second to hit its start in, the first of two may be begun so much later, and the other is not pushed."""
    for hit_s in (0.0, 1.0):
        first = call("first", 90, way("full", 2, (10, 30)), hit_s=hit_s)
        both = plan(first, call("other", 10, way("full", 2, (10, 15))))
        one, other = both.at["first"], both.at["other"]
        assert other.start_s == 10 or one.start_s + hit_s + 2 + 1 <= other.start_s
        tight = plan(first, call("other", 10, way("full", 2, (13, 13 + hit_s))))
        assert (tight.at["first"].start_s, tight.at["other"].start_s) == (10, 13 + hit_s)
        assert tight.at["first"].window_to_s == 10 + hit_s


@pytest.mark.parametrize("wrong", [-1.0, float("nan")])
def test_a_time_to_hit_a_start_is_no_less_than_none(wrong: float) -> None:
    """A call that cannot be meant is refused, with the figure."""
    with pytest.raises(ValueError, match="time to hit its start"):
        call("hold", 60, way("full", 2, (10, 30)), hit_s=wrong)


def test_a_must_say_call_beats_any_number_of_others() -> None:
    """One put-back with its only place is worth more than all the talk that would fit instead."""
    talk = [call(f"talk-{number}", 1000, way("full", 2, (8 + 3 * number, 8 + 3 * number))) for number in range(3)]
    found = plan(*talk, call("put-back", 1, way("full", 9, (8, 8)), must=True))
    assert [one.key for one in found.placed] == ["put-back"]
    assert found.cost == (0, 0, 30_000, 0)
    assert [one.reason for one in found.dropped] == ["No room for it: 'the put-back call' takes the channel."] * 3


def test_what_has_no_room_is_shortened() -> None:
    """Only the short form fits before the next call: it is taken, and the reason names that call."""
    found = plan(
        call("hold", 60, way("full", 6, (0, 4)), way("short", 3, (0, 4))),
        call("box", 90, way("full", 2, (4, 4)), must=True),
    )
    assert found.at["hold"].how == "short"
    assert found.at["hold"].texts == ("short words",)
    assert found.at["hold"].reason == "Shortened: 'the box call' takes the channel."


def test_what_cannot_be_said_now_is_moved_to_the_next_lap() -> None:
    """The driver talks through the window: the call comes a lap later, and the reason says so."""
    asked = call("ask", 20, way("full", 3, (10, 14)), way("next_lap", 3, (100, 110)))
    found = plan(asked, busy=(Busy(9, 18),)).at["ask"]
    assert (found.how, found.start_s) == ("next_lap", 100)
    assert found.reason == "Moved to the next lap: the driver is talking."


def test_a_long_message_is_said_in_parts() -> None:
    """Two straights of three seconds take a sentence of five in two parts; the second waits for its straight."""
    straights = ((10, 10.5), (17, 17.5))
    parts = Way("parts", (Part("Torque 2,", 2.5, straights), Part("engine 4.", 2.5, straights)), 10)
    found = plan(call("switch", 70, parts)).at["switch"]
    assert found.starts_s == (10, 17)
    assert found.texts == ("Torque 2,", "engine 4.")
    assert found.reason == "In parts: no stretch on which the driver can listen is long enough for it in time."


def test_the_second_part_does_not_come_much_later() -> None:
    """A second part a minute after the first would be a sentence of its own: rather the first part waits too."""
    first, second = ((10.0, 10.0), (60.0, 60.0)), ((70.0, 70.0),)
    found = plan(call("switch", 70, Way("parts", (Part("a,", 2, first), Part("b.", 2, second)), 10)))
    assert found.at["switch"].starts_s == (60, 70)
    alone = plan(call("switch", 70, Way("parts", (Part("a,", 2, first[:1]), Part("b.", 2, second)), 10)))
    assert alone.placed == ()


def test_nothing_is_said_between_the_parts_of_a_call() -> None:
    """Another call does not go into the pause of a message: the driver would take them for one."""
    parts = Way("parts", (Part("a,", 2, ((10, 10),)), Part("b.", 2, ((20, 20),))), 10)
    found = plan(call("switch", 70, parts), call("pace", 10, way("full", 2, (13, 16))))
    assert [one.key for one in found.placed] == ["switch"]


def test_the_driver_is_never_talked_over() -> None:
    """A call neither begins while the driver talks nor runs into what the driver is expected to say."""
    box = call("box", 90, way("full", 3, (10, 40)), must=True, pre_empts=True)
    found = plan(box, busy=(Busy(12, 20), Busy(22, 30)))
    assert found.at["box"].start_s == 30


def test_a_pre_empting_call_cuts_into_the_engineers_own_sentence() -> None:
    """A red flag does not wait for the end of what is being said; anything else does."""
    own = (Busy(0, 8, "engineer"),)
    flag = call("flag", 95, way("full", 3, (1, 9)), must=True, pre_empts=True)
    assert plan(flag, busy=own, now_s=1).at["flag"].start_s == 1
    usual = plan(dataclasses.replace(flag, pre_empts=False), busy=own, now_s=1)
    assert usual.at["flag"].start_s == 8


def test_a_pre_empting_call_comes_at_once_even_if_others_are_lost() -> None:
    """The flag could wait for the small talk in front of it. It does not."""
    found = plan(
        call("flag", 95, way("full", 3, (10, 18)), must=True, pre_empts=True),
        call("ask", 1000, way("full", 2, (9.5, 10.5))),
    )
    assert found.at["flag"].start_s == 10
    assert [one.key for one in found.dropped] == ["ask"]


def test_steps_keep_their_order() -> None:
    """The second step of an item comes after the first, although it is the weightier."""
    second = call("second", 90, way("full", 2, (0, 30)), after=("first",))
    found = plan(call("first", 10, way("full", 2, (0, 30))), second)
    assert [one.key for one in found.placed] == ["first", "second"]


def test_a_step_without_its_first_is_not_said() -> None:
    """Where the first step has no place, the second makes no sense, and the reason says so."""
    found = plan(call("first", 10), call("second", 90, way("full", 2, (0, 30)), needs=("first",)))
    assert found.placed == ()
    assert [one.reason for one in found.dropped] == [
        "No room for it: no stretch on which the driver can listen is long enough for it in time.",
        "No room for it: it makes no sense without 'the first call', which is not said.",
    ]


def test_a_light_first_step_is_said_for_the_sake_of_the_second() -> None:
    """Said alone the first step is not worth its lateness; with the second behind it, it is."""
    late_first = call("first", 0, way("outside", 2, (0, 0)))
    found = plan(late_first, call("second", 90, way("full", 2, (5, 9)), needs=("first",)))
    assert [one.key for one in found.placed] == ["first", "second"]


def test_what_was_said_already_is_waited_for_no_more() -> None:
    """A step whose first step is no longer pending is free to come."""
    second = call("second", 90, way("full", 2, (0, 30)), after=("first",), needs=("first",))
    assert plan(second).at["second"].start_s == 0


def test_a_passed_moment_is_told() -> None:
    """A call whose last start lies behind is dropped for that reason."""
    found = plan(call("hold", 60, way("full", 3, (10, 20))), now_s=21)
    assert found.dropped[0].reason == "No room for it: the last moment to begin it has passed."


def test_last_starts_leave_room_for_what_follows() -> None:
    """The first of two calls may be begun so late that the second can still be begun at its own last moment."""
    found = plan(call("a", 50, way("full", 3, (0, 20))), call("b", 40, way("full", 3, (0, 20))))
    assert [(one.key, one.start_s, one.last_s) for one in found.placed] == [("a", 0, 16), ("b", 4, 20)]


def test_a_window_ends_where_its_stretch_does() -> None:
    """The prompt's own window is the stretch in which the call is planned; the last start may lie in a later one."""
    one = plan(call("a", 50, way("full", 3, (0, 2), (9, 12)))).at["a"]
    assert (one.window_to_s, one.last_s) == (2, 12)


@pytest.mark.parametrize(("change", "problem"), [
    ({"weight": -1}, "the weight is -1"),
    ({"weight": 1001}, "the weight is 1001"),
    ({"pre_empts": True, "must": False}, "must be a must-say call"),
    ({"gap_s": -1.0}, "the gap after it is -1"),
    ({"ways": (Way("full", (), 0),)}, "has no part to say"),
    ({"ways": (way("full", 0, (0, 1)),)}, "must take time to say"),
    ({"ways": (way("full", 1, (0, float("nan"))),)}, "a time that is no number"),
    ({"ways": (way("full", 1, (0, 1)), way("full", 2, (0, 1)))}, "may be given once"),
])  # fmt: skip
def test_a_call_that_cannot_be_meant_is_refused(change: dict[str, Any], problem: str) -> None:
    """The message names the call and what is wrong with it."""
    with pytest.raises(ValueError, match=f"call 'odd'.*{problem}"):
        dataclasses.replace(call("odd", 50, way("full", 3, (0, 2))), **change)


def test_calls_that_wait_for_one_another_are_refused() -> None:
    """A circle of steps, and two calls of one key, are mistakes of the caller and are named."""
    with pytest.raises(ValueError, match="in a circle: a, b"):
        plan(call("a", 1, after=("b",)), call("b", 1, needs=("a",)), call("c", 1, after=("a",)))
    with pytest.raises(ValueError, match="have the key 'a'"):
        plan(call("a", 1), call("a", 2))


def solved(one: Instance, **more: Any) -> ChannelPlan:
    """The plan of an instance."""
    return plan_channel(one.calls, one.busy, now_s=one.now_s, **more)


@settings(deadline=None)
@given(seed=SEEDS, shuffle=SEEDS)
def test_the_order_in_which_calls_are_given_does_not_matter(seed: int, shuffle: int) -> None:
    """Any permutation of calls and busy stretches gives the same plan, reasons included."""
    one, rng = instance(seed), np.random.default_rng(shuffle)
    mixed = Instance(
        tuple(one.calls[index] for index in rng.permutation(len(one.calls))),
        tuple(one.busy[index] for index in rng.permutation(len(one.busy))), one.now_s,
    )  # fmt: skip
    assert solved(mixed) == solved(one)


@settings(deadline=None)
@given(seed=SEEDS)
def test_what_is_known_to_be_too_late_is_only_the_short_way_to_it(seed: int) -> None:
    """Asked one by one whether it can still be made, every call of a search has the same fate."""
    _answer.cache_clear()
    short = solved(instance(seed))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Search, "_too_late", lambda self, tick: 0)
        _answer.cache_clear()
        assert solved(instance(seed)) == short
    _answer.cache_clear()


@settings(deadline=None)
@given(seed=SEEDS, which=st.integers(0, 11))
def test_one_call_more_never_makes_it_cheaper(seed: int, which: int) -> None:
    """Taking a call away never makes the plan of the rest dearer."""
    one = instance(seed)
    gone = one.calls[which % len(one.calls)]
    fewer = dataclasses.replace(one, calls=tuple(call for call in one.calls if call is not gone))
    if any(gone.key in call.needs for call in fewer.calls):
        return  # without it they are free: that is another problem, not a smaller one
    assert solved(fewer).cost <= solved(one).cost


@settings(deadline=None)
@given(seed=SEEDS)
def test_a_free_channel_is_never_worse(seed: int) -> None:
    """Taking a busy stretch away never makes the plan dearer."""
    one = instance(seed)
    for index in range(len(one.busy)):
        freer = dataclasses.replace(one, busy=one.busy[:index] + one.busy[index + 1 :])
        assert solved(freer).cost <= solved(one).cost


@settings(deadline=None)
@given(seed=SEEDS)
def test_planning_again_changes_nothing(seed: int) -> None:
    """Asked again, also a little later but before the first call begins, the plan stands."""
    one = instance(seed)
    first = solved(one)
    assert solved(one) == first
    if first.placed and min(placed.start_s for placed in first.placed) > one.now_s:
        later = dataclasses.replace(one, now_s=min(placed.start_s for placed in first.placed))
        again = solved(later)
        assert again.cost == first.cost


@settings(deadline=None)
@given(seed=SEEDS)
def test_what_is_said_leaves_the_rest_as_planned(seed: int) -> None:
    """Once the first call is over, said as planned, the best plan of the rest costs what the plan said it would."""
    one = instance(seed)
    free = tuple(dataclasses.replace(call, after=(), needs=()) for call in one.calls)
    first = plan_channel(free, one.busy, now_s=one.now_s)
    if not first.placed:
        return
    said = first.placed[0]
    made = next(call for call in free if call.key == said.key)
    over = max(one.now_s, round(said.end_s + made.gap_s, 1))
    rest = plan_channel([call for call in free if call is not made], one.busy, now_s=over)
    mine = plan_channel([as_said(made, said)], now_s=one.now_s)
    assert tuple(rest.cost) == tuple(total - own for total, own in zip(first.cost, mine.cost, strict=True))


def as_said(made: PendingCall, said: Placed) -> PendingCall:
    """The call with nothing left to choose: its way and its starts are those of the plan."""
    one = next(way for way in made.ways if way.how == said.how)
    parts = tuple(
        dataclasses.replace(part, starts=((at, at),)) for part, at in zip(one.parts, said.starts_s, strict=True)
    )
    return dataclasses.replace(made, ways=(dataclasses.replace(one, parts=parts),))


def crowd(count: int) -> list[PendingCall]:
    """Many calls that all want the same half minute: far more than any lap holds."""
    rng = np.random.default_rng(count)
    lengths, weights = rng.integers(10, 50, count) / 10, rng.integers(1, 100, count)
    return [
        call(f"c{number:02}", int(weight), way("full", length, (0, 30)), way("short", length / 2, (0, 30)),
             must=number % 5 == 0)
        for number, (length, weight) in enumerate(zip(lengths.tolist(), weights.tolist(), strict=True))
    ]  # fmt: skip


def spread(count: int) -> list[PendingCall]:
    """More than twelve calls over two minutes, two or three of them at a time in one another's way."""
    rng = np.random.default_rng(count)
    begins, lengths = np.sort(rng.integers(0, 1000, count)) / 10, rng.integers(20, 60, count) / 10
    return [
        call(f"c{number:02}", 10 + number, way("full", length, (begin, begin + 8)), must=number % 5 == 0)
        for number, (begin, length) in enumerate(zip(begins.tolist(), lengths.tolist(), strict=True))
    ]


def test_beyond_twelve_calls_the_bound_is_told() -> None:
    """Broken off early the plan still keeps all rules, and the best cost lies between its bound and its cost."""
    best = plan(*spread(16), most_nodes=100_000)
    assert best.proven
    for most in (1, 4, 16):
        rough = plan(*spread(16), most_nodes=most)
        assert rough.nodes <= most
        assert not rough.proven
        assert rough.bound <= best.cost <= rough.cost
        assert next(figure for figure in rough.gap if figure) > 0


def test_a_search_that_was_broken_off_loses_no_must_say_call_in_a_crowd() -> None:
    """Twenty calls at once, the search stopped at a hundred states: every must-say call has its place."""
    rough = plan(*crowd(20), most_nodes=100)
    assert not rough.proven
    assert rough.cost.lost == 0


def test_up_to_twelve_calls_no_count_of_nodes_breaks_it_off() -> None:
    """Twelve calls are planned to the end whatever the cap says."""
    assert plan(*spread(EXACT_UP_TO), most_nodes=1).proven
    assert plan(*crowd(9), most_nodes=1).proven


def test_equal_input_counts_equal_nodes() -> None:
    """The work itself is the same each time: nothing depends on time or on the order of a set."""
    assert plan(*spread(16)).nodes == plan(*spread(16)[::-1]).nodes > 0


@settings(deadline=None)
@given(seed=SEEDS, sooner=st.integers(1, 20))
def test_what_is_kept_of_other_plans_changes_none(seed: int, sooner: int) -> None:
    """After plans of each call alone with the same ticks, and of all of them at other moments, the plan is the one
    that is made with nothing kept."""
    one = instance(seed)
    _answer.cache_clear()
    fresh = solved(one)
    known = InTicks()
    for call in one.calls:
        plan_channel([dataclasses.replace(call, needs=(), after=())], one.busy, now_s=one.now_s, known=known)
    for now_s in (one.now_s - sooner, one.now_s + 0.1 * sooner):
        solved(dataclasses.replace(one, now_s=now_s))
    assert solved(one, known=known) == fresh
    _answer.cache_clear()
    assert solved(one, known=known) == fresh


def test_a_call_at_a_higher_stake_is_worth_several_others() -> None:
    """Two put-backs fit where the news fits alone: together they weigh more, and the news is said all the same."""
    news = way("full", 5, (8, 8))
    backs = [call(f"back-{number}", 70, way("short", 2, (8, 11)), must=True) for number in range(2)]
    for stake, placed in ((1, ["back-0", "back-1"]), (10, ["news"])):
        found = plan(*backs, call("news", 95, news, must=True, pre_empts=True, stake=stake))
        assert [one.key for one in found.placed] == placed
    assert found.cost.lost == 140
    with pytest.raises(ValueError, match="stake"):
        call("news", 95, news, stake=0)
