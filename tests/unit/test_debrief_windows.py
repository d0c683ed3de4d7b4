"""Data windows: a hold found in positions, or reckoned from crossings, with intervals that say how sure that is."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from pitwall.debrief.edges import USUAL, Edge, edge_of, scatter_of
from pitwall.debrief.holds import HoldAsked, Stretch, by_crossings, by_positions
from pitwall.debrief.notes import CarNotes
from pitwall.debrief.windows import CarFacts, ItemDone, window_of
from pitwall.debrief.wording import window_evidence
from pitwall.model.debrief_rows import DataWindow, ItemRow, LapRow, Sector, SwitchMove
from pitwall.model.procedure import Procedure
from pitwall.rehearsal.draws import between
from pitwall.rehearsal.ground import lay_ground
from pitwall.rehearsal.holding import HeldPath, HoldOrder, hold_path
from pitwall.rehearsal.scenario import DriverHabits, PaceOfWorld
from pitwall.track.lapmap import LapMap, lap_map
from tests.unit.engine_stage import shipped

BEGIN_S = 1000.0
STILL = PaceOfWorld(lap=0, grip=0, power=0, pit=0)


@cache
def the_map() -> LapMap:
    """The demo circuit as the product knows it."""
    made = shipped()
    return lap_map(made.circuit, made.cars["41"], made.calls)


@cache
def driven(seed: int, slower: float = 1.2, seconds: float = 5.0) -> tuple[HeldPath, LapRow]:
    """A cool-down lap of the world's own on which a hold after turn 4 was really driven, and its lap as timed."""
    made, rng = shipped(), np.random.default_rng(seed)
    ground = lay_ground(made.circuit, made.cars["41"], made.regulations.pit_limit_kph, STILL, rng)
    assert ground.strain is not None
    lap_s = ground.lap_s * slower
    place = ground.phase_of("after turn 4")
    assert place is not None
    start = (BEGIN_S + place * lap_s, float(np.interp(place, ground.strain.phase, ground.strain.at_m)))
    path = hold_path(HoldOrder(55.0, 1.5, seconds), ground, ground.strain.phase, lap_s, start, DriverHabits(), rng)
    assert path is not None

    def passed(phase: float) -> float:
        if phase <= place:
            return BEGIN_S + phase * lap_s
        if phase <= path.phase[-1]:
            return float(np.interp(phase, path.phase, path.t))
        return path.end_s + (phase - float(path.phase[-1])) * lap_s

    sectors = tuple(Sector(loop=name, t=round(passed(phase), 3)) for name, phase in ground.loops)
    end = round(passed(1.0), 3)
    sectors = (*sectors, Sector(loop="line", t=end))
    return path, LapRow(car="41", number=4, kind="cool", start_s=BEGIN_S, end_s=end, sectors=sectors)


def asked(seconds: float = 5.0) -> HoldAsked:
    """What the plan asked for."""
    return HoldAsked(the_map().phase_of("turn 4"), 55.0, seconds, 1.5)


def seen(path: HeldPath, hz: float, seed: int, *, speeds: bool = True, off_mps: float = 0.1) -> CarNotes:
    """Positions of this way as a receiver gives them, whose speeds are so far off."""
    rng, notes = np.random.default_rng(seed), CarNotes()
    t = float(path.t[0]) + float(rng.uniform(0, 1 / hz))
    while t < path.end_s:
        notes.at_s.append(round(t, 3))
        notes.at_m.append(round(path.metres(t) + 1.5 * float(rng.standard_normal()), 1))
        notes.at_mps.append(round(path.speed(t) + off_mps * float(rng.standard_normal()), 2) if speeds else None)
        t += 1 / hz
    return notes


def found(path: HeldPath, row: LapRow, notes: CarNotes) -> Stretch:
    """The hold that positions show."""
    stretch = by_positions(asked(), row, notes, the_map())
    assert stretch is not None
    return stretch


