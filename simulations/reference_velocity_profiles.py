"""Make the reference velocity profiles that ``tests/published/test_lap_physics.py`` compares with.

The reference is an independent forward-backward solver, ``calc_vel_profile`` of trajectory-planning-helpers 0.79
(LGPL-3.0). It pins a quadprog that has no wheel, so it never becomes a dependency: it lives in an environment of its
own, and only its results are kept, as JSON with the inputs beside them. To make them again:

    python3 -m venv /tmp/reference
    /tmp/reference/bin/pip install --no-deps trajectory-planning-helpers==0.79
    /tmp/reference/bin/pip install numpy scipy matplotlib
    /tmp/reference/bin/python simulations/reference_velocity_profiles.py tests/published/data/velocity_profiles.json

Nothing of pitwall is imported here: the reference must not share a line with what it judges.
"""

from __future__ import annotations

import json
import sys
import types
from pathlib import Path
from typing import Any

import numpy as np

# The package imports quadprog for its path optimisation, which is not used here; an empty module lets it load.
sys.modules.setdefault("quadprog", types.ModuleType("quadprog"))

from trajectory_planning_helpers.calc_ax_profile import calc_ax_profile  # noqa: E402  # after the module above
from trajectory_planning_helpers.calc_t_profile import calc_t_profile  # noqa: E402  # after the module above
from trajectory_planning_helpers.calc_vel_profile import calc_vel_profile  # noqa: E402  # after the module above

KEEP_EVERY_M = 20.0
STRAIGHT = 1e-9  # the solver's closed mode wants a curvature that is not zero

# A segment is [length in metres, radius in metres or 0 for a straight].
STADIUM = [[300.0, 0], [np.pi * 40, 40], [300.0, 0], [np.pi * 40, 40]]
RING = [[420, 0], [70, 45], [150, 0], [90, 120], [520, 0], [75, 30], [610, 0], [95, 65], [180, 0], [140, 200],
        [240, 0], [130, 50], [330, 0]]

CASES: list[dict[str, Any]] = [
    {"name": "stadium, constant limits", "segments": STADIUM, "step_m": 0.5,
     "limits": {"tyre_mps2": 15.0, "tyre_per_m": 0.0, "drive_mps2": 6.0, "drag_per_m": 0.0, "top_mps": 150.0}},
    {"name": "ring, constant limits", "segments": RING, "step_m": 0.5,
     "limits": {"tyre_mps2": 14.0, "tyre_per_m": 0.0, "drive_mps2": 9.0, "drag_per_m": 0.0, "top_mps": 75.0}},
    {"name": "ring, power and drag", "segments": RING, "step_m": 0.5,
     "limits": {"tyre_mps2": 15.0, "tyre_per_m": 0.0, "drive_mps2": 11.0, "power_w_per_kg": 600.0,
                "drag_per_m": 0.0009, "top_mps": 90.0}},
    {"name": "ring, power, drag and downforce", "segments": RING, "step_m": 0.5,
     "limits": {"tyre_mps2": 15.0, "tyre_per_m": 0.004, "drive_mps2": 12.0, "power_w_per_kg": 720.0,
                "drag_per_m": 0.001, "top_mps": 90.0}},
]


def reference(case: dict[str, Any]) -> dict[str, Any]:
    """The case with the reference's lap time and its speed at every KEEP_EVERY_M metres."""
    lengths, curvature = [], []
    for length, radius in case["segments"]:
        count = int(np.ceil(length / case["step_m"]))
        lengths += [length / count] * count
        curvature += [1.0 / radius if radius else STRAIGHT] * count
    el, kappa, limits = np.array(lengths), np.array(curvature), case["limits"]
    top = limits["top_mps"]
    grid = np.arange(0.0, top + 0.5, 0.1)
    tyre = limits["tyre_mps2"] + limits["tyre_per_m"] * grid**2
    power = limits.get("power_w_per_kg", np.inf)
    drive = np.minimum(limits["drive_mps2"], power / np.maximum(grid, 1e-3))
    mass = 1000.0
    speeds = calc_vel_profile(
        ax_max_machines=np.column_stack((grid, drive)), kappa=kappa, el_lengths=el, closed=True,
        drag_coeff=limits["drag_per_m"] * mass, m_veh=mass, ggv=np.column_stack((grid, tyre, tyre)),
        v_max=top, dyn_model_exp=2.0,
    )
    along = calc_ax_profile(np.append(speeds, speeds[0]), el, eq_length_output=False)
    lap_s = float(calc_t_profile(vx_profile=speeds, el_lengths=el, ax_profile=along)[-1])
    at = np.concatenate(([0.0], np.cumsum(el)[:-1]))
    keep = np.unique(np.searchsorted(at, np.arange(0.0, at[-1], KEEP_EVERY_M)))
    return {**case, "lap_s": round(lap_s, 5), "at_m": np.round(at[keep], 4).tolist(),
            "v_mps": np.round(speeds[keep], 4).tolist()}


def main() -> None:
    """Write the JSON file named on the command line."""
    if len(sys.argv) != 2:
        sys.exit("usage: reference_velocity_profiles.py OUTPUT.json")
    found = [reference(case) for case in CASES]
    about = {"made_by": "simulations/reference_velocity_profiles.py", "solver": "trajectory-planning-helpers 0.79"}
    # One case a line: a change of one case then shows as a change of one line.
    cases = ",\n".join(json.dumps(case) for case in found)
    text = json.dumps(about)[:-1] + f', "cases": [\n{cases}\n]}}\n'
    Path(sys.argv[1]).write_text(text, encoding="utf-8")
    for case in found:
        print(f"{case['name']}: {case['lap_s']:.4f} s, {len(case['at_m'])} speeds kept")


if __name__ == "__main__":
    main()
