"""Two findings with an "and" between them, ways into and out of a corner, and what is said of every corner but one."""

from __future__ import annotations

from contextlib import suppress

import pytest

from pitwall.comments.joining import MOST_PARTS
from pitwall.comments.pairing import tried
from pitwall.comments.reading import Reading
from pitwall.comments.shorthand import ShorthandError, Typed, parse
from pitwall.comments.splitting import Piece, Slip, pieces
from pitwall.comments.taking import read
from tests.unit.comments_stage import said


def refused(typed: str) -> str:
    """The word that is wrong."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    return caught.value.word


@pytest.mark.parametrize(("typed", "read"), [
    ("t4 us on entry and os on exit", ["t4 entry us", "t4 exit os"]),
    ("us on entry and os on exit t4", ["t4 entry us", "t4 exit os"]),
    ("us entry, os exit t4", ["t4 entry us", "t4 exit os"]),
    ("rears hot and fronts graining", ["rear hot", "front graining"]),
    ("understeer and locking fronts into 1", ["t1 us", "t1 front lock"]),
    ("t4 us and front lock", ["t4 us", "t4 front lock"]),
    ("bottoming and bouncing in 9", ["t9 bottoming", "t9 bouncing"]),
    ("us and wheelspin slow corners", ["slow us", "slow spin"]),
    ("us t4 and brakes better", ["t4 us", "braking better"]),
    ("less us and more os", ["us better", "os worse"]),
    ("us and not os t4", ["t4 us", "t4 os gone"]),
    ("t4 entry us and mid os and exit wheelspin", ["t4 entry us", "t4 mid os", "t4 exit spin"]),
])  # fmt: skip
def test_two_findings_with_an_and_between_them(typed: str, read: list[str]) -> None:
    """They are two remarks of the same place."""
    assert said(typed) == read


@pytest.mark.parametrize(("typed", "read"), [
    ("brakes long and hot", ["long pedal", "braking hot"]), ("brakes long and soft", ["long pedal"]),
    ("rears hot and graining", ["rear hot", "rear graining"]),
    ("rear good and front good", ["rear neutral", "front neutral"]),
    ("fl hot and vibrating", ["front left hot", "front left vibration"]),
])  # fmt: skip
def test_a_word_of_every_day_behind_and_is_of_the_same_thing(typed: str, read: list[str]) -> None:
    """Alone it would be of another: what is soft is the ride, what is hot a tyre."""
    assert said(typed) == read


@pytest.mark.parametrize(("typed", "word"), [
    ("no us and os t4", "os"), ("more us and os t4", "os"), ("us and os worse", "os"), ("t4 us and os 3", "os"),
    ("maybe us and lock t4", "lock"), ("t4 us and os", "os"), ("us and snap in t4", "snap"), ("us and hot", "hot"),
    ("steering heavy and cold", "cold"),
])  # fmt: skip
def test_what_may_be_said_of_both_is_asked_about(typed: str, word: str) -> None:
    """So is one thing and its opposite at one place."""
    assert refused(typed) == word


@pytest.mark.parametrize(("typed", "read"), [
    ("massive oversteer out of 6", ["t6 exit os 5"]), ("us into 4", ["t4 entry us"]), ("loose off t7", ["t7 exit os"]),
    ("os out of t6 and t7", ["t6 exit os", "t7 exit os"]), ("os out of slow corners", ["exit slow os"]),
    ("nervous out of t6", ["t6 exit balance unstable"]), ("no rear grip out of 6", ["t6 exit rear no grip"]),
    ("us into t4, os out of it", ["t4 entry us", "t4 exit os"]), ("us mid out of t6", ["t6 mid us"]),
    ("wheelspin out of t6", ["t6 spin"]), ("lock into 1", ["t1 lock"]),
    ("us in, os out t7", ["t7 entry us", "t7 exit os"]),
    ("tight in, loose off t7", ["t7 entry us", "t7 exit os"]),
])  # fmt: skip
def test_the_way_into_a_corner_is_its_entry_and_out_of_it_its_exit(typed: str, read: list[str]) -> None:
    """Of the balance; a wheel locks on the way in and spins on the way out, whether that is said or not."""
    assert said(typed) == read


def test_between_two_turns_is_neither() -> None:
    """Out of one and into the next: it is asked in which of them, or read as of the straight between them."""
    assert refused("wheelspin out of t6 into t7") == "t7"
    assert said("wheelspin out of t6 and into t7") == ["t6 spin", "t7 spin"]
    assert said("bottoming on the straight out of t6 into t7") == ["bottoming"]


@pytest.mark.parametrize(("typed", "read"), [
    ("us everywhere but turn 7", ["us", "t7 us gone"]),
    ("us 3 everywhere but t7 and t9", ["us 3", "t7 us gone", "t9 us gone"]),
    ("us everywhere except 4 and 7", ["us", "t4 us gone", "t7 us gone"]),
    ("us everywhere apart from t7, t9", ["us", "t7 us gone", "t9 us gone"]),
    ("us mid everywhere except t4", ["mid us", "t4 mid us gone"]),
    ("us in the fast corners except t7", ["fast us", "t7 us gone"]),
    ("us everywhere but better t7", ["us", "t7 us better"]),
])  # fmt: skip
def test_what_is_everywhere_but_in_one_turn_is_not_in_that_one(typed: str, read: list[str]) -> None:
    """Whatever else is there; what is good everywhere else is something there, and nobody knows what."""
    assert said(typed) == read
    assert refused("good everywhere but t4") == "t4"


@pytest.mark.parametrize(("typed", "read"), [
    ("brakes long, hot", ["long pedal", "braking hot"]), ("brakes: long, hot t1", ["long pedal", "t1 braking hot"]),
    ("engine flat, hot", ["down on power", "engine hot"]), ("brakes ok, cold", ["braking good", "braking cold"]),
    ("brakes hot, rears hot", ["braking hot", "rear hot"]), ("brakes long, fl hot", ["long pedal", "front left hot"]),
    ("t4 us, hot", ["t4 us", "hot"]),
])  # fmt: skip
def test_a_word_of_every_day_behind_a_comma_is_of_the_brakes_or_the_engine_before_it(
    typed: str, read: list[str]
) -> None:
    """Unless it says itself that it is of tyres."""
    assert said(typed) == read


def test_how_bad_traction_is_is_said_by_a_number_alone() -> None:
    """There is but one way in which it is bad; grip may be rated, and brakes have many faults."""
    assert said("t6 exit traction 3") == ["t6 exit spin 3"]
    assert said("traction: t6 3, t10 2") == ["t6 spin 3", "t10 spin 2"]
    assert said("t4 us 3, traction bad") == ["t4 us 3", "t4 spin"]
    assert said("t4 entry us, wheelspin") == ["t4 entry us", "t4 spin"]
    assert refused("rear grip 3") == "grip"
    assert refused("brakes 3") == "brakes"


def test_where_it_is_worst_it_is() -> None:
    """The word is kept, for how bad it is there is not said by it."""
    assert parse("us everywhere 2, worst in t4") == Typed(parse("us everywhere 2; t4 us").remarks, "worst in t4")


def test_what_happened_is_what_it_does() -> None:
    """A driver tells of a lap in the past tense."""
    for was, does in (("washed out t7", "us t7"), ("rear came around t7", "rear os t7"), ("bounced t9", "bouncing t9"),
                      ("pedal went long", "pedal long"), ("tyres went off", "tyres worn"),
                      ("lit up the rears t6", "rears spin t6")):
        assert said(was) == said(does)


def test_an_arrow_between_words_needs_no_spaces() -> None:
    """Between numbers it is how bad it was and is, or a range of turns."""
    assert said("t4 entry us->mid os") == ["t4 entry us", "t4 mid os"]
    assert said("us 3->2") == ["us 2"]
    assert said("t4->6 us") == ["t4 us", "t5 us", "t6 us"]


def test_a_flat_spot_of_the_engine_is_none_of_a_tyre() -> None:
    """Of which it is is asked where revs are told."""
    assert said("engine flat spot at 5000") == ["hesitation"]
    assert refused("flat spot at 5000") == "flat spot"
    assert said("flat spot t1") == ["t1 flat spot"]


@pytest.mark.parametrize(("typed", "read"), [
    ("understeer, turn 4, mid, 3", ["t4 mid us 3"]), ("t4 us 3, mid", ["t4 mid us 3"]),
    ("t4 us 3, mid 4", ["t4 us 3", "t4 mid us 4"]),
    ("turn 4 - understeer - severity 3", ["t4 us 3"]), ("t4 - entry - us - 3 - worse", ["t4 entry us 3 worse"]),
    ("1. t4 us 3\n2) t6 os 2", ["t4 us 3", "t6 os 2"]), ("us t4 (entry+mid)", ["t4 entry us", "t4 mid us"]),
    ("ls us 3 / hs os 2", ["slow us 3", "fast os 2"]), ("t6 kerb exit harsh 3", ["t6 exit harsh 3"]),
    ("t3 us from entry all the way to the exit", ["t3 entry us", "t3 mid us", "t3 exit us"]),
    ("os t6 on throttle, not on entry", ["t6 exit os", "t6 entry os gone"]),
])  # fmt: skip
def test_one_remark_in_parts(typed: str, read: list[str]) -> None:
    """Commas, dashes, strokes and numbers of lines between what is said of one thing."""
    assert said(typed) == read


def test_dashes_in_a_line_that_says_two_things_are_asked_about() -> None:
    """Which of them goes with which is not sure."""
    assert refused("t12 entry - rear nervous, apex - us") == "-"
    assert refused("t12 - entry - us - exit - os") == "-"


def test_turns_and_laps_that_are_spelt_out() -> None:
    """First in a comment, in a reason, and behind "lap"."""
    assert said("eleven and twelve are fine") == ["t11 neutral", "t12 neutral"]
    assert said("snaps when he lifts in turn six") == ["t6 snap"]
    assert said("i lock up when i trail the brake into ten") == ["t10 lock"]
    assert said("rears gone by lap eight") == ["rear worn"]
    assert said("ten laps of us") == ["us"]


@pytest.mark.parametrize(("typed", "read"), [
    ("us t4 3 and os t6", ["t4 us 3", "t6 os"]), ("us t1 1 and car floats at high speed", ["t1 us 1", "fast soft"]),
    ("us 3 t4, 2 t7 and flat spot fr", ["t4 us 3", "t7 us 2", "front right flat spot"]),
    ("fl lock t1 2, t10 3 and us everywhere 2", ["t1 front left lock 2", "t10 front left lock 3", "us 2"]),
    ("car feels the same and graining front left", ["balance same", "front left graining"]),
    ("better than last run and t4 us rear", ["balance better", "t4 rear us"]),
    ("us everywhere except t4 and flat spot rr 2", ["us", "t4 us gone", "rear right flat spot 2"]),
    ("rr hot 4 and not us t4", ["rear right hot 4", "t4 us gone"]),
    ("us t4 3 and fronts better", ["t4 us 3", "front tyres better"]),
    ("t3 us 2 and fl and fr hot", ["t3 us 2", "front hot"]),
    ("car stable everywhere and tyres good", ["neutral", "tyres good"]),
    ("losing rear mid t8 3 and happy with t5", ["t8 mid rear os 3", "t5 neutral"]),
    ("t2 e us 2 m us 3 x ok and locked rear t1 4",
     ["t2 entry us 2", "t2 mid us 3", "t2 exit neutral", "t1 rear lock 4"]),
    ("rear nervous t1 3 and t2 kerbs harsh", ["t1 rear braking unstable 3", "t2 harsh"]),
    ("front sliding t4 and t9 nervous", ["t4 front us", "t9 braking unstable"]),
    ("t9 snap exit, 4 also planted t8", ["t9 exit snap 4", "t8 neutral"]),
    ("turn two feels good. t8 & t9 bottoming 2", ["t2 neutral", "t8 bottoming 2", "t9 bottoming 2"]),
])  # fmt: skip
def test_nothing_moves_over_an_and(typed: str, read: list[str]) -> None:
    """How bad, which end and where stay on the side of it on which they are said."""
    assert said(typed) == read


@pytest.mark.parametrize(("typed", "word"), [
    ("us t4 and t7 better", "t7"), ("us entry t4, t6 and t8 os", "t8"),
    ("better than last run and feels planted", "planted"),
    ("us t4 3 os t6", "os"),
])  # fmt: skip
def test_what_may_be_of_either_side_is_asked_about(typed: str, word: str) -> None:
    """A comma tells."""
    assert refused(typed) == word


@pytest.mark.parametrize(("typed", "read"), [
    ("wheelspin t2 2 and t9 4", ["t2 spin 2", "t9 spin 4"]), ("us t4 3 and t7 2 os", ["t4 us 3", "t7 os 2"]),
    ("traction good t2, bad t9", ["t2 traction good", "t9 spin"]),
    ("traction better t3, still poor t6", ["t3 traction better", "t6 spin same"]),
    ("steering heavy t5 3, kickback t7 2", ["t5 steering heavy 3", "t7 steering kickback 2"]),
    ("entry ok, mid us 2, exit os 3 t7", ["t7 entry neutral", "t7 mid us 2", "t7 exit os 3"]),
    ("entry us, t4 exit os", ["entry us", "t4 exit os"]), ("gear shift rough 3 under power", ["exit rough shift 3"]),
    ("turn nine's good", ["t9 neutral"]),
])  # fmt: skip
def test_lists_of_what_happens_where(typed: str, read: list[str]) -> None:
    """A turn at the end is of all phases before it; one in the middle only of what follows."""
    assert said(typed) == read


@pytest.mark.parametrize(("typed", "read"), [
    ("t1 en lock rr 2, rl 3", ["t1 entry rear right lock 2", "t1 entry rear left lock 3"]),
    ("t1 front lock 2, rear 3", ["t1 front lock 2", "t1 rear lock 3"]),
    ("t3 spin left, right 2", ["t3 left spin", "t3 right spin 2"]),
    ("t9 fl hot 3, fr 2", ["t9 front left hot 3", "front right hot 2"]),
    ("braking stability poor t10", ["t10 braking unstable"]),
    ("t7 slight os, exit only", ["t7 exit os 1"]), ("feels like the engine is flat", ["down on power"]),
])  # fmt: skip
def test_another_end_behind_a_comma_is_of_the_same_corner(typed: str, read: list[str]) -> None:
    """What happens in a corner; a tyre is as hot elsewhere."""
    assert said(typed) == read


@pytest.mark.parametrize("typed", ["t4 and " * 200 + "us", "us, " + "t4 and " * 6 + "us", "us and " * 250 + "os"])
def test_many_ands_are_read_in_few_steps(typed: str) -> None:
    """Each could part either side again; a line from a page must not keep the daemon busy."""
    steps = 0

    def read_one(piece: Piece) -> list[Reading]:
        nonlocal steps
        steps += 1
        return [read(piece)]

    for piece in pieces(typed):
        with suppress(Slip):
            tried(piece, read_one)
    assert steps < 200


@pytest.mark.parametrize("sign", [", ", "; ", "\n"])
def test_no_more_parts_are_read_than_anybody_types(sign: str) -> None:
    """Each is set against those before it: five hundred took a second."""
    assert refused(sign.join(["entry us"] * (MOST_PARTS + 1))) == "entry"
    with pytest.raises(ShorthandError) as caught:
        parse(sign.join(["us"] * 600))
    assert (caught.value.number, caught.value.word) == (MOST_PARTS + 1, "us")


def test_two_classes_of_corners() -> None:
    """Joined they are two places; side by side a slip."""
    assert said("us slow and medium 2, fast 3") == ["slow us 2", "medium us 2", "fast us 3"]
    assert said("slow/medium us") == ["slow us", "medium us"]
    assert refused("t4 slow fast us") == "fast"


def test_one_thing_said_twice_in_one_breath_is_one_remark() -> None:
    """Behind a semicolon or on a new line it stands as it was typed."""
    assert said("brakes long, pedal soft") == ["long pedal"]
    assert said("t4 us; t4 us") == ["t4 us", "t4 us"]


def test_a_car_is_tight_and_so_is_a_corner() -> None:
    """The first is understeer, the second a place without a number."""
    assert said("tight t7") == said("car is tight in 7") == ["t7 us"]
    for typed in ("us in tight corners", "tight line t4", "tight corner 7 us"):
        assert refused(typed) == "tight"


def test_an_apostrophe_and_s_is_is() -> None:
    """Of an end, a thing, a turn."""
    assert said("rear's nervous under braking t1") == ["t1 entry rear braking unstable"]
    assert said("t4's good, understeer's gone") == ["t4 neutral", "t4 us gone"]


def test_the_first_strange_word_is_the_one_that_is_marked() -> None:
    """Also where a later word cannot stand beside the others."""
    assert refused("confidance low us t4") == "confidance"
    assert refused("t4 blah us os") == "blah"
    assert refused("undrivable t7") == "undrivable"