@pytest.mark.parametrize(("hz", "off_mps", "share"), [(10.0, 0.1, 0.97), (5.0, 0.1, 0.95), (10.0, 0.25, 0.92)])
def test_positions_with_speeds_show_a_hold_to_a_tenth_and_five_metres(hz: float, off_mps: float, share: float) -> None:
    """Nearly all ends of holds lie within 0.1 s and 5 m of what was really driven, nineteen in twenty in their
    intervals; a receiver that is worse than usual makes them wider."""
    near, held = [], []
    for seed in range(24):
        path, row = driven(seed)
        stretch, truth = found(path, row, seen(path, hz, seed, off_mps=off_mps)), path.truth()
        assert stretch.evidence == "positions"
        assert stretch.from_m is not None
        assert stretch.to_m is not None
        for s, m, true_s, true_m in ((stretch.from_s, stretch.from_m, truth.from_s, truth.from_m),
                                     (stretch.to_s, stretch.to_m, truth.to_s, truth.to_m)):
            near.append(abs(s.value - true_s) <= 0.1 and abs(m.value - true_m) <= 5.0)
            held.append(s.low <= true_s <= s.high)
    assert sum(near) >= share * len(near), (sum(near), len(near))
    assert sum(held) >= 0.95 * len(held), (sum(held), len(held))


def test_a_hold_says_how_far_its_speeds_scatter() -> None:
    """What neighbours differ by is the receiver's, what lasts is the driver's; few positions say little, and a lap of
    chance is not believed."""
    rng, t = np.random.default_rng(2), np.arange(0.0, 40.0, 0.1)
    wavers = np.zeros(len(t))
    for at in range(1, len(t)):
        wavers[at] = math.exp(-0.1 / 0.6) * wavers[at - 1] + 0.3 * math.sqrt(1 - math.exp(-0.2 / 0.6)) * float(
            rng.standard_normal())
    rough = scatter_of(t, 55.0 + 0.3 * rng.standard_normal(len(t)))
    unsteady = scatter_of(t, 55.0 + wavers + 0.05 * rng.standard_normal(len(t)))
    assert rough.noise_mps == pytest.approx(0.3, rel=0.2)
    assert rough.wavers_mps < 0.15
    assert unsteady.wavers_mps == pytest.approx(0.3, rel=0.35)
    assert unsteady.noise_mps < 0.12
    assert scatter_of(t[:2], np.array([55.0, 60.0])) == USUAL
    assert scatter_of(t[:9], np.full(9, 55.0)).noise_mps > 0.5 * USUAL.noise_mps
    assert scatter_of(t, 55.0 + 9.0 * rng.standard_normal(len(t))).noise_mps <= 4.0 * USUAL.noise_mps


def let_go(seed: int, gains_mps2: float, for_s: float, hz: float = 10.0) -> tuple[np.ndarray, np.ndarray]:
    """Speeds about the end of a hold at 0 s: then a gain or loss for so long, then the brakes."""
    rng = np.random.default_rng(seed)
    t = np.arange(-4.0 + rng.uniform(0, 1 / hz), 2.0, 1 / hz)
    off = np.clip(t, 0.0, for_s) * gains_mps2 - 12.0 * np.maximum(t - for_s, 0.0)
    return t, 55.0 + off + 0.1 * rng.standard_normal(len(t))


def found_end(t: np.ndarray, speed: np.ndarray) -> Edge:
    """The end of the level that these speeds show."""
    last = int(np.flatnonzero(np.abs(speed - 55.0) <= 0.9)[-1])
    edge = edge_of(t, speed, last, +1, 55.0)
    assert edge is not None
    return edge


@pytest.mark.parametrize(("gains_mps2", "for_s"), [(5.0, 0.3), (6.0, 0.4), (1.5, 0.8), (-3.0, 0.5)])
def test_who_lets_go_before_he_brakes_is_seen_to(gains_mps2: float, for_s: float) -> None:
    """A hold ends where the driver gains or eases, not where he brakes a little later; nine in ten intervals say so."""
    edges = [found_end(*let_go(seed, gains_mps2, for_s)) for seed in range(20)]
    assert np.median([abs(edge.t) for edge in edges]) <= 0.1
    assert sum(edge.low <= 0.0 <= edge.high for edge in edges) >= 18


