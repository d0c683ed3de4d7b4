"""In which ways a call can be made, and where a sentence is cut."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.clauses import clauses, in_parts
from pitwall.radio.pending import Spans
from pitwall.radio.ways import HIT_S, Room, Words, ways

TEXT = "Before the line: bias two down, torque 2, engine 4."


def half_second_a_word(text: str) -> float:
    """Seconds to say a text."""
    return 0.5 * len(text.split())


SWITCHES = Words(TEXT, "Bias, torque, engine", half_second_a_word)
EDGES = st.lists(st.floats(0, 200), min_size=2, max_size=10, unique=True).map(sorted)


@pytest.mark.parametrize(("text", "pieces"), [
    (TEXT, ("Before the line: bias two down,", "torque 2,", "engine 4.")),
    ("Box, box. Pit entry this lap.", ("Box, box.", "Pit entry this lap.")),
    ("After turn four: hold gear five.", ("After turn four: hold gear five.",)),
    ("Comment please: entry, middle, exit.", ("Comment please: entry,", "middle, exit.")),
    ("Bias 55.5, then 1,200 revs.", ("Bias 55.5,", "then 1,200 revs.")),
    ("Sit, stay down, go.", ("Sit, stay down, go.",)),
    ("", ("",)),
])  # fmt: skip
def test_a_sentence_is_cut_between_clauses(text: str, pieces: tuple[str, ...]) -> None:
    """Behind commas and full stops, not behind the colon of a place, not within a figure; no word stands alone."""
    assert clauses(text) == pieces


@given(st.lists(st.sampled_from(["box", "box,", "this lap.", "turn 4:", "hold;", "5,"]), max_size=12).map(" ".join))
def test_cutting_loses_no_word(text: str) -> None:
    """The clauses, and any parts, put together again are the text."""
    assert " ".join(clauses(text)) == " ".join(text.split())
    for count in (2, 3):
        parts = in_parts(text, count, half_second_a_word)
        assert parts is None or (len(parts) == count and " ".join(parts) == " ".join(text.split()))


def test_parts_are_as_even_as_clauses_allow() -> None:
    """In two parts the longer one is as short as can be; more parts than clauses there are not."""
    assert in_parts(TEXT, 2, half_second_a_word) == ("Before the line: bias two down,", "torque 2, engine 4.")
    assert in_parts(TEXT, 3, half_second_a_word) == ("Before the line: bias two down,", "torque 2,", "engine 4.")
    assert in_parts(TEXT, 4, half_second_a_word) is None
    assert in_parts(TEXT, 1, half_second_a_word) is None


def hows(stretches: Spans | None, end_by_s: float = 100.0, **more: object) -> dict[str, Spans]:
    """The ways of the switch call (5 s in full, 1.5 s in short), each with the starts of its first part."""
    found = ways(SWITCHES, Room(stretches, 0.0, end_by_s), **more)  # type: ignore[arg-type]  # handed on
    return {way.how: way.parts[0].starts for way in found}


def test_where_a_stretch_holds_it_a_call_is_said_in_full() -> None:
    """It may begin so late that it ends inside the stretch, and before it must be over."""
    assert hows(((10, 18),))["full"] == ((10, 13),)
    assert hows(((10, 18),), end_by_s=16.5)["full"] == ((10, 11.5),)


def test_short_stretches_take_it_in_parts_or_in_short() -> None:
    """Straights of four seconds: two parts of three and two seconds, or the short form."""
    found = ways(SWITCHES, Room(((10, 14), (20, 24)), 0.0, 100.0))
    assert [way.how for way in found] == ["parts", "short"]
    assert [part.text for part in found[0].parts] == ["Before the line: bias two down,", "torque 2, engine 4."]
    assert [part.starts for part in found[0].parts] == [((10, 11), (20, 21)), ((10, 12), (20, 22))]


def test_a_call_of_one_thought_is_not_split() -> None:
    """Where the caller says so, only the short form is left."""
    assert set(hows(((10, 14), (20, 24)), may_split=False)) == {"short"}


def test_without_known_stretches_the_deadline_alone_counts() -> None:
    """On a circuit without geometry the call is said in full, or in short, from its first use to its deadline."""
    assert hows(None, end_by_s=20.0) == {"full": ((0, 15),), "short": ((0, 18.5),)}


def test_a_window_nobody_can_hit_is_left_out() -> None:
    """Of two straights the one that leaves half a second to begin in is not used, unless it is the only one."""
    assert hows(((10, 15.5), (20, 27)))["full"] == ((20, 22),)
    only = ways(Words("one two three four", "one", half_second_a_word), Room(((10, 12.5),), 0, 12.5), may_split=False)
    assert [way.how for way in only] == ["short"]
    tight = ways(Words("one two", "one two", half_second_a_word), Room(((10, 11.5),), 0, 50))
    assert tight[0].parts[0].starts == ((10, 10.5),)
    assert HIT_S > 0.5


def test_a_must_say_call_goes_outside_the_stretches_rather_than_nowhere() -> None:
    """With no stretch at all the put-back is said wherever it is in time; other calls have no way left."""
    assert hows((), end_by_s=20.0) == {}
    assert hows((), end_by_s=20.0, must=True) == {"outside": ((0, 15),), "outside_short": ((0, 18.5),)}


def test_a_call_that_may_move_has_the_next_lap_too() -> None:
    """The same place a lap later, in full and in short."""
    found = hows(((10, 14),), later=Room(((110, 120),), 90.0, 200.0))
    assert found["next_lap"] == ((110, 115),)
    assert found["next_lap_short"] == ((110, 118.5),)


def test_a_short_form_that_saves_nothing_is_no_way() -> None:
    """Where the short form is as long as the text there is nothing to shorten."""
    same = ways(Words("Push now", "Push now", half_second_a_word), Room(((0, 10),), 0, 10))
    assert [way.how for way in same] == ["full"]


def test_the_best_moment_is_asked_for_or_the_first() -> None:
    """Waiting costs from the best moment on; without one from the first start on."""
    assert ways(SWITCHES, Room(((10, 18),), 0.0, 100.0))[0].best_s == 10
    assert ways(SWITCHES, Room(((10, 18),), 0.0, 100.0, best_s=12.0))[0].best_s == 12


@given(edges=EDGES, from_s=st.floats(0, 150), end_by_s=st.floats(0, 250), must=st.booleans())
def test_every_start_keeps_to_the_room(edges: list[float], from_s: float, end_by_s: float, must: bool) -> None:
    """Begun at either end of any window a part lies in one stretch, unless outside is said, in time and not early."""
    stretches = tuple(zip(edges[::2], edges[1::2], strict=False))
    for way in ways(SWITCHES, Room(stretches, from_s, end_by_s), must=must):
        for part in way.parts:
            for start in (start for span in part.starts for start in span):
                end = start + part.spoken_s
                assert from_s <= start
                assert end <= end_by_s + 1e-6
                inside = any(begin <= start and end <= last + 1e-6 for begin, last in stretches)
                assert inside or way.how in ("outside", "outside_short")
