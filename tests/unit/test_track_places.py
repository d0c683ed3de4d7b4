"""Places in the circuit's own measure, turns of several segments, and what the circuit model refuses."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.model.circuit import Circuit
from pitwall.track.places import Bend, Stretch, bends, plain, stretches, turn_stretches, unknown_place


def _circuit(**changes: Any) -> Circuit:
    base: dict[str, Any] = {
        "circuit": 1, "name": "Test Ring",
        "segments": [
            {"length_m": 100, "radius_m": 80, "turn": 3}, {"length_m": 400},
            {"length_m": 60, "radius_m": 50, "turn": 1}, {"length_m": 40, "radius_m": 90, "turn": 1},
            {"length_m": 300}, {"length_m": 50, "radius_m": 700}, {"length_m": 50, "radius_m": 60, "turn": 3},
        ],
        "loops": [{"loop": 1, "at_m": 350}, {"loop": "line"}],
        "places": [{"place": "Old Oak", "at_m": 700}],
        "pit": {"entry_m": 950, "exit_m": 60, "last_chance_m": 900},
    }
    return Circuit.model_validate({**base, **changes})


def test_a_turn_of_two_segments_is_one_stretch() -> None:
    """Neighbouring segments of one number join; the turn runs from the first to the last."""
    assert turn_stretches(_circuit())["turn 1"] == Stretch(500, 600)


def test_a_turn_may_span_the_line() -> None:
    """A turn with a piece at either end of the list starts before the line and ends after it."""
    stretch = turn_stretches(_circuit())["turn 3"]
    assert stretch == Stretch(950, 100)
    assert [stretch.holds(at) for at in (949, 950, 999, 0, 99, 100)] == [False, True, True, True, True, False]


def test_a_plain_stretch_holds_its_start_and_not_its_end() -> None:
    """Neighbouring stretches share no point."""
    assert [Stretch(10, 20).holds(at) for at in (9, 10, 19.9, 20)] == [False, True, True, False]


def test_every_name_of_the_circuit_has_a_stretch() -> None:
    """Whatever the model offers as a place name, the track knows."""
    circuit = _circuit()
    known = stretches(circuit)
    assert {plain(name) for name in circuit.place_names()} == set(known)
    assert known["old oak"] == Stretch(700, 700)
    assert known["loop 1"] == Stretch(350, 350)
    assert known["pit exit"] == Stretch(60, 60)


def test_bends_are_named_by_turn_or_by_distance() -> None:
    """A curved segment without a number is still named in a sentence."""
    assert bends(_circuit())[-2:] == (Bend(900, 950, 700, "the bend at 900 m"), Bend(950, 1000, 60, "turn 3"))


def test_place_names_are_compared_without_case_and_spacing() -> None:
    """What people type differs in capitals and spaces only."""
    assert plain("  Turn   4 ") == "turn 4"


def test_an_unknown_place_suggests_what_was_meant() -> None:
    """A near miss names its neighbour; a far one lists the places."""
    near, far = (str(unknown_place(name, ["line", "old oak"], "Ring")) for name in ("old ok", "xyz"))
    assert near == "unknown place 'old ok' on Ring: did you mean 'old oak'?"
    assert far == "unknown place 'xyz' on Ring: known places: line, old oak"


@pytest.mark.parametrize(("changes", "complaint"), [
    ({"quiet_places": ["turn 9"]}, "quiet_places: no such place: turn 9 .known: line, loop 1, old oak"),
    ({"loops": [{"loop": 1, "at_m": 5}, {"loop": 1, "at_m": 9}, {"loop": "line"}]}, "loop named twice: 1"),
    ({"places": [{"place": "Turn 1", "at_m": 5}]}, "place named twice: turn 1"),
    ({"marshal_sectors": [{"sector": 1, "from_m": 0, "to_m": 9}] * 2}, "marshal sector named twice: 1"),
    ({"pit": {"entry_m": 900, "exit_m": 60, "last_chance_m": 950}}, "last_chance_m 950 lies after entry_m 900"),
    ({"segments": [{"length_m": 500, "turn": 1}, {"length_m": 300}, {"length_m": 200, "turn": 1},
                   {"length_m": 200}]}, "turn 1 is in 2 pieces"),
    ({"loops": [{"loop": 1, "at_m": 1200}, {"loop": "line"}]}, "lies beyond the lap"),
    ({"loops": [{"loop": 1, "at_share": 0.4}, {"loop": "line"}]}, "at_share does not fit this circuit, give at_m"),
    ({"loops": [{"loop": 1, "at_m": 350}]}, "loops need one called 'line'"),
])
def test_circuits_that_contradict_themselves(changes: dict[str, Any], complaint: str) -> None:
    """Each contradiction in the file is refused with a sentence that names the entry."""
    with pytest.raises(ValidationError, match=complaint):
        _circuit(**changes)


def test_a_last_chance_may_lie_beyond_the_line_from_the_entry() -> None:
    """With the pit entry just after the line, the last chance lies before it: still in order."""
    circuit = _circuit(pit={"entry_m": 20, "exit_m": 300, "last_chance_m": 960})
    assert circuit.pit.entry_m == 20