def test_what_nobody_can_see_is_in_the_interval() -> None:
    """Who lets go a tenth of a second before he brakes does not show it: the interval reaches back that far, and is
    narrower where the speed rises at the end, for then nothing is hidden."""
    hidden = [found_end(*let_go(seed, 3.0, 0.1)) for seed in range(20)]
    assert sum(edge.low <= 0.0 <= edge.high for edge in hidden) >= 18
    t, speed = let_go(1, 0.0, 0.0)
    rises = found_end(t, 110.0 - speed)
    assert rises.high - rises.low < min(edge.high - edge.low for edge in hidden)


def test_an_end_backwards_is_a_beginning() -> None:
    """The beginning of a hold is found as the end of the same speeds the other way round. What drivers do there is not
    quite the same, so the chances are not either."""
    t, speed = let_go(3, 5.0, 0.3)
    end = found_end(t, speed)
    first = len(t) - 1 - int(np.flatnonzero(np.abs(speed - 55.0) <= 0.9)[-1])
    begin = edge_of(-t[::-1], speed[::-1], first, -1, 55.0)
    assert begin is not None
    assert begin.t == pytest.approx(-end.t, abs=0.02)
    assert edge_of(t, speed, len(t) - 1, +1, 55.0) is None
    assert edge_of(t[:42], speed[:42], 40, +1, 55.0) is None


@pytest.mark.parametrize("hz", [10.0, 5.0])
def test_positions_without_speeds_tell_less_and_say_so(hz: float) -> None:
    """Half of the ends are within a quarter of a second, at half the rate too; the intervals hold nine in ten, and are
    much wider than with speeds; the speed is known."""
    held, off = [], []
    for seed in range(12):
        path, row = driven(seed)
        stretch, truth = found(path, row, seen(path, hz, seed, speeds=False)), path.truth()
        ends = ((stretch.from_s, truth.from_s), (stretch.to_s, truth.to_s))
        held += [one.low <= true <= one.high for one, true in ends]
        off += [abs(one.value - true) for one, true in ends]
        assert stretch.from_s.high - stretch.from_s.low > 0.5
        assert "without speeds; its beginning" in stretch.text
        assert stretch.speed_mps is not None
        assert stretch.speed_mps.value == pytest.approx(truth.speed_mps, abs=0.6)
    assert sum(held) >= 0.9 * len(held), (sum(held), len(held))
    assert np.median(off) <= 0.25


def test_places_of_a_lap_without_a_hold_show_none() -> None:
    """Who goes on at the pace of his lap held nothing, and two places a second are too few to say."""
    path, row = driven(1)
    assert by_positions(asked(), row, seen(path, 2.0, 1, speeds=False), the_map()) is None
    notes = seen(path, 10.0, 1, speeds=False)
    begin_m, t = notes.at_m[0], np.array(notes.at_s)
    rises = 40.0 * (t - t[0]) + 2.0 * (t - t[0]) ** 2  # from 144 km/h on, 4 m/s2 all along
    off = 1.5 * np.random.default_rng(2).standard_normal(len(t))
    notes.at_m = [round(float(begin_m + way), 1) for way in rises + off]
    assert by_positions(asked(), row, notes, the_map()) is None


def test_intervals_of_crossings_hold_the_truth() -> None:
    """Reckoned from crossings alone, the stated intervals hold nine in ten ends, whatever the pace of the lap."""
    rng, held, widths = np.random.default_rng(5), [], []
    for seed in range(40):
        path, row = driven(seed, round(between(rng, (1.1, 1.3, 1.6)), 3))
        stretch, truth = by_crossings(asked(), row, the_map()), path.truth()
        assert stretch.from_m is not None
        assert stretch.to_m is not None
        for one, true in ((stretch.from_s, truth.from_s), (stretch.to_s, truth.to_s), (stretch.from_m, truth.from_m),
                          (stretch.to_m, truth.to_m)):
            held.append(one.low <= true <= one.high)
        widths.append(stretch.from_s.high - stretch.from_s.low)
    assert sum(held) >= 0.9 * len(held), (sum(held), len(held))
    assert max(widths) < 8.0


