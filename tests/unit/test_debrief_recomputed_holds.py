"""A hold from the raw rows of a journal to its data window: against what the world really drove.

The world (which shares no beliefs with the product) drives a cool-down lap with a hold of five seconds; crossings,
and positions where there are any, become facts of a journal, and the debrief of that journal says where the data are.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from pitwall.app.debriefing import debrief
from pitwall.model import events as ev
from pitwall.model.debrief_rows import DataWindow
from pitwall.rehearsal.truth import HeldTruth
from tests.unit.engine_stage import plan, shipped
from tests.unit.test_debrief_windows import BEGIN_S, driven, the_map

HOLD: dict[str, Any] = {"do": "constant_speed_hold", "on": "cool", "after": "turn 4", "want": "must",
                        "with": {"gear": 6, "seconds": 5, "speed_mps": 55}}
RUN: dict[str, Any] = {"run": "holds", "want": "must", "laps": "out, 1 timed, cool, in", "fuel_kg": 30, "items": [HOLD]}
LAP_S = 95.0
HZ = 10.0


def _facts(positions: bool, seed: int) -> tuple[list[ev.Event], HeldTruth]:
    """Out, a timed lap, the world's cool-down lap with its hold, and in; a wake-up each second."""
    path, row = driven(seed)
    lap = the_map()
    loops = [(at, loop) for loop, at in lap.loops.items() if loop != "line"]
    begun = BEGIN_S - LAP_S - 1.3 * LAP_S
    passed = [(begun + at * 1.3 * LAP_S, loop) for at, loop in loops if at > lap.pit_exit]
    passed += [(BEGIN_S - LAP_S, "line"), (BEGIN_S, "line")]
    passed += [(BEGIN_S - LAP_S + at * LAP_S, loop) for at, loop in loops]
    passed += [(one.t or 0.0, one.loop) for one in row.sectors]
    passed += [(row.end_s + at * 1.2 * LAP_S, loop) for at, loop in loops if at < lap.pit_entry]
    facts: list[ev.Event] = [ev.CarCrossed(id=f"{loop}-{t:.1f}", t=t, car="41", loop=loop) for t, loop in passed]
    facts += [ev.CarPitted(id="exit", t=begun + lap.pit_exit * 1.3 * LAP_S, car="41", where="exit"),
              ev.CarPitted(id="entry", t=row.end_s + lap.pit_entry * 1.2 * LAP_S, car="41", where="entry")]
    facts += [ev.TimeReached(id=f"wake-{t}", t=float(t)) for t in range(int(begun), int(row.end_s + 2 * LAP_S))]
    rng, t = np.random.default_rng(seed), float(path.t[0])
    while positions and t < path.end_s:
        metres = path.metres(t) + 1.5 * float(rng.standard_normal())
        facts.append(ev.CarPositioned(id=f"seen-{t:.2f}", t=round(t, 3), car="41", distance_m=round(metres, 1),
                                      speed_mps=round(path.speed(t) + 0.1 * float(rng.standard_normal()), 2)))
        t += 1 / HZ
    return sorted(facts, key=lambda one: one.t), path.truth()


@cache
def window(positions: bool, seed: int) -> tuple[DataWindow, HeldTruth]:
    """The data window of the hold, and what was really held."""
    demo, (facts, truth) = shipped(), _facts(positions, seed)
    prepared = demo.model_copy(update={
        "plans": {"41": plan(RUN, session=demo.session)}, "cars": {"41": demo.cars["41"]}, "field_cars": ()})
    whole = [ev.SessionPrepared(id="prepared", t=-60, setup=prepared),
             ev.StatusChanged(id="green", t=0, status="green", pit_exit="open"), *facts]
    journal = [ev.Stamped(seq=seq, received_t=one.t, event=one) for seq, one in enumerate(whole)]
    (found,) = [one for one in debrief(journal, "journal").cars[0].data_windows if one.do == HOLD["do"]]
    return found, truth


@pytest.mark.parametrize("seed", [3, 4, 11])
def test_with_positions_the_window_is_what_was_held(seed: int) -> None:
    """Within a tenth of a second and five metres at both ends, and the speed of what was held."""
    found, truth = window(True, seed)
    assert (found.what, found.evidence, found.run, found.lap_number) == ("hold", "positions", "holds", 3)
    assert found.from_s.value == pytest.approx(truth.from_s, abs=0.1)
    assert found.to_s.value == pytest.approx(truth.to_s, abs=0.1)
    assert found.from_m is not None
    assert found.to_m is not None
    assert found.from_m.value == pytest.approx(truth.from_m, abs=5.0)
    assert found.to_m.value == pytest.approx(truth.to_m, abs=5.0)
    assert found.speed_mps is not None
    assert found.speed_mps.value == pytest.approx(truth.speed_mps, abs=0.5)


def test_without_positions_the_window_says_how_little_is_known() -> None:
    """Reckoned from crossings: of six ends five at least lie where the intervals of nine in ten say, and these are
    wider than with positions."""
    held = []
    for seed in (3, 4, 11):
        found, truth = window(False, seed)
        assert (found.what, found.evidence) == ("hold", "crossings")
        held += [found.from_s.low <= truth.from_s <= found.from_s.high, found.to_s.low <= truth.to_s <= found.to_s.high]
        near, _ = window(True, seed)
        assert found.from_s.high - found.from_s.low > near.from_s.high - near.from_s.low
    assert sum(held) >= 5
