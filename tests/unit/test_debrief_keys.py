"""When a call was said is the moment of its key, not that at which the key was told."""

from __future__ import annotations

import pytest

from pitwall.debrief.contents_radio import _statistics
from pitwall.debrief.model import CallRow
from pitwall.debrief.notes import Notes
from pitwall.debrief.radio import call_rows, radio_statistics
from pitwall.model import events as ev
from pitwall.model.debrief_rows import LapRow
from pitwall.model.outputs import Prompt
from tests.unit.engine_stage import CAR, setup

PROMPT = {"type": "prompt", "car": CAR, "call": "call", "kind": "switch", "text": "Engine 2.", "short": "engine 2",
          "say_from_s": 100.0, "say_by_s": 103.0, "spoken_s": 1.5, "priority": 50, "way": "full", "parts": [],
          "parts_said": 0, "medium": "two_way", "board": []}


class Told:
    """A car's notes, told fact by fact."""

    def __init__(self) -> None:
        self.notes, self.revision = Notes(), 0
        self._take(-300.0, ev.SessionPrepared(id="prepared", t=-300.0, setup=setup()))
        self.prompt(100.0, "due")

    def _take(self, received_t: float, event: ev.Event, *prompts: Prompt) -> None:
        self.notes.take(ev.Stamped(seq=self.notes.facts, received_t=received_t, event=event), prompts)

    def _prompt(self, t: float, state: str, **more: object) -> Prompt:
        self.revision += 1
        values = {"id": f"prompt-{self.revision}", "revision": self.revision, "t": t, "state": state}
        return Prompt.model_validate(PROMPT | values | more)

    def prompt(self, t: float, state: str, **more: object) -> Told:
        """The engine tells it as time goes by."""
        self._take(t, ev.TimeReached(id=f"time-{t}", t=t), self._prompt(t, state, **more))
        return self

    def key(self, pressed: float, told: float, state: str = "said", command: str = "said", **more: object) -> Told:
        """A key of that moment comes in, and the call is told to be in that state."""
        given = ev.CommandGiven.model_validate({"id": f"key-{told}", "t": pressed, "car": CAR, "command": command,
                                                "by": "ann", "call": "call"})
        self._take(told, given, self._prompt(told, state, because=given.id, **more))
        return self

    @property
    def row(self) -> CallRow:
        """The call in the debrief."""
        return call_rows(self.notes.cars[CAR])[0]


def test_a_key_that_is_told_later_counts_when_it_was_pressed() -> None:
    """``--at``: begun in its window, though the key came in ten seconds after it."""
    row = Told().key(102.0, 112.0).row
    assert (row.said_s, row.begun_s, row.counted_as) == (102.0, 100.5, "in_window")
    punctual = Told().key(112.0, 112.0).row
    assert (punctual.said_s, punctual.counted_as) == (112.0, "beside_window")


def test_no_key_is_of_the_future() -> None:
    """A clock that goes before the daemon's says nothing: then it counts as it came in."""
    assert Told().key(130.0, 102.0).row.said_s == 102.0


def test_what_is_told_once_more_stays_where_it_was() -> None:
    """Other words of a call that was said say nothing of when; one that is asked for again was said then."""
    told = Told().key(102.0, 104.0).prompt(109.0, "said", caution="a car close behind")
    assert told.row.said_s == 102.0
    assert told.prompt(120.0, "due").key(121.0, 125.0).row.said_s == 121.0


def test_without_a_key_it_is_when_the_engine_told_it() -> None:
    """As the radio desk heard it; what a driver confirmed is told as that comes."""
    assert Told().prompt(102.5, "said").row.said_s == 102.5
    shown = Told().key(101.0, 108.0, "done", "confirm")
    assert shown.notes.cars[CAR].calls["call"].told_s == pytest.approx(108.0)
    assert shown.row.counted_as == "shown"


FIRST, LAST = ({"text": "After turn four hold gear five,", "spoken_s": 2.0, "say_from_s": 100.0},
               {"text": "count to five.", "spoken_s": 1.2, "say_from_s": 119.0})  # fmt: skip
REST = {"text": LAST["text"], "spoken_s": 1.2, "say_from_s": 119.0, "say_by_s": 122.0, "parts_said": 1}
BOTH = "After turn four hold gear five, count to five."


def in_two_pieces() -> Told:
    """A call is cut in two: the first was said at 103, and what remains waits for the next stretch."""
    told = Told().prompt(101.0, "due", text=FIRST["text"], spoken_s=2.0, way="parts", parts=[FIRST, LAST])
    return told.key(103.0, 103.0, "planned", parts=[LAST], **REST)