def test_each_value_of_a_window_says_what_it_rests_on() -> None:
    """Positions measure all of a hold. Crossings tell when it was; where and how fast is what was asked for, and of a
    lap the circuit file says where it lies."""
    path, lap = driven(2)
    row = ItemRow(item="one", do="constant_speed_hold", run="work", lap="in-lap", want="must", outcome="done")
    procedure = shipped().procedures["constant_speed_hold"]

    def rests(notes: CarNotes, lap: LapRow = lap, do: Procedure = procedure) -> tuple[object, ...]:
        """Of lap, beginning, end, place and speed, and the words that the page adds."""
        facts = CarFacts(notes, the_map(), (), (), {})
        hold = asked() if do.data_window == "hold" else None
        one = window_of(ItemDone(row, do, lap, {}, hold), facts)
        assert one is not None
        return (one.lap_evidence, one.from_evidence, one.to_evidence, one.place_evidence, one.speed_evidence,
                *window_evidence(one)[1:])

    measured, nothing = seen(path, 10.0, 2), CarNotes()
    assert rests(measured) == ("crossings", "positions", "positions", "positions", "positions")
    assert rests(nothing) == ("crossings", "reckoned", "reckoned", "plan", "plan", "times: reckoned from crossings",
                              "place, speed: as planned, not measured")
    compare = shipped().procedures["flap_compare"]
    assert rests(nothing, do=compare) == ("crossings", "crossings", "crossings", "circuit", "crossings")
    unseen = lap.model_copy(update={"inferred": ("end",)})
    assert rests(nothing, unseen, compare) == (
        "crossings", "crossings", "reckoned", "circuit", "reckoned", "to, speed: reckoned from crossings")
    nobody = lap.model_copy(update={"inferred": ("start", "end")})
    assert rests(nothing, nobody, compare)[0] == "reckoned"


def test_few_positions_are_no_evidence() -> None:
    """At 2 Hz, or where no speed near the wanted one was held, positions say nothing."""
    path, row = driven(1)
    assert by_positions(asked(), row, seen(path, 2.0, 1), the_map()) is None
    notes = seen(path, 5.0, 1)
    notes.at_mps = [20.0 + 2.0 * (at % 9) for at in range(len(notes.at_s))]
    assert by_positions(asked(), row, notes, the_map()) is None
    assert not math.isnan(found(path, row, seen(path, 5.0, 1)).from_s.value)


def test_a_hold_that_was_done_at_once_is_found_on_the_lap_on_which_it_was_said() -> None:
    """Planned for the next lap, heard and done on this one: where positions show it there, there the data are."""
    path, lap = driven(2)
    planned = LapRow(car="41", number=5, kind="in", start_s=lap.end_s, end_s=lap.end_s + 95.0)
    facts = CarFacts(seen(path, 10.0, 2), the_map(), (), (), {})
    row = ItemRow(item="one", do="constant_speed_hold", run="work", lap="in-lap", want="must", outcome="done")
    procedure = shipped().procedures["constant_speed_hold"]
    heard = path.truth().from_s - 8.0
    at_once = window_of(ItemDone(row, procedure, planned, {}, asked(), heard_on=((lap, heard),)), facts)
    assert at_once is not None
    assert (at_once.lap_number, at_once.evidence, at_once.outcome) == (4, "positions", "done")
    assert at_once.evidence_text.endswith("it was done at once, on the lap on which it was said")
    assert at_once.from_s.low <= path.truth().from_s <= at_once.from_s.high
    for heard_on in ((), ((lap, path.truth().to_s + 3.0),)):  # one that was driven before the call is of another
        reckoned = window_of(ItemDone(row, procedure, planned, {}, asked(), heard_on=heard_on), facts)
        assert reckoned is not None
        assert (reckoned.lap_number, reckoned.evidence) == (5, "crossings")


@pytest.mark.parametrize("first_m", [(-2.0,), (-1.0, 1.0, -0.5), (1.0,)])
def test_a_receiver_that_is_off_at_the_line_moves_no_lap(first_m: tuple[float, ...]) -> None:
    """The first positions of a lap may lie a metre before the line, once or twice: the hold is found all the same."""
    path, row = driven(4)
    profile, notes = the_map().profile, seen(path, 10.0, 4)
    assert profile is not None
    length_m = profile.length_m
    begins = [row.start_s + 0.1 * at for at in range(len(first_m))]
    notes.at_s = [*begins, *notes.at_s]
    notes.at_m = [*(metres % length_m for metres in first_m), *notes.at_m]
    notes.at_mps = [*(50.0 for _ in first_m), *notes.at_mps]
    plain = found(path, row, seen(path, 10.0, 4))
    assert found(path, row, notes) == plain


def compared(*moved: tuple[float, float], clean: str = "clean", status: tuple[str, ...] = (),
             outcome: str = "done", wrong: tuple[str, ...] = ()) -> DataWindow:
    """The window of a switch comparison on a timed lap from 100 to 190 s; ``moved``: when, and to which position."""
    made = shipped()
    moves = [SwitchMove(t=0.0, switch="brake_bias", word="bias", position=56.0, evidence="measured")]
    moves += [SwitchMove(t=t, switch="brake_bias", word="bias", position=position, before=56.0, evidence="measured")
              for t, position in moved]
    row = ItemRow.model_validate({"item": "one", "do": "switch_compare", "run": "work", "lap": "timed lap 1",
                                  "want": "must", "outcome": outcome})
    lap = LapRow(car="41", number=3, run="work", kind="timed", start_s=100.0, end_s=190.0, lap_time_s=90.0, clean=clean,
                 switches_wrong=wrong, clean_at="2" if clean != "clean" else "",
                 lost_s=0.9 if clean != "clean" else None, status=status)
    done = ItemDone(row, made.procedures["switch_compare"], lap, {"brake_bias": 54.0})
    window = window_of(done, CarFacts(CarNotes(), the_map(), moves, made.cars["41"].switches, {}))
    assert window is not None
    return window


def test_a_switch_that_was_put_back_just_before_the_line_was_shown_all_the_same() -> None:
    """As the lap ends it stands elsewhere again, so the engine calls the item probably done; the window saw it stand
    all along. Where nothing was measured, or it was never set, the doubt stays, or is none any more."""
    shown = compared((95.0, 54.0), (187.0, 56.0), outcome="probably_done")
    assert shown.outcome == "done"
    assert not shown.evidence_text.startswith("if it was done")
    assert compared(outcome="probably_done").outcome == "done_badly"
    badly = compared((95.0, 54.0), (140.0, 56.0), outcome="probably_done")
    assert (badly.outcome, "if it was done" in badly.evidence_text) == ("done_badly", False)


def test_a_switch_may_be_set_about_the_line_and_not_in_the_middle() -> None:
    """Set just after the line and put back just before the next, the comparison is good; never set, or moved in the
    middle, or on a lap that was spoilt, it was done badly, and the window says why."""
    good = compared((101.5, 54.0), (187.0, 56.0))
    assert (good.outcome, good.switches[0].position, good.switches[0].moved) == ("done", 54.0, False)
    assert compared().outcome == "done_badly"
    assert "bias stood at 56.0, 54.0 was wanted" in compared().evidence_text
    middle = compared((95.0, 54.0), (140.0, 56.0))
    assert (middle.outcome, middle.switches[0].moved) == ("done_badly", True)
    spoilt = compared((95.0, 54.0), clean="traffic")
    assert spoilt.outcome == "done_badly"
    assert "traffic, 0.9 s lost before 2" in spoilt.evidence_text
    under_red = compared((95.0, 54.0), clean="yellow", status=("yellow", "red"))
    assert "the lap was spoilt: a red flag" in under_red.evidence_text


ENGINE, BIAS = "engine stands at 5, this timed lap needs 2", "bias stands at 56, this timed lap needs 54"


def test_a_comparison_on_a_lap_that_began_with_a_switch_out_of_place_was_done_badly() -> None:
    """The lap table says 'switch wrong' and no median counts the lap: what was to be learned of it is spoilt as well,
    also where it is another switch than the one compared. The item's own is told once."""
    badly = compared((95.0, 54.0), wrong=(ENGINE,))
    assert (badly.outcome, badly.evidence_text.split("; ")[0]) \
        == ("done_badly", f"the lap began with a switch out of place: {ENGINE}")
    assert badly.spoilt == f"the lap began with a switch out of place: {ENGINE}", "what it rests on is no reason"
    assert compared(wrong=("brake " + BIAS,)).evidence_text.count("bias") == 1
    assert compared((95.0, 54.0)).outcome == "done"