def reckoned(told: Told) -> list[tuple[float, float, int]]:
    """Minutes with the car on track: from when, seconds spoken, in how many pieces."""
    lap = LapRow(car=CAR, number=1, run="main", lap_of_run=1, kind="timed", start_s=70.0, end_s=170.0)
    load = radio_statistics(told.notes.cars[CAR], (lap,)).load
    return [(one.from_s, one.spoken_s, one.calls) for one in load]


def test_a_call_that_was_said_in_two_pieces_is_told_whole() -> None:
    """Its words are those of both pieces, as long as both; when it was begun and said is of the last, as is the window
    that it is held against. To the load of the driver each counts in its own minute."""
    told = in_two_pieces().prompt(119.0, "due", **REST).key(121.0, 121.0, **REST)
    row = told.row
    assert (row.text, row.spoken_s, row.way) == (BOTH, 3.2, "parts")
    assert (row.begun_s, row.said_s, row.counted_as) == (pytest.approx(119.8), 121.0, "in_window")
    assert reckoned(told) == [(60.0, 2.2, 2), (120.0, 1.0, 1)]


def test_what_remains_in_one_breath_belongs_to_the_words_before_it() -> None:
    """The channel has room for all that remains, so its prompt has no parts: the row has all the words nevertheless."""
    told = Told().prompt(101.0, "due", text=FIRST["text"], spoken_s=2.0, way="parts", parts=[FIRST, LAST])
    told.key(103.0, 103.0, "shown", **REST).prompt(119.0, "due", **REST).key(121.0, 121.0, **REST)
    assert (told.row.text, told.row.spoken_s, told.row.way) == (BOTH, 3.2, "parts")


def test_with_a_pit_board_nothing_is_spoken_to_a_driver_on_track() -> None:
    """What was said to him was said in the garage: it is no load on track, and the page draws none."""
    told = Told().key(102.0, 102.0)
    lap = LapRow(car=CAR, number=1, run="main", lap_of_run=1, kind="timed", start_s=70.0, end_s=170.0)
    board, radio = (radio_statistics(told.notes.cars[CAR], (lap,), medium) for medium in ("board", "two_way"))
    assert (radio.spoken_s, radio.most_load_s, len(radio.load)) == (1.5, 1.5, 2)
    assert (board.spoken_s, board.most_load_s, board.mean_load_s, board.load) == (1.5, 0, 0, ())
    said = str(_statistics("Car 41", board))
    assert "2 s were spoken to the driver in the garage (reckoned from the length of what was said); on track" in said
    assert "radio desk" not in said


def test_a_piece_that_was_said_counts_though_the_rest_never_was() -> None:
    """The car came in before the rest: the row has all its words and its end, the load what was said."""
    told = in_two_pieces().prompt(130.0, "withdrawn", **REST)
    assert (told.row.text, told.row.said_s, told.row.counted_as) == (BOTH, None, "withdrawn")
    assert reckoned(told) == [(60.0, 2.0, 1), (120.0, 0.0, 0)]


@pytest.mark.parametrize("words", ["Hold gear four.", LAST["text"].split()[-1]])
def test_words_that_became_others_are_told_as_they_were_said_last(words: str) -> None:
    """A piece was said, and then something else was wanted of the driver: that is said whole, and is the call, be it a
    word that was in the rest as well."""
    other = {"text": words, "spoken_s": 1.3, "parts_said": 1, "say_from_s": 119.0, "say_by_s": 122.0}
    told = in_two_pieces().prompt(119.0, "due", **other).key(121.0, 121.0, **other)
    assert (told.row.text, told.row.spoken_s) == (words, 1.3)
    assert reckoned(told)[0] == (60.0, 2.0 + 0.3, 2)


@pytest.mark.parametrize(("then", "window"), [((), (104.5, 105.2)), (("done",), (104.5, 105.2)),
                                              (("due", "said"), (100.0, 112.0))])
def test_a_call_that_lapsed_has_the_window_that_was_offered_last(
    then: tuple[str, ...], window: tuple[float, float]
) -> None:
    """Its rule would have it said within twelve seconds; on this channel there was room for one: nobody slept through
    twelve seconds. So it is told too where something else settled it later. What could be said again has its window."""
    told = Told().prompt(104.0, "due", say_from_s=104.5, say_by_s=105.2)
    told.prompt(108.0, "unconfirmed", say_from_s=100.0, say_by_s=112.0)
    for t, state in enumerate(then, 110):
        told.prompt(float(t), state, say_from_s=100.0, say_by_s=112.0)
    assert (told.row.say_from_s, told.row.say_by_s) == window