def test_what_needs_no_timed_lap_is_not_judged_by_its_switches() -> None:
    """What is looked at in the pit lane, or on a lap that is no timed one, does not hang on the switches of a timed
    lap."""
    row = ItemRow(item="one", do="pit_lane_pass", run="work", lap="in-lap", want="must", outcome="done")
    lap = LapRow(car="41", number=3, run="work", kind="timed", start_s=100.0, end_s=190.0, switches_wrong=(ENGINE,))
    facts = CarFacts(CarNotes(), the_map(), [], [], {3: (190.0, 215.0)}, 22.0)
    window = window_of(ItemDone(row, shipped().procedures["pit_lane_pass"], lap, {}), facts)
    assert window is not None
    assert window.outcome == "done"


@pytest.mark.parametrize(("planned", "kind", "words"), [
    ("cool-down lap 1", "timed", "cool-down lap 1, driven as a timed lap"), ("cool-down lap 1", "cool", ""),
    ("in-lap", "timed", "in-lap, driven as a timed lap"), ("in-lap", "installation", ""), ("out-lap", "out", ""),
    ("timed lap 2", "cool", "timed lap 2, driven as a cool-down lap"),
    ("timed lap 2", "in", "timed lap 2, driven as an in-lap"),
])
def test_a_lap_that_was_driven_as_another_says_so(planned: str, kind: str, words: str) -> None:
    """Who looks at the data of a cool-down lap must know that they are of a lap at the pace."""
    row = ItemRow(item="one", do="cool_down_lap", run="work", lap=planned, want="must", outcome="done")
    lap = LapRow.model_validate({"car": "41", "number": 3, "run": "work", "kind": kind, "start_s": 100.0,
                                 "end_s": 190.0, "lap_time_s": 90.0, "clean": "clean"})
    done = ItemDone(row, shipped().procedures["cool_down_lap"], lap, {})
    window = window_of(done, CarFacts(CarNotes(), the_map(), [], shipped().cars["41"].switches, {}))
    assert window is not None
    assert window.lap == (words or planned)


def test_a_pass_of_the_pit_lane_ends_where_the_car_stopped() -> None:
    """Straight through, the window lasts to the pit exit; a car that stood in its garage was in the lane only as long
    as its length takes, and the interval and the evidence say so."""
    procedure = shipped().procedures["pit_lane_pass"]
    row = ItemRow(item="one", do="pit_lane_pass", run="work", lap="in-lap", want="must", outcome="done")
    lap = LapRow(car="41", number=3, run="work", kind="in", start_s=100.0, end_s=190.0)
    for exit_s, evidence in ((215.0, "crossings"), (900.0, "plan")):
        facts = CarFacts(CarNotes(), the_map(), [], [], {3: (190.0, exit_s)}, 22.0)
        window = window_of(ItemDone(row, procedure, lap, {}), facts)
        assert window is not None
        assert window.evidence == evidence
        assert window.to_s.value == (exit_s if evidence == "crossings" else 212.0)
        assert (window.to_s.high - window.to_s.low > 10.0) == (evidence == "plan")


def test_what_is_done_at_a_place_begins_there() -> None:
    """A coast-down has no speed of its own: its window begins at its place, and lasts as long as was asked for."""
    path, lap = driven(3)
    row = ItemRow(item="one", do="coast_down", run="work", lap="cool-down lap 1", want="must", outcome="done",
                  place="turn 4")
    done = ItemDone(row, shipped().procedures["coast_down"], lap, {}, place=(the_map().phase_of("turn 4"), 6.0))
    window = window_of(done, CarFacts(CarNotes(), the_map(), [], [], {}))
    assert window is not None
    assert (window.what, window.speed_mps) == ("hold", None)
    assert window.from_s.low <= float(path.t[0]) <= window.from_s.high
    assert window.to_s.value - window.from_s.value == pytest.approx(6.0, abs=0.5)
